"""The activities of an episode's picture: the grade of each session, harder is up."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import groupby
from math import ceil, floor

from app.clinical.activity import GRADE_UNITS, NAMED_UNITS, Activity, Grade
from app.clinical.doing import OUTCOMES, DoneSet
from app.clinical.quantities import plain
from app.clinical.timeline_lanes import Lane, Point, Rise, Up, lane_view
from app.web.activity_words import grade_value
from app.web.care_facts import Care, Facts
from app.web.care_lanes import NOT_TRIED, CareLane, row_of
from app.web.dates import day_words
from app.web.dose_lines import (
    TRIED,
    alike_sets,
    amount,
    count_words,
    dose_line,
    times_words,
)
from app.web.dose_picture import axis_words

#: Height of the plot, em.
PLOT_EM = 4.8


def dose_lanes(care: Care, facts: Facts) -> list[CareLane]:
    """The activity done last comes first. `care.sets` come oldest first."""
    by_activity: dict[str, list[DoneSet]] = {}
    for done in reversed(care.sets):
        by_activity.setdefault(done.activity, []).insert(0, done)
    return [_lane(care, key, sets, facts) for key, sets in by_activity.items()]


def _lane(care: Care, key: str, sets: Sequence[DoneSet], facts: Facts) -> CareLane:
    activity = care.shelf.activities.get(key)
    name = activity.name if activity else key
    visits = [list(same) for _, same in groupby(sets, lambda done: done.visit_id)]
    points = [
        p for visit in visits for p in _points(care, activity, name, visit, facts)
    ]
    points = _said_when_new(_latest_marked(points))
    numbered = activity and any(p.value is not None for p in points)
    says = _says(activity, sets, len(visits))
    return CareLane(
        name=name,
        link=f"/patients/{care.patient.id}/doses?activity={key}",
        says=says,
        chip=None,
        view=lane_view(care.span, _graded(activity.grade, points))
        if activity and numbered
        else None,
        row=None if numbered else row_of(care, points),
        key=(),
        label=f"{name} by days. {says}",
    )


def _points(
    care: Care,
    activity: Activity | None,
    name: str,
    visit: Sequence[DoneSet],
    facts: Facts,
) -> Iterator[Point]:
    for same in alike_sets(visit):
        first, tried = same[0], same[0].outcome in TRIED
        graded = tried and activity is not None and first.grade is not None
        fact = facts.add(
            first.on, name, _words(care, activity, same),
            number="" if first.grade is None else plain(first.grade),
            unit=_unit(activity, first), visit_id=first.visit_id,
        )  # fmt: skip
        yield Point(
            fact, first.on, first.grade if graded else None, _shape(first, tried),
            _mark_words(same) if tried else OUTCOMES[first.outcome],
            joined=graded, sets=len(same) if graded else 0,
        )  # fmt: skip


def _unit(activity: Activity | None, done: DoneSet) -> str:
    if activity is None or done.grade is None:
        return ""
    grade = activity.grade
    return grade.unit if grade.unit in NAMED_UNITS else GRADE_UNITS[grade.unit]


def _shape(done: DoneSet, tried: bool) -> str:
    if done.outcome == "stopped":
        return "stopped"
    return "pin" if tried else NOT_TRIED


def _latest_marked(points: Sequence[Point]) -> list[Point]:
    """The last that was done as planned is the filled one."""
    done = [n for n, p in enumerate(points) if p.joined and p.shape == "pin"]
    latest = done[-1] if done else None
    return [
        p._replace(shape="latest") if n == latest else p for n, p in enumerate(points)
    ]


def _said_when_new(points: Sequence[Point]) -> list[Point]:
    """The same amount again is not said again, but beside the latest."""
    before = ("", *(p.says for p in points))
    return [
        p if p.shape != "pin" or p.says != was else p._replace(says="")
        for p, was in zip(points, before, strict=False)
    ]


def _mark_words(sets: Sequence[DoneSet]) -> str:
    amounts = {amount(done) for done in sets}
    return times_words(len(sets), amounts.pop() if len(amounts) == 1 else "", "\u00d7")


def _words(care: Care, activity: Activity | None, sets: Sequence[DoneSet]) -> str:
    line = dose_line(activity, sets, care.span.last)
    errors = f"errors {line.errors}" if line.errors else ""
    effort = f"effort {line.effort}" if line.effort else ""
    felt = f"symptoms: {line.symptoms}" if line.symptoms else ""
    grade = line.grade if activity and activity.grade.rungs else ""
    said = (grade, line.sets, errors, line.hands, line.help, effort, felt, line.stopped)
    return ", ".join(filter(None, said))


def _graded(grade: Grade, points: Sequence[Point]) -> Lane:
    """One step more than was done at both ends, as far as the ladder goes."""
    done = [
        (p.value - grade.easiest) / grade.step for p in points if p.value is not None
    ]
    most = floor((grade.hardest - grade.easiest) / grade.step)
    low, high = max(0, floor(min(done)) - 1), min(most, ceil(max(done)) + 1)
    ends = sorted(
        grade.easiest + grade.step * rung for rung in (low, max(high, low + 1))
    )
    up: Up = "higher" if grade.step > 0 else "lower"
    rise = Rise(ends[0], ends[1], abs(grade.step), up, PLOT_EM)
    return Lane(rise=rise, points=tuple(points), up="\u2191 harder", steps=True)


def _says(activity: Activity | None, sets: Sequence[DoneSet], sessions: int) -> str:
    """`4 sessions, from 21 in to 19 in. Up the tape is harder: seat height ...`."""
    said = count_words(sessions, "session")
    graded = [d.grade for d in sets if d.grade is not None and d.outcome in TRIED]
    if activity is None or not graded:
        return f"{said}, the latest {day_words(sets[-1].on)}."
    first, last = (_grade(activity.grade, value) for value in (graded[0], graded[-1]))
    way = f"at {last}" if first == last else f"from {first} to {last}"
    return f"{said}, {way}. {axis_words(activity.grade)}"


def _grade(grade: Grade, value: Decimal) -> str:
    return grade_value(grade, value)
