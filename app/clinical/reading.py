"""One score and one person -> every Reading the published rows allow. The heart.

`read` is the only maker of readings: pages, notes, lists, exports and the command line
all render what it returns. Values in, values out; it diagnoses nothing.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from itertools import chain
from typing import NamedTuple

from app.clinical.base_rate import BaseRate
from app.clinical.chance import Chance, chance_of
from app.clinical.change import Change, change_by
from app.clinical.cutoff_reading import read_cutoff, read_ladder, read_unable
from app.clinical.fit import Match
from app.clinical.kept import once_a_row
from app.clinical.lead import Lead, choose_lead, in_order, sex_guessed
from app.clinical.measure import Cutoff, Measure, Reliability
from app.clinical.norm_reading import read_norm
from app.clinical.person import Person
from app.clinical.quantities import convert, shown, words
from app.clinical.readings import Reading
from app.clinical.scoring import Score, is_zero_by_rule
from app.clinical.sifting import Sifted, sifted
from app.clinical.tape_error import corrected
from app.clinical.vocabulary import PERSON_FACTS

_LINES = ("protocol_limit", "health_vs_disease", "death")
UNCONFIRMED = "Rows marked unconfirmed were recalled, not read; none of them leads."
#: Hand timing error, half a tape mark, one of a count: common practice.
EDGE = {
    "s": Decimal("0.2"), "in": Decimal("0.25"), "cm": Decimal("0.5"),
    "count": Decimal(1),
}  # fmt: skip
EDGE_SAYS = " Close to the limit: it could fall either side another day."
LINES_ONLY = "What fits are lines of rules and diagnoses, said below; none leads."
NONE_MAY_LEAD = "What fits this person is unconfirmed or describes; none may lead."
OWN_SETUP = "Read by sources that used this set-up; the usual ones do not match it."
OFF_SETUP = (
    "Not the published set-up, so norms and cut-offs are shown without a verdict; a "
    "score on the better side of a limit reassures nobody."
)
TRY_AGAIN = "Unable is a result: write down why, and try again another day."
JUDGEMENT = (
    "A reading tells what was found in people of a study. It is no diagnosis; licensed "
    "judgement and local policy decide."
)


@dataclass(frozen=True, slots=True)
class Result:
    """All there is to say of one score. `standard`: done in the published set-up."""

    measure: Measure
    score: Score
    person: Person
    standard: bool
    differs: tuple[str, ...]
    assumed: tuple[str, ...]
    readings: tuple[Reading, ...]
    lead: Lead | None
    no_lead_because: str
    change: Change | None
    cautions: tuple[str, ...]
    no_chance_because: str = ""
    takes_pretest: bool = False

    @property
    def leading(self) -> Reading | None:
        return None if self.lead is None else self.readings[self.lead.index]

    @property
    def crossed_by_source(self) -> dict[str, bool]:
        """Of each source whose limit fits: whether the score lies beyond it."""
        limits = [r for r in self.readings if r.kind == "cutoff" and r.matched]
        return {r.row.source: r.crossed for r in limits
                if r.row and r.crossed is not None}  # fmt: skip


class Held(NamedTuple):
    """A score before the rows of its test that speak of it."""

    measure: Measure
    score: Score
    rows: Sifted


def read(
    measure: Measure,
    score: Score,
    person: Person,
    *,
    before: Score | None = None,
    other_rater: bool = False,
    pretest: Decimal | None = None,
    base_rates: Sequence[BaseRate] = (),
) -> Result:
    """Judge `score` by every row of `measure` that speaks of `person`.

    The chance before the test is `pretest` (0..1), else that of the matching base rate.
    """
    held = Held(measure, score, sifted(measure, person, score))
    ranked = _ranked(held)
    lead = choose_lead(ranked)
    change = None
    if before is not None:
        change = change_by(held.rows, measure, score, before, other_rater=other_rater)
    chance = _chance(measure, ranked, lead, person, base_rates, pretest)
    changed = change.readings if change else ()
    readings = (*ranked, *changed, *((chance.reading,) if chance.reading else ()))
    cautions = _cautions(held, ranked, lead)
    return Result(
        measure=measure,
        score=score,
        person=person,
        standard=not held.rows.off,
        differs=tuple(d.says for d in held.rows.off),
        assumed=(*held.rows.assumed, *_assumed_of(readings)),
        readings=readings,
        lead=lead,
        no_lead_because="" if lead else _no_lead(held, ranked),
        change=change,
        cautions=(*_no_chance(chance, pretest), *cautions),
        no_chance_because=chance.why_not,
        takes_pretest=chance.takes_own,
    )


def _chance(
    measure: Measure,
    ranked: list[Reading],
    lead: Lead | None,
    person: Person,
    rates: Sequence[BaseRate],
    pretest: Decimal | None,
) -> Chance:
    first = ranked[lead.index] if lead else None
    short = measure.sources[first.row.source].short if first and first.row else ""
    return chance_of(first, short, person, rates, pretest)


def _no_chance(chance: Chance, pretest: Decimal | None) -> Iterator[str]:
    """Whoever asks for a chance is told why there is none."""
    if pretest is not None and chance.reading is None:
        yield f"No chance after the test is given. {chance.why_not}"


def _ranked(held: Held) -> list[Reading]:
    measure, score = held.measure, held.score
    if score.outcome == "unable":
        made = [read_unable(row, fit) for row, fit in held.rows.unable]
    elif score.value is None:
        made = []
    else:
        made = [*_cutoffs(held), *_norms(held)]
        margin = _margins(held)
        made = [r if _whole_hold(measure, r) else _edge(r, margin) for r in made]
    return in_order(made)


def _norms(held: Held) -> Iterator[Reading]:
    for row, fit in held.rows.norms:
        made = read_norm(held.measure, row, held.score, fit)
        if made is not None:
            yield made


def _cutoffs(held: Held) -> Iterator[Reading]:
    measure, score = held.measure, held.score
    ladders: dict[str, list[tuple[Cutoff, Match]]] = {}
    for row, fit in held.rows.cutoffs:
        if row.ladder:
            ladders.setdefault(row.ladder, []).append((row, fit))
        elif (made := read_cutoff(measure, row, score, fit)) is not None:
            yield made
    for rungs in ladders.values():
        yield from read_ladder(measure, rungs, score)


def _margins(held: Held) -> dict[str, Decimal]:
    """How near an edge is near, by unit: hand error, half a mark, a fitting SEM."""
    score = held.score
    margins = dict(EDGE)
    right = corrected(score.value, score.facts) if score.value is not None else None
    if right is not None and score.value is not None:
        gap = abs(right - score.value)
        margins[score.unit] = max(
            margins.get(score.unit, Decimal(0)),
            Decimal(gap.numerator) / Decimal(gap.denominator),
        )
    for row, fit in held.rows.errors:
        for unit, size in _sems(row) if fit.fits else ():
            margins[unit] = max(margins.get(unit, Decimal(0)), size)
    return margins


@once_a_row
def _sems(row: Reliability) -> tuple[tuple[str, Decimal], ...]:
    """The row's SEM in each unit its values may be read in, if it may be used."""
    usable = row.kind == "test_retest" and row.how != "memory" and not row.no_verdict
    if row.sem is None or not usable:
        return ()
    found = []
    for unit in ("in", "cm") if row.unit in ("in", "cm") else (row.unit,):
        sem = convert(Fraction(row.sem), row.unit, unit)
        found.append((unit, Decimal(sem.numerator) / Decimal(sem.denominator)))
    return tuple(found)


