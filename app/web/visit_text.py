"""What was recorded in a visit as lines of text: what is handed in or signed."""

from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.days import full_day
from app.clinical.visiting import KINDS
from app.storage.episodes import Visit
from app.storage.people import Person
from app.web.visit_events import Event, events_of


def text_lines(
    session: Session, shelf: Catalogue, visit: Visit, zone: ZoneInfo
) -> list[str]:
    """The kind and day, then each event; stops and voids with their hour and person."""
    lines = [f"{KINDS[visit.kind].capitalize()}, {full_day(visit.local_date)}"]
    for event in events_of(session, shelf, visit):
        if event.says:
            lines.append(event_line(session, event, zone))
    return lines


def event_line(session: Session, event: Event, zone: ZoneInfo) -> str:
    """What an event says; a stop or a void with when it was and who did it."""
    if event.kind not in ("stop", "against", "void"):
        return event.says + (" (void)" if event.voided else "")
    name = session.get_one(Person, event.by).name if event.by else ""
    who = f"{event.at.astimezone(zone):%H:%M}" + (f", {name}" if name else "")
    return f"{event.says} ({who})"
