"""Files of a caseload that a person has sent and not yet imported.

One import for each person, seen by nobody else, and gone once it is used, replaced or
the day ends: the files hold what a record holds.
"""

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from uuid import uuid4
from zoneinfo import ZoneInfo

from sqlalchemy import LargeBinary, delete
from sqlmodel import Field, Session, col, select

from app.storage.people import Person
from app.storage.tables import Numbered, length, uid


class StagedImport(Numbered, table=True):
    """What one person is about to import, and who is to look after whom it adds."""

    __tablename__ = "staged_import"
    __table_args__ = (uid(),)

    #: Row numbers may come again once a row is gone; this never does.
    uid: str = Field(unique=True)
    person_id: int = Field(foreign_key="person.id", unique=True)
    assign_to: int = Field(foreign_key="person.id")
    staged_at: datetime


class StagedFile(Numbered, table=True):
    """One file as it came."""

    __tablename__ = "staged_file"
    __table_args__ = (length("name", 0, 80),)

    import_id: int = Field(foreign_key="staged_import.id", index=True)
    name: str
    content: bytes = Field(sa_type=LargeBinary)


def stage(
    session: Session,
    person: Person,
    files: Iterable[tuple[str, bytes]],
    *,
    assign_to: int,
    now: datetime,
) -> StagedImport:
    """Keep these files instead of whatever the person had sent before."""
    forget_staged(session, person)
    staged = StagedImport(
        uid=uuid4().hex, person_id=person.id, assign_to=assign_to, staged_at=now
    )
    session.add(staged)
    session.flush()
    for name, content in files:
        session.add(StagedFile(import_id=staged.id, name=name, content=content))
    session.flush()
    return staged


def staged_of(session: Session, person: Person) -> StagedImport | None:
    wanted = select(StagedImport).where(StagedImport.person_id == person.id)
    return session.exec(wanted).one_or_none()


def files_of(session: Session, staged: StagedImport) -> Sequence[StagedFile]:
    wanted = select(StagedFile).where(StagedFile.import_id == staged.id)
    return session.exec(wanted.order_by(col(StagedFile.id))).all()


def forget_staged(session: Session, person: Person) -> None:
    staged = staged_of(session, person)
    if staged is not None:
        _wipe(session, [staged.id])


def forget_yesterdays(session: Session, today: date, zone: ZoneInfo) -> int:
    """Wipe what was sent on an earlier day there; how many imports went."""
    kept = session.exec(select(StagedImport.id, StagedImport.staged_at)).all()
    old = [id for id, at in kept if at.astimezone(zone).date() != today]
    _wipe(session, old)
    return len(old)


def _wipe(session: Session, ids: Sequence[int]) -> None:
    session.exec(delete(StagedFile).where(col(StagedFile.import_id).in_(ids)))
    session.exec(delete(StagedImport).where(col(StagedImport.id).in_(ids)))
    session.flush()
