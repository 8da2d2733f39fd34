"""From trials to a score by each test's own rule."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

import pytest

from app.catalogue.load import catalogue
from app.clinical.quantities import BadNumber
from app.clinical.scoring import (
    NotScorable,
    TooFewTrials,
    Trial,
    between_marks,
    read_trial,
    score,
)
from app.clinical.vocabulary import Outcome

REACH = catalogue().measures["functional_reach"]
UP_AND_GO = catalogue().measures["timed_up_and_go"]
STANDS = catalogue().measures["five_times_sit_to_stand"]
SQUARES = catalogue().measures["four_square_step"]
MANUAL = catalogue().measures["tug_manual"]


def timed(*seconds: str, voided: Sequence[int] = ()) -> list[Trial]:
    return [
        Trial("completed", Decimal(s), "s", voided=i in voided)
        for i, s in enumerate(seconds)
    ]


def test_reach_is_the_mean_of_the_last_two_of_three() -> None:
    """Weiner 1992 counts the mean of three; teaching material the last two."""
    made = score(REACH, [read_trial(REACH, t) for t in ("10in", "10.5in", "11in")])

    assert made.value == Fraction("10.75")
    assert str(made.shown) == "10.8"
    assert made.beside["mean_of_three"] == Fraction("10.5")


def test_reach_in_mixed_units_converts_exactly() -> None:
    made = score(REACH, [read_trial(REACH, t) for t in ("9in", "25.4cm", "10in")])

    assert (made.value, made.unit) == (Fraction(10), "in")


def test_square_step_takes_the_faster_valid_trial() -> None:
    """A touched cane voids the trial; the repeat counts (openwiki_fsst)."""
    made = score(SQUARES, timed("13.2", "12.4", "12.9", voided=[1]))

    assert made.value == Fraction("12.9")


def test_short_trials_say_how_many_are_needed() -> None:
    with pytest.raises(TooFewTrials) as short:
        score(SQUARES, timed("13.2"))

    assert (short.value.have, short.value.need) == (1, 2)


def test_too_many_trials_name_the_variant() -> None:
    with pytest.raises(NotScorable, match="mean_of_two"):
        score(UP_AND_GO, timed("12.0", "11.0"))


@pytest.mark.parametrize(
    ("variant", "seconds", "expected"),
    [
        ("mean_of_two", ("12.0", "11.0"), "11.5"),
        ("best_of_two", ("12.0", "11.0"), "11"),
        ("fastest_of_three", ("12.0", "11.0", "13.0"), "11"),
    ],
)
def test_up_and_go_variants(
    variant: str, seconds: tuple[str, ...], expected: str
) -> None:
    made = score(UP_AND_GO, timed(*seconds), variant=variant)

    assert made.value == Fraction(expected)
    assert made.variant == variant


@pytest.mark.parametrize("outcome", ["unable", "stopped", "declined", "not_done"])
def test_no_number_is_a_result_of_its_own(outcome: Outcome) -> None:
    made = score(STANDS, [Trial(outcome, reason="pain")])

    assert (made.outcome, made.value, made.reason) == (outcome, None, "pain")


def test_stop_for_safety_outweighs_unable() -> None:
    made = score(SQUARES, [Trial("unable"), Trial("stopped", reason="dizzy")])

    assert (made.outcome, made.reason) == ("stopped", "dizzy")


def test_practice_never_counts() -> None:
    with pytest.raises(TooFewTrials):
        score(STANDS, [Trial("completed", Decimal(9), "s", practice=True)])


def test_paired_plain_test_gives_difference_and_effect() -> None:
    """Group means of Shumway-Cook 2000 (in JRRD 2014): fallers 22.2 and 27.2 s."""
    plain = score(UP_AND_GO, timed("22.2"))

    made = score(MANUAL, timed("27.2"), paired={"timed_up_and_go": plain})

    assert made.parts["difference"].value == 5
    assert round(float(made.parts["dual_task_effect"].value), 1) == -22.5


@pytest.mark.parametrize("text", ["10000", "999999s", "0.05"])
def test_impossible_times_are_refused(text: str) -> None:
    with pytest.raises(BadNumber, match="outside"):
        read_trial(STANDS, text)


def test_reach_beyond_the_tape_is_refused() -> None:
    with pytest.raises(BadNumber, match="outside"):
        read_trial(REACH, "130in")


def test_marks_give_their_distance() -> None:
    assert between_marks(REACH, "3.5", "13", "in").value == Decimal("9.5")


@pytest.mark.parametrize(("start", "end"), [("10", "9"), ("10", "10"), ("4", "")])
def test_end_mark_must_lie_past_the_start(start: str, end: str) -> None:
    with pytest.raises(BadNumber, match="mark"):
        between_marks(REACH, start, end, "in")


WALK = catalogue().measures["gait_speed"]


def test_speed_is_the_mean_of_the_speeds_not_of_the_times() -> None:
    """10 ft in 3 and in 6 s: 1.016 and 0.508 m/s, mean 0.762; 10 ft in 4.5 s: 0.677."""
    made = score(WALK, timed("3", "6"), facts={"course": "10ft"})

    assert (made.value, made.unit) == (Fraction("0.762"), "m/s")
    assert made.beside["best_of_two"] == Fraction("1.016")
    assert made.parts["course_seconds"].value == Fraction("4.5")


def test_best_speed_is_the_fastest_walk_and_its_time() -> None:
    made = score(WALK, timed("5", "4"), facts={"course": "4m"}, variant="best_of_two")

    assert made.value == 1
    assert made.parts["course_seconds"].value == 4


def test_speed_said_as_such_tells_the_time_over_a_known_course() -> None:
    trials = [read_trial(WALK, "0.5m/s")]
    known = score(WALK, trials, facts={"course": "3m"}, variant="single")
    unknown = score(WALK, trials, variant="single")

    assert known.parts["course_seconds"].value == 6
    assert not unknown.parts


def test_time_over_an_unknown_course_is_no_speed() -> None:
    with pytest.raises(NotScorable, match="how long the course was"):
        score(WALK, timed("4", "4"))


def test_speed_in_feet_converts_exactly() -> None:
    made = score(WALK, [read_trial(WALK, t) for t in ("0.762m/s", "2.5ft/s")])

    assert (made.value, made.unit) == (Fraction("2.5"), "ft/s")
