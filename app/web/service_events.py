"""Minutes by service as one line of a visit's events, and so of its text."""

from collections.abc import Iterator

from sqlmodel import Session

from app.storage.episodes import Visit
from app.storage.services import given_in
from app.web.visit_stops import Told


def minutes_events(session: Session, visit: Visit) -> Iterator[Told]:
    """Both totals of this visit, and each service; not the units of the day."""
    given = given_in(session, visit)
    if not given:
        return
    each = ", ".join(f"{service.name} {row.minutes} min" for service, row in given)
    timed = sum(row.minutes for service, row in given if service.timed)
    total = sum(row.minutes for _, row in given)
    said = f"Timed {timed} min, treatment in all {total} min: {each}"
    yield given[0][1].recorded_at, said, given[0][1].recorded_by
