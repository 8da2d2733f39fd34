"""Visits closed without their exit list, or whose strip had been left in the room.

Each is shown until somebody has looked into it.
"""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import and_, or_
from sqlmodel import Field, Session, col, select

from app.storage import audit
from app.storage.episodes import Episode, Visit
from app.storage.people import Person
from app.storage.tables import Table
from app.storage.visits import visit_for


class LeftSeen(Table, table=True):
    """Somebody who may has looked into why a visit was left without the list."""

    __tablename__ = "left_seen"

    visit_id: int = Field(foreign_key="visit.id", primary_key=True)
    person_id: int = Field(foreign_key="person.id")
    seen_at: datetime


def left_open(session: Session, patient_id: int) -> Sequence[Visit]:
    """A patient's visits to be looked into: nobody has, since they were left so."""
    seen_at = col(LeftSeen.seen_at)
    wanted = (
        select(Visit)
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .outerjoin(LeftSeen, col(LeftSeen.visit_id) == col(Visit.id))
        .where(
            Episode.patient_id == patient_id,
            or_(
                and_(
                    col(Visit.left_without) != "",
                    or_(seen_at.is_(None), seen_at < col(Visit.closed_at)),
                ),
                and_(
                    col(Visit.strip_left_at).is_not(None),
                    or_(seen_at.is_(None), seen_at < col(Visit.strip_left_at)),
                ),
            ),
        )
    )
    return session.exec(wanted.order_by(col(Visit.local_date), col(Visit.id))).all()


def is_left_open(session: Session, visit: Visit) -> bool:
    """One that was gone on with and left so again is looked into again."""
    left = [visit.closed_at] if visit.left_without else []
    moments = [at for at in (*left, visit.strip_left_at) if at is not None]
    if not moments:
        return False
    seen = session.get(LeftSeen, visit.id)
    return seen is None or seen.seen_at < max(moments)


def look_into(session: Session, person: Person, visit_id: int, now: datetime) -> Visit:
    """Say that it was looked into; once is enough."""
    visit, _ = visit_for(session, person, visit_id, "review")
    if is_left_open(session, visit):
        row = session.get(LeftSeen, visit.id) or LeftSeen(
            visit_id=visit.id, person_id=person.id, seen_at=now
        )
        row.person_id, row.seen_at = person.id, now
        session.add(row)
        session.flush()
        audit.deed(session, "looked_into_leaving", visit, by=person.id, now=now)
    return visit
