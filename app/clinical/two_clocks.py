"""How far two phones' clocks lie apart, and how sure that is.

Each phone exchanges times with the server. The arithmetic is the one that RFC 5905
(network time) names: offset ((t1 - t0) + (t2 - t3)) / 2 and round trip
(t3 - t0) - (t2 - t1), where t0 and t3 are read on the phone and t1 and t2 on the
server. However a round trip was shared between the way there and the way back, the
offset is off by at most half of it.

Everything is in milliseconds. A phone's clock counts from the moment its page was
opened (`origin`), the server's from its machine's start (`scale` tells which start).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

#: Two clocks may run apart so far: 100 parts in a million (common practice for the
#: quartz of a phone; the RFC allows one clock 15, from memory).
DRIFT: Final = 100e-6
#: A time that may be off by more than this is asked about (common practice: half of the
#: 0.2 s that timing by hand is taken to be off).
DOUBTFUL_MS: Final = 100.0
#: Clocks of one machine since one start agree better than this; others do not.
SAME_SCALE_MS: Final = 1_000.0


@dataclass(frozen=True, slots=True)
class Exchange:
    """One question to the server and its answer, by both clocks."""

    t0: float
    t1: float
    t2: float
    t3: float
    scale: float = 0.0

    @property
    def round_trip(self) -> float:
        """Without the time the server itself took."""
        return (self.t3 - self.t0) - (self.t2 - self.t1)


@dataclass(frozen=True, slots=True)
class Offset:
    """Server's clock minus the phone's; the truth lies within `bound` of it."""

    ms: float
    bound: float


@dataclass(frozen=True, slots=True)
class Stamp:
    """A press on one phone: its clock there, and the exchange that was best then."""

    phone: str
    origin: float
    mono: float
    exchange: Exchange | None = None

    @property
    def offset(self) -> Offset | None:
        return aged(self.exchange, self.mono) if self.exchange else None


@dataclass(frozen=True, slots=True)
class Ran:
    """From one press to another. `bound` is 0 where no second clock was needed, and
    None where nothing vouches for it."""

    ms: float
    bound: float | None
    one_clock: bool

    @property
    def doubtful(self) -> bool:
        return self.bound is None or self.bound > DOUBTFUL_MS


def offset(exchange: Exchange) -> Offset:
    """What one exchange tells: RFC 5905's offset, and half its round trip.

    >>> offset(Exchange(t0=1000, t1=5020, t2=5021, t3=1061))
    Offset(ms=3990.0, bound=30.0)
    """
    ahead, behind = exchange.t1 - exchange.t0, exchange.t2 - exchange.t3
    return Offset((ahead + behind) / 2, max(0.0, exchange.round_trip / 2))


def best(exchanges: Iterable[Exchange]) -> Exchange | None:
    """The one with the smallest round trip, which is the surest."""
    return min(exchanges, key=lambda e: e.round_trip, default=None)


def aged(exchange: Exchange, mono: float) -> Offset:
    """The offset at another moment of the phone's clock: the bound grows with drift."""
    at_once = offset(exchange)
    away = max(0.0, exchange.t0 - mono, mono - exchange.t3)
    return Offset(at_once.ms, at_once.bound + DRIFT * away)


def between(start: Stamp, stop: Stamp) -> Ran | None:
    """How long it ran, or None where two clocks have nothing in common.

    Two presses on one phone need no offset. But a phone that slept in between may have
    lost that time: where the server's clock says so beyond both bounds, it is believed,
    and the time is doubtful. Where no exchange tells, it may have slept, too.
    """
    steady = stop.mono - start.mono
    one_clock = (start.phone, start.origin) == (stop.phone, stop.origin)
    told = _by_the_server(start, stop)
    if not one_clock:
        return told
    if told is None or told.bound is None:
        return Ran(steady, None, True)
    if abs(told.ms - steady) <= told.bound:
        return Ran(steady, 0.0, True)
    return Ran(told.ms, None, False)


def _by_the_server(start: Stamp, stop: Stamp) -> Ran | None:
    began, ended = start.offset, stop.offset
    if began is None or ended is None:
        return None
    ms = (stop.mono + ended.ms) - (start.mono + began.ms)
    return Ran(
        ms, began.bound + ended.bound if _one_scale(start, stop) else None, False
    )


def _one_scale(one: Stamp, other: Stamp) -> bool:
    """Both exchanges were with one machine since one start."""
    assert one.exchange is not None
    assert other.exchange is not None
    return abs(one.exchange.scale - other.exchange.scale) < SAME_SCALE_MS


def as_seen_on(
    stamp: Stamp, phone: str, origin: float, here: Exchange | None
) -> tuple[float, float | None] | None:
    """The same press by another phone's clock, and the bound of that.

    None where the clocks have nothing in common; a bound of None where nothing vouches.
    """
    if (stamp.phone, stamp.origin) == (phone, origin):
        return stamp.mono, 0.0
    away = stamp.offset
    if away is None or here is None:
        return None
    mono = stamp.mono + away.ms - offset(here).ms
    seen = Stamp(phone, origin, mono, here)
    bound = away.bound + aged(here, mono).bound
    return mono, bound if _one_scale(stamp, seen) else None
