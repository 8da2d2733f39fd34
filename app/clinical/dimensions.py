"""Things measured in rooms, and what a published dimension says of one.

Lengths are kept as entered and compared in inches, exactly (1 in = 2.54 cm): the
millimetres that standards print are rounded and never compared with.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Final, Literal

from app.clinical.quantities import BadNumber, convert, rounded
from app.clinical.source import Source
from app.clinical.vocabulary import How

UNITS: Final = ("in", "cm")
#: Where it was measured. A ward's bed space is a room too.
ROOMS: Final = MappingProxyType(
    {
        "bathroom": "Bathroom",
        "bedroom": "Bedroom",
        "living_room": "Living room",
        "kitchen": "Kitchen",
        "hallway": "Hallway",
        "entrance": "Entrance",
        "stairs": "Stairs",
        "bedside": "Ward bed space",
    }
)
PHASES: Final = MappingProxyType({"before": "before", "after": "after the change"})
Verdict = Literal["within", "below", "above", "asked for", "not asked for"]
Kind = Literal["seat", "top", "bar", "edge", "width", "size", "slope"]
#: What each kind of thing can measure, in inches. Common practice: beyond it somebody
#: typed millimetres or the wrong thing. A slope is the x of 1:x and is worked out.
SPANS: Final[MappingProxyType[Kind, tuple[int, int]]] = MappingProxyType(
    {
        "seat": (4, 48),
        "top": (4, 60),
        "bar": (1, 96),
        "edge": (0, 12),
        "width": (4, 400),
        "size": (0, 600),
        "slope": (1, 1000),
    }
)
#: When a reference speaks; without a key it always does.
WHENS: Final = MappingProxyType(
    {
        "": "",
        "short_stretch": "where narrow for at most 24 in, then 48 x 36 in",
        "deep_opening": "where the opening is more than 24 in deep",
        "wide_turn": "in place of the widths before and after the turn",
        "bevelled": "where the edge is bevelled 1:2 or gentler",
        "each_run": "for each run, a landing between two",
        "removable": "for a seat that comes off",
        "permanent": "for a built-in seat",
        "existing_6_in": "at an existing site short of space, rise at most 6 in",
        "existing_3_in": "at an existing site short of space, rise at most 3 in",
    }
)
NOT_LAW: Final = "not law for a private home"
FOR_PUBLIC: Final = "reference for accessible public places"
_MIXED: Final = re.compile(r"(?:(\d{1,3})[ -])?(\d{1,2})/(2|4|8|16)", re.ASCII)
_PLAIN: Final = re.compile(r"\d{1,4}(?:\.\d{1,4})?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Length:
    """A length as it was entered."""

    value: Decimal
    unit: str

    @property
    def inches(self) -> Fraction:
        return convert(Fraction(self.value), self.unit, "in")

    @property
    def words(self) -> str:
        """`17 in (43.2 cm)`: as entered, the other unit in brackets."""
        return f"{plain(self.value)} {self.unit} ({self.other})"

    @property
    def other(self) -> str:
        """The same in the other unit.

        Inches have the decimals that keep them off an end of an interval they do not
        reach, so that what is shown never denies a verdict.
        """
        if self.unit == "in":
            return f"{plain(rounded(convert(self.inches, 'in', 'cm'), 1))} cm"
        places = (rounded(self.inches, p) for p in (1, 2, 3))
        shown = next((v for v in places if v == self.inches or not _may_end(v)), None)
        return f"{plain(shown or rounded(self.inches, 4))} in"


def _may_end(inches: Decimal) -> bool:
    """Whether some interval may end there: whole inches, or quarters up to 2 in.

    A test of the catalogue holds that no other end is carried.
    """
    return inches % 1 == 0 or (inches <= 2 and inches * 4 % 1 == 0)


@dataclass(frozen=True, slots=True)
class Reference:
    """One published interval in inches: `at_least` and `at_most` belong to it.

    `more_than` does not belong to its interval: beyond it `then` is asked for. For a
    slope the number is the x of 1:x. `section_how`: how the section's number is known,
    where that is another way than the value.
    """

    thing: str
    section: str
    source: str
    how: How
    published: Source
    at_least: Decimal | None = None
    at_most: Decimal | None = None
    more_than: Decimal | None = None
    then: str = ""
    when: str = ""
    read_in: str = ""
    section_how: str = ""
    slope: bool = False

    @property
    def words(self) -> str:
        """`17 to 19 in`, `at most 1/2 in`, `1:12 or gentler`."""
        if self.slope and self.at_least is not None:
            return f"1:{plain(self.at_least)} or gentler"
        if self.more_than is not None:
            return f"{self.then} above {inch_words(self.more_than)} in"
        low, high = (
            inch_words(n) if n is not None else ""
            for n in (self.at_least, self.at_most)
        )
        if low == high:
            return f"{low} in"
        if low and high:
            return f"{low} to {high} in"
        return f"at least {low} in" if low else f"at most {high} in"

    @property
    def whole(self) -> str:
        """With when it speaks, where it does not always."""
        return f"{self.words} {WHENS[self.when]}".strip()


@dataclass(frozen=True, slots=True)
class Thing:
    """Something one measures. `own`: a seat one rises from, so the person decides.

    `none` says that there is no number, where there is none.
    """

    key: str
    name: str
    measure: str
    kind: Kind
    rooms: tuple[str, ...]
    own: bool = False
    references: tuple[Reference, ...] = ()
    none: str = ""
    none_how: str = ""


@dataclass(frozen=True, slots=True)
class Note:
    """A dimension that no tape measures: a strength, a force, a surface."""

    section: str
    says: str
    source: str
    how: How
    read_in: str = ""


@dataclass(frozen=True, slots=True)
class Comparison:
    """What a reference says of a measured value. `by` is in inches, 0 when within."""

    reference: Reference
    verdict: Verdict
    by: Fraction
    says: str

    @property
    def cited(self) -> str:
        return cited(self.reference)


def plain(value: Decimal) -> str:
    """`17`, `17.5`: no zeros at the end."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def inch_words(value: Decimal) -> str:
    """`17`, `1/2`, `1 1/4`: as a tape is marked; else a decimal."""
    whole, part = divmod(value, 1)
    if part == 0:
        return plain(whole)
    eighths = part * 8
    if eighths != int(eighths):
        return plain(value)
    shown = Fraction(int(eighths), 8)
    return f"{plain(whole)} {shown}" if whole else str(shown)


