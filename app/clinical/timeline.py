"""The days of an episode laid across a picture: places, ticks, and words that fit.

Pure geometry. Across, a place is percent of the plot; down, it is em. The server cannot
measure a screen, so a picture is laid out for three widths at once, and what stands at
some of them alone says at which it does not. Widths of words are guessed.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from typing import Final, Generic, Literal, NamedTuple, TypeVar

from app.clinical.days import short_day

Anchor = Literal["start", "middle", "end"]
T = TypeVar("T")

#: The first day's words may stand left of its tick, over the tapes.
ANCHORS: Final[tuple[Anchor, ...]] = ("middle", "end")
#: Percent of the plot kept free at both ends, so that no mark is cut.
EDGE: Final = 4.0
#: Left of the plot, where the tape or the name of a row stands, em.
LEFT_EM: Final = 3.3
#: An average letter's width, on the wide side: too much room beats overlap.
LETTER_EM: Final = 0.6
#: Between two words, em.
GAP_EM: Final = 0.4


class Room(NamedTuple):
    """A width to lay out for: the plot's least, and what lies free right of it, em."""

    name: str
    em: float
    aside: float


#: A narrow phone with its text at 200 %, a phone, a desk or a page of paper.
ROOMS: Final = (
    Room("tight", 4.6, 1.0), Room("phone", 11.5, 2.5), Room("wide", 48.0, 2.5),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Span:
    """The days a picture covers: from the start of care to today, or to its end."""

    first: date
    last: date

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise ValueError(f"an episode from {self.first} to {self.last}")

    @property
    def days(self) -> int:
        return (self.last - self.first).days

    def holds(self, day: date) -> bool:
        return self.first <= day <= self.last

    def x(self, day: date) -> float:
        """Percent of the plot; a day outside lies on the plot's own edge."""
        if day < self.first:
            return 0.0
        if day > self.last:
            return 100.0
        if not self.days:
            return 50.0
        share = (day - self.first).days / self.days
        return round(EDGE + share * (100 - 2 * EDGE), 2)


def em_of(words: str) -> float:
    """How wide words are, guessed."""
    return len(words) * LETTER_EM


def in_em(x: float, room: Room) -> float:
    return x * room.em / 100


class Tick(NamedTuple):
    """A line down all lanes, with its words; without any it is a line alone."""

    x: float
    words: str = ""
    anchor: Anchor = "middle"
    end: bool = False


@dataclass(frozen=True, slots=True)
class Seen(Generic[T]):
    """A piece of the picture; `hide` names the widths at which it is not drawn."""

    it: T
    hide: str = ""


def in_rooms(draw: Callable[[Room], Sequence[T]]) -> tuple[Seen[T], ...]:
    """A picture laid out for every width, each piece once."""
    return seen_in({room.name: draw(room) for room in ROOMS})


def seen_in(laid: Mapping[str, Sequence[T]]) -> tuple[Seen[T], ...]:
    pieces = dict.fromkeys(piece for drawn in laid.values() for piece in drawn)
    return tuple(
        Seen(
            piece,
            " ".join(f"no-{r}" for r, drawn in laid.items() if piece not in drawn),
        )
        for piece in pieces
    )


def axis(span: Span, now: str = "") -> tuple[Seen[Tick], ...]:
    """The ticks; `now` is what the last day is called, such as `today`."""
    return in_rooms(lambda room: ticks(span, room, now))


def ticks(span: Span, room: Room, now: str = "") -> tuple[Tick, ...]:
    """Both ends, and the finest of days, weeks and months that fits between them.

    A tick whose words would touch those of an end keeps its line alone; one beside an
    end has none.
    """
    ends = _ends(span, room, now)
    taken = [seat(tick.x, tick.words, room, tick.anchor) for tick in ends]
    for days, words in _choices(span, room):
        every = [Tick(span.x(day), words(day)) for day in days]
        between = [t for t in every if not any(_beside(t, end, room) for end in ends)]
        seats = [seat(tick.x, tick.words, room) for tick in between]
        if all(apart(one, other) for one, other in pairwise(seats)):
            bare = (
                tick if all(apart(mine, end) for end in taken) else Tick(tick.x)
                for tick, mine in zip(between, seats, strict=True)
            )  # fmt: skip
            return (*ends, *bare)
    return ends


def _beside(tick: Tick, end: Tick, room: Room) -> bool:
    return abs(in_em(tick.x - end.x, room)) < 2 * GAP_EM


def seat(
    x: float, words: str, room: Room, anchor: Anchor = "middle"
) -> tuple[float, float]:
    """Where words begin and end, in em from the plot's left edge."""
    at, wide = in_em(x, room), em_of(words)
    left = at - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
    return left, left + wide


def apart(one: tuple[float, float], other: tuple[float, float]) -> bool:
    return one[1] + GAP_EM <= other[0] or other[1] + GAP_EM <= one[0]


def _ends(span: Span, room: Room, now: str) -> tuple[Tick, ...]:
    last = Tick(span.x(span.last), now or day_of(span.last), "middle", True)
    if seat(last.x, last.words, room)[1] > room.em + room.aside:
        last = last._replace(anchor="end")
    if not span.days:
        return (last,)
    words = day_of(span.first)
    for anchor in ANCHORS:
        first = Tick(span.x(span.first), words, anchor, True)
        mine = seat(first.x, words, room, anchor)
        if mine[0] >= -LEFT_EM and apart(
            mine, seat(last.x, last.words, room, last.anchor)
        ):
            return first, last
    return Tick(span.x(span.first), words, "middle", True), last._replace(words="")


def day_of(day: date) -> str:
    """`3 Nov`: the page says of which year."""
    return short_day(day)


def _month_of(day: date) -> str:
    """`Nov`; a year by its number, where it begins."""
    return str(day.year) if day.month == 1 else f"{day:%b}"


Choice = tuple[list[date], Callable[[date], str]]


def _choices(span: Span, room: Room) -> Iterator[Choice]:
    """From the finest on, without those that could never fit."""
    for step in (1, 2, 7, 14):
        if span.days / step <= room.em:
            yield _steps(span, step), day_of
    for every in (1, 2, 3, 6, 12):
        yield _months(span, every), _month_of


def _steps(span: Span, step: int) -> list[date]:
    return [span.first + timedelta(days=n) for n in range(step, span.days, step)]


def _months(span: Span, every: int) -> list[date]:
    """First days of every month, second month ... of the calendar within the span."""
    months = range(span.first.year * 12 + span.first.month, span.last.year * 12 + 12)
    days = (date(month // 12, month % 12 + 1, 1) for month in months)
    return [
        d for d in days if (d.month - 1) % every == 0 and span.first < d < span.last
    ]


def bunches(
    pieces: Sequence[T], at: Callable[[T], float], gap: float
) -> Iterator[list[T]]:
    """Neighbours that lie less than `gap` from the first of their bunch, in order."""
    bunch: list[T] = []
    for piece in sorted(pieces, key=at):
        if bunch and at(piece) - at(bunch[0]) >= gap:
            yield bunch
            bunch = []
        bunch.append(piece)
    if bunch:
        yield bunch
