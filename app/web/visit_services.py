"""Minutes of a visit by service, and what the day comes to, for the visit's page."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from sqlmodel import Session

from app.clinical import units
from app.clinical.units import UNIT_MIN, Count, Given, Published, count
from app.storage.episodes import Visit
from app.storage.people import Person
from app.storage.services import (
    MOST_MINUTES,
    Service,
    choice_on,
    minutes_in,
    minutes_on,
    same_day,
    services_of,
)
from app.web.deps import Form
from app.web.visit_forms import Errors, whole

TOTALS: Final = units.TOTALS


@dataclass(frozen=True, slots=True)
class Line:
    """A service as it can be entered: what this visit gave of it so far."""

    key: str
    name: str
    timed: bool
    minutes: int


@dataclass(frozen=True, slots=True)
class TieWords:
    """The question that a tie asks, and its answers; `several` may be ticked."""

    asks: str
    answers: tuple[tuple[str, str], ...]
    chosen: tuple[str, ...]
    several: bool
    is_open: bool


@dataclass(frozen=True, slots=True)
class DayView:
    """All that the fragment shows; without lines there is nothing to show."""

    lines: tuple[Line, ...] = ()
    says: str = ""
    totals: str = ""
    working: tuple[str, ...] = ()
    differs: str = ""
    tie: TieWords | None = None
    rule: Published | None = None
    record: Published = TOTALS


@dataclass(frozen=True, slots=True)
class Clock:
    """What else is known of a visit's minutes: by its clock, and as they were spent."""

    counted: int
    paused: int
    spent: int


def day_view(
    session: Session, person: Person, visit: Visit, rule: str, clock: Clock
) -> DayView:
    """This visit's services, and the count over all visits of its day."""
    known = services_of(session, person)
    here = minutes_in(session, visit)
    lines = tuple(
        Line(f"service-{s.id}", s.name, s.timed, here.get(s.id, 0))
        for s in known if s.active or s.id in here
    )  # fmt: skip
    counted = day_count(session, person, visit, rule, paused=clock.paused)
    if not counted.treatment:
        return DayView(lines, rule=units.RULES[rule])
    names = {s.id: s.name for s in known}
    given = minutes_on(session, same_day(session, visit))
    return DayView(
        lines,
        says=_units_words(counted, names),
        totals=_totals_words(counted, others=sum(given.values()) - sum(here.values())),
        working=tuple(_working(counted, given, names)),
        differs=_differs(sum(here.values()), clock, closed=visit.closed_at is not None),
        tie=_tie_words(counted.tie, counted, given, names) if counted.tie else None,
        rule=units.RULES[rule],
    )


def day_count(
    session: Session, person: Person, visit: Visit, rule: str, *, paused: int = 0
) -> Count:
    """What the visits of a day come to by the site's rule."""
    day = same_day(session, visit)
    timed = {s.id: s.timed for s in services_of(session, person)}
    given = [
        Given(key, minutes, timed[key])
        for key, minutes in minutes_on(session, day).items()
    ]
    chosen = choice_on(session, day)
    return count(given, rule=rule, unbillable=paused, chosen=chosen)


def _many(number: int, what: str) -> str:
    return f"{number} {what}" + ("" if number == 1 else "s")


def _units_words(counted: Count, names: Mapping[int, str]) -> str:
    """`47 timed minutes: 3 units; standing work 2, self-care 1.`"""
    said = _many(counted.timed, "timed minute")
    if counted.units is None:
        return f"{said}. This site counts no units."
    said += f": {_many(counted.units, 'unit')}"
    if not counted.units:
        return f"{said}."
    parts = [f"{names[key]} {number}" for key, number in counted.split.items()]
    if counted.tie and counted.is_open:
        parts.append(f"{counted.tie.left} to give")
    return f"{said}; {', '.join(parts)}."


def _totals_words(counted: Count, *, others: int) -> str:
    said = f"Timed {counted.timed} min, treatment in all {counted.treatment} min."
    if others:
        said += (
            f" {others} min of that in another visit of this day: units count by day."
        )
    if counted.unbillable:
        said += f" {counted.unbillable} min of this visit were paused: in neither."
    return said


def _working(
    counted: Count, given: Mapping[int, int], names: Mapping[int, str]
) -> Sequence[str]:
    """Service by service how its units came about; nothing where none are counted."""
    lines = []
    for key, number in counted.split.items():
        full, over = divmod(given[key], UNIT_MIN)
        said = f"{names[key]}: {given[key]} min, {full} x {UNIT_MIN} and {over} left"
        lines.append(f"{said}; {_many(number, 'unit')}")
    return lines


def _differs(here: int, clock: Clock, *, closed: bool) -> str:
    """Where the services and the visit's own minutes do not add up.

    While the visit goes on its clock is behind, and only more than it is odd.
    """
    if clock.spent and here and clock.spent != here:
        where, other = "the minutes above", clock.spent
    elif (
        here and not clock.spent and clock.counted
        and (here > clock.counted or (closed and here != clock.counted))
    ):  # fmt: skip
        where, other = "the clock", clock.counted
    else:
        return ""
    return f"The services come to {here} min, {where} to {other}. Check which is right."


def _tie_words(
    tie: units.Tie, counted: Count, given: Mapping[int, int], names: Mapping[int, str]
) -> TieWords:
    over = given[tie.among[0]] % UNIT_MIN
    several = tie.left > 1
    asks = (
        f"{_many(tie.left, 'unit')} {'are' if several else 'is'} left, and "
        f"{_many(len(tie.among), 'service')} have {over} min over. "
        + (f"Tick the {tie.left} that take one." if several else "Which one takes it?")
    )
    answers = tuple((str(key), names[key]) for key in tie.among)
    chosen = tuple(str(key) for key in counted.chosen)
    return TieWords(asks, answers, chosen, several, counted.is_open)


def read_minutes(
    form: Form, services: Sequence[Service], errors: Errors
) -> dict[int, int]:
    """What was typed for each service; empty is none."""
    return {
        s.id: whole(form, f"service-{s.id}", 0, MOST_MINUTES, s.name, errors) or 0
        for s in services
    }


def read_choice(form: Form, counted: Count, errors: Errors) -> frozenset[int]:
    """The services ticked, which must be as many as units are left."""
    ticked = form.every("unit")
    tie = counted.tie
    if tie is None:
        errors["unit"] = "Nothing is left to choose: the minutes have changed."
        return frozenset()
    chosen = {key for key in tie.among if str(key) in ticked}
    if len(chosen) != tie.left or len(chosen) != len(set(ticked)):
        errors["unit"] = "Choose one." if tie.left == 1 else f"Tick {tie.left}."
    return frozenset(chosen)
