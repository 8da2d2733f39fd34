"""Answering the clocks of an episode: a report written, a plan certified again."""

from fastapi import APIRouter
from fastapi.responses import RedirectResponse

from app.storage.episodes import episode_for
from app.storage.errors import NotFound
from app.storage.owing import EVENTS, answer_clock
from app.web.deps import Now, RowId, SignedIn, WriteSession, Zone

router = APIRouter()


@router.post("/episodes/{episode_id}/clocks/{kind}")
def answer(
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
    episode_id: RowId,
    kind: str,
) -> RedirectResponse:
    """Said today; twice a day is once."""
    episode = episode_for(session, me, episode_id, "manage_episode")
    if kind not in EVENTS:
        raise NotFound
    answer_clock(session, me, episode, kind, now.astimezone(zone).date(), now)
    return RedirectResponse(f"/patients/{episode.patient_id}", 303)