def _whole_hold(measure: Measure, reading: Reading) -> bool:
    """A stage held to its end: its time could not have been longer, so is no edge."""
    if not measure.stages:
        return False
    quantity = reading.row.fit.quantity if reading.row else ""
    return any(
        stage.id == quantity and reading.value is not None
        and reading.value >= stage.hold
        for stage in measure.stages
    )  # fmt: skip


def _edge(reading: Reading, margins: dict[str, Decimal]) -> Reading:
    if reading.threshold is None or reading.value is None or reading.no_verdict:
        return reading
    nearest = abs(reading.value - reading.threshold)
    if reading.edges:
        nearest = min(abs(reading.value - edge) for edge in reading.edges)
    if nearest > margins.get(reading.unit, 0):
        return reading
    return replace(reading, near_edge=True, says=reading.says + EDGE_SAYS)


def _assumed_of(readings: tuple[Reading, ...]) -> tuple[str, ...]:
    said = (r.match.assumed for r in readings if r.matched)
    return tuple(dict.fromkeys(chain.from_iterable(said)))


def _no_lead(held: Held, ranked: list[Reading]) -> str:
    if held.score.outcome not in ("completed", "unable"):
        return "There is no score to read."
    if held.rows.off:
        off = "; ".join(d.says for d in held.rows.off)
        return f"Not the published set-up: {off}."
    judged = [r for r in ranked if r.matched and r.confirmed and not r.no_verdict]
    if judged and all(r.outcome_type in _LINES for r in judged):
        return LINES_ONLY
    if any(r.matched for r in ranked):
        return NONE_MAY_LEAD
    return "No published reference fits this person."


