"""Falls that were said at a visit to have happened since the one before."""

from sqlmodel import Session, col, select

from app.storage.episodes import Episode, Visit
from app.storage.observations import SymptomCheck


def falls_said(session: Session, episode: Episode) -> list[tuple[SymptomCheck, Visit]]:
    """Of each asking in an episode the last word on falls, where it is yes."""
    wanted = (
        select(SymptomCheck, Visit)
        .join(Visit, col(Visit.id) == col(SymptomCheck.visit_id))
        .where(Visit.episode_id == episode.id, col(SymptomCheck.fell).is_not(None))
    )
    in_order = wanted.order_by(col(Visit.local_date), col(SymptomCheck.id))
    last = {
        (row.visit_id, row.asking or row.uid): (row, visit)
        for row, visit in session.exec(in_order)
    }
    return [(row, visit) for row, visit in last.values() if row.fell == "yes"]
