"""Standing in for a colleague: their patients are one's own until a stated day ends.

Whose list a patient is on is decided by one expression, `on_list_of`, wherever people
or patients are fetched.
"""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Final

from sqlalchemy import ColumnElement, and_, or_
from sqlmodel import Field, Session, col, select
from sqlmodel.sql.expression import Select

from app.access import STUDENT, may
from app.storage import audit
from app.storage.assignments import Assignment
from app.storage.errors import NotAllowed, NotFound, StorageProblem
from app.storage.people import Person, actor
from app.storage.prepared import prepared
from app.storage.tables import Numbered, check, length

LONGEST: Final = timedelta(days=15)


class Cover(Numbered, table=True):
    """`person_id` stands in for `for_id` from `since` until `until` or `ended_at`."""

    __tablename__ = "cover"
    __table_args__ = (
        length("reason", 1, 200),
        check("two", "person_id <> for_id"),
        check("until", "until > since"),
    )

    person_id: int = Field(foreign_key="person.id", index=True)
    for_id: int = Field(foreign_key="person.id")
    since: datetime
    until: datetime
    reason: str
    ended_at: datetime | None = None


def clock_of(session: Session) -> datetime:
    """The site's time, put there by who opened the session; else the machine's."""
    now = session.info.get("now")
    return now if isinstance(now, datetime) else datetime.now(UTC)


def in_force(now: datetime) -> ColumnElement[bool]:
    """The one rule of when a cover holds."""
    return and_(
        col(Cover.ended_at).is_(None), col(Cover.since) <= now, col(Cover.until) > now
    )


def on_list_of(session: Session, person_id: int) -> ColumnElement[bool]:
    """An assignment that is theirs now, or of somebody they stand in for."""
    return on_list_at(person_id, clock_of(session))


def on_list_at(person_id: int, now: datetime) -> ColumnElement[bool]:
    covered = select(Cover.for_id).where(Cover.person_id == person_id, in_force(now))
    return and_(
        col(Assignment.until).is_(None),
        or_(
            col(Assignment.person_id) == person_id,
            col(Assignment.person_id).in_(covered),
        ),
    )


def colleagues(session: Session, person: Person) -> Sequence[Person]:
    """Whom they could stand in for: everybody else active of the same world."""
    if not may(actor(person), "cover_colleague", None):
        raise NotAllowed
    wanted = select(Person).where(
        Person.id != person.id,
        col(Person.active),
        Person.role != STUDENT,
        col(Person.is_demo).is_(person.is_demo),
    )
    return session.exec(wanted.order_by(col(Person.name))).all()


def begin_cover(
    session: Session,
    person: Person,
    for_id: int,
    *,
    reason: str,
    until: datetime,
    now: datetime,
) -> Cover:
    """Stand in for somebody; the same again while it holds finds the first."""
    if for_id not in {p.id for p in colleagues(session, person)}:
        raise NotFound
    if not now < until <= now + LONGEST:
        raise StorageProblem("Cover lasts from today to fourteen days ahead.")
    for known in covers_of(session, person, now):
        if known.for_id == for_id:
            return _until(session, person, known, until, now)
    cover = Cover(
        person_id=person.id, for_id=for_id, since=now, until=until, reason=reason
    )
    session.add(cover)
    session.flush()
    audit.deed(session, "began_cover", cover, by=person.id, now=now)
    return cover


def _until(
    session: Session, person: Person, cover: Cover, until: datetime, now: datetime
) -> Cover:
    """Said again, it lasts as long as was said last."""
    if cover.until != until:
        cover.until = until
        session.add(cover)
        session.flush()
        audit.deed(session, "changed_cover", cover, by=person.id, now=now)
    return cover


def covers_of(session: Session, person: Person, now: datetime) -> Sequence[Cover]:
    wanted = select(Cover).where(Cover.person_id == person.id, in_force(now))
    return session.exec(wanted.order_by(col(Cover.until))).all()


def end_cover(session: Session, person: Person, cover_id: int, now: datetime) -> None:
    """Their own; NotFound for another's."""
    cover = session.get(Cover, cover_id)
    if cover is None or cover.person_id != person.id:
        raise NotFound
    if cover.ended_at is None:
        cover.ended_at = now
        session.flush()
        audit.deed(session, "ended_cover", cover, by=person.id, now=now)


@prepared
def _holders(patient_id: int, person_id: int, now: datetime) -> Select[int, str]:
    return (
        select(Assignment.person_id, Person.name)
        .join(Person, col(Person.id) == col(Assignment.person_id))
        .where(Assignment.patient_id == patient_id, on_list_at(person_id, now))
    )


def covered_for(session: Session, person: Person, patient_id: int) -> str:
    """Whose patient this is when they only stand in for them; empty when their own."""
    found = _holders(session, patient_id, person.id, clock_of(session)).all()
    if any(holder == person.id for holder, _ in found):
        return ""
    return found[0][1] if found else ""
