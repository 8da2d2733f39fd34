"""Patients, what is known of them for reading scores, and who is assigned to them.

A patient is fetched together with the right to do something: whoever may not see one is
told that there is none. Closed patients stay; nobody is deleted.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Final

from sqlalchemy import ColumnElement, Index, and_, delete, text
from sqlmodel import Field, Session, col, select

from app.access import Subject, may
from app.clinical.vocabulary import CONDITIONS, PERSON_FACTS, SEXES
from app.storage import audit
from app.storage.errors import NotAllowed, NotFound, SameIdOtherBody, StaleVersion
from app.storage.people import Person, actor
from app.storage.tables import (
    Numbered,
    Table,
    between,
    check,
    is_one_of,
    length,
    one_of,
    uid,
)

_FACT_RULE: Final = " OR ".join(
    f"(key = '{key}' AND {is_one_of('value', words)})"
    for key, words in PERSON_FACTS.items()
)


class Patient(Numbered, table=True):
    """One person in care, under a made-up label. `is_demo` is set once, by who adds."""

    __tablename__ = "patient"
    __table_args__ = (
        uid(),
        length("label", 1, 80),
        between("birth_year", 1900, 2100),
        check("birth_date", "birth_date BETWEEN '1900-01-01' AND '2100-12-31'"),
        # Two that disagree would give two ages.
        check("one_birth", "birth_year IS NULL OR birth_date IS NULL"),
        one_of("sex", SEXES),
        check("version", "version >= 1"),
    )

    uid: str = Field(unique=True)
    label: str
    birth_year: int | None = None
    birth_date: date | None = None
    sex: str | None = None
    is_demo: bool
    version: int = 1
    created_at: datetime
    closed_at: datetime | None = None


class PatientCondition(Table, table=True):
    """A condition the patient has. Written with the patient's details."""

    __tablename__ = "patient_condition"
    __table_args__ = (one_of("condition", CONDITIONS),)

    patient_id: int = Field(foreign_key="patient.id", primary_key=True)
    condition: str = Field(primary_key=True)
    since_date: date | None = None


class PatientFact(Table, table=True):
    """A fact some published rows depend on, one of each kind. Written likewise."""

    __tablename__ = "patient_fact"
    __table_args__ = (check("value", _FACT_RULE),)

    patient_id: int = Field(foreign_key="patient.id", primary_key=True)
    key: str = Field(primary_key=True)
    value: str


class Assignment(Numbered, table=True):
    """Somebody is responsible for a patient from `since` on, until `until`."""

    __tablename__ = "assignment"
    __table_args__ = (
        Index(
            "ix_assignment_open",
            "person_id",
            "patient_id",
            unique=True,
            sqlite_where=text("until IS NULL"),
            postgresql_where=text("until IS NULL"),
        ),
    )

    patient_id: int = Field(foreign_key="patient.id", index=True)
    person_id: int = Field(foreign_key="person.id")
    since: datetime
    until: datetime | None = None


@dataclass(frozen=True, slots=True)
class PatientDetails:
    """What may be said of a patient: at most one of birth year and birth date.

    `conditions` maps each to the day it began, None when that is not known.
    """

    label: str
    birth_year: int | None = None
    birth_date: date | None = None
    sex: str | None = None
    conditions: Mapping[str, date | None] = field(default_factory=dict)
    facts: Mapping[str, str] = field(default_factory=dict)


def patient_for(
    session: Session, person: Person, patient_id: int, deed: str = "see_patient"
) -> Patient:
    """The patient, if `person` may do `deed` to them.

    Raise NotFound when they may not even see them, NotAllowed when only that.
    """
    wanted = (
        select(Patient, Assignment.id)
        .outerjoin(Assignment, _open_assignment_of(person.id))
        .where(Patient.id == patient_id)
    )
    found = session.exec(wanted).first()
    if found is None:
        raise NotFound
    patient, assignment = found
    whom = Subject(is_demo=patient.is_demo, assigned=assignment is not None)
    if not may(actor(person), "see_patient", whom):
        raise NotFound
    if not may(actor(person), deed, whom):
        raise NotAllowed
    return patient


def _open_assignment_of(person_id: int) -> ColumnElement[bool]:
    return and_(
        col(Assignment.patient_id) == col(Patient.id),
        col(Assignment.person_id) == person_id,
        col(Assignment.until).is_(None),
    )


