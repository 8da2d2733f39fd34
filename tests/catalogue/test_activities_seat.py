"""Transfers, two hands, dressing, reach, two things at once, home: carried as written.

The first table is taken from the written reference, not from the files.
"""

from decimal import Decimal
from itertools import pairwise

import pytest

from app.catalogue.load import catalogue
from app.clinical.activity import NAMED_UNITS, Activity
from app.clinical.strip import STRIP_IN, Layout

#: Start, step, sets, rest in seconds, how many steps.
WRITTEN: dict[str, tuple[Decimal | int, ...]] = {
    "R01": (21, -1, 3, 90, 4),
    "R02": (0, 1, 3, 90, 4),
    "R03": (3, 1, 2, 60, 4),
    "R04": (1, 1, 2, 60, 4),
    "R05": (3, 1, 1, 120, 4),
    "R06": (75, -10, 1, 60, 4),
    "C01": (60, 12, 3, 60, 4),
    "C02": (40, 10, 3, 60, 4),
    "C03": (1, 1, 2, 60, 4),
    "C04": (12, 2, 2, 30, 4),
    "C05": (0, 25, 2, 60, 3),
    "L01": (48, -4, 2, 90, 4),
    "L02": (24, -2, 2, 90, 4),
    "L03": (6, 1, 3, 30, 4),
    "L04": (20, 5, 3, 30, 4),
    "L05": (2, 2, 1, 90, 4),
    "L06": (10, -1, 3, 30, 4),
    "U01": (6, 1, 2, 60, 4),
    "U02": (8, 1, 3, 60, 4),
    "U03": (2, 1, 2, 60, 4),
    "U04": (12, 2, 2, 60, 4),
    "G01": (1, 1, 3, 60, 4),
    "G02": (1, 1, 4, 60, 4),
    "G03": (3, 1, 2, 90, 4),
    "G04": (1, 1, 2, 90, 4),
    "H01": (0, 1, 1, 0, 4),
    "H02": (0, 1, 1, 0, 4),
    "H03": (5, 2, 1, 0, 4),
    "H04": (3, -1, 1, 120, 4),
    "H05": (0, 1, 1, 120, 4),
    "H06": (3, 1, 1, 120, 4),
}  # fmt: skip
ACTIVITIES = {i: catalogue().activities[i] for i in WRITTEN}
AT_HOME = {
    "R01", "R03", "R04", "R05", "C01", "C02", "C04", "C05", "L03", "L06",
    "U01", "U02", "U03", "U04",
}  # fmt: skip
#: Whoever has these in the hands holds the strip.
HELD = {"R06", "C01", "C02", "C03", "L01", "L02", "L04", "L05", "U03"}
#: What the ability to begin with and the most help are, of each group.
ABLE = {
    "stands_held moderate": {"R01", "R02", "R03", "R05", "H04"},
    "sits_held moderate": {"R04", "C01", "C02", "C03", "C04", "C05"},
    "sits moderate": {"R06", "L01", "L02", "L03", "L04", "L06", "U02", "U03", "U04"},
    "stands_held minimal": {"L05"},
    "stands contact": {"U01"},
    "stands supervision": {"G01", "G03", "G04"},
    "walks supervision": {"G02"},
    "lies total": {"H01", "H02", "H03"},
    "stands minimal": {"H05"},
    "walks minimal": {"H06"},
}
#: Words of the trade, which a patient need not know.
JARGON = (
    "therapist", "patient", "transfer", "sit-to-stand", "gait", "stance", "trunk",
    "pelvis", "midline", "repetition", "reps", "unsupported", "assist", "contact guard",
    "flex", "extend", "weight-bearing", "bilateral", "neglect", "popliteal", "dose",
    "caregiver", "posture", "ambulat", "sternum", "grade", " cm", "alone",
)  # fmt: skip


def grades(activity: Activity) -> list[Decimal]:
    g = activity.grade
    return [g.easiest, g.start, g.hardest]


def used(layout: Layout) -> Decimal:
    """Inches of strip that a lay takes."""
    if layout.shape == "square":
        return 4 * (layout.side or Decimal(0))
    if layout.shape == "ring":
        return Decimal("6.2832") * (layout.radius or Decimal(0))
    if layout.shape == "loop":
        return layout.round or Decimal(0)
    twice = 2 if layout.shape == "lane" else 1
    return twice * (layout.length or Decimal(0)) + (layout.gap or Decimal(0))


@pytest.mark.parametrize("activity_id", WRITTEN)
def test_values_are_as_written(activity_id: str) -> None:
    activity = ACTIVITIES[activity_id]

    carried: tuple[Decimal | int, ...] = (
        activity.grade.start,
        activity.grade.step,
        activity.dose.sets,
        activity.dose.rest_s,
        len(activity.steps),
    )
    assert carried == WRITTEN[activity_id]


def test_ability_and_help_follow_what_is_asked_beforehand() -> None:
    found: dict[str, set[str]] = {}
    for activity in ACTIVITIES.values():
        found.setdefault(f"{activity.least} {activity.help}", set()).add(activity.id)

    assert found == ABLE


def test_who_holds_the_strip_is_kept_from_it_at_a_ligature_risk() -> None:
    held = {a.id for a in ACTIVITIES.values() if a.holds_strip}
    kept = {a.id for a in ACTIVITIES.values() if "ligature_risk" in a.must_not}

    assert held == kept == HELD


def test_each_is_found_by_two_to_five_other_names() -> None:
    for activity in ACTIVITIES.values():
        names = {name.lower() for name in activity.other_names}
        assert 2 <= len(names) == len(activity.other_names) <= 5, activity.id
        assert activity.name.lower() not in names, activity.id


