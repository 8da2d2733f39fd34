"""What was measured and proposed in a visit, as lines of what happened there."""

from collections.abc import Iterator
from datetime import datetime

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.dimensions import PHASES, ROOMS
from app.clinical.room_changes import CHANGES, WHO
from app.storage.episodes import Visit
from app.storage.room_measurements import (
    RoomChange,
    RoomMeasure,
    changes_in,
    measures_in,
)
from app.web.room_view import length_of


def room_events(
    session: Session, shelf: Catalogue, visit: Visit
) -> Iterator[tuple[datetime, str, int | None]]:
    """In order; a voided one says so."""
    for row in measures_in(session, visit):
        void = f" (void: {row.void_reason})" if row.void_reason else ""
        yield row.recorded_at, measured_words(row, shelf) + void, row.recorded_by
    for now in changes_in(session, visit):
        yield now.row.recorded_at, change_words(now.row), now.row.recorded_by


def measured_words(row: RoomMeasure, shelf: Catalogue) -> str:
    """`Bathroom, toilet seat, before: 16 in (40.6 cm); wobbles`."""
    known = shelf.dimensions.things.get(row.thing)
    name = known.name.lower() if known else row.thing
    note = f"; {row.note}" if row.note else ""
    said = f"{ROOMS[row.room]}, {name}, {PHASES[row.phase]}"
    return f"{said}: {length_of(row).words}{note}"


def change_words(row: RoomChange) -> str:
    """`To change, bathroom: grab bar (beside the toilet), by the landlord`."""
    words = f" ({row.words})" if row.words else ""
    room = ROOMS[row.room].lower()
    return f"To change, {room}: {CHANGES[row.change]}{words}, by: {WHO[row.who]}"
