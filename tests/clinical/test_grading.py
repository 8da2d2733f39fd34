"""The next grade: every rule with its edges, and what nobody noted."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from app.catalogue.load import catalogue
from app.clinical.activity import Activity, Dose
from app.clinical.doing import DoneSet
from app.clinical.grading import Proposal, amount_of, errors_of, propose

FIRST = date(2026, 2, 24)
#: Stepping on a ring: 8 in is easiest, 19 hardest, 1 in a step; a full set is 8 steps.
RING = replace(
    catalogue().activities["T01"],
    dose=Dose(2, "8 steps", 60, 60, "", "common practice", target=8, target_of="reps"),
)
CLEAN: dict[str, Any] = {
    "grade": Decimal(12),
    "numbers": {"reps": 8, "errors": 0},
    "hand_support": "fingertip",
    "no_symptom": True,
}


def a_set(session: int = 1, /, **said: Any) -> DoneSet:
    """A clean set of the ring in the first, second ... session; `said` changes it."""
    numbers = {k: said.pop(k) for k in ("reps", "errors", "calls", "correct")
               if k in said}  # fmt: skip
    known = {**CLEAN["numbers"], **numbers}
    kept = {k: v for k, v in known.items() if v is not None}
    day = FIRST + timedelta(days=3 * (session - 1))
    at = datetime(day.year, day.month, day.day, 10, tzinfo=UTC)
    fixed = {"activity": "T01", "on": day, "visit_id": session, "at": at}
    return DoneSet(**{**CLEAN, **fixed, **said, "numbers": kept})


def two_sessions(**said: Any) -> list[DoneSet]:
    """Two clean sets in each of two sessions; `said` changes the last set."""
    return [a_set(1), a_set(1), a_set(2), a_set(2, **said)]


def after(
    *sets: DoneSet, activity: Activity = RING, too_easy: bool = False
) -> Proposal:
    return propose(activity, sets, too_easy=too_easy)


def test_two_clean_sessions_go_up_by_one_step_of_one_thing() -> None:
    found = after(*two_sessions())

    assert (found.value, found.direction) == (Decimal(13), "up")
    assert found.because == (
        "24 Feb and 27 Feb: 2 full sets in a row at ring radius 12 in, at "
        "most 0 errors a set, no symptom, fingertips each time. Only this changes: "
        "distance."
    )


@pytest.mark.parametrize(
    ("last", "direction", "says"),
    [
        ({"errors": 1}, "up", "at most 1 error a set"),
        ({"errors": 2}, "stay", "2 errors"),
        ({"errors": 3}, "down", "set 2: 3 errors, more than 2"),
        ({"errors": None}, "stay", "errors were not counted"),
        ({"errors": None, "calls": 10, "correct": 9}, "up", "at most 1 error a set"),
        ({"errors": None, "calls": 10, "correct": 8}, "stay", "2 errors"),
        ({"errors": None, "calls": 10, "correct": 7}, "down", "3 errors"),
        ({"errors": 0, "calls": 10, "correct": 7}, "down", "3 errors"),
        ({"errors": None, "calls": 10}, "stay", "errors were not counted"),
        ({"effort": 5, "effort_scale": "0-10"}, "up", "no symptom"),
        ({"effort": 6, "effort_scale": "0-10"}, "down", "above hard (5; from memory)"),
        ({"effort": 15, "effort_scale": "6-20"}, "up", "no symptom"),
        ({"effort": 16, "effort_scale": "6-20"}, "down", "above hard (15; from memory"),
        ({"symptoms": ("dizzy",), "no_symptom": False}, "down", "set 2: dizzy"),
        ({"no_symptom": False}, "stay", "a symptom was not noted"),
        ({"outcome": "stopped"}, "down", "set 2: stopped for safety"),
        ({"outcome": "declined"}, "stay", "fewer than 2 clean sets in a row"),
        ({"reps": 7}, "stay", "7 of 8 repetitions"),
        ({"reps": 9}, "up", "2 full sets in a row"),
        ({"reps": None}, "stay", "repetitions: not noted"),
        ({"hand_support": ""}, "stay", "hand support was not noted"),
        ({"hand_support": "none"}, "stay", "hand support changed from set to set"),
        ({"hand_support": "one_hand"}, "stay", "hand support changed"),
    ],
)
def test_last_set_decides(last: dict[str, Any], direction: str, says: str) -> None:
    found = after(*two_sessions(**last))

    assert found.direction == direction
    assert says in found.because
    step = {"up": 1, "stay": 0, "down": -1}[direction]
    assert found.value == Decimal(12 + step)


def test_one_session_is_too_few() -> None:
    found = after(a_set(), a_set())

    assert (found.value, found.direction) == (Decimal(12), "stay")
    assert found.because == "Clean in one session; up after two."


def test_one_clean_set_in_a_session_is_too_few() -> None:
    found = after(a_set(1), a_set(1), a_set(2))

    assert found.direction == "stay"
    assert found.because == "On 27 Feb fewer than 2 clean sets in a row."


def test_where_the_dose_is_one_set_one_is_enough() -> None:
    once = replace(RING, dose=replace(RING.dose, sets=1))

    assert after(a_set(1), a_set(2), activity=once).direction == "up"


def test_errors_between_two_clean_sets_break_the_row() -> None:
    found = after(a_set(1), a_set(1), a_set(2), a_set(2, errors=2), a_set(2))

    assert found.direction == "stay"


def test_first_of_two_sessions_must_be_clean_too() -> None:
    found = after(a_set(1, errors=2), a_set(1, errors=2), a_set(2), a_set(2))

    assert found.direction == "stay"
    assert "on 24 Feb" in found.because.replace("On", "on")


def test_first_session_at_another_grade_does_not_count() -> None:
    easier = {"grade": Decimal(11)}
    found = after(a_set(1, **easier), a_set(1, **easier), a_set(2), a_set(2))

    assert (found.value, found.direction) == (Decimal(12), "stay")
    assert "at another grade than ring radius 12 in" in found.because


def test_hand_support_must_be_the_same_in_both_sessions() -> None:
    found = after(
        a_set(1, hand_support="one_hand"), a_set(1, hand_support="one_hand"),
        a_set(2), a_set(2),
    )  # fmt: skip

    assert found.direction == "stay"
    assert "not the same: fingertips and one hand" in found.because


@pytest.mark.parametrize(
    ("hands", "direction"),
    [
        (("none", "fingertip", "fingertip"), "stay"),
        (("none", "fingertip", "one_hand"), "down"),
        (("none", "fingertip", "none", "fingertip"), "down"),
        (("one_hand", "fingertip", "none"), "stay"),
        (("none", "", "fingertip", "", "one_hand"), "down"),
    ],
    ids=["one catch", "two", "two with a letting go", "only letting go", "unknown"],
)
def test_two_hand_catches_go_down(hands: tuple[str, ...], direction: str) -> None:
    found = after(*(a_set(1, hand_support=hand) for hand in hands))

    assert found.direction == direction
    assert ("more hand support 2 times" in found.because) == (direction == "down")


def test_therapist_says_it_was_too_easy() -> None:
    assert after(a_set(), too_easy=True).value == Decimal(13)
    assert after(a_set(errors=2), too_easy=True).direction == "up"


@pytest.mark.parametrize(
    "last", [{"errors": 3}, {"outcome": "stopped"}, {"symptoms": ("faint",)}]
)
def test_too_easy_is_no_answer_to_trouble(last: dict[str, Any]) -> None:
    assert after(a_set(**last), too_easy=True).direction == "down"


def test_went_down_within_the_session_is_not_sent_down_again() -> None:
    found = after(a_set(errors=4, grade=Decimal(13)), a_set(), a_set())

    assert (found.value, found.direction) == (Decimal(12), "stay")
    assert "at another grade, set 1: 4 errors" in found.because.replace("At", "at")


def test_trouble_of_an_earlier_session_is_no_clean_session() -> None:
    found = after(a_set(1), a_set(1, effort=9, effort_scale="0-10"), a_set(2), a_set(2))

    assert found.direction == "stay"
    assert "effort 9" in found.because


def test_hardest_stays_and_names_another_thing_to_change() -> None:
    found = after(*(replace(s, grade=Decimal(19)) for s in two_sessions()))

    assert (found.value, found.direction) == (Decimal(19), "stay")
    assert "change one other thing" in found.because


def test_easiest_goes_down_to_something_easier() -> None:
    found = after(a_set(grade=Decimal(8), errors=5))

    assert (found.value, found.direction) == (Decimal(8), "down")
    assert RING.easier in found.because


def test_never_done_starts_where_the_activity_starts() -> None:
    assert after() == Proposal(
        RING.grade.start, "start", "Not done yet: the usual start."
    )
    assert after(a_set(outcome="declined")).direction == "start"
    assert after(a_set(outcome="not_done")).direction == "start"
    assert after(replace(a_set(), activity="T02")).direction == "start"


def test_sets_without_a_grade_are_no_ground() -> None:
    found = after(a_set(grade=None))

    assert (found.value, found.direction) == (RING.grade.start, "start")
    assert found.because.startswith("Done before, but at no recorded grade")


def test_smaller_may_be_harder() -> None:
    chair = replace(catalogue().activities["R01"], dose=RING.dose)
    sets = [replace(s, activity="R01", grade=Decimal(21)) for s in two_sessions()]

    assert propose(chair, sets).value == Decimal(20)
    assert propose(chair, [replace(sets[0], outcome="stopped")]).value == Decimal(22)


def test_dose_that_cannot_be_counted_never_goes_up_by_itself() -> None:
    dose = replace(RING.dose, target=None, target_of="")
    found = after(*two_sessions(), activity=replace(RING, dose=dose))

    assert found.direction == "stay"
    assert "is not counted: you decide" in found.because


def test_activity_that_counts_no_errors_is_judged_by_the_rest() -> None:
    plain = replace(RING, count=("reps",))
    found = after(*two_sessions(errors=None), activity=plain)

    assert found.direction == "up"


def test_hold_is_as_long_as_its_grade() -> None:
    hover = replace(
        catalogue().activities["R04"],
        dose=replace(RING.dose, target=3, target_of="hold_s"),
        count=("hold_s",),
    )
    at = hover.grade.start + 2

    def held(ms: int) -> Proposal:
        made = [
            replace(s, activity="R04", grade=at, holds_ms=(500, ms))
            for s in two_sessions()
        ]
        return propose(hover, made)

    ms = int(at * 1000)
    assert held(ms).direction == "up"
    assert held(ms - 1).direction == "stay"


@pytest.mark.parametrize(
    ("said", "what", "had"),
    [
        ({"distance": Decimal("25.4"), "distance_unit": "cm"}, "distance_in", 10),
        ({"distance": Decimal(10), "distance_unit": "in"}, "distance_in", 10),
        ({}, "distance_in", None),
        ({"holds_ms": (4000, 9000)}, "hold_s", 9),
        ({}, "hold_s", None),
        ({"reps": 5}, "reps", 5),
        ({}, "steps", None),
        ({}, "time_s", None),
    ],
)
def test_amount_of_a_set(said: dict[str, Any], what: str, had: int | None) -> None:
    assert amount_of(a_set(**said), what) == had


def test_more_errors_than_calls_is_none_less() -> None:
    assert errors_of(a_set(errors=None, calls=4, correct=5)) == 0
    assert errors_of(a_set(errors=None)) is None
    assert errors_of(a_set(errors=1, calls=4, correct=1)) == 3
