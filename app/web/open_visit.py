"""The open visit, for the line on every test page that leads back to it."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from fastapi import Request
from sqlmodel import Session

from app.clinical.visiting import FIRST_DO, PAUSES
from app.storage.episodes import Visit
from app.storage.observations import SymptomCheck, merged, recorded
from app.storage.people import Person
from app.storage.visits import CLOSING, counted_minutes, open_visit, pauses_of
from app.web.deps import site_of, wants_fragment


@dataclass(frozen=True, slots=True)
class OpenVisit:
    """`minutes` are those that count; `paused` says since when, empty if it runs.

    `first` is what today's answers ask for before anything is done standing.
    """

    id: int
    since: str
    minutes: int
    paused: str
    reasons: tuple[tuple[str, str], ...]
    first: tuple[str, ...]


def open_visit_of(
    request: Request, session: Session, patient_id: int
) -> OpenVisit | None:
    """Today's own visit of whoever asks; a fragment leaves the line as it is."""
    if wants_fragment(request):
        return None
    site, me = site_of(request), request.state.me
    now = site.clock()
    return _bar(session, me, patient_id, now, site.zone)


def _bar(
    session: Session, me: Person, patient_id: int, now: datetime, zone: ZoneInfo
) -> OpenVisit | None:
    today = now.astimezone(zone).date()
    visit = open_visit(session, me, patient_id, today)
    if visit is None:
        return None
    pauses = pauses_of(session, visit)
    total, away = counted_minutes(visit, pauses, now)
    since = [p.since for p in pauses if p.until is None]
    return OpenVisit(
        id=visit.id,
        since=f"{visit.started_at.astimezone(zone):%H:%M}",
        minutes=total - away,
        paused=f"{since[0].astimezone(zone):%H:%M}" if since else "",
        reasons=tuple((k, v) for k, v in PAUSES.items() if k != CLOSING),
        first=_first(session, visit),
    )


def _first(session: Session, visit: Visit) -> tuple[str, ...]:
    """The newest word on each question counts, however often it was asked today."""
    said = merged(recorded(session, visit, SymptomCheck))
    return tuple(do for answer, do in FIRST_DO.items() if said.get(answer) == "yes")
