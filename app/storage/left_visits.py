"""Visits closed without their exit list, until somebody has looked into it."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import or_
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
    """A patient's visits left without the list that nobody has looked into since."""
    wanted = (
        select(Visit)
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .outerjoin(LeftSeen, col(LeftSeen.visit_id) == col(Visit.id))
        .where(
            Episode.patient_id == patient_id,
            Visit.left_without != "",
            or_(
                col(LeftSeen.seen_at).is_(None),
                col(LeftSeen.seen_at) < col(Visit.closed_at),
            ),
        )
    )
    return session.exec(wanted.order_by(col(Visit.local_date), col(Visit.id))).all()


def is_left_open(session: Session, visit: Visit) -> bool:
    """One that was gone on with and left so again is looked into again."""
    if not visit.left_without or visit.closed_at is None:
        return False
    seen = session.get(LeftSeen, visit.id)
    return seen is None or seen.seen_at < visit.closed_at


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
