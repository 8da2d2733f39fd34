"""Which tests of a patient are open for a second phone now."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session, col, select
from sqlmodel.sql.expression import Select

from app.storage.episodes import Episode, Visit
from app.storage.prepared import prepared
from app.storage.round_help import LASTS, RoundHelp
from app.storage.trials import Round


def open_to_help(
    session: Session, patient_id: int, now: datetime
) -> Sequence[tuple[RoundHelp, Round]]:
    """Oldest first; a round has at most one."""
    return _open_since(session, patient_id, now - LASTS).all()


@prepared
def _open_since(patient_id: int, since: datetime) -> Select[RoundHelp, Round]:
    wanted = (
        select(RoundHelp, Round)
        .join(Round, col(Round.id) == col(RoundHelp.round_id))
        .join(Visit, col(Visit.id) == col(Round.visit_id))
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .where(
            Episode.patient_id == patient_id,
            col(RoundHelp.ended_at).is_(None),
            col(RoundHelp.opened_at) > since,
        )
    )
    return wanted.order_by(col(RoundHelp.id))
