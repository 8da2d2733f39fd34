"""A goal as its pages show it: words, chips and the tape ready, nothing judged here."""

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from app.access import STUDENT
from app.clinical.change import Change
from app.clinical.goal_doubts import Doubt
from app.clinical.goal_progress import Progress, expected_words
from app.clinical.goals import (
    CLOSES,
    STANDINGS,
    TERMS,
    Target,
    sentence,
    start_value,
    target_short,
)
from app.clinical.measure import Measure
from app.clinical.quantities import UNIT_WORDS
from app.storage.goal_rows import GoalBody, GoalRow, GoalWord
from app.storage.goals import body_of
from app.storage.people import Person
from app.web.dates import day_words, moment_words
from app.web.goal_book import GoalBook, goal_of
from app.web.result_view import CHANGE_CHIP, Chip, ReadingView, reading_view
from app.web.tape import Notch, Pin, TapeView, tape

STATES: Final[Mapping[str, tuple[str, str]]] = {
    "none_yet": ("unsure", "Nothing measured yet"),
    "untold": ("unsure", "Cannot be told"),
    "worse": ("loss", "Away from the target"),
    "no_change": ("same", "No way gained"),
    "on_the_way": ("out", "On the way"),
    "reached": ("gain", "Target reached"),
}


@dataclass(frozen=True, slots=True)
class DoubtView:
    """What a reader would ask, with the sources it rests on."""

    says: str
    readings: tuple[ReadingView, ...]


@dataclass(frozen=True, slots=True)
class StandingView:
    """How it stood on a day, by whom."""

    day: str
    word: str
    says: str
    by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class GoalView:
    """One goal, ready to print."""

    id: int
    uid: str
    number: int
    version: int
    term: str
    leads_to: int | None
    sentence: str
    start: str
    target: str
    unsigned: str
    signed: str
    chip: Chip
    progress: Progress
    expected: str
    change: Chip | None
    change_says: str
    doubts: tuple[DoubtView, ...]
    standings: tuple[StandingView, ...]
    tape: TapeView | None
    closed: str
    replaces: int | None
    kind: str
    measure_id: str


def goal_view(book: GoalBook, row: GoalRow, today: date) -> GoalView:
    """Everything of one goal; a closed one is told as it was on its last day."""
    body, measure = body_of(row), book.measure(body_of(row))
    progress = book.progress(row)
    kind, words = STATES[progress.state]
    numbers = {goal.id: goal.number for goal in book.goals}
    change = progress.change
    return GoalView(
        id=row.id,
        uid=uuid.uuid4().hex,
        number=row.number,
        version=row.version,
        term=TERMS[row.term],
        leads_to=numbers.get(row.parent_id or 0),
        sentence=sentence(goal_of(body), measure),
        start=_start(book, row, body),
        target=target_short(goal_of(body).target, measure),
        unsigned=_unsigned(book, row),
        signed=_signed(book, row),
        chip=Chip(kind, words),
        progress=progress,
        expected=expected_words(progress.expected),
        change=_change_chip(change),
        change_says=change.says if change else "",
        doubts=() if row.closed_on else doubt_views(book, body, today),
        standings=_standings(book, book.standings.get(row.id, ())),
        tape=_tape(book, measure, body, progress),
        closed=_closed(row),
        replaces=numbers.get(row.replaces_id or 0),
        kind=row.kind,
        measure_id=measure.id if measure else "",
    )


def _start(book: GoalBook, row: GoalRow, body: GoalBody) -> str:
    """As it was shown when the goal was set; a start voided since is said to be."""
    if row.base_on is None:
        return ""
    gone = "" if book.baseline(body) else "; taken back since, so no way can be told"
    return f"{row.base_says}, {day_words(row.base_on)}{gone}"


def _name(book: GoalBook, person_id: int | None) -> str:
    person = book.session.get(Person, person_id) if person_id else None
    return person.name if person else "somebody"


def _unsigned(book: GoalBook, row: GoalRow) -> str:
    if row.signed_at is not None:
        return ""
    author = book.session.get_one(Person, row.set_by)
    if author.role == STUDENT:
        return f"Written by {author.name}: waits for a co-signature"
    return "Not signed yet"


def _signed(book: GoalBook, row: GoalRow) -> str:
    if row.signed_at is None:
        return ""
    author = book.session.get_one(Person, row.set_by)
    by = f"{_name(book, row.signed_by)}, {moment_words(row.signed_at, book.zone)}"
    if author.role == STUDENT:
        return f"Written by {author.name}, co-signed by {by}"
    return f"Signed by {by}"


def _closed(row: GoalRow) -> str:
    if row.closed_on is None or row.close_word is None:
        return ""
    word = CLOSES[row.close_word].capitalize()
    return f"{word} on {day_words(row.closed_on)}: {row.close_reason}"


def _change_chip(change: Change | None) -> Chip | None:
    if change is None:
        return None
    return Chip(CHANGE_CHIP.get(change.verdict, "unsure"), change.verdict.capitalize())


def doubt_views(
    book: GoalBook, body: GoalBody, today: date
) -> tuple[DoubtView, ...]:  # fmt: skip
    """What a reader would ask of a goal, stored or still being typed."""
    measure = book.measure(body)
    return tuple(_doubt(measure, doubt) for doubt in book.doubts(body, today))


def _doubt(measure: Measure | None, doubt: Doubt) -> DoubtView:
    if measure is None:
        return DoubtView(doubt.says, ())
    return DoubtView(
        doubt.says, tuple(reading_view(measure, r) for r in doubt.readings)
    )


def _standings(book: GoalBook, rows: Sequence[GoalWord]) -> tuple[StandingView, ...]:
    """Newest first."""
    return tuple(_standing(book, row) for row in reversed(rows))


def _standing(book: GoalBook, row: GoalWord) -> StandingView:
    by = _name(book, row.recorded_by)
    return StandingView(day_words(row.on_date), STANDINGS[row.word], row.says, by)


def _tape(
    book: GoalBook, measure: Measure | None, body: GoalBody, progress: Progress
) -> TapeView | None:
    """The start as a pin, the newest as the flag, the target as a notch."""
    target = goal_of(body).target
    if measure is None or target.value is None or target.unit not in measure.tape:
        return None
    start = start_value(book.baseline(body), target.unit)
    now = progress.number if progress.number is not None else start
    pins = []
    if start is not None and body.base_on is not None and progress.number is not None:
        pins = [Pin(start, f"start, {day_words(body.base_on)}")]
    span = measure.tape[target.unit]
    return tape(
        low=span.low,
        high=span.high,
        unit=UNIT_WORDS[target.unit],
        better=measure.better,
        today=now,
        notches=[target_notch(target)],
        earlier=pins,
        label=_label(measure, target, now, start),
    )


def target_notch(target: Target) -> Notch:
    """A target as a mark on the tape, in its own unit."""
    assert target.value is not None
    return Notch(target.value, "target", "goal")


def _label(
    measure: Measure, target: Target, now: Decimal | None, start: Decimal | None
) -> str:
    unit = UNIT_WORDS[target.unit]
    at = f"newest {now} {unit}, ".replace(" ,", ",") if now is not None else ""
    began = f"start {start} {unit}, ".replace(" ,", ",") if start is not None else ""
    return f"{began}{at}target {target_short(target, measure)}"
