"""The audit trail as a supervisor reads it: newest first, of their own world only.

A page is found by the last entry of the one before it and by indexes, so that it takes
as long with a million entries as with a hundred.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, Literal

from sqlalchemy import ColumnElement, and_, func, literal, or_, tuple_
from sqlmodel import Session, col, select

from app.access import Subject, may
from app.storage.assignments import Assignment
from app.storage.audit import AuditEntry
from app.storage.episodes import Episode, Visit
from app.storage.errors import NotAllowed
from app.storage.patients import Patient
from app.storage.people import Person, actor
from app.storage.precautions import PrecautionOnEpisode
from app.storage.profile import Profile
from app.storage.safety import SafetyEvent, SafetySeen
from app.storage.trials import Round, Trial

Kind = Literal["patient", "round", "person"]
Key = tuple[str, int]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a page asks for. None or empty: all; `before` is the last entry shown."""

    who: int | None = None
    deed: str = ""
    subject: str = ""
    since: datetime | None = None
    until: datetime | None = None
    before: int | None = None


@dataclass(frozen=True, slots=True)
class Place:
    """What an entry is about, for who may see it: the page it has, and its name."""

    kind: Kind
    id: int
    name: str


def entries_for(
    session: Session, me: Person, wanted: Wanted, most: int
) -> Sequence[tuple[AuditEntry, Person | None]]:
    """Entries with who did them, newest first; NotAllowed for who may not read them."""
    may_read(me)
    asked: Any = (
        select(AuditEntry, Person)
        .outerjoin(Person, col(Person.id) == col(AuditEntry.person_id))
        .where(_own_world(me), *_asked_for(session, wanted))
        .order_by(col(AuditEntry.at).desc(), col(AuditEntry.id).desc())
        .limit(most)
    )
    return [(entry, person) for entry, person in session.exec(asked)]


def may_read(me: Person) -> None:
    """Raise NotAllowed for who may not read the trail."""
    if not may(actor(me), "see_audit", None):
        raise NotAllowed


def _own_world(me: Person) -> ColumnElement[bool]:
    """By who did it; what the program did itself, by whom it did it to."""
    added = select(Person.id).where(col(Person.is_demo).is_(me.is_demo))
    subject = col(AuditEntry.subject)
    of_people = and_(subject == "person", col(AuditEntry.subject_id).in_(added))
    by_itself = of_people if me.is_demo else or_(of_people, subject != "person")
    return or_(
        col(Person.is_demo).is_(me.is_demo),
        and_(col(AuditEntry.person_id).is_(None), by_itself),
    )


def _asked_for(session: Session, wanted: Wanted) -> Iterable[ColumnElement[bool]]:
    at, id = col(AuditEntry.at), col(AuditEntry.id)
    if wanted.who is not None:
        yield col(AuditEntry.person_id) == wanted.who
    if wanted.deed:
        yield col(AuditEntry.deed) == wanted.deed
    if wanted.subject:
        yield col(AuditEntry.subject) == wanted.subject
    if wanted.since is not None:
        yield at >= wanted.since
    if wanted.until is not None:
        yield at < wanted.until
    last = session.get(AuditEntry, wanted.before) if wanted.before else None
    if last is not None:
        yield tuple_(at, id) < tuple_(literal(last.at, AT), literal(last.id))


#: A value compared with the column is bound as the column is.
AT: Final = AuditEntry.__table__.c.at.type  # type: ignore[attr-defined]


def words_used(session: Session, column: Literal["deed", "subject"]) -> list[str]:
    """Every word the trail holds in a column: one step of its index for each.

    `SELECT DISTINCT` would read the whole index.
    """
    words = col(getattr(AuditEntry, column))
    seen = select(func.min(words).label("word")).cte("seen", recursive=True)
    after = (
        select(func.min(words))
        .where(words > seen.c.word)
        .correlate(seen)
        .scalar_subquery()
    )
    seen = seen.union_all(select(after).where(seen.c.word.is_not(None)))
    found = session.exec(select(seen.c.word).where(seen.c.word.is_not(None)))
    return list(found)


