"""The tables and tapes that stand beside a report's text: words ready, nothing judged.

They say what the lines say, side by side: goals, tests, and each test on its tape.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Final

from sqlmodel import Session

from app.clinical.change import Change
from app.clinical.course import maintained, value_in
from app.clinical.days import full_day
from app.clinical.measure import Measure
from app.clinical.note import NOTE_KINDS
from app.clinical.note_words import spelled
from app.clinical.quantities import UNIT_WORDS, alike, convert, shown, words
from app.clinical.report import CareFacts, GoalFacts, Tried
from app.clinical.report_goals import numbers, shown_goals, stood_short
from app.clinical.report_measures import (
    Compared,
    of_episode,
    of_period,
    value_words,
)
from app.storage.episodes import Visit
from app.web.dates import day_words
from app.web.deps import Site
from app.web.goal_view import STATES
from app.web.report_end import discharge_facts
from app.web.report_facts import progress_facts
from app.web.result_view import CHANGE_CHIP, Chip
from app.web.tape import KeyLine, Notch, Pin, TapeView, tape

OTHER_SETUP: Final = Chip("unsure", "No verdict: another set-up")


@dataclass(frozen=True, slots=True)
class Cell:
    """A value and its day; both empty where there is none."""

    value: str = ""
    day: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class GoalLine:
    """One goal of the table. `status` is what somebody said; empty: nobody did."""

    number: int
    term: str
    says: str
    unsigned: bool
    start: str
    last: str
    now: str
    target: str
    change: Chip
    kept: str
    status: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureLine:
    """One test of the table, with its tape."""

    name: str
    setup: str
    start: Cell
    last: Cell
    now: Cell
    change: Chip | None
    note: str
    tape: TapeView | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportView:
    """What the page and the paper show of a report beside its lines.

    `last` says whether the tables have a column for the last report's values; `now`
    is the heading of the newest ones.
    """

    title: str
    period: str
    last: bool
    now: str
    goals: tuple[GoalLine, ...]
    measures: tuple[MeasureLine, ...]

    @property
    def tapes(self) -> tuple[MeasureLine, ...]:
        return tuple(line for line in self.measures if line.tape is not None)


def report_view(
    session: Session,
    site: Site,
    visit: Visit,
    kind: str,
    last_report_on: date | None = None,
) -> ReportView:
    """The view of a progress report or a discharge summary written at a visit."""
    whole = kind == "discharge"
    gather = discharge_facts if whole else progress_facts
    facts: CareFacts = gather(session, site, visit, last_report_on)
    rows = list(of_episode(facts) if whole else of_period(facts))
    goals = list(shown_goals(facts, whole=whole))
    begins = facts.began_on if whole else facts.since
    return ReportView(
        title=NOTE_KINDS[kind].capitalize(),
        period=f"{full_day(begins)} to {full_day(facts.until)}",
        last=not whole,
        now="End" if whole else "Now",
        goals=tuple(_goal(facts, goal) for goal in goals),
        measures=tuple(_measure(facts, row, goals) for row in rows),
    )


def _goal(facts: CareFacts, goal: GoalFacts) -> GoalLine:
    told = numbers(facts, goal)
    return GoalLine(
        number=goal.number, term=goal.term, says=goal.says, unsigned=not goal.signed,
        start=told.start, last=told.last, now=told.now, target=told.target,
        change=_chip(told.change) or Chip(*STATES[goal.progress.state]),
        kept=told.kept, status=stood_short(goal),
    )  # fmt: skip


def _chip(change: Change | None) -> Chip | None:
    if change is None:
        return None
    return Chip(CHANGE_CHIP.get(change.verdict, "unsure"), change.verdict.capitalize())


def _measure(
    facts: CareFacts, row: Compared, goals: Sequence[GoalFacts]
) -> MeasureLine:  # fmt: skip
    chained = row.other is not None and row.start is None
    start = row.other if chained else row.start
    return MeasureLine(
        name=row.measure.name,
        setup=spelled(row.now.setup),
        start=_cell(row.measure, start),
        last=_cell(row.measure, row.last),
        now=_cell(row.measure, row.now),
        change=OTHER_SETUP if chained else _chip(row.since_start),
        note=_note(facts, row),
        tape=_tape(row, goals),
    )


def _cell(measure: Measure, one: Tried | None) -> Cell:
    if one is None:
        return Cell()
    return Cell(value_words(measure, one.kept.score), full_day(one.day))


def _note(facts: CareFacts, row: Compared) -> str:
    parts = [
        "" if row.in_period else "Not measured in this period.",
        f"What differs: {'; '.join(row.differs)}." if row.differs else "",
        maintained(facts.plan, row.since_start),
    ]
    return " ".join(part for part in parts if part)


def _tape(row: Compared, goals: Sequence[GoalFacts]) -> TapeView | None:
    """Start and last as pins, the newest as the flag, open targets as notches.

    Pins come in the order of the scale, so that names which share a place read so too.
    """
    score = row.now.kept.score
    if score.shown is None:
        return None
    unit, told = score.unit, list(_pins(row, score.unit))
    span = row.measure.tape[unit]
    drawn = tape(
        low=span.low, high=span.high, unit=UNIT_WORDS[unit],
        better=row.measure.better, today=score.shown,
        notches=list(_targets(row, goals, unit)),
        earlier=sorted((pin for pin, _ in told), key=lambda pin: pin.value),
        label=_label(row, told, unit),
    )  # fmt: skip
    kept = [line for line in drawn.key if line.shape not in ("pin", "other")]
    return replace(drawn, key=(*kept, *(key for _, key in told)))


def _pins(row: Compared, unit: str) -> Iterator[tuple[Pin, KeyLine]]:
    """Each pin with its own line of the key: which of the two it is."""
    other = row.other if row.start is None else None
    for name, one in (("start", other or row.start), ("last", row.last)):
        value = value_in(one.kept.score, unit) if one else None
        if one is not None and value is not None:
            said = f"{name}: {words(value, unit)}, {day_words(one.day)}"
            if other:
                said += ", another set-up"
            pin = Pin(value, name, comparable=not other)
            yield pin, KeyLine("other" if other else "pin", said)


def _targets(row: Compared, goals: Sequence[GoalFacts], unit: str) -> Iterator[Notch]:
    """The open targets of this test, in the unit its tape is drawn in."""
    found: dict[Decimal, None] = {}
    for goal in goals:
        value, own = goal.target_value, goal.target_unit
        if goal.measure != row.measure.id or goal.ended is not None or value is None:
            continue
        if alike(own, unit):
            found[shown(convert(Fraction(value), own, unit), unit)] = None
    yield from (Notch(value, "target", "goal") for value in found)


def _label(row: Compared, told: Sequence[tuple[Pin, KeyLine]], unit: str) -> str:
    """The picture in words, for who does not see it."""
    assert row.now.kept.score.shown is not None
    now = f"now: {words(row.now.kept.score.shown, unit)}, {day_words(row.now.day)}"
    return "; ".join([*(key.words for _, key in told), now])
