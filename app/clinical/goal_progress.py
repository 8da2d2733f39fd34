"""How far a goal has come: only what compares with its start tells anything.

Values are compared as they are shown. Another set-up, another device or another number
of helpers tells nothing of the way gained, and is said instead.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Final, Literal

from app.clinical.assistance import LEVELS
from app.clinical.change import Change, judge_change
from app.clinical.course import RESULTS, Kept, value_in
from app.clinical.days import short_day
from app.clinical.goals import (
    Baseline,
    LevelSeen,
    Target,
    TimesSeen,
    start_value,
    target_short,
)
from app.clinical.measure import Measure
from app.clinical.person import Person
from app.clinical.quantities import rounded, words
from app.clinical.readings import worse_word
from app.clinical.setup import HowDone, what_differs
from app.clinical.trend import Point, reaches, trend
from app.clinical.visiting import DEVICES, SET_UPS

State = Literal["none_yet", "untold", "worse", "no_change", "on_the_way", "reached"]
NOTHING_YET: Final = "Nothing measured since the start."
NO_START: Final = "No start in the same unit: the way gained cannot be told."


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """`percent` of the way from start to target, 0 to 100 whatever lies beyond.

    It is None where none can be told: a level of help is no number. `value` is the
    newest that compares, `differs` why a newer one does not.
    """

    state: State
    says: str
    percent: int | None = None
    value: str = ""
    number: Decimal | None = None  # the same, where it is a score
    on: date | None = None
    differs: tuple[str, ...] = ()
    change: Change | None = None
    expected: tuple[date, date | None] | None = None


def of_score(
    measure: Measure,
    person: Person,
    target: Target,
    baseline: Baseline | None,
    kept: Sequence[Kept],
) -> Progress:
    """The way by scores of one test, oldest first; those of the first day are no way.

    `person` is the patient as on the day of the newest score.
    """
    if baseline is None or baseline.score is None:
        return _without_start(measure, target, kept)
    was = HowDone(baseline.score.variant, baseline.score.facts)
    later = [
        (k, tuple(what_differs(measure, HowDone(k.score.variant, k.score.facts), was)))
        for k in kept
        if k.day > baseline.day and k.score.outcome in RESULTS
    ]
    if not later:
        return Progress(state="none_yet", says=NOTHING_YET)
    alike = [k for k, differs in later if not differs]
    last, differs = later[-1]
    if not alike:
        says = f"Cannot be told: {_on(last.day)} in another set-up."
        return Progress(state="untold", says=says, differs=differs)
    made = _from_alike(measure, person, target, baseline, alike)
    if not differs:
        return made
    says = f"{made.says} A newer one, {_on(last.day)}, was in another set-up."
    return replace(made, says=says, differs=differs)


def _without_start(
    measure: Measure, target: Target, kept: Sequence[Kept]
) -> Progress:  # fmt: skip
    """Without a start any set-up may have been meant: only the newest is said."""
    results = [k for k in kept if k.score.outcome in RESULTS]
    value = value_in(results[-1].score, target.unit) if results else None
    if value is None:
        return Progress(state="untold", says=NO_START)
    at = _value(measure, value, target.unit)
    says = f"{NO_START} Newest: {at} {_on(results[-1].day)}."
    return Progress(state="untold", says=says, value=at, on=results[-1].day)


def _from_alike(
    measure: Measure,
    person: Person,
    target: Target,
    baseline: Baseline,
    alike: Sequence[Kept],
) -> Progress:
    last, start = alike[-1], start_value(baseline, target.unit)
    assert target.value is not None
    assert baseline.score is not None
    now = value_in(last.score, target.unit)
    change = judge_change(
        measure, person, last.score, baseline.score,
        other_rater=last.rater != baseline.rater,
    )  # fmt: skip
    if now is None:
        says = f"Unable {_on(last.day)}: the target is not reached."
        return Progress(
            state="worse", says=says, value="unable", on=last.day, change=change
        )  # fmt: skip
    state, percent = _way(measure, start, now, target.value)
    at = _value(measure, now, target.unit)
    expected = None
    if state != "reached":
        expected = _expected(target, baseline, alike)
    return Progress(
        state=state,
        says=_says(measure, state, percent, target, start, at, last.day),
        percent=percent, value=at, number=now, on=last.day, change=change,
        expected=expected,
    )  # fmt: skip


def _way(
    measure: Measure, start: Decimal | None, now: Decimal, target: Decimal
) -> tuple[State, int | None]:
    """Reached at the target itself. On the way it is never called 100 %."""
    lower = measure.better == "lower"
    reached = now <= target if lower else now >= target
    way = None if start is None else (start - target if lower else target - start)
    if start is None or way is None or way <= 0:  # unable, or good from the start
        return ("reached" if reached else "worse" if start is not None else
                "on_the_way"), None  # fmt: skip
    if reached:
        return "reached", 100
    gained = start - now if lower else now - start
    if gained <= 0:
        return ("worse" if gained < 0 else "no_change"), 0
    share = rounded(Fraction(gained) / Fraction(way) * 100, 0)
    return "on_the_way", min(99, int(share))


def _says(
    measure: Measure,
    state: State,
    percent: int | None,
    target: Target,
    start: Decimal | None,
    at: str,
    day: date,
) -> str:
    goal = target_short(target, measure)
    if state == "reached":
        return f"Reached: {at} {_on(day)}; the target is {goal}."
    if start is None:
        return f"Newly able: {at} {_on(day)}; the target is {goal}."
    if percent is None:
        return f"Not reached: {at} {_on(day)}; the target is {goal}."
    began = words(start, target.unit)
    if state == "no_change":
        return f"No way gained (0 %): {at} {_on(day)}, as at the start."
    if state == "worse":
        side = worse_word(measure)
        return f"No way gained (0 %): {at} {_on(day)}, {side} than the start, {began}."
    return f"{percent} % of the way from {began} to {goal}: {at} {_on(day)}."


def _expected(
    target: Target, baseline: Baseline, alike: Sequence[Kept]
) -> tuple[date, date | None] | None:
    """When the target would be met if it went on so: a range, from four scores on."""
    first = start_value(baseline, target.unit)
    points = [Point(baseline.day, first)] if first is not None else []
    for kept in alike:
        value = value_in(kept.score, target.unit)
        if value is not None:
            points.append(Point(kept.day, value))
    found = trend(points)
    if found is None or target.value is None:
        return None
    return reaches(found, points[-1], target.value)


def expected_words(expected: tuple[date, date | None] | None) -> str:
    """`Going on like this: between 3 Jan and 9 Feb.`; empty where it is untold."""
    if expected is None:
        return ""
    early, late = expected
    if late is None:
        return f"Going on like this: from {_day(early)} on, or later than half a year."
    return f"Going on like this: between {_day(early)} and {_day(late)}."


def of_level(
    target: Target, baseline: Baseline | None, seen: Sequence[LevelSeen]
) -> Progress:
    """The way by the help a task took: levels of a list, so no percent.

    A level with two helpers does not compare with one that took one.
    """
    start = baseline.level if baseline else None
    if start is None or baseline is None:
        return Progress(state="untold", says=NO_START)
    later = [
        (s, levels_differ(start, s))
        for s in seen
        if s.task == start.task and s.day > baseline.day
    ]
    if not later:
        return Progress(state="none_yet", says=NOTHING_YET)
    alike = [s for s, differs in later if not differs]
    last, differs = later[-1]
    if not alike:
        says = f"Cannot be told: {_on(last.day)} it was done another way."
        return Progress(state="untold", says=says, differs=differs)
    state, says = _level_way(target, start, alike[-1])
    if differs:
        says += f" A newer one, {_on(last.day)}, was done another way."
    return Progress(
        state=state, says=says, value=LEVELS[alike[-1].level].words, on=alike[-1].day,
        differs=differs,
    )  # fmt: skip


def levels_differ(one: LevelSeen, other: LevelSeen) -> tuple[str, ...]:
    """Why two tasks do not compare. What one of them does not say keeps none apart."""
    found = []
    for name, first, second, said in (
        ("device", one.device, other.device, DEVICES),
        ("set-up", one.set_up, other.set_up, SET_UPS),
    ):
        if first and second and first != second:
            found.append(f"{name}: {said[first]} then, {said[second]} now")
    if max(one.helpers, 1) != max(other.helpers, 1):
        found.append(f"helpers: {one.helpers} then, {other.helpers} now")
    return tuple(found)


def _level_way(
    target: Target, start: LevelSeen, last: LevelSeen
) -> tuple[State, str]:  # fmt: skip
    order = list(LEVELS)
    began, now, goal = (order.index(v) for v in (start.level, last.level, target.level))
    at = f"{LEVELS[last.level].words} {_on(last.day)}"
    if now <= goal:
        return "reached", f"Reached: {at}; the target is {LEVELS[target.level].words}."
    if now == began:
        return "no_change", f"No way gained: {at}, as at the start."
    if now > began:
        return "worse", f"No way gained: {at}, more help than at the start."
    steps = f"{began - now} of {began - goal} levels"
    return "on_the_way", f"{steps} gained: {at}."


def of_times(
    target: Target, baseline: Baseline | None, seen: Sequence[TimesSeen]
) -> Progress:
    """The way by how often it works; counts out of another number do not compare."""
    start = baseline.times if baseline else None
    if start is None or baseline is None or start.out_of != target.out_of:
        return Progress(state="untold", says=NO_START)
    later = [s for s in seen if s.day >= baseline.day]
    alike = [s for s in later if s.out_of == start.out_of]
    if not later:
        return Progress(state="none_yet", says=NOTHING_YET)
    if not alike:
        differs = (f"counted out of {start.out_of} then, {later[-1].out_of} now",)
        says = "Cannot be told: counted out of another number."
        return Progress(state="untold", says=says, differs=differs)
    assert target.times is not None
    last = alike[-1]
    way, gained = target.times - start.times, last.times - start.times
    at = f"{last.times} of {last.out_of}"
    state, percent = _times_way(way, gained, last.times >= target.times)
    goal = f"{target.times} of {target.out_of}"
    says = {
        "reached": f"Reached: {at} {_on(last.day)}; the target is {goal}.",
        "on_the_way": f"{percent} % of the way from {start.times} of {start.out_of} "
        f"to {goal}: {at} {_on(last.day)}.",
        "no_change": f"No way gained (0 %): {at} {_on(last.day)}, as at the start.",
    }.get(state, f"No way gained (0 %): {at} {_on(last.day)}, less than at the start.")
    return Progress(state=state, says=says, percent=percent, value=at, on=last.day)


def _times_way(way: int, gained: int, reached: bool) -> tuple[State, int | None]:
    if reached:
        return "reached", 100 if way > 0 else None
    if gained <= 0:
        return ("worse" if gained < 0 else "no_change"), 0
    return "on_the_way", min(99, int(rounded(Fraction(gained, way) * 100, 0)))


def plateau_words(first: tuple[date, str], last: tuple[date, str]) -> str:
    """A plateau is two measures and the days between them, never a word alone."""
    days = (last[0] - first[0]).days
    return f"{first[1]} {_on(first[0])}, {last[1]} {_on(last[0])}, {days} days apart"


def _value(measure: Measure, value: Decimal, unit: str) -> str:
    return f"{words(value, unit)} {measure.noun(value)}".strip()


def _day(day: date) -> str:
    return short_day(day)


def _on(day: date) -> str:
    return f"on {_day(day)}"
