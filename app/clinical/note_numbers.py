"""The numbers of a text, and which of them changed or have no event behind them.

A date or an hour is one numeral, and so is a fraction such as 118/70; what only looks
like a number inside a name (MDC95, SpO2, L4) is none. Two numerals are the same when
their values are: 12.0 and 12, 0.8 and .8, 14:05 and 2:05 pm. Nothing is rounded, so
that 18 is another number than 18.4. Words such as "two" are not read.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Literal

Kind = Literal["date", "hour", "fraction", "number"]
Key = tuple[object, ...]

_MONTHS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August",
    "September", "October", "November", "December",
)  # fmt: skip
_MONTH: Final = "|".join(f"{name}|{name[:3]}" for name in _MONTHS) + "|Sept"
#: Names that hold digits: error, gases, levels of the spine.
_NAMES: Final = r"MDC\d\d|SEM\d\d|CI\d\d|Sp?O2|[CV]?O2|[CTLS]\d{1,2}(?:[-/][CTLS]?\d)?"
_PLAIN: Final = r"(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?"
_NUMERAL: Final = re.compile(
    rf"""
    (?P<name>\b(?:{_NAMES})\b)
    | (?P<date>
        \b\d{{4}}-\d\d?-\d\d?\b
        | \b\d{{1,2}}/\d{{1,2}}/(?:\d{{4}}|\d\d)\b
        | \b\d{{1,2}}\ (?:{_MONTH})\b\.?(?:\ \d{{4}}\b)?
        | \b(?:{_MONTH})\.?\ \d{{1,2}}\b(?:,?\ \d{{4}}\b)?
      )
    | (?P<hour>
        \b\d{{1,2}}:\d\d(?::\d\d)?(?:\s?[ap]\.?m\b\.?)?
        | \b\d{{1,2}}\s?[ap]\.?m\b\.?
      )
    | (?P<fraction>(?<![\d.]){_PLAIN}\s?/\s?{_PLAIN})
    | (?P<number>(?:(?<![\w.)\]])[-−])?{_PLAIN} | (?<![\w.])\.\d+)
    """,
    re.VERBOSE,
)
_OUT_OF: Final = re.compile(rf"({_PLAIN})\s+(?:out of|of)\s+({_PLAIN})")


@dataclass(frozen=True, slots=True)
class Numeral:
    """One numeral as written, and what it is."""

    written: str
    kind: Kind


@dataclass(frozen=True, slots=True)
class NumberChange:
    """A number of a made line that no longer stands, or one that is new."""

    number: str
    how: Literal["gone", "new"]


def numerals(text: str) -> Iterator[Numeral]:
    """Each numeral in order, dates and hours told apart from numbers.

    >>> [(n.kind, n.written) for n in numerals("3 June 2026, 14:05: 118/70")]
    [('date', '3 June 2026'), ('hour', '14:05'), ('fraction', '118/70')]
    """
    for match in _NUMERAL.finditer(text):
        for kind in ("date", "hour", "fraction", "number"):
            if match[kind]:
                yield Numeral(match[kind], kind)


def numbers(text: str) -> tuple[str, ...]:
    """The numerals as written, in order, as often as they stand.

    >>> numbers("18.4 s (best of 2), down .8 s since 3 June; MDC95 2.3 s")
    ('18.4', '2', '.8', '3 June', '2.3')
    """
    return tuple(found.written for found in numerals(text))


def changed(made: str, text: str) -> tuple[NumberChange, ...]:
    """What became of a made line's numbers; empty where they all stand.

    A number counts as gone only when it stands nowhere any more: saying one twice or
    once is wording. Numbers that swapped their places are not seen.
    """
    gone = _absent(made, _keys(text))
    new = _absent(text, _keys(made))
    return (
        *(NumberChange(number, "gone") for number in gone),
        *(NumberChange(number, "new") for number in new),
    )


def unsupported(text: str, events_text: str) -> tuple[str, ...]:
    """The numbers of a text for which no event has the same, each once.

    `3/10` is behind "3 of 10" as well; 118 is behind 118/70; 3 June behind 3 June 2026.
    """
    behind = _keys(events_text)
    for numeral in numerals(events_text):
        if numeral.kind == "fraction":
            behind |= {_number(part) for part in numeral.written.split("/")}
    for part, whole in _OUT_OF.findall(events_text):
        behind.add(("fraction", _value(part), _value(whole)))
    return _absent(text, behind)


def _absent(text: str, keys: set[Key]) -> tuple[str, ...]:
    found = [n.written for n in numerals(text) if not _stands(_key(n), keys)]
    return tuple(dict.fromkeys(found))


def _stands(key: Key, keys: set[Key]) -> bool:
    """A day without its year is the same day of any year, and the other way round."""
    if key in keys or key[0] != "date":
        return key in keys
    day, year = key[:3], key[3]
    return any(
        other[:3] == day and (year is None or other[3] is None) for other in keys
    )


def _keys(text: str) -> set[Key]:
    return {_key(numeral) for numeral in numerals(text)}


def _key(numeral: Numeral) -> Key:
    if numeral.kind == "date":
        return _date(numeral.written)
    if numeral.kind == "hour":
        return _hour(numeral.written)
    if numeral.kind == "fraction":
        part, whole = numeral.written.split("/")
        return ("fraction", _value(part), _value(whole))
    return _number(numeral.written)


def _number(written: str) -> Key:
    return ("number", _value(written))


def _value(written: str) -> Decimal:
    return Decimal(written.strip().replace(",", "").replace("−", "-"))


def _date(written: str) -> Key:
    """`("date", day, month, year)`; slashes are read month first, as in the States."""
    named = re.search(_MONTH, written)
    digits = [int(part) for part in re.findall(r"\d+", written)]
    if named:
        month = [name[:3] for name in _MONTHS].index(named[0][:3]) + 1
        return ("date", digits[0], month, digits[1] if len(digits) > 1 else None)
    if "-" in written:
        return ("date", digits[2], digits[1], digits[0])
    year = digits[2] if digits[2] > 99 else 2000 + digits[2]
    return ("date", digits[1], digits[0], year)


def _hour(written: str) -> Key:
    digits = [int(part) for part in re.findall(r"\d+", written)]
    hour, minute = digits[0], digits[1] if len(digits) > 1 else 0
    if re.search(r"[ap]\.?m", written):
        hour = hour % 12 + (12 if "p" in written else 0)
    return ("hour", hour, minute)
