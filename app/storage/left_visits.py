"""Visits closed without their exit list, until somebody has looked into it."""

from collections.abc import Sequence
from datetime import datetime

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
    """A patient's visits left without the list that nobody has looked into."""
    wanted = (
        select(Visit)
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .where(
            Episode.patient_id == patient_id,
            Visit.left_without != "",
            col(Visit.id).not_in(select(LeftSeen.visit_id)),
        )
    )
    return session.exec(wanted.order_by(col(Visit.local_date), col(Visit.id))).all()


def is_left_open(session: Session, visit: Visit) -> bool:
    return bool(visit.left_without) and session.get(LeftSeen, visit.id) is None


def look_into(session: Session, person: Person, visit_id: int, now: datetime) -> Visit:
    """Say that it was looked into; once is enough."""
    visit, _ = visit_for(session, person, visit_id, "look_into_stop")
    if is_left_open(session, visit):
        session.add(LeftSeen(visit_id=visit.id, person_id=person.id, seen_at=now))
        session.flush()
        audit.deed(session, "looked_into_leaving", visit, by=person.id, now=now)
    return visit