def _to_patients() -> dict[str, Any]:
    """Per kind of subject: its id, its patient's id, and its round's, if it has one."""
    none = literal(None)
    visit = (col(Visit.id) == col(Round.visit_id), col(Episode.id) == Visit.episode_id)
    of_round = select(Round.id, Episode.patient_id, Round.id).join(Visit, visit[0])
    of_trial = select(Trial.id, Episode.patient_id, Round.id).join(
        Round, col(Round.id) == col(Trial.round_id)
    )
    found: dict[str, Any] = {
        "patient": select(Patient.id, Patient.id, none),
        "episode": select(Episode.id, Episode.patient_id, none),
        "profile": select(Profile.id, Episode.patient_id, none).join(
            Episode, col(Episode.id) == col(Profile.episode_id)
        ),
        "assignment": select(Assignment.id, Assignment.patient_id, none),
        "precaution": select(PrecautionOnEpisode.id, Episode.patient_id, none).join(
            Episode, col(Episode.id) == col(PrecautionOnEpisode.episode_id)
        ),
        "visit": select(Visit.id, Episode.patient_id, none).join(
            Episode, col(Episode.id) == col(Visit.episode_id)
        ),
        "round": of_round.join(Episode, visit[1]),
        "trial": of_trial.join(Visit, visit[0]).join(Episode, visit[1]),
    }
    for table in (SafetyEvent, SafetySeen):
        found[str(table.__tablename__)] = (
            select(table.id, Episode.patient_id, Round.id)
            .join(Trial, col(Trial.id) == col(table.trial_id))
            .join(Round, col(Round.id) == col(Trial.round_id))
            .join(Visit, visit[0])
            .join(Episode, visit[1])
        )
    return found


_TO_PATIENTS: Final = _to_patients()


def places_of(
    session: Session, me: Person, entries: Sequence[AuditEntry]
) -> dict[Key, Place]:
    """Where entries' subjects are found, those only that `me` may see."""
    by_kind: dict[str, set[int]] = {}
    for entry in entries:
        by_kind.setdefault(entry.subject, set()).add(entry.subject_id)
    found: dict[Key, Place] = {}
    for person in _people(session, me, by_kind.pop("person", set())):
        found["person", person.id] = Place("person", person.id, person.name)
    owners = {
        (kind, id): (patient_id, round_id)
        for kind, ids in by_kind.items()
        if kind in _TO_PATIENTS
        for id, patient_id, round_id in _owners(session, kind, ids)
    }
    labels = _labels(session, me, {patient_id for patient_id, _ in owners.values()})
    for key, (patient_id, round_id) in owners.items():
        if patient_id in labels:
            kind: Kind = "round" if round_id else "patient"
            found[key] = Place(kind, round_id or patient_id, labels[patient_id])
    return found


def _people(session: Session, me: Person, ids: set[int]) -> Sequence[Person]:
    if not ids:
        return ()
    wanted = select(Person).where(col(Person.id).in_(ids))
    return session.exec(wanted.where(col(Person.is_demo).is_(me.is_demo))).all()


def _owners(
    session: Session, kind: str, ids: set[int]
) -> Iterable[tuple[int, int, int | None]]:
    wanted = _TO_PATIENTS[kind]
    id_column = wanted.selected_columns[0]
    return [
        (row[0], row[1], row[2])
        for row in session.exec(wanted.where(id_column.in_(ids)))
    ]


def _labels(session: Session, me: Person, ids: set[int]) -> dict[int, str]:
    """Who reads the trail sees the whole caseload of their world, assigned or not."""
    wanted = select(Patient.id, Patient.label, Patient.is_demo)
    return {
        id: label
        for id, label, is_demo in session.exec(wanted.where(col(Patient.id).in_(ids)))
        if may(actor(me), "see_patient", Subject(is_demo))
    }