def _cautions(held: Held, ranked: list[Reading], lead: Lead | None) -> Iterator[str]:
    measure, score, off = held.measure, held.score, held.rows.off
    yield from _tape(score)
    if is_zero_by_rule(measure, score):
        yield _zero_says(measure, score)
    if off and lead is not None:
        yield OWN_SETUP
    elif off:
        yield OFF_SETUP
        yield from _still_beyond(measure, ranked, all(d.easier for d in off))
    yield from (c.says for c in measure.warns if c.speaks(score))
    if lead is not None:
        yield from disagreement(measure, ranked, ranked[lead.index])
        yield from rests_on_a_guess(ranked, ranked[lead.index])
    if score.outcome == "unable":
        yield TRY_AGAIN
    if any(r.matched and not r.confirmed for r in ranked):
        yield UNCONFIRMED
    yield JUDGEMENT


def _tape(score: Score) -> Iterator[str]:
    """What a right tape would have given; the readings speak of what was entered."""
    if score.value is None:
        return
    right = corrected(score.value, score.facts)
    if right is not None:
        said = words(shown(right, score.unit), score.unit)
        yield (
            f"The tape was off: by a right one this would be about {said}. The "
            "readings speak of the number as entered."
        )


def _zero_says(measure: Measure, score: Score) -> str:
    """A score made by rule, and what was counted: never read against the same rows."""
    rule = measure.zero
    assert rule is not None
    part = score.parts.get(rule.quantity)
    if part is None:
        return f"{rule.says}."
    count = words(shown(part.value, part.unit), part.unit)
    return (
        f"{rule.says}. {rule.label}: {count}; no published row speaks of it, so it is "
        "compared with nothing here."
    )


def _still_beyond(
    measure: Measure, ranked: list[Reading], easier: bool
) -> Iterator[str]:
    for r in ranked:
        if easier and r.crossed and plain_limit(r) and r.row and r.threshold:
            source = measure.sources[r.row.source].short
            yield (
                "This set-up is easier than the published one and the score still "
                f"lies beyond {words(r.threshold, r.unit)} ({source}): reasoning, "
                "not a published finding."
            )
            return


def plain_limit(r: Reading) -> bool:
    """A confirmed limit about falls, function or help that the set-up alone parts."""
    about = r.outcome_type in ("falls", "function", "help_needed")
    needs_own_setup = r.row is not None and bool(r.row.fit.requires)
    judged = r.kind == "cutoff" and r.confirmed and not r.no_verdict
    return about and judged and r.match.only_setup and not needs_own_setup


def disagreement(
    measure: Measure, ranked: list[Reading], lead: Reading
) -> Iterator[str]:
    if lead.crossed is None or lead.kind != "cutoff":
        return
    others: dict[str, Decimal] = {}
    for r in ranked:
        judged = r.matched and r.confirmed and r.kind == "cutoff" and not r.no_verdict
        same = r.outcome_type == lead.outcome_type and not sex_guessed(r)
        if judged and same and r.crossed != lead.crossed and r.row and r.threshold:
            others.setdefault(measure.sources[r.row.source].short, r.threshold)
    if others:
        said = ", ".join(f"{words(v, lead.unit)} ({k})" for k, v in others.items())
        side = "not beyond" if lead.crossed else "beyond"
        yield f"Sources disagree: the same score is {side} {said}."


def rests_on_a_guess(ranked: Sequence[Reading], lead: Reading) -> Iterator[str]:
    """The lead assumes a fact of which another source here needs the opposite."""
    if lead.row is None:
        return
    for said in lead.match.assumed:
        if said.startswith(("if still", "if already")):
            yield (
                f"The age is known by year only; this holds {said}. The other age's "
                "row stands among the other sources."
            )
    for key, wanted in lead.row.fit.requires_person.items():
        labels = PERSON_FACTS[key]
        assumed = "if " + " or ".join(labels[v] for v in wanted)
        other = any(
            r.matched and r.row and key in r.row.fit.requires_person
            and not set(wanted) & set(r.row.fit.requires_person[key])
            for r in ranked
        )  # fmt: skip
        if other and assumed in lead.match.assumed:
            yield (
                f"This holds {assumed}; another source here needs the opposite. Say "
                "which, and the right one leads."
            )
