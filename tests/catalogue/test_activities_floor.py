"""Sitting, standing, stepping and walking activities say what was written for them."""

import re
from decimal import Decimal
from math import pi

import pytest

from app.catalogue.load import catalogue
from app.clinical.activity import Activity
from app.clinical.strip import STRIP_IN, Layout

FLOOR = {k: a for k, a in catalogue().activities.items() if k[0] in "SBDTM"}

#: start, step, easiest, hardest; sets, rest (s); how many steps it is done in.
PRINTED: dict[str, tuple[object, ...]] = {
    "S01": (4, 1, 2, 10, 2, 60, 4), "S02": (2, 1, 0, 12, 3, 60, 3),
    "S03": (12, 2, 6, 24, 2, 60, 4), "S04": (15, 10, 5, 120, 4, 45, 3),
    "S05": (4, 1, 2, 10, 2, 90, 4), "S06": (18, -3, 24, 0, 2, 60, 4),
    "B01": (2, 1, 1, 5, 3, 30, 4), "B02": (3, 2, 0, 30, 3, 30, 4),
    "B03": (10, 4, 6, 40, 3, 60, 4), "B04": (1, 1, 1, 4, 3, 45, 4),
    "D01": (4, 1, 2, 10, 2, 60, 4), "D02": (60, 10, 40, 100, 3, 60, 3),
    "D03": (20, 4, 10, 50, 2, 60, 3), "D04": (36, 6, 18, 60, 2, 90, 4),
    "T01": (12, 1, 8, 19, 2, 60, 4), "T02": (0, 1, 0, 4, 2, 60, 4),
    "T03": (1, 1, 1, 12, 2, 60, 3), "T04": (2, 1, 1, 8, 2, 90, 4),
    "T05": (2, 1, 2, 6, 2, 90, 4), "T06": (1, 1, 0, 4, 1, 120, 4),
    "M01": (4, 2, 2, 10, 4, 60, 4), "M02": (12, -1, 16, 6, 4, 60, 4),
    "M03": (100, 5, 100, 130, 4, 60, 4), "M04": (60, 12, 24, 240, 3, 60, 4),
    "M05": (18, 6, 6, 72, 2, 90, 3), "M06": (90, 90, 45, 360, 2, 90, 4),
    "M07": (5, 1, 3, 20, 3, 90, 3),
}  # fmt: skip
#: What a full set has: the low end of the amount, both sides together.
FULL = {
    "S01": (16, "reps"), "S02": (10, "reps"), "S03": (16, "reps"),
    "S04": (15, "hold_s"), "S05": (48, "distance_in"), "S06": (6, "reps"),
    "B01": (10, "hold_s"), "B02": (3, "hold_s"), "B03": (None, ""),
    "B04": (15, "hold_s"), "D01": (20, "reps"), "D02": (8, "reps"),
    "D03": (8, "reps"), "D04": (12, "reps"), "T01": (16, "reps"),
    "T02": (10, "reps"), "T03": (16, "reps"), "T04": (120, "time_s"),
    "T05": (12, "calls"), "T06": (6, "reps"), "M01": (None, ""), "M02": (2, "passes"),
    "M03": (240, "distance_in"), "M04": (None, ""), "M05": (6, "reps"),
    "M06": (None, ""), "M07": (1, "reps"),
}  # fmt: skip
#: least, most help, fewest people: what the prerequisite asks.
ASKED = {
    **dict.fromkeys(("S01", "S02", "S03", "S04", "S05"), ("sits_held", "moderate", 1)),
    "S06": ("sits", "contact", 1),
    **dict.fromkeys(("B01", "B03"), ("stands_held", "minimal", 1)),
    **dict.fromkeys(
        ("B02", "B04", "D01", "D02", "D03", "D04", "T01", "T02", "T03", "T04", "T05"),
        ("stands", "contact", 1),
    ),
    "T06": ("stands", "contact", 2),
    "M01": ("walks", "contact", 1),
    **dict.fromkeys(
        ("M02", "M03", "M04", "M05", "M06", "M07"), ("walks", "minimal", 1)
    ),
}
JARGON = (
    "therapist", "patient", "stance", "lateral", "contralateral", "ipsilateral",
    "anterior", "posterior", "diagonal", "midline", "trunk", "pelvis", "buttock",
    "tandem", "gait", "guard", "cue", "cues", "graded", "unsupported", "caregiver",
    "assistance", "reps", "repetition", "repetitions", "obstacle", "clearance",
    "flex", "extend", "compensation", "navel", "strip",
)  # fmt: skip
each = pytest.mark.parametrize("a", FLOOR.values(), ids=FLOOR)
at_home = [a for a in FLOOR.values() if a.home]


