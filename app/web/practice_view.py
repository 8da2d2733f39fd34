"""An attempt beside its key, as the result page tells it. Nobody is judged here."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Final

from app.clinical.measure import Measure
from app.practice.attempt import Said
from app.practice.case import Timeline
from app.practice.faults import FaultRule, rule_for
from app.practice.make_safe import Press, press_of
from app.practice.splits import beside_key
from app.storage.practice import PracticeAttempt

HUNDREDTH: Final = Decimal("0.01")
#: Marks nearer than this share of the line stand in the next row.
NEAR: Final = Decimal(7)
#: Ticks of the line, at most so many.
MOST_TICKS: Final = 40


@dataclass(frozen=True, slots=True)
class KeySaid:
    """The key of a showing, as it was kept with the attempt."""

    start_ms: int
    stop_ms: int
    splits: tuple[int, ...]
    faults: tuple[str, ...]
    valid: bool
    count: int | None = None
    distance: str = ""


def key_of(attempt: PracticeAttempt) -> KeySaid:
    """The key as it was when the attempt was sent."""
    return KeySaid(
        start_ms=attempt.key_start_ms,
        stop_ms=attempt.key_stop_ms,
        splits=tuple(attempt.key_splits),
        faults=tuple(attempt.key_faults),
        valid=attempt.key_valid,
        count=attempt.key_count,
        distance=attempt.key_distance,
    )


@dataclass(frozen=True, slots=True)
class Row:
    """One thing beside the key: yours, the key's, and the difference in words."""

    name: str
    yours: str
    key: str
    off: str


@dataclass(frozen=True, slots=True)
class Seen:
    """A fault: `seen`, `missed` or `not_there`, with its rule and what it rests on."""

    standing: str
    rule: FaultRule
    when: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """An instant on the line: percent along it, in which row, and in words."""

    number: int
    x: str
    row: int
    yours: bool
    words: str


@dataclass(frozen=True, slots=True)
class Tick:
    """A second of the line; `numeral` may be empty."""

    x: str
    numeral: str


@dataclass(frozen=True, slots=True)
class Line:
    """The trial from the figure's start to its end, with key instants and yours."""

    ticks: tuple[Tick, ...]
    marks: tuple[Mark, ...]
    rows: int


@dataclass(frozen=True, slots=True)
class View:
    """A whole result."""

    rows: tuple[Row, ...]
    faults: tuple[Seen, ...]
    valid: str
    decided_right: bool
    line: Line | None
    press: Press | None


def result_of(
    said: Said, attempt: PracticeAttempt, measure: Measure, timeline: Timeline | None
) -> View:
    """`timeline`: None where the cases were changed since, so that none is drawn."""
    key = key_of(attempt)
    when = {f.kind: f.at_ms for f in timeline.key.faults} if timeline else {}
    counted = measure.kind == "count"
    return View(
        rows=tuple(rows_of(said, key, measure.splits, counted)),
        faults=faults_of(said, key, measure.id, when),
        valid=valid_words(said, key, measure.id),
        decided_right=said.valid == key.valid,
        line=line_of(said, key, timeline.ends_ms, when, measure) if timeline else None,
        press=_press(attempt),
    )


def _press(attempt: PracticeAttempt) -> Press | None:
    """The practised stop beside the key's instant, where either was."""
    at, due = attempt.made_safe_ms, attempt.key_safe_ms
    far = "" if at is None or due is None else seconds(abs(at - due))
    return press_of(attempt.made_safe, at, due, far)


def seconds(ms: int) -> str:
    """To a hundredth, half up: `12.30 s`; with a true minus sign before the start."""
    number = (Decimal(abs(ms)) / 1000).quantize(HUNDREDTH, ROUND_HALF_UP)
    return f"{'−' if ms < 0 and number else ''}{number} s"


def off_words(ms: int, more: str = "late", less: str = "early") -> str:
    """How far off, with unit and sign in words; within half a hundredth, on the key.

    >>> off_words(150), off_words(-90), off_words(3)
    ('0.15 s late', '0.09 s early', 'on the key')
    """
    if seconds(ms) in ("0.00 s", "−0.00 s"):
        return "on the key"
    return f"{seconds(abs(ms))} {more if ms > 0 else less}"


def rows_of(
    said: Said, key: KeySaid, names: Sequence[str], counted: bool
) -> Iterator[Row]:
    """Start, parts, stop, time, count and distance: what there was of them."""
    if said.start_ms is not None and said.stop_ms is not None:
        yield _at("Start", said.start_ms, key.start_ms)
        if not counted:
            yield from _parts(said, key, names)
        yield _at("Stop", said.stop_ms, key.stop_ms)
    if said.taken_ms is not None:
        key_ms = key.stop_ms - key.start_ms
        off = off_words(said.taken_ms - key_ms, "too long", "too short")
        yield Row("Time", seconds(said.taken_ms), seconds(key_ms), off)
    if said.count is not None and key.count is not None:
        yield Row("Count", str(said.count), str(key.count), _more(said.count, key))
    if said.distance and key.distance:
        yield _distance(Decimal(said.distance), Decimal(key.distance))


