"""Which maker makes which kind of note: the one place where they are named."""

from collections.abc import Callable, Mapping
from datetime import date, timedelta
from types import MappingProxyType
from typing import Final

from sqlmodel import Session

from app.clinical.discharge_note import discharge_note
from app.clinical.note import Line
from app.clinical.progress_note import progress_note
from app.storage.episodes import Episode, Visit
from app.storage.owing import last_events
from app.web.deps import Site
from app.web.note_facts import evaluation_lines, visit_lines
from app.web.report_end import discharge_facts
from app.web.report_facts import progress_facts
from app.web.report_view import ReportView, report_view

Maker = Callable[[Session, Site, Visit], tuple[Line, ...]]

#: Notes that are a report of several visits, with tables and tapes beside the lines.
REPORTS: Final = ("progress", "discharge")


def _progress(session: Session, site: Site, visit: Visit) -> tuple[Line, ...]:
    facts = progress_facts(session, site, visit, _reported(session, visit))
    return progress_note(facts)


def _discharge(session: Session, site: Site, visit: Visit) -> tuple[Line, ...]:
    facts = discharge_facts(session, site, visit, _reported(session, visit))
    return discharge_note(facts)


def report_of(
    session: Session, site: Site, visit: Visit, note: str
) -> ReportView | None:
    """What stands beside a report; None for a note of one visit."""
    if note not in REPORTS:
        return None
    return report_view(session, site, visit, note, _reported(session, visit))


def _reported(session: Session, visit: Visit) -> date | None:
    """The day of the last report before this visit's."""
    episode = session.get_one(Episode, visit.episode_id)
    before = visit.local_date - timedelta(days=1)
    return last_events(session, episode, before).get("report")


MAKERS: Final[Mapping[str, Maker]] = MappingProxyType(
    {
        "visit": visit_lines,
        "evaluation": evaluation_lines,
        "progress": _progress,
        "discharge": _discharge,
    }
)
