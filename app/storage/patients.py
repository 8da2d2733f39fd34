"""Patients, what is known of them for reading scores, and who is assigned to them.

A patient is fetched together with the right to do something: whoever may not see one is
told that there is none. Closed patients stay; nobody is deleted.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Final

from sqlalchemy import Date, and_, cast, delete, literal, null, union_all
from sqlmodel import Field, Session, col, select
from sqlmodel.sql.expression import Select

from app.access import Subject, may
from app.clinical.person import Onset
from app.clinical.vocabulary import CONDITIONS, PERSON_FACTS, SEXES, SIDES, SIZES
from app.storage import audit
from app.storage.assignments import Assignment, begin_assignment
from app.storage.cover import clock_of, on_list_at
from app.storage.errors import NotAllowed, NotFound, SameIdOtherBody, StaleVersion
from app.storage.people import Person, actor
from app.storage.prepared import prepared
from app.storage.tables import (
    Numbered,
    Table,
    between,
    check,
    is_one_of,
    length,
    number_text,
    one_of,
    uid,
)

_FACT_RULE: Final = " OR ".join(
    f"(key = '{key}' AND {is_one_of('value', words)})"
    for key, words in PERSON_FACTS.items()
)


_SIZE_RULE: Final = " OR ".join(
    f"(key = '{key}' AND {is_one_of('unit', units)})"
    for key, (_, units) in SIZES.items()
)


#: How closely an onset is known, in the order of its parts.
PRECISIONS: Final = ("year", "month", "day")


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
        length("full_name", 0, 120),
        length("record_number", 0, 40),
        check("merged", "merged_into IS NULL OR closed_at IS NOT NULL"),
        check("archived", "archived_at IS NULL OR closed_at IS NOT NULL"),
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
    archived_at: datetime | None = None
    merged_into: int | None = Field(default=None, foreign_key="patient.id", index=True)
    full_name: str = ""
    record_number: str = ""
    edited_at: datetime | None = None
    edited_by: int | None = Field(default=None, foreign_key="person.id")


class PatientCondition(Table, table=True):
    """A condition the patient has. Written with the patient's details.

    `since_date` is the first day of what is known of its onset: of the day, the month
    or the year.
    """

    __tablename__ = "patient_condition"
    __table_args__ = (
        one_of("condition", CONDITIONS),
        one_of("since_precision", PRECISIONS),
        one_of("side", SIDES),
    )

    patient_id: int = Field(foreign_key="patient.id", primary_key=True)
    condition: str = Field(primary_key=True)
    since_date: date | None = None
    since_precision: str = "day"
    side: str | None = None


class PatientFact(Table, table=True):
    """A fact some published rows depend on, one of each kind. Written likewise."""

    __tablename__ = "patient_fact"
    __table_args__ = (check("value", _FACT_RULE),)

    patient_id: int = Field(foreign_key="patient.id", primary_key=True)
    key: str = Field(primary_key=True)
    value: str


class PatientSize(Table, table=True):
    """A body measure as it was typed, with its unit."""

    __tablename__ = "patient_size"
    __table_args__ = (
        check("key", _SIZE_RULE),
        check("value", f"{number_text('value')} AND ltrim(value, '0.') <> ''"),
    )

    patient_id: int = Field(foreign_key="patient.id", primary_key=True)
    key: str = Field(primary_key=True)
    value: str
    unit: str


@dataclass(frozen=True, slots=True)
class PatientDetails:
    """What may be said of a patient: at most one of birth year and birth date.

    `conditions` maps each to when it began, None when that is not known, and `sides`
    those that lie on a side to it. `sizes` holds value and unit as typed. A name and a
    number only where the site keeps them.
    """

    label: str
    birth_year: int | None = None
    birth_date: date | None = None
    sex: str | None = None
    conditions: Mapping[str, Onset | None] = field(default_factory=dict)
    sides: Mapping[str, str] = field(default_factory=dict)
    facts: Mapping[str, str] = field(default_factory=dict)
    sizes: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    full_name: str = ""
    record_number: str = ""


@prepared
def _whose(patient_id: int, person_id: int, now: datetime) -> Select[Patient, int]:
    mine = and_(
        col(Assignment.patient_id) == col(Patient.id), on_list_at(person_id, now)
    )
    wanted = select(Patient, Assignment.id).outerjoin(Assignment, mine)
    return wanted.where(Patient.id == patient_id).limit(1)


def patient_for(
    session: Session, person: Person, patient_id: int, deed: str = "see_patient"
) -> Patient:
    """The patient, if `person` may do `deed` to them.

    Raise NotFound when they may not even see them, NotAllowed when only that.
    """
    found = _whose(session, patient_id, person.id, clock_of(session)).first()
    if found is None:
        raise NotFound
    patient, assignment = found
    whom = Subject(is_demo=patient.is_demo, assigned=assignment is not None)
    if not may(actor(person), "see_patient", whom):
        raise NotFound
    if not may(actor(person), deed, whom):
        raise NotAllowed
    if deed != "see_patient":
        touched(session).add(patient.id)
    return patient


def touched(session: Session) -> set[int]:
    """Whoever was fetched in this session to change something."""
    found: set[int] = session.info.setdefault("touched", set())
    return found


def details_of(session: Session, patient: Patient) -> PatientDetails:
    """What is known of a patient, as it was last said."""
    told: dict[str, list[Any]] = {"condition": [], "fact": [], "size": []}
    for row in _told(session, patient.id):  # type: ignore[no-untyped-call]
        told[row.kind].append(row)
    conditions = told["condition"]
    return PatientDetails(
        label=patient.label,
        birth_year=patient.birth_year,
        birth_date=patient.birth_date,
        sex=patient.sex,
        conditions={row.name: _onset(row.day, row.unit) for row in conditions},
        sides={row.name: row.value for row in conditions if row.value},
        facts={row.name: row.value for row in told["fact"]},
        sizes={row.name: (row.value, row.unit) for row in told["size"]},
        full_name=patient.full_name,
        record_number=patient.record_number,
    )


@prepared
def _told(patient_id: int) -> Any:
    """Conditions, facts and sizes in one query: nearly every page asks for them."""
    condition, fact, size = PatientCondition, PatientFact, PatientSize
    no_day = cast(null(), Date)
    conditions: Any = select(  # type: ignore[call-overload]
        literal("condition").label("kind"), col(condition.condition).label("name"),
        col(condition.side).label("value"),
        col(condition.since_precision).label("unit"),
        col(condition.since_date).label("day"),
    ).where(condition.patient_id == patient_id)  # fmt: skip
    facts: Any = select(  # type: ignore[call-overload]
        literal("fact"), fact.key, fact.value, literal(""), no_day
    ).where(fact.patient_id == patient_id)
    sizes: Any = select(  # type: ignore[call-overload]
        literal("size"), size.key, size.value, size.unit, no_day
    ).where(size.patient_id == patient_id)
    return union_all(conditions, facts, sizes).order_by("name")


def _onset(since: date | None, precision: str) -> Onset | None:
    if since is None:
        return None
    parts = (since.year, since.month, since.day)
    return Onset(*parts[: PRECISIONS.index(precision) + 1])


def _condition(
    patient: Patient, name: str, onset: Onset | None, side: str | None
) -> PatientCondition:
    known = len(str(onset).split("-")) if onset else len(PRECISIONS)
    return PatientCondition(
        patient_id=patient.id,
        condition=name,
        since_date=onset.first if onset else None,
        since_precision=PRECISIONS[known - 1],
        side=side,
    )


def add_patient(
    session: Session,
    person: Person,
    details: PatientDetails,
    *,
    uid: str,
    holder: Person | None = None,
    now: datetime,
) -> Patient:
    """Add a patient to the caseload of who adds them, or of the `holder` they name.

    The same id again adds nobody. Demo people make demo patients and nobody else does.
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
    begin_assignment(session, person, patient.id, (holder or person).id, now=now)
    touched(session).add(patient.id)
    return patient


