"""Rows of a room -> what the page says of them: the person first, then references."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from app.catalogue.load import Catalogue
from app.clinical.dimensions import PHASES, Comparison, Length, Thing, comparisons
from app.clinical.quantities import convert
from app.clinical.seat_height import Leg, likely, own_words, start_words
from app.storage.patients import PatientDetails
from app.storage.room_measurements import RoomMeasure
from app.web.room_picture import Drawn, Elevation, elevation


@dataclass(frozen=True, slots=True)
class MeasureView:
    """One measurement with what it means. `own` comes first and outranks the rest."""

    row: RoomMeasure
    name: str
    phase: str
    words: str
    own: tuple[str, ...]
    compared: tuple[Comparison, ...]
    none: str
    none_how: str


@dataclass(frozen=True, slots=True)
class LegView:
    """The person's own height. `rules`: seats that tests of the shelf ask for."""

    words: str
    shoes: str
    start: str
    checks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PairLine:
    """A thing before and after, as words; empty where it was not measured."""

    name: str
    before: str
    after: str


def length_of(row: RoomMeasure) -> Length:
    return Length(Decimal(row.value), row.unit)


def leg_of(details: PatientDetails, shoes: str) -> Leg | None:
    """The lower leg as it stands with the patient, if it was measured."""
    if "lower_leg" not in details.sizes:
        return None
    value, unit = details.sizes["lower_leg"]
    return Leg(Length(Decimal(value), unit), shoes)


def leg_view(leg: Leg, details: PatientDetails, shelf: Catalogue) -> LegView:
    height = details.sizes.get("height")
    cm = convert(Fraction(height[0]), height[1], "cm") if height else None
    checks = likely(leg, details.sex or "", cm, shelf.dimensions.legs)
    return LegView(leg.length.words, leg.shoes, start_words(leg), checks)


def seat_rules(shelf: Catalogue) -> list[tuple[str, str]]:
    """`(Five times sit to stand, seat 17 to 18 in)`: a test keeps its own seat."""
    return [
        (measure.name, fact.standard_says)
        for measure in shelf.measures.values()
        for fact in measure.facts
        if fact.key == "seat_height" and fact.standard_says
    ]


def view_of(row: RoomMeasure, shelf: Catalogue, leg: Leg | None) -> MeasureView:
    """A thing that the catalogue no longer knows keeps its number and says no more."""
    length, thing = length_of(row), shelf.dimensions.things.get(row.thing)
    return MeasureView(
        row=row,
        name=thing.name if thing else row.thing,
        phase=PHASES[row.phase],
        words=length.words,
        own=own_words(length, leg) if leg and thing and thing.own else (),
        compared=tuple(comparisons(length, thing)) if thing else (),
        none=thing.none if thing else "",
        none_how=thing.none_how if thing else "",
    )


def _newest(rows: Iterable[RoomMeasure]) -> dict[tuple[str, str], RoomMeasure]:
    """By thing and phase, of rows that come latest first."""
    found: dict[tuple[str, str], RoomMeasure] = {}
    for row in rows:
        if row.voided_at is None:
            found.setdefault((row.thing, row.phase), row)
    return found


def pairs_of(rows: Sequence[RoomMeasure], shelf: Catalogue) -> list[PairLine]:
    """Things measured after a change beside what they were, in the file's order."""
    newest = _newest(rows)
    return [
        PairLine(thing.name, *(_words(newest.get((key, p))) for p in PHASES))
        for key, thing in shelf.dimensions.things.items()
        if (key, "after") in newest
    ]


def _words(row: RoomMeasure | None) -> str:
    return length_of(row).words if row else ""


def picture_of(
    rows: Sequence[RoomMeasure], shelf: Catalogue, leg: Leg | None
) -> Elevation | None:
    """The room as it is now, what was changed with a dashed line where it was."""
    newest = _newest(rows)
    drawn = []
    for key, thing in shelf.dimensions.things.items():
        before, after = newest.get((key, "before")), newest.get((key, "after"))
        now = after or before
        if now is not None:
            was = length_of(before) if after and before else None
            drawn.append(Drawn(thing, length_of(now), was))
    return elevation(drawn, leg.length if leg else None)


def offered(shelf: Catalogue, room: str) -> tuple[list[Thing], list[Thing]]:
    """What is usually measured in a room, and everything else that a tape can."""
    taped = [t for t in shelf.dimensions.things.values() if t.kind != "slope"]
    usual = [t for t in taped if room in t.rooms]
    return usual, [t for t in taped if room not in t.rooms]
