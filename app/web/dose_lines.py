"""Sets of one session done in one way, as one line of words."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Final

from app.clinical.activity import Activity
from app.clinical.assistance import LEVELS
from app.clinical.doing import HAND_SUPPORT, OUTCOMES, DoneSet
from app.clinical.make_safe import SYMPTOMS
from app.web.activity_words import grade_value
from app.web.dates import day_words

#: Outcomes in which something was done.
TRIED: Final = ("done", "stopped")


@dataclass(frozen=True, slots=True)
class DoseLine:
    """Sets of one session at one grade, done in one way."""

    visit_id: int
    day: str
    grade: str
    sets: str
    errors: str
    hands: str
    help: str
    effort: str
    symptoms: str
    stopped: str


def alike_sets(visit: Sequence[DoneSet]) -> Iterator[list[DoneSet]]:
    """A session's sets in order, those done alike together."""
    return (list(same) for _, same in groupby(visit, key=_alike))


def _alike(done: DoneSet) -> tuple[object, ...]:
    """What makes sets of a session one line."""
    return done.grade, done.outcome, done.hand_support, done.level


def dose_line(
    activity: Activity | None, sets: Sequence[DoneSet], today: date
) -> DoseLine:
    first = sets[0]
    grade = "" if first.grade is None else f"{first.grade.normalize():f}"
    if activity and first.grade is not None:
        grade = grade_value(activity.grade, first.grade)
    tried = first.outcome in TRIED
    return DoseLine(
        visit_id=first.visit_id,
        day=day_words(first.on, today),
        grade=grade,
        sets=_sets_words(sets) if tried else OUTCOMES[first.outcome],
        errors=_numbers(sets, lambda done: done.errors),
        hands=HAND_SUPPORT.get(first.hand_support, ""),
        help=LEVELS[first.level].words if first.level else "",
        effort=_efforts(sets),
        symptoms=_symptoms(sets),
        stopped="stopped for safety" if first.outcome == "stopped" else "",
    )


def amount(done: DoneSet) -> str:
    """What one set held, the first of these that was counted: `10`, `20 s`, `6 ft`."""
    for name, unit in (("reps", ""), ("steps", " steps"), ("passes", " passes")):
        if name in done.numbers:
            return f"{done.numbers[name]}{unit}"
    if done.holds_ms:
        return f"{max(done.holds_ms) / 1000:.0f} s"
    if "correct" in done.numbers:
        return f"{done.numbers['correct']} of {done.numbers.get('calls', '?')}"
    if "time_ms" in done.numbers:
        return f"{done.numbers['time_ms'] / 1000:.0f} s"
    if done.distance is not None:
        return f"{done.distance.normalize():f} {done.distance_unit}"
    return ""


def _sets_words(sets: Sequence[DoneSet]) -> str:
    """`3 x 10`, or `3 sets: 10, 8, 6`."""
    amounts = [amount(done) for done in sets]
    if len(set(amounts)) == 1:
        return times_words(len(sets), amounts[0], " x ")
    told = ", ".join(words or "not counted" for words in amounts)
    return f"{count_words(len(sets), 'set')}: {told}"


def times_words(sets: int, amount: str, by: str) -> str:
    """`3 x 10` of a bare count; `1 set, 19 s`, which is no 19 repetitions."""
    if amount.isdecimal():
        return f"{sets}{by}{amount}"
    return ", ".join(filter(None, (count_words(sets, "set"), amount)))


def count_words(number: int, what: str) -> str:
    return f"{number} {what}" + ("" if number == 1 else "s")


def _numbers(sets: Sequence[DoneSet], of: Callable[[DoneSet], int | None]) -> str:
    """Set by set; nobody said it: a dash between others, nothing when never said."""
    found = [of(done) for done in sets]
    if all(number is None for number in found):
        return ""
    return ", ".join("-" if number is None else str(number) for number in found)


def _efforts(sets: Sequence[DoneSet]) -> str:
    scales = {done.effort_scale for done in sets if done.effort is not None}
    said = _numbers(sets, lambda done: done.effort)
    return f"{said} on {' and '.join(sorted(scales))}" if said else ""


def _symptoms(sets: Sequence[DoneSet]) -> str:
    found = {SYMPTOMS[s]: None for done in sets for s in done.symptoms}
    if found:
        return ", ".join(found)
    return "none" if any(done.no_symptom for done in sets) else ""
