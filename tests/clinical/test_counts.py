"""Counts: 0 is a score, and where the rule makes it 0 the count itself is kept."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest

from app.clinical.fit import match
from app.clinical.person import Person
from app.clinical.quantities import BadNumber
from app.clinical.reading import Result, read
from app.clinical.scoring import OutsideRange, Score, Trial, read_trial, score
from tests.clinical.reading_for import measure, of, result

STANDS = measure("thirty_second_chair_stand")
MAN = Person((72,), "male", (), "community", {})
ARMS = {"arms_used": "yes"}


def counted(text: str, facts: dict[str, str] | None = None, tick: str = "") -> Score:
    trial = read_trial(STANDS, text)
    return score(
        STANDS,
        [replace(trial, inputs={"arms_needed": tick} if tick else {})],
        facts=facts or {},
    )


def judged(text: str, facts: dict[str, str], before: Score | None = None) -> Result:
    return read(STANDS, counted(text, facts), MAN, before=before)


def test_no_stand_at_all_is_a_score_of_zero() -> None:
    made = counted("0")

    assert (made.outcome, made.value, made.reason) == ("completed", Fraction(0), "")
    assert made.parts == {}


@pytest.mark.parametrize("test", ["five_times_sit_to_stand", "functional_reach"])
def test_zero_stays_no_result_elsewhere(test: str) -> None:
    with pytest.raises(BadNumber, match="0 is no result"):
        read_trial(measure(test), "0")


@pytest.mark.parametrize("text", ["61", "9999"])
def test_more_than_anybody_can_is_refused(text: str) -> None:
    with pytest.raises(OutsideRange, match=f"{text} is outside .* \\(0 to 60\\)"):
        read_trial(STANDS, text)


@pytest.mark.parametrize("text", ["2.5", "-1", "12s", "1e1"])
def test_part_of_a_stand_is_no_count(text: str) -> None:
    with pytest.raises(BadNumber):
        read_trial(STANDS, text)


@pytest.mark.parametrize(("facts", "tick"), [(ARMS, ""), ({}, "yes"), (ARMS, "yes")])
def test_arms_make_it_zero_and_the_count_stands_beside(
    facts: dict[str, str], tick: str
) -> None:
    """The sheet's rule: arms used, score 0. Either the set-up or the tick says so."""
    made = counted("9", facts, tick)

    assert made.value == 0
    assert made.reason == "Arms used: the published rule scores this 0"
    assert made.parts["with_arms"].value == 9
    assert made.trials[0].value == Decimal(9)


def test_arms_folded_scores_what_was_counted() -> None:
    made = counted("9", {"arms_used": "no"})

    assert (made.value, dict(made.parts)) == (Fraction(9), {})


def test_count_with_the_arms_is_read_against_nothing() -> None:
    found = judged("13", ARMS)

    assert found.readings
    assert {str(r.value) for r in found.readings} <= {"0", "0.0"}
    assert [r.crossed for r in of(found, "steadi2017") if r.matched] == [True]
    assert any("modified count: 13; no published row" in c for c in found.cautions)
    assert found.standard


def test_cut_short_with_the_arms_keeps_no_modified_count() -> None:
    made = counted("0", {}, "yes")

    assert (made.value, dict(made.parts)) == (Fraction(0), {})
    said = read(STANDS, made, MAN).cautions
    assert "Arms used: the published rule scores this 0." in said


def test_two_zeros_by_rule_tell_no_change_but_both_counts() -> None:
    change = judged("9", ARMS, before=counted("6", ARMS)).change

    assert change is not None
    assert change.verdict == "cannot be told"
    assert "6 then 9" in change.says
    assert change.readings == ()


def test_from_zero_by_rule_to_stands_without_arms_is_judged() -> None:
    """Gill 2008, awaiting a joint: 1.64 stands (90 %)."""
    waiting = Person((72,), "male", ("joint_replacement_waiting",), None, {})
    found = read(STANDS, counted("2"), waiting, before=counted("7", ARMS)).change

    assert found is not None
    assert (found.verdict, str(found.difference)) == ("real gain", "2")


@pytest.mark.parametrize(
    ("count", "words"),
    [
        ("11", "is fewer than the middle half"),
        ("12", "is within the middle half"),
        ("17", "is within the middle half"),
        ("18", "is more than the middle half"),
    ],
)
def test_middle_half_is_said_with_both_its_ends(count: str, words: str) -> None:
    """Rikli 1999: half of men of 70 to 74 did 12 to 17."""
    (said,) = [r for r in of(judged(count, {}), "rikli1999norms") if r.matched]

    assert words in said.says
    assert said.says.endswith("(12 to 17).")


@pytest.mark.parametrize(
    ("count", "near"), [("10", False), ("11", True), ("13", True), ("14", False)]
)
def test_one_stand_from_the_line_is_near_it(count: str, near: bool) -> None:
    (said,) = [r for r in of(judged(count, {}), "steadi2017") if r.matched]

    assert said.near_edge is near


def test_sheets_line_not_crossed_clears_nobody() -> None:
    (said,) = [r for r in of(judged("14", {}), "steadi2017") if r.matched]

    assert said.crossed is False
    assert "does not clear a person who has fallen" in said.says


def test_recalled_standard_never_leads() -> None:
    found = result(STANDS.id, "13", age=72, sex="male", setting="community")

    assert found.leading is not None
    assert found.leading.row is not None
    assert found.leading.row.source == "steadi2017"
    assert [r.crossed for r in of(found, "rikli2013") if r.matched] == [True]


def test_higher_seat_is_not_the_published_setup() -> None:
    found = judged("14", {"seat_height": "20 in"})

    assert found.lead is None
    assert not any(r.matched for r in found.readings)


def test_unable_is_not_zero() -> None:
    made = score(STANDS, [Trial("unable", reason="physical")], facts=ARMS)

    assert (made.outcome, made.value) == ("unable", None)


def test_early_stroke_errors_keep_to_the_acute_ward() -> None:
    """Johansen 2016 measured on an acute stroke ward."""
    rows = [r for r in STANDS.reliability if r.source == "johansen2016"]
    early = Person((70,), None, ("stroke",), "acute", {"time_since": "first_week"})
    late = Person((70,), None, ("stroke",), "outpatient", {"time_since": "established"})
    made = counted("8")

    assert [match(STANDS, r.fit, early, made).fits for r in rows] == [True, True]
    assert [match(STANDS, r.fit, late, made).fits for r in rows] == [False, False]
