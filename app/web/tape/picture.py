"""The tape picture: where every mark of one score lies on a strip of tape.

Pure geometry, no judgement: the caller says what is crossed and what is comparable.
Above the strip is the person (today, earlier scores, measurement error); below it is
what has been published (cut-offs, averages, the healthy spread).
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Decimal

from app.clinical.quantities import words as with_unit
from app.web.tape.labels import Want, apart, beside, place_labels
from app.web.tape.marks import (
    FLAG_EM,
    LETTER_EM,
    NARROW_EM,
    ROW_EM,
    STRIP_EM,
    Band,
    Better,
    Bracket,
    Flag,
    KeyLine,
    Mark,
    Notch,
    Pin,
    Shape,
    SmallTape,
    TapeView,
    Text,
)
from app.web.tape.scale import Scale, scale_for, ticks

#: Letters half as wide again as most.
BROAD = "mMW"
PIN_LEVELS, PIN_EM, PIN_APART, PIN_FOOT = 3, 0.72, 4.2, 0.5


def _in(value: Decimal, unit: str) -> str:
    """With its unit; a count has none. Half a stage is none, so one is `1 stage`."""
    return (
        with_unit(value, unit)
        if unit in ("stages", "points")
        else (f"{value:f} {unit}".strip())
    )


def _pins(scale: Scale, earlier: Sequence[Pin]) -> tuple[tuple[Mark, ...], int]:
    """Pins side by side, the newest lowest; close ones fan up, the rest are counted."""
    placed: list[Mark] = []
    for pin in reversed(earlier):
        x = scale.x(pin.value)
        taken = {mark.y for mark in placed if abs(mark.x - x) < PIN_APART}
        free = [level for level in range(PIN_LEVELS) if level * PIN_EM not in taken]
        if free:
            shape: Shape = "pin" if pin.comparable else "other"
            placed.append(Mark(x, shape, free[0] * PIN_EM))
    raised = (mark._replace(y=round(-PIN_FOOT - mark.y, 2)) for mark in placed)
    return tuple(raised), len(earlier) - len(placed)


def _dates(
    scale: Scale, earlier: Sequence[Pin], unit: str, hidden: int, pole: float | None
) -> tuple[Text, ...]:
    """The first and the last date, or one text for both where they would collide."""
    if not earlier:
        return ()
    ends = [earlier[0], earlier[-1]] if len(earlier) > 1 else [earlier[0]]
    texts = [(scale.x(pin.value), _date(scale, pin, unit)) for pin in ends]
    placed = None if hidden else apart(texts, pole)
    if placed is not None:
        return placed
    words = " – ".join(words for _, words in texts)
    if hidden:
        words += f", {len(earlier)}×"
    middle = sum(x for x, _ in texts) / len(texts)
    alone = apart([(middle, words)], pole)
    aside = beside(middle, words, pole) if not alone and pole is not None else None
    return alone or ((aside,) if aside else apart([(middle, words)], None) or ())


def _date(scale: Scale, pin: Pin, unit: str) -> str:
    """A score off the end says its value, since its place no longer does."""
    away = f" {_in(pin.value, unit)}" if scale.off(pin.value) else ""
    return f"{pin.words}{away}"


def _flag(scale: Scale, today: Decimal, unit: str) -> Flag:
    """The flag flies to the side that has room, also with large text."""
    words, x = _in(today, unit), scale.x(today)
    if scale.off(today):
        words = f"← {words}" if today < scale.low else f"{words} →"
    broad = sum(words.count(letter) for letter in BROAD) * LETTER_EM / 2
    width = round(len(words) * LETTER_EM + broad + 1, 2)
    half = width / 2 * 100 / NARROW_EM
    left = -width / 2 if half <= x <= 100 - half else -0.1 if x < half else 0.1 - width
    return Flag(x, round(left, 2), width, round(left + width / 2, 2), words)


def _bracket(scale: Scale, error: tuple[Decimal, Decimal]) -> Bracket:
    low, high = error
    return Bracket(scale.x(low), scale.x(high), not scale.off(low), not scale.off(high))


def _ends(unit: str, better: Better) -> tuple[str, str]:
    """What the two ends of the tape mean for this kind of score."""
    if unit == "s" and better == "lower":
        return "faster", "slower"
    if unit in {"m/s", "cm/s", "ft/s"}:
        return "slower", "faster"
    if unit in {"W/kg", "points"}:
        return "lower", "higher"
    if unit == "s":
        return "shorter", "longer"
    if unit in {"in", "cm", "m", "ft"}:
        return "shorter", "farther"
    if unit == "mmHg":
        return "smaller fall", "larger fall"
    return "fewer", "more"


def _shape(notch: Notch) -> Shape:
    if notch.kind != "cutoff":
        return notch.kind
    return "crossed" if notch.crossed else "cutoff"


def _notch_key(notch: Notch, unit: str) -> KeyLine:
    said = f"{_in(notch.value, unit)}: {notch.words}"
    shape = _shape(notch)
    return KeyLine(shape, f"{said}, crossed" if shape == "crossed" else said)


def _earlier_key(earlier: Sequence[Pin], unit: str) -> Iterator[KeyLine]:
    kinds: tuple[tuple[Shape, bool, str], ...] = (
        ("pin", True, "earlier"),
        ("other", False, "earlier, not comparable"),
    )
    for shape, comparable, kind in kinds:
        pins = [pin for pin in earlier if pin.comparable == comparable]
        if pins:
            first, last = pins[0], pins[-1]
            said = f"{_in(last.value, unit)} on {last.words}"
            if len(pins) > 1:
                said = f"{len(pins)} from {first.words}, last {said}"
            yield KeyLine(shape, f"{kind}: {said}")


def _key(
    unit: str,
    spread: Band | None,
    notches: Sequence[Notch],
    earlier: Sequence[Pin],
    error: tuple[Decimal, Decimal] | None,
) -> Iterator[KeyLine]:
    for notch in notches:
        yield _notch_key(notch, unit)
    if spread:
        span = f"{spread.low:f} to {_in(spread.high, unit)}"
        yield KeyLine("spread", f"{span}: {spread.words}")
    yield from _earlier_key(earlier, unit)
    if error:
        low, high = error
        said = f"{low:f} to {_in(high, unit)}: measurement error"
        yield KeyLine("error", said)


def _wants(
    scale: Scale, unit: str, spread: Band | None, notches: Sequence[Notch]
) -> list[Want]:
    wants = [
        Want(scale.x(n.value), _in(n.value, unit), n.words, _shape(n)) for n in notches
    ]
    if spread:
        middle = (scale.x(spread.low) + scale.x(spread.high)) / 2
        wants.append(Want(round(middle, 2), "", spread.words, "spread"))
    return wants


def tape(
    *,
    low: Decimal,
    high: Decimal,
    unit: str,
    better: Better,
    today: Decimal | None,
    spread: Band | None = None,
    notches: Sequence[Notch] = (),
    earlier: Sequence[Pin] = (),
    error: tuple[Decimal, Decimal] | None = None,
    label: str,
) -> TapeView:
    """The picture of one score; `low` to `high` is the usual stretch of its scale."""
    values = [n.value for n in notches] + [p.value for p in earlier]
    values += [today] if today is not None else []
    values += [spread.low, spread.high] if spread else []
    scale = scale_for(low, high, values)
    pins, hidden = _pins(scale, earlier)
    flag = _flag(scale, today, unit) if today is not None else None
    dates = _dates(scale, earlier, unit, hidden, flag.x if flag else None)
    labels, all_named = place_labels(_wants(scale, unit, spread, notches))
    view = TapeView(
        label=label, height=0, top=0, foot=0, dates_y=0, ends_y=0,
        ticks=ticks(scale, flag.x if flag else None), tears=scale.tears(),
        spread=scale.stretch(spread.low, spread.high) if spread else None,
        marks=tuple(Mark(scale.x(n.value), _shape(n), STRIP_EM) for n in notches),
        labels=labels, pins=pins, dates=dates,
        bracket=_bracket(scale, error) if error else None,
        flag=flag, ends=_ends(unit, better),
        key=tuple(_key(unit, spread, notches, earlier, error)),
        key_needed=not all_named or hidden > 0,
    )  # fmt: skip
    return _stacked(view)


def _stacked(view: TapeView) -> TapeView:
    """Heights from the top: flag, dates, pins, strip, labels, ends."""
    flown = FLAG_EM if view.flag else 0.0
    dates_y = flown + ROW_EM * 0.8 if view.dates else flown
    levels = max((-pin.y for pin in view.pins), default=0.0)
    top = dates_y + 0.5 + max(levels, PIN_FOOT if view.bracket else 0)
    foot = top + STRIP_EM
    ends_y = foot + max((label.y for label in view.labels), default=0.0) + ROW_EM
    return replace(
        view,
        dates_y=round(dates_y, 2),
        top=round(top, 2),
        foot=round(foot, 2),
        ends_y=round(ends_y, 2),
        height=round(ends_y + 0.4, 2),
    )


def small_tape(
    *,
    low: Decimal,
    high: Decimal,
    today: Decimal | None,
    spread: Band | None = None,
    cutoff: Decimal | None = None,
    earlier: Sequence[Decimal] = (),
) -> SmallTape:
    """The same strip for a row of a list: at most one cut-off, no words."""
    values = [v for v in (today, cutoff) if v is not None] + list(earlier)
    values += [spread.low, spread.high] if spread else []
    scale = scale_for(low, high, values)
    return SmallTape(
        ticks=tuple(tick.x for tick in ticks(scale) if tick.long),
        spread=scale.stretch(spread.low, spread.high) if spread else None,
        cutoff=scale.x(cutoff) if cutoff is not None else None,
        pins=tuple(scale.x(value) for value in earlier),
        today=scale.x(today) if today is not None else None,
        tears=scale.tears(),
    )
