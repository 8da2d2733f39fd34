"""From a chance before the test to one after it, in natural frequencies.

Only for the leading limit, if it is about falls, from prospective or pooled work, with
a published sensitivity and specificity. The chance before is a published share of like
people over the same time, or the asking person's own figure. One test only: likelihood
ratios of several tests are never multiplied, since related tests are not independent.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from app.clinical.accuracy import likelihood_ratios, post_test
from app.clinical.base_rate import BaseRate, Before, before_test
from app.clinical.measure import Cutoff
from app.clinical.person import Person
from app.clinical.quantities import rounded
from app.clinical.readings import Reading
from app.clinical.vocabulary import EVENTS, HORIZONS

ONE_TEST = (
    "The chance after one test is not put into another: related tests are not "
    "independent."
)
TIME_UNKNOWN = (
    "This source does not say in closed words what it counted over which time: your "
    "figure must be of the same thing over the same time."
)


@dataclass(frozen=True, slots=True)
class Chance:
    """A reading of kind chance, or why there is none.

    `takes_own`: an own figure before the test gives one.
    """

    reading: Reading | None
    why_not: str = ""
    takes_own: bool = True


def chance_of(
    lead: Reading | None,
    short: str,
    person: Person,
    rates: Sequence[BaseRate],
    pretest: Decimal | None,
    such: str = "such a score",
) -> Chance:
    """The lead's word on chance. `short` names its source.

    `pretest` is the asking person's own, strictly between 0 and 1; None takes the
    published share that matches, if one does.
    """
    if lead is None or (why := _unusable(lead)):
        return Chance(None, why if lead else "No reading leads.", takes_own=False)
    limit = lead.row
    assert isinstance(limit, Cutoff)
    if pretest is not None:
        return Chance(_made(lead, limit, short, pretest, Before(None), such))
    before = before_test(rates, limit, person)
    if before.rate is None:
        return Chance(None, before.why_not)
    return Chance(_made(lead, limit, short, before.rate.value, before, such))


def _unusable(lead: Reading) -> str:
    """Why a reading can tell no chance; empty when it can."""
    if lead.kind != "cutoff" or lead.outcome_type != "falls":
        return "The leading reading is no limit about falls."
    if lead.design not in ("prospective", "pooled"):
        return "The leading source did not follow people forward in time."
    if lead.sensitivity is None or lead.specificity is None:
        return "The leading source gives no sensitivity and specificity."
    return "" if lead.confirmed and lead.matched else "The leading source does not fit."


def _made(
    lead: Reading,
    limit: Cutoff,
    short: str,
    pretest: Decimal,
    before: Before,
    such: str,
) -> Reading:
    chance = replace(
        lead, kind="chance", pre=rounded(pretest, 3), base=before.rate,
        detail=_detail(limit, before), near_edge=False,
        match=replace(
            lead.match,
            assumed=tuple(dict.fromkeys((*lead.match.assumed, *before.match.assumed))),
        ),
    )  # fmt: skip
    assert lead.sensitivity is not None
    assert lead.specificity is not None
    if Decimal(1) in (lead.sensitivity, lead.specificity):
        size = f"a sample of {limit.n}" if limit.n else "a sample of unknown size"
        says = f"Not defined for {size}: a sensitivity or specificity of 1 ({short})."
        return replace(chance, says=says)
    ratios = likelihood_ratios(lead.sensitivity, lead.specificity)
    ratio = ratios[0] if lead.crossed else ratios[1]
    if ratio is None:
        return replace(chance, says=f"Not defined: no likelihood ratio ({short}).")
    post = post_test(pretest, ratio)
    then = f"among 100 with {such} about {rounded(post * 100, 0)} ({short})."
    says = f"{_first(limit, pretest, before.rate)}; {then}"
    return replace(chance, says=says, post=rounded(post, 3))


def _first(limit: Cutoff, pretest: Decimal, rate: BaseRate | None) -> str:
    """The frequency before the test, with what was counted and over which time."""
    before = rounded(pretest * 100, 0)
    if rate is not None:
        return (
            f"Of 100 people like those in {rate.published.short} ({rate.population}), "
            f"about {before} had {EVENTS[rate.event]} {HORIZONS[rate.horizon]}"
        )
    what = EVENTS[limit.event] if limit.event else limit.outcome
    over = f" {HORIZONS[limit.horizon]}" if limit.horizon else ""
    return f"By your own figure {before} of 100 such people had {what}{over}"


def _detail(limit: Cutoff, before: Before) -> str:
    said = [ONE_TEST]
    if before.rate is None and not (limit.event and limit.horizon):
        said.insert(0, TIME_UNKNOWN)
    if before.others:
        named = ", ".join(
            f"{rate_words(o)} ({o.published.short})" for o in before.others
        )
        said.append(f"Also published for such people: {named}.")
    return " ".join(said)


def rate_words(rate: BaseRate) -> str:
    """`27 of 100 (19 to 36 in several studies)`; a rate in its own unit."""
    if rate.unit != "share":
        per = {"per_person_year": "for a person-year", "per_1000_days": "for 1000 days"}
        return f"{rate.value} {per[rate.unit]}"
    said = f"{_hundred(rate.value)} of 100"
    if rate.low is not None and rate.high is not None:
        said += f" ({_hundred(rate.low)} to {_hundred(rate.high)} in what was pooled)"
    return said


def _hundred(share: Decimal) -> str:
    return f"{(share * 100).normalize():f}"
