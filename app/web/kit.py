"""Kit: marking a tape, checking it, and a paper scale that proves its own print."""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from app.clinical.quantities import BadNumber, convert, parse, rounded
from app.clinical.tape_error import TAPE_INCHES, course_metres, off_by
from app.web.deps import SignedIn, page

router = APIRouter()
#: The long edge of a bank card, mm. ISO/IEC 7810 ID-1: 85.60 mm (from memory).
CARD_MM = Decimal("85.60")
MM_PER_INCH = Fraction(254, 10)
#: Three strips of eight inches fit both usual sheets of paper.
STRIPS, STRIP_INCHES = 3, 8


@dataclass(frozen=True, slots=True)
class Tick:
    """One line of the paper scale, mm from the strip's start; `text` may be empty."""

    at: str
    reach: str
    text: str


@dataclass(frozen=True, slots=True)
class Strip:
    """Eight inches of scale: inch ticks on one side, centimetres on the other."""

    inches: tuple[Tick, ...]
    centimetres: tuple[Tick, ...]
    says: str


@dataclass(frozen=True, slots=True)
class Checked:
    """What a tape's error comes to."""

    says: str
    fact: str


@router.get("/kit")
def show(
    request: Request, _me: SignedIn, known: str = "", reads: str = ""
) -> HTMLResponse:
    """Marking and checking; two lengths in the address are nobody's."""
    errors: dict[str, str] = {}
    checked = _checked(known, reads, errors) if known or reads else None
    return page(
        request,
        "kit/show.html",
        status=422 if errors else 200,
        known=known,
        reads=reads,
        errors=errors,
        checked=checked,
        folds=[("half", 60), ("quarter", 30), ("eighth", 15)],
        card=CARD_MM,
    )


def _checked(known: str, reads: str, errors: dict[str, str]) -> Checked | None:
    lengths = []
    for name, text in (("known", known), ("reads", reads)):
        try:
            value, unit = parse(text, ("in", "cm"))
        except BadNumber as fault:
            errors[name] = str(fault)
        else:
            lengths.append(convert(Fraction(value), unit, "in"))
    if errors:
        return None
    true, read = lengths
    ten_feet = TAPE_INCHES * true / read
    if abs(ten_feet - TAPE_INCHES) > TAPE_INCHES / 10:
        errors["reads"] = "More than a tenth apart: measure again, or use another tape."
        return None
    return Checked(_says(ten_feet), str(rounded(ten_feet, 2)))


def _says(ten_feet: Fraction) -> str:
    """The tape's 10 ft as they are, and what that does to a walk and to a reach."""
    percent = rounded(abs(off_by(ten_feet)) * 100, 1)
    if percent == 0:
        return "The tape is right to a tenth of a percent."
    side = "longer" if ten_feet > TAPE_INCHES else "shorter"
    slow = "slower" if ten_feet > TAPE_INCHES else "faster"
    metres = rounded(course_metres(ten_feet), 3)
    return (
        f"Ten feet by this tape are {rounded(ten_feet, 2)} in ({metres} m): {percent} "
        f"% {side} than they should be. A walk over them reads {percent} % {slow} than "
        f"it was, and a reach of 10 in by it is {rounded(ten_feet / 12, 2)} in."
    )


@router.get("/kit/scale")
def scale(request: Request, _me: SignedIn) -> HTMLResponse:
    """The first 24 in at 1:1, for paper."""
    return page(request, "kit/scale.html", strips=strips(), card=CARD_MM)


def strips() -> list[Strip]:
    return [_strip(number) for number in range(STRIPS)]


def _strip(number: int) -> Strip:
    first = number * STRIP_INCHES
    inches = tuple(
        _tick(Fraction(quarter, 4) * MM_PER_INCH, quarter % 4, first + quarter // 4)
        for quarter in range(4 * STRIP_INCHES + 1)
    )
    low, high = (first * MM_PER_INCH, (first + STRIP_INCHES) * MM_PER_INCH)
    halves = range(-(-low // 5), int(high // 5) + 1)  # every 5 mm inside
    centimetres = tuple(_tick(half * 5 - low, half % 2, half // 2) for half in halves)
    return Strip(inches, centimetres, f"{first} to {first + STRIP_INCHES} in")


def _tick(at: Fraction, small: int, number: int) -> Tick:
    reach = {0: "9", 2: "6"}.get(small, "4")
    return Tick(f"{float(at):.3f}", reach, "" if small else str(number))