def _at(name: str, yours: int, key: int) -> Row:
    return Row(name, seconds(yours), seconds(key), off_words(yours - key))


def _parts(said: Said, key: KeySaid, names: Sequence[str]) -> Iterator[Row]:
    """Only where parts were marked; one missing or too many is said as that.

    One that was left out does not make those after it late.
    """
    if not said.splits:
        return
    left = iter(names)
    for yours, right in beside_key(said.splits, key.splits):
        name = "One more mark" if right is None else next(left, "Part")
        if right is None:
            yield Row(name, seconds(yours or 0), "none", "marked, but not in the key")
        elif yours is None:
            yield Row(name, "not marked", seconds(right), "not marked")
        else:
            yield _at(name, yours, right)


def _more(count: int, key: KeySaid) -> str:
    off = count - (key.count or 0)
    if not off:
        return "as the key"
    return f"{abs(off)} too {'many' if off > 0 else 'few'}"


def _distance(yours: Decimal, key: Decimal) -> Row:
    off = yours - key
    words = (
        f"{abs(off)} in too {'far' if off > 0 else 'short'}" if off else "as the key"
    )
    return Row("Distance", f"{yours} in", f"{key} in", words)


def faults_of(
    said: Said, key: KeySaid, measure: str, when: dict[str, int]
) -> tuple[Seen, ...]:
    """What was missed first, then what was not there, then what was seen.

    `when` holds the instants of the key's faults, where the trial is still known.
    """

    def seen(standing: str, kinds: set[str]) -> Iterator[Seen]:
        for kind in sorted(kinds):
            at = f"at {seconds(when[kind])}" if when.get(kind) else ""
            yield Seen(standing, rule_for(kind, measure), at)

    said_kinds, there = set(said.faults), set(key.faults)
    return (
        *seen("missed", there - said_kinds),
        *seen("not_there", said_kinds - there),
        *seen("seen", there & said_kinds),
    )


def valid_words(said: Said, key: KeySaid, measure: str) -> str:
    """The decision beside the key's, and why the key decides as it does."""
    why = [
        rule.words.lower()
        for rule in (rule_for(kind, measure) for kind in key.faults)
        if rule.voids
    ]
    stopped = "you stopped it" if said.made_safe else "void"
    right = (
        "It counts."
        if key.valid
        else f"It does not count: {'; '.join(why) or stopped}."
    )
    if said.valid is None:
        return f"You did not decide. By the key: {right}"
    if said.valid == key.valid:
        return f"As the key. {right}"
    yours = "You said that it counts." if said.valid else "You said that it does not."
    return f"{yours} By the key: {right}"


def is_right(said: Said, key: KeySaid) -> bool:
    """Faults, decision and count as in the key; says nothing of the time."""
    return (
        set(said.faults) == set(key.faults)
        and said.valid == key.valid
        and (said.made_safe or key.count is None or said.count == key.count)
    )


def line_of(
    said: Said, key: KeySaid, ends_ms: int, when: dict[str, int], measure: Measure
) -> Line:
    """Every instant of the key and of the attempt along the trial."""
    names = (*measure.splits, *["part"] * len(key.splits))
    points = [(key.start_ms, False, "Start by the key")]
    points += [
        (at, False, f"{name[:1].upper()}{name[1:]}, by the key")
        for name, at in zip(names, key.splits, strict=False)
    ]
    points += [
        (at, False, rule_for(kind, measure.id).words) for kind, at in when.items() if at
    ]
    points.append((key.stop_ms, False, "Stop by the key"))
    if said.start_ms is not None and said.stop_ms is not None:
        points += [
            (said.start_ms, True, "You started"),
            (said.stop_ms, True, "You stopped"),
        ]
    if said.made_safe_ms is not None:
        points.append((said.made_safe_ms, True, "You pressed Stop - make safe"))
    longest = max(ends_ms, *(at for at, _, _ in points), 1)
    marks = tuple(_placed(sorted(points), longest))
    every = max(1, -(-longest // 1000 // MOST_TICKS))
    ticks = tuple(
        Tick(_share(s * 1000, longest), str(s) if s % (5 * every) == 0 else "")
        for s in range(0, longest // 1000 + 1, every)
    )
    return Line(ticks, marks, 1 + max(mark.row for mark in marks if not mark.yours))


def _placed(points: list[tuple[int, bool, str]], longest: int) -> Iterator[Mark]:
    """Yours lie above the line, those of the key below, in as many rows as needed."""
    ends: dict[bool, list[Decimal]] = {True: [], False: []}
    for number, (at, yours, words) in enumerate(points, start=1):
        x = Decimal(_share(at, longest))
        rows = ends[yours]
        row = next((i for i, end in enumerate(rows) if x - end >= NEAR), len(rows))
        rows[row : row + 1] = [x]
        yield Mark(number, str(x), row, yours, f"{words}: {seconds(at)}")


def _share(at: int, longest: int) -> str:
    """Percent of the line's length; what lies before the figure's start is at 0."""
    return str((Decimal(max(at, 0)) * 100 / longest).quantize(Decimal("0.1")))
