"""Chance: only where outcome, time, place and people of limit and base rate match."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from app.catalogue.load import catalogue
from app.clinical.accuracy import likelihood_ratios, post_test
from app.clinical.base_rate import BaseRate
from app.clinical.measure import Cutoff, Measure
from app.clinical.person import Person
from app.clinical.quantities import rounded
from app.clinical.reading import Result, read
from app.clinical.readings import Reading
from tests.clinical.reading_for import a_score, measure

TUG = "timed_up_and_go"
RATES = catalogue().base.rates
ANN = Person(ages=(74,), sex="female", setting="community")


def with_limit(**changes: Any) -> Measure:
    """The up and go with Barry 2014 alone, its row changed: 13.5 s, .31 and .74."""
    whole = measure(TUG)
    (row,) = [c for c in whole.cutoffs if c.source == "barry2014"]
    said: dict[str, Any] = {"event": "one_or_more_falls", "n": 4242}
    said |= {"horizon": "next_12_months"} | changes
    return replace(whole, norms=(), cutoffs=(replace(row, **said),))


def judged(
    text: str = "14",
    person: Person = ANN,
    *,
    pretest: str | None = None,
    rates: tuple[BaseRate, ...] = RATES,
    **changes: Any,
) -> Result:
    chance = None if pretest is None else Decimal(pretest)
    score = a_score(TUG, text)
    return read(with_limit(**changes), score, person, pretest=chance, base_rates=rates)


def chance_in(result: Result) -> Reading:
    (chance,) = [r for r in result.readings if r.kind == "chance"]
    return chance


@pytest.mark.parametrize(
    ("text", "post", "of_100"),
    [("13.5", "0.306", 31), ("13.4", "0.256", 26)],
    ids=["at the limit", "below it"],
)
def test_matching_base_rate_is_used_and_named(
    text: str, post: str, of_100: int
) -> None:
    """Of 100 about 27 -> 31 (.31/.74 from 27 %), with outcome, time and study."""
    chance = chance_in(judged(text))

    assert (chance.pre, chance.post) == (Decimal("0.270"), Decimal(post))
    assert chance.base
    assert chance.base.source == "ganz2007"
    assert chance.says == (
        "Of 100 people like those in Ganz 2007 (community, cohorts), about 27 had one "
        f"or more falls within a year; among 100 with such a score about {of_100} "
        "(Barry 2014)."
    )


@pytest.mark.parametrize(
    "changes",
    [
        {"horizon": "next_24_weeks"},
        {"horizon": ""},
        {"event": "fall_while_moving"},
        {"event": ""},
    ],
    ids=["other time", "no time", "other event", "no event"],
)
def test_unlike_outcome_or_time_gives_no_chance(changes: dict[str, Any]) -> None:
    result = judged(**changes)

    assert not [r for r in result.readings if r.kind == "chance"]
    assert result.no_chance_because


def test_why_not_names_event_and_time() -> None:
    assert judged(horizon="next_24_weeks").no_chance_because == (
        "No published base rate for such people: one or more falls within 24 weeks."
    )


def test_looking_back_is_not_following_forward() -> None:
    """A survey of the past 12 months is no chance of the next 12."""
    back = tuple(r for r in RATES if r.horizon == "past_12_months")

    assert not [r for r in judged(rates=back).readings if r.kind == "chance"]


def test_unknown_place_of_the_limit_matches_no_base_rate() -> None:
    (row,) = with_limit().cutoffs
    nowhere = replace(row.fit, settings=())

    assert judged(fit=nowhere).no_chance_because.startswith("No published base rate")


def test_general_base_rate_does_not_speak_of_a_disease() -> None:
    ill = replace(ANN, conditions=("parkinson",))

    assert judged(person=ill).no_chance_because.startswith("No published base rate")


def test_unstated_age_is_assumed_and_said() -> None:
    chance = chance_in(judged(person=Person(setting="community")))

    assert "if aged 65 and over" in chance.match.assumed


def test_other_base_rates_that_fit_are_named() -> None:
    """Two or more falls at 80: Ganz 10 (7 to 15) leads, Tiedemann 22.1 stands by."""
    person = replace(ANN, ages=(80,))
    chance = chance_in(judged(person=person, event="two_or_more_falls"))

    assert chance.base
    assert chance.base.source == "ganz2007"
    assert "22.1 of 100 (Tiedemann 2008)" in chance.detail


def test_own_pretest_replaces_the_base_rate() -> None:
    chance = chance_in(judged(pretest="0.5"))

    assert chance.base is None
    assert (chance.pre, chance.post) == (Decimal("0.500"), Decimal("0.544"))
    assert chance.says.startswith("By your own figure 50 of 100 such people had one")


def test_own_pretest_with_a_limit_of_unknown_time_says_so() -> None:
    chance = chance_in(judged(pretest="0.3", horizon=""))

    assert "does not say in closed words" in chance.detail
    assert "any test" not in chance.says


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"design": "retrospective"}, "did not follow people forward in time"),
        ({"specificity": None}, "gives no sensitivity and specificity"),
        ({"outcome_type": "function"}, "is no limit about falls"),
        ({"how": "memory"}, "No reading leads"),
    ],
)
def test_pretest_without_an_eligible_lead_is_answered(
    changes: dict[str, Any], why: str
) -> None:
    result = judged(pretest="0.3", **changes)

    assert not [r for r in result.readings if r.kind == "chance"]
    assert why in result.cautions[0]
    assert result.cautions[0].startswith("No chance after the test is given.")


@pytest.mark.parametrize("which", ["sensitivity", "specificity"])
def test_perfect_accuracy_is_not_defined_for_a_sample(which: str) -> None:
    perfect: dict[str, Any] = {which: Decimal(1)}
    chance = chance_in(judged(**perfect))

    assert chance.says.startswith("Not defined for a sample of 4242:")
    assert chance.post is None


def test_several_tests_are_never_multiplied() -> None:
    """One chance for a score, made from one pair of sensitivity and specificity."""
    whole = measure(TUG)
    chance = chance_in(
        read(whole, a_score(TUG, "14"), ANN, pretest=Decimal("0.3"), base_rates=RATES)
    )
    row = chance.row
    assert isinstance(row, Cutoff)
    assert row.sensitivity
    assert row.specificity
    ratio = likelihood_ratios(row.sensitivity, row.specificity)[0]
    assert ratio

    assert chance.post == rounded(post_test(Decimal("0.3"), ratio), 3)
    assert "not put into another" in chance.detail


@pytest.mark.parametrize(
    ("pretest", "sens", "spec", "positive", "negative"),
    [
        ("0.50", "0.90", "0.80", "0.818182", "0.111111"),
        ("0.10", "0.80", "0.90", "0.470588", "0.024096"),
        ("0.30", "0.85", "0.88", "0.752212", "0.068079"),
        ("0.27", "0.31", "0.74", "0.306033", "0.256435"),
    ],
)
def test_post_test_by_the_odds_form(
    pretest: str, sens: str, spec: str, positive: str, negative: str
) -> None:
    """Worked rows, computed independently; the last moves little."""
    ratios = likelihood_ratios(Decimal(sens), Decimal(spec))
    found = [post_test(Decimal(pretest), r) for r in ratios if r is not None]

    assert [str(rounded(p, 6)) for p in found] == [positive, negative]
