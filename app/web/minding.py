"""Orders and risks that stand beside the clock of a test."""

from fastapi import Request
from sqlmodel import Session

from app.clinical.precautions import Precaution
from app.storage.episodes import Episode, Visit
from app.storage.precautions import precautions_on
from app.web.deps import site_of
from app.web.due import clearance_of
from app.web.judging import Judged


def minded(
    request: Request, session: Session, judged: Judged
) -> tuple[Precaution, ...]:
    """What holds today and calls for care in this test; what forbids it first.

    An order set after the round was begun must be seen by who holds the stopwatch.
    """
    site = site_of(request)
    today = site.clock().astimezone(site.zone).date()
    visit = session.get_one(Visit, judged.round.visit_id)
    episode = session.get_one(Episode, visit.episode_id)
    held = precautions_on(session, episode, today)
    clear = clearance_of(judged.measure, [p.tag for p in held])
    return (*clear.blocked_by, *clear.warned_by)
