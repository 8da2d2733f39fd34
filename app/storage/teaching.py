"""What was taught in a visit and shown back: append-only, voided with a reason.

A listener is a role, never a name. Whoever may record the visit may record this.
"""

from collections.abc import Sequence
from dataclasses import asdict, fields
from datetime import datetime

from sqlmodel import Field, Session, select

from app.clinical.teaching import (
    BACK,
    HOW,
    LONGEST_WORDS,
    MOST_PROMPTS,
    TO,
    TOPICS,
    Taught,
)
from app.storage import audit
from app.storage.episodes import Episode, Visit
from app.storage.errors import NotFound, SameIdOtherBody
from app.storage.patients import patient_for
from app.storage.people import Person
from app.storage.prepared import rows_by
from app.storage.tables import Numbered, between, check, length, one_of, uid
from app.storage.voiding import void


class Teaching(Numbered, table=True):
    """One topic taught to one listener. Written once; only voiding adds to it."""

    __tablename__ = "teaching"
    __table_args__ = (
        uid(),
        one_of("to_role", TO),
        one_of("topic", TOPICS),
        one_of("how", HOW),
        one_of("back", BACK),
        between("prompts", 1, MOST_PROMPTS),
        check("prompts_when", "(prompts IS NOT NULL) = (back = 'prompts')"),
        length("words", 0, LONGEST_WORDS),
        check("words_when", "topic <> 'other' OR words <> ''"),
        check(
            "voided",
            "(voided_at IS NULL AND voided_by IS NULL AND void_reason IS NULL) OR "
            "(voided_at IS NOT NULL AND voided_by IS NOT NULL "
            "AND void_reason IS NOT NULL AND length(void_reason) BETWEEN 1 AND 200)",
        ),
    )

    uid: str = Field(unique=True)
    visit_id: int = Field(foreign_key="visit.id", index=True)
    to_role: str
    topic: str
    how: str
    back: str
    prompts: int | None = None
    words: str = ""
    recorded_at: datetime
    recorded_by: int = Field(foreign_key="person.id")
    voided_at: datetime | None = None
    voided_by: int | None = Field(default=None, foreign_key="person.id")
    void_reason: str | None = None


def taught_of(row: Teaching) -> Taught:
    """A row as the core reads it."""
    said = {f.name: getattr(row, _COLUMN.get(f.name, f.name)) for f in fields(Taught)}
    return Taught(**said)


#: `to` is a word of SQL.
_COLUMN = {"to": "to_role"}


def record_teaching(
    session: Session,
    person: Person,
    visit: Visit,
    taught: Taught,
    *,
    uid: str,
    now: datetime,
) -> Teaching:
    """Keep one; the same id again finds it, and with other words it is refused."""
    episode = session.get_one(Episode, visit.episode_id)
    patient_for(session, person, episode.patient_id, "record_visit")
    known = session.exec(select(Teaching).where(Teaching.uid == uid)).first()
    if known is not None:
        same = (known.visit_id, known.recorded_by, taught_of(known))
        if same != (visit.id, person.id, taught):
            raise SameIdOtherBody
        return known
    said = {_COLUMN.get(name, name): value for name, value in asdict(taught).items()}
    row = Teaching(
        **said, uid=uid, visit_id=visit.id, recorded_at=now, recorded_by=person.id
    )
    session.add(row)
    session.flush()
    audit.deed(session, "recorded_teaching", row, by=person.id, now=now)
    return row


def teaching_in(session: Session, visit: Visit) -> Sequence[Teaching]:
    """All of a visit in order, the voided ones too."""
    return _in_visit(session, visit.id).all()


_in_visit = rows_by(Teaching, "visit_id", "id")


def teaching_for(
    session: Session, person: Person, teaching_id: int, deed: str = "see_patient"
) -> tuple[Teaching, Visit]:
    """One with its visit, if `person` may do `deed` to its patient."""
    row = session.get(Teaching, teaching_id)
    if row is None:
        raise NotFound
    visit = session.get_one(Visit, row.visit_id)
    episode = session.get_one(Episode, visit.episode_id)
    patient_for(session, person, episode.patient_id, deed)
    return row, visit


def void_teaching(
    session: Session, person: Person, teaching_id: int, *, reason: str, now: datetime
) -> Teaching:
    """It stays as it was recorded and no longer counts; the first reason stays."""
    row, _ = teaching_for(session, person, teaching_id, "record_visit")
    void(session, person, row, "voided_teaching", reason, now)
    return row
