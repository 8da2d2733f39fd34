"""Which tests fit a person today, and why the others do not: nothing is hidden.

By what the person can do, the kit at hand, the minutes left, the precautions in force
and the last score of each test. Common practice, not from a source.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Final

from app.clinical.composite import most_points
from app.clinical.days import short_day
from app.clinical.measure import Measure
from app.clinical.precautions import Clearance, clearance
from app.clinical.quantities import rounded, words
from app.clinical.vocabulary import ABILITIES, KIT_ITEMS, ROOM_ITEMS

#: What may be left of a visit, minutes.
MINUTES: Final = (5, 10, 15, 30)
_LEAST_FIRST: Final = tuple(ABILITIES)
_NEEDS: Final = {
    "sits_held": "needs sitting, with support",
    "sits": "needs sitting",
    "stands_held": "needs standing, with help",
    "stands": "needs standing",
    "walks": "needs walking",
}
_NO_KIT: Final = {"stopwatch": "no stopwatch", "sticks": "no canes or sticks"}


@dataclass(frozen=True, slots=True)
class Today:
    """What was said of today. `can` empty: nothing; `minutes` None: not asked.

    `kit` is what is at hand for tests and for treatment. `help` is the level of help
    (assistance.LEVELS) in what `can` says; `people` how many there are to guard. Both
    speak of treatment alone.
    """

    can: str = ""
    kit: frozenset[str] = frozenset((*KIT_ITEMS, *ROOM_ITEMS))
    minutes: int | None = None
    help: str = ""
    people: int | None = None


@dataclass(frozen=True, slots=True)
class LastTry:
    """The last try of a test: what came of it, when, and under which set-up."""

    outcome: str
    on: date
    value: Decimal | None = None
    variant: str = ""
    facts: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Offer:
    """One test, whether orders let it be done, and why it does not fit today."""

    measure: Measure
    clearance: Clearance
    why_not: tuple[str, ...]

    @property
    def fits(self) -> bool:
        return not self.why_not


def offers(
    measures: Iterable[Measure],
    today: Today,
    tags: Iterable[str],
    last: Mapping[str, LastTry],
    on: date,
) -> list[Offer]:
    """Every test; what fits first, and of those what asks most of the person.

    With nothing said of today only the precautions speak.
    """
    in_force = tuple(tags)
    found = [_offer(m, today, in_force, last.get(m.id), on) for m in measures]
    return sorted(found, key=_order if today.can else _by_name)


def _by_name(offer: Offer) -> str:
    return offer.measure.name


def _order(offer: Offer) -> tuple[bool, bool, int, int, str]:
    m = offer.measure
    asks = _LEAST_FIRST.index(m.needs)
    blocked = not offer.clearance.allowed
    return (not offer.fits, blocked, -asks, m.minutes, m.name)


def _offer(
    m: Measure, today: Today, tags: tuple[str, ...], last: LastTry | None, on: date
) -> Offer:
    clear = clearance(m.must_not, m.caution, tags)
    reasons = [f"{p.kind}: {p.label}" for p in clear.blocked_by]
    if today.can:
        reasons += _not_today(m, today)
        reasons += [_end_of_scale(m, last, on)] if last else []
    return Offer(m, clear, tuple(filter(None, reasons)))


def _not_today(m: Measure, today: Today) -> list[str]:
    reasons = []
    if _LEAST_FIRST.index(today.can) < _LEAST_FIRST.index(m.needs):
        reasons.append(_asks(m, today.can))
    lacking = [item for item in m.kit_items if item not in today.kit]
    reasons += [_NO_KIT.get(item, f"no {item}") for item in lacking]
    if today.minutes is not None and m.minutes > today.minutes:
        reasons.append(f"takes about {m.minutes} min")
    return reasons


def _asks(m: Measure, can: str) -> str:
    if m.needs == "stands" and can == "stands_held":
        return "needs standing alone"
    if m.needs == "sits" and can == "sits_held":
        return "needs sitting alone"
    if m.walk_metres is None:
        return _NEEDS[m.needs]
    metres = rounded(m.walk_metres, 1)
    whole = metres == metres.to_integral_value()
    return f"needs a walk of {rounded(metres, 0) if whole else metres} m"


def _end_of_scale(m: Measure, last: LastTry, on: date) -> str:
    """Unable last time, or as good as the test can tell."""
    day = short_day(last.on, on)
    if last.outcome == "unable":
        return f"floor: unable on {day}"
    top = most(m, last)
    if last.value is None or top is None or last.value < top:
        return ""
    said = {
        "time": f"held all {top} s",
        "stages": f"held all {top} stages",
    }.get(m.kind, f"{top} of {words(Decimal(top), m.units[0])}")
    return f"ceiling: {said} on {day}, try a harder one"


def most(m: Measure, last: LastTry) -> int | None:
    """The best score the test can give under that rule and set-up; None: no end."""
    if m.kind == "stages":
        return m.variant(last.variant or None).of
    if m.kind == "time" and m.better == "higher":
        return m.ceiling(last.facts)
    if m.formula == "points":
        return most_points(m.components, m.bands)
    return None