def patients_by_uid(session: Session, uids: Collection[str]) -> dict[str, Patient]:
    """Those of these ids that a patient has already, whoever may see them."""
    wanted = select(Patient).where(col(Patient.uid).in_(uids))
    return {found.uid: found for found in session.exec(wanted)} if uids else {}


def label_taken(session: Session, label: str, *, is_demo: bool) -> bool:
    """Whether somebody of this world goes by a label already."""
    wanted = select(Patient.id).where(
        Patient.label == label, col(Patient.is_demo).is_(is_demo)
    )
    return session.exec(wanted.limit(1)).first() is not None


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
    patient.edited_at, patient.edited_by = now, person.id
    _write_details(session, patient, details)
    audit.deed(session, "edited_patient", patient, by=person.id, now=now)
    return patient


def _write_details(session: Session, patient: Patient, details: PatientDetails) -> None:
    patient.label = details.label
    patient.birth_year, patient.birth_date = details.birth_year, details.birth_date
    patient.sex = details.sex
    patient.full_name = details.full_name
    patient.record_number = details.record_number
    session.add(patient)
    session.flush()
    for table in (PatientCondition, PatientFact, PatientSize):
        session.exec(delete(table).where(col(table.patient_id) == patient.id))
    session.add_all(
        _condition(patient, name, onset, details.sides.get(name))
        for name, onset in details.conditions.items()
    )
    session.add_all(
        PatientFact(patient_id=patient.id, key=key, value=value)
        for key, value in details.facts.items()
    )
    session.add_all(
        PatientSize(patient_id=patient.id, key=key, value=value, unit=unit)
        for key, (value, unit) in details.sizes.items()
    )
    session.flush()


def close_patient(
    session: Session, person: Person, patient_id: int, *, version: int, now: datetime
) -> Patient:
    """Take a patient off every list. What was recorded of them stays."""
    patient = patient_for(session, person, patient_id, "manage_episode")
    _changed(session, person, patient, "closed_patient", version, now, closed_at=now)
    return patient


def reopen_patient(
    session: Session, person: Person, patient_id: int, *, version: int, now: datetime
) -> Patient:
    """Back on the lists; one that was folded into another stays there."""
    patient = patient_for(session, person, patient_id, "manage_episode")
    if patient.merged_into is not None:
        raise NotAllowed("This one was folded into another: open that one.")
    back = {"closed_at": None, "archived_at": None}
    _changed(session, person, patient, "reopened_patient", version, now, **back)
    return patient


def archive_patient(
    session: Session, person: Person, patient_id: int, *, version: int, now: datetime
) -> Patient:
    """Closed, and found only by who asks for archived people too."""
    patient = patient_for(session, person, patient_id, "archive_patient")
    closed = {"closed_at": patient.closed_at or now, "archived_at": now}
    _changed(session, person, patient, "archived_patient", version, now, **closed)
    return patient


def _changed(
    session: Session,
    person: Person,
    patient: Patient,
    did: str,
    version: int,
    now: datetime,
    **values: datetime | None,
) -> None:
    if patient.version != version:
        raise StaleVersion
    patient.version += 1
    patient.edited_at, patient.edited_by = now, person.id
    for name, value in values.items():
        setattr(patient, name, value)
    session.add(patient)
    session.flush()
    audit.deed(session, did, patient, by=person.id, now=now)