def parse_length(text: str, unit: str, kind: Kind) -> Length:
    """Read `17`, `17.5`, `17 1/2`, `43 cm`; raise BadNumber with what to type.

    Centimetres are read to the millimetre, so that the verdict and the value shown
    beside it never differ.
    """
    typed = text.strip()
    for named in UNITS:
        if typed.endswith(named):
            typed, unit = typed.removesuffix(named).strip(), named
    if unit not in UNITS:
        raise BadNumber("Choose inches or centimetres.")
    value = _number(typed, unit)
    length = Length(value, unit)
    low, high = SPANS[kind]
    if not low <= length.inches <= high:
        ends = " to ".join(Length(Decimal(end), "in").words for end in (low, high))
        raise BadNumber(f"{plain(value)} {unit} cannot be right here: from {ends}.")
    return length


def _number(typed: str, unit: str) -> Decimal:
    mixed = _MIXED.fullmatch(typed)
    if not typed:
        raise BadNumber("Type what the tape says.")
    if "," in typed:
        raise BadNumber(f"{typed!r}: write a point, not a comma.")
    if mixed and int(mixed[2]) < int(mixed[3]):
        value = Decimal(mixed[1] or 0) + Decimal(mixed[2]) / Decimal(mixed[3])
    elif _PLAIN.fullmatch(typed):
        value = Decimal(typed)
    else:
        raise BadNumber(f"{typed!r} is no length like 17.5 or 17 1/2.")
    if unit == "cm" and value != rounded(value, 1):
        raise BadNumber(
            f"{typed!r}: one decimal is the most in cm: no tape shows more."
        )
    return value


def verdict_of(x: Fraction, reference: Reference) -> tuple[Verdict, Fraction]:
    """Where a number lies, and by how much outside. Printed ends belong to it."""
    low, high = reference.at_least, reference.at_most
    if reference.more_than is not None:
        asked = x > Fraction(reference.more_than)
        return ("asked for" if asked else "not asked for"), Fraction(0)
    if low is not None and x < Fraction(low):
        return "below", Fraction(low) - x
    if high is not None and x > Fraction(high):
        return "above", x - Fraction(high)
    return "within", Fraction(0)


def compare(measured: Length, reference: Reference) -> Comparison:
    """Within, below or above, with by how much and the section, in words."""
    verdict, by = verdict_of(measured.inches, reference)
    said: str = verdict
    if reference.then:
        said = f"{reference.then} {verdict}"
    elif by:
        said = f"{amount_words(by, measured.unit)} {verdict}"
    if reference.when and reference.when != "each_run":
        said = f"{WHENS[reference.when]}: {said}"
    return Comparison(reference, verdict, by, f"{said[0].upper()}{said[1:]}.")


def amount_words(by: Fraction, unit: str) -> str:
    """`0.5 in (1.3 cm)`, with as many decimals as it takes not to say 0."""
    other = "cm" if unit == "in" else "in"
    return f"{_not_zero(by, unit)} ({_not_zero(by, other)})"


def _not_zero(inches: Fraction, unit: str) -> str:
    value = convert(inches, "in", unit)
    enough = (2, 3) if unit == "in" else (1, 2, 3)
    places = next((p for p in enough if rounded(value, p) != 0 or value == 0), 4)
    return f"{plain(rounded(value, places))} {unit}"


def cited(reference: Reference) -> str:
    """The whole sentence: whose, which section, the interval, and that it is no law."""
    section = f"section {reference.section}"
    if reference.section_how:
        section += f" (number from {reference.section_how})"
    sure = "; from memory, unconfirmed" if reference.how == "memory" else ""
    return f"{FOR_PUBLIC.capitalize()}, {section}: {reference.whole}{sure}; {NOT_LAW}."


def comparisons(measured: Length, thing: Thing) -> Iterator[Comparison]:
    """Every reference of the thing, in the catalogue's order."""
    for reference in thing.references:
        yield compare(measured, reference)