def _used(lay: Layout) -> Decimal:
    """Inches of strip that a lay takes."""
    length, gap = lay.length or Decimal(0), lay.gap or Decimal(0)
    return {
        "lane": 2 * length + gap,
        "square": 4 * (lay.side or Decimal(0)),
        "ring": 2 * Decimal(pi) * (lay.radius or Decimal(0)),
    }.get(lay.shape, length)


def _words(text: str) -> list[str]:
    return re.findall(r"[a-z0-9']+", text.lower())


def test_every_one_is_pinned() -> None:
    assert set(FLOOR) == set(PRINTED) == set(FULL) == set(ASKED)


@each
def test_grade_and_dose_are_as_printed(a: Activity) -> None:
    g, d = a.grade, a.dose

    assert PRINTED[a.id] == (
        g.start, g.step, g.easiest, g.hardest, d.sets, d.rest_s, len(a.steps),
    )  # fmt: skip


@each
def test_a_full_set_is_something_the_phone_counts(a: Activity) -> None:
    assert (a.dose.target, a.dose.target_of) == FULL[a.id]
    assert a.dose.target_of in (*a.count, "calls", "")


@each
def test_least_help_and_people(a: Activity) -> None:
    assert (a.least, a.help, a.staff) == ASKED[a.id]


@each
def test_the_strip_is_long_enough_at_every_grade(a: Activity) -> None:
    ends = (a.grade.easiest, a.grade.start, a.grade.hardest)

    for lay in a.layouts:
        used = [_used(lay.at(end)) for end in ends]
        assert max(used) <= STRIP_IN, (lay.shape, used)
        assert not lay.marks or max(lay.marks) <= _used(lay)


@each
def test_a_size_the_grade_sets_is_in_inches_and_within_it(a: Activity) -> None:
    for lay in a.layouts:
        if lay.graded:
            assert a.grade.unit == "in"
            assert a.grade.within(getattr(lay, lay.graded))


def test_a_figure_that_is_not_laid_says_why() -> None:
    bare = [a.id for a in FLOOR.values() for y in a.layouts if y.shape == "none"]

    assert bare == ["B02", "D02", "T06"]
    assert all(y.note for a in FLOOR.values() for y in a.layouts)


def test_a_ring_has_its_quarters_marked() -> None:
    (ring,) = FLOOR["M06"].layouts
    quarter = _used(ring) / 4

    for n, mark in enumerate(ring.marks):
        assert abs(mark - n * quarter) < Decimal("0.25")
    assert len(ring.marks) == 4


def test_the_conditions_in_words() -> None:
    named = {a.id: a.grade.rungs for a in FLOOR.values() if a.grade.rungs}

    assert set(named) == {"B01", "B04"}
    assert [len(set(r)) for r in named.values()] == [5, 4]
    assert "heel to toe" in named["B01"][-1]
    assert "closed" in named["B04"][-1]


def test_only_three_are_called() -> None:
    callers = {a.id: a.caller for a in FLOOR.values() if a.caller}

    assert {k: c.kind for k, c in callers.items()} == {
        "T01": "clock", "T04": "sequence", "T05": "directions",
    }  # fmt: skip
    for caller in callers.values():
        assert len(set(caller.choices)) == len(caller.choices)
    assert len(callers["T05"].choices) == FLOOR["T05"].grade.hardest
    assert callers["T05"].graded == "choices"
    assert callers["T05"].calls == FLOOR["T05"].dose.target
    assert callers["T01"].calls == FLOOR["T01"].dose.target
    assert callers["T04"].graded == "length"


def test_nobody_but_the_therapist_holds_the_strip() -> None:
    assert not [a.id for a in FLOOR.values() if a.holds_strip]


@each
def test_it_is_found_by_plain_words(a: Activity) -> None:
    names = [n.lower() for n in a.other_names]

    assert 2 <= len(set(names)) == len(names) <= 5
    assert a.name.lower() not in names


def test_six_are_for_a_therapist_only() -> None:
    assert [a.id for a in FLOOR.values() if not a.home] == [
        "B02", "B04", "T01", "T04", "T05", "T06",
    ]  # fmt: skip


@pytest.mark.parametrize("a", at_home, ids=[a.id for a in at_home])
def test_home_words_are_plain_and_begin_with_the_helper(a: Activity) -> None:
    assert a.home
    text = " ".join((f"{a.home.name}.", *a.home.steps))
    sentences = re.split(r"[.:]\s", text)

    assert a.home.name != a.name
    assert 3 <= len(a.home.steps) <= 6
    assert re.match(r"Your helper (sits|stands|moves|walks) .*", a.home.steps[0])
    assert re.search(r"\b(belt|hand)\b", a.home.steps[0])
    assert not set(_words(text)) & set(JARGON)
    assert not re.search(r"\b(alone|by yourself|on your own)\b", text)
    assert max(len(_words(s)) for s in sentences) <= 24
    assert "ount" in text, "says what to count"
    if a.position == "standing":
        assert "belt" in a.home.steps[0]