def test_every_lay_fits_on_the_strip_at_every_grade() -> None:
    lays = [
        (a.id, layout.at(grade) if layout.graded else layout)
        for a in ACTIVITIES.values()
        for layout in a.layouts
        for grade in grades(a)
    ]
    too_long = {i: used(layout) for i, layout in lays if used(layout) > STRIP_IN}
    empty = {i for i, lay in lays if lay.shape != "none" and used(lay) <= 0}

    assert too_long == {}
    assert empty == set()
    assert used(Layout("lane", length=Decimal(54), gap=Decimal(10))) == 118
    assert used(Layout("ring", radius=Decimal(20))) > STRIP_IN


def test_a_size_the_grade_sets_begins_where_the_grade_does() -> None:
    graded = {
        a.id: (getattr(layout, layout.graded), a.grade.start, a.grade.unit)
        for a in ACTIVITIES.values()
        for layout in a.layouts
        if layout.graded
    }

    assert set(graded) == {"R01", "C02", "C04", "L01", "L02", "L06", "U02"}
    for size, start, unit in graded.values():
        assert size == start
        assert unit == "in"


def test_marks_lie_on_the_strip() -> None:
    for activity in ACTIVITIES.values():
        for layout in activity.layouts:
            sides = 2 if layout.zero == "middle" else 1
            reach = (layout.length or Decimal(0)) / sides
            for mark in layout.marks:
                assert 0 <= mark <= reach, activity.id


def test_a_lay_with_no_size_says_how_it_lies() -> None:
    bare = [
        layout
        for a in ACTIVITIES.values()
        for layout in a.layouts
        if layout.shape == "none"
    ]

    assert bare
    assert all(len(layout.note) > 20 for layout in bare)


def test_rungs_are_as_many_as_the_hardest_and_differ() -> None:
    rungs = {a.id: a.grade.rungs for a in ACTIVITIES.values() if a.grade.rungs}

    assert {i: len(said) for i, said in rungs.items()} == {
        "R05": 6, "G01": 5, "G02": 5, "G04": 4,
    }  # fmt: skip
    for activity_id, said in rungs.items():
        assert ACTIVITIES[activity_id].grade.unit in NAMED_UNITS
        assert len(set(said)) == len(said) == ACTIVITIES[activity_id].grade.hardest


@pytest.mark.parametrize("activity_id", ["G01", "G02", "G04"])
def test_a_rung_changes_one_thing(activity_id: str) -> None:
    """Each rung is a list of conditions: at most one of them moves."""
    rungs = [rung.split(", ") for rung in ACTIVITIES[activity_id].grade.rungs]

    for before, after in pairwise(rungs):
        gone = [part for part in before if part not in after]
        come = [part for part in after if part not in before]
        assert len(gone) <= 1, (before, after)
        assert len(come) == 1, (before, after)


def test_what_a_full_set_has_can_be_counted() -> None:
    counted = {
        a.id: (a.dose.target_of, a.dose.target)
        for a in ACTIVITIES.values()
        if a.dose.target is not None
    }

    for activity_id, (of, target) in counted.items():
        assert of == "calls" or of in ACTIVITIES[activity_id].count, activity_id
        assert target, activity_id
    assert counted["R05"] == ("reps", 6)
    assert counted["L02"] == ("reps", 6)
    assert counted["L03"] == counted["L04"] == counted["L06"] == ("hold_s", 20)
    assert counted["C03"] == ("time_s", 120)
    assert counted["G04"] == ("calls", 12)


def test_a_dose_says_how_it_is_known() -> None:
    known = {
        a.id: a.dose.how for a in ACTIVITIES.values() if a.dose.how != "common practice"
    }

    assert known == {
        "R01": "secondary", "L03": "full text", "L04": "full text", "L06": "full text",
    }  # fmt: skip
    for activity in ACTIVITIES.values():
        named = {s for s in activity.dose.sources if s in activity.dose.basis}
        assert named == set(activity.dose.sources), activity.id
        assert bool(named) == (activity.dose.basis != "common practice"), activity.id


def test_what_is_called_differs_and_belongs() -> None:
    callers = {a.id: a.caller for a in ACTIVITIES.values() if a.caller}

    assert {i: c.kind for i, c in callers.items()} == {
        "U04": "marks", "G01": "subtract", "G03": "sequence", "G04": "go_stop",
    }  # fmt: skip
    for activity_id, caller in callers.items():
        assert len(set(caller.choices)) == len(caller.choices) > 1, activity_id


def test_a_search_calls_no_mark_beyond_its_width() -> None:
    """As many are called as the width has inches, from the nearest."""
    search = ACTIVITIES["U04"]
    assert search.caller
    assert search.caller.graded == "choices"
    grade: Decimal | None = search.grade.easiest
    while grade is not None:
        called = [c.split() for c in search.caller.choices[: int(grade)]]
        assert max(int(mark) for _, mark in called) == grade
        assert [side for side, _ in called].count("left") == grade / 2
        grade = search.grade.harder(grade)


def test_home_words_are_there_and_plain() -> None:
    homes = {a.id: a.home for a in ACTIVITIES.values() if a.home}

    assert set(homes) == AT_HOME
    for activity_id, home in homes.items():
        assert 3 <= len(home.steps) <= 6, activity_id
        assert home.steps[0].startswith("Your helper "), activity_id
        said = " ".join((home.name, *home.steps)).lower()
        assert [word for word in JARGON if word in said] == [], activity_id
        assert "count" in said or "writes down" in said, activity_id
        assert not set(home.steps) & set(ACTIVITIES[activity_id].steps), activity_id


def test_a_strip_held_at_home_is_taken_away() -> None:
    for activity_id in AT_HOME & HELD:
        home = ACTIVITIES[activity_id].home
        assert home
        assert "take it away after" in home.steps[0], activity_id