def details_of(session: Session, patient: Patient) -> PatientDetails:
    """What is known of a patient, as it was last said."""
    conditions = session.exec(
        select(PatientCondition)
        .where(PatientCondition.patient_id == patient.id)
        .order_by(col(PatientCondition.condition))
    )
    facts = session.exec(
        select(PatientFact)
        .where(PatientFact.patient_id == patient.id)
        .order_by(col(PatientFact.key))
    )
    return PatientDetails(
        label=patient.label,
        birth_year=patient.birth_year,
        birth_date=patient.birth_date,
        sex=patient.sex,
        conditions={row.condition: row.since_date for row in conditions},
        facts={row.key: row.value for row in facts},
    )


def add_patient(
    session: Session,
    person: Person,
    details: PatientDetails,
    *,
    uid: str,
    now: datetime,
) -> Patient:
    """Add a patient to the caseload of who adds them; the same id again adds nobody.

    Demo people make demo patients and nobody else does.
    """
    if not may(actor(person), "add_patient", None):
        raise NotAllowed
    known = session.exec(select(Patient).where(Patient.uid == uid)).first()
    if known is not None:
        if known.is_demo != person.is_demo or details_of(session, known) != details:
            raise SameIdOtherBody
        return known
    patient = Patient(
        uid=uid, label=details.label, is_demo=person.is_demo, created_at=now
    )
    _write_details(session, patient, details)
    audit.deed(session, "added_patient", patient, by=person.id, now=now)
    _assign(session, person, patient, person, now)
    return patient


def edit_patient(
    session: Session,
    person: Person,
    patient_id: int,
    details: PatientDetails,
    *,
    version: int,
    now: datetime,
) -> Patient:
    """Replace a patient's details; `version` is the one the editor had before them.

    Raise StaleVersion when somebody changed the patient since.
    """
    patient = patient_for(session, person, patient_id, "edit_patient")
    if patient.version != version:
        raise StaleVersion
    patient.version += 1
    _write_details(session, patient, details)
    audit.deed(session, "edited_patient", patient, by=person.id, now=now)
    return patient


def _write_details(session: Session, patient: Patient, details: PatientDetails) -> None:
    patient.label = details.label
    patient.birth_year, patient.birth_date = details.birth_year, details.birth_date
    patient.sex = details.sex
    session.add(patient)
    session.flush()
    for table in (PatientCondition, PatientFact):
        session.exec(delete(table).where(col(table.patient_id) == patient.id))
    session.add_all(
        PatientCondition(patient_id=patient.id, condition=name, since_date=since)
        for name, since in details.conditions.items()
    )
    session.add_all(
        PatientFact(patient_id=patient.id, key=key, value=value)
        for key, value in details.facts.items()
    )
    session.flush()


def close_patient(
    session: Session, person: Person, patient_id: int, *, version: int, now: datetime
) -> Patient:
    """Take a patient off every list. What was recorded of them stays."""
    patient = patient_for(session, person, patient_id, "edit_patient")
    if patient.version != version:
        raise StaleVersion
    patient.version += 1
    patient.closed_at = now
    session.flush()
    audit.deed(session, "closed_patient", patient, by=person.id, now=now)
    return patient


def assign(
    session: Session, person: Person, patient: Patient, to: Person, *, now: datetime
) -> Assignment:
    """Make `to` responsible for a patient; who already is stays so.

    Raise NotAllowed when `to` could not see the patient even then.
    """
    patient_for(session, person, patient.id, "edit_patient")
    if not may(actor(to), "see_patient", Subject(patient.is_demo, assigned=True)):
        raise NotAllowed
    return _assign(session, person, patient, to, now)


def _assign(
    session: Session, person: Person, patient: Patient, to: Person, now: datetime
) -> Assignment:
    known = _assignment(session, patient, to)
    if known is not None:
        return known
    assignment = Assignment(patient_id=patient.id, person_id=to.id, since=now)
    session.add(assignment)
    session.flush()
    audit.deed(session, "assigned", assignment, by=person.id, now=now)
    return assignment


def unassign(
    session: Session, person: Person, patient: Patient, whom: Person, *, now: datetime
) -> None:
    """End somebody's responsibility; nothing happens when they had none."""
    patient_for(session, person, patient.id, "edit_patient")
    assignment = _assignment(session, patient, whom)
    if assignment is not None:
        assignment.until = now
        session.flush()
        audit.deed(session, "unassigned", assignment, by=person.id, now=now)


def _assignment(session: Session, patient: Patient, to: Person) -> Assignment | None:
    wanted = select(Assignment).where(
        Assignment.patient_id == patient.id,
        Assignment.person_id == to.id,
        col(Assignment.until).is_(None),
    )
    return session.exec(wanted).first()
