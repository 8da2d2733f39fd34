"""Finding patients by their label or a condition, closed and archived ones too."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session, col, select

from app.storage.caseload import conditions_of, visible
from app.storage.owing import Owed, due_by
from app.storage.patients import Patient, PatientCondition
from app.storage.people import Person


@dataclass(frozen=True, slots=True)
class Found:
    """Somebody found by name of label or condition."""

    patient_id: int
    label: str
    birth_year: int | None
    birth_date: date | None
    sex: str | None
    conditions: tuple[str, ...]
    closed: bool
    archived: bool


def find_patients(
    session: Session,
    person: Person,
    *,
    words: Sequence[str],
    condition: str,
    archived: bool,
    due: bool | None = None,
    day: date,
    most: int,
) -> list[Found]:
    """Whose label holds every word, among those `person` may see; by label.

    `due` asks for those whom something is owed on `day`, or for the others.
    """
    ids = visible(session, person, person.is_demo, closed=True)
    if ids is None:
        return []
    wanted = select(Patient).where(
        col(Patient.id).in_(ids), col(Patient.merged_into).is_(None)
    )
    if not archived:
        wanted = wanted.where(col(Patient.archived_at).is_(None))
    for word in words[:10]:
        wanted = wanted.where(col(Patient.label).icontains(word, autoescape=True))
    if condition:
        has_it = select(PatientCondition.patient_id).where(
            PatientCondition.condition == condition
        )
        wanted = wanted.where(col(Patient.id).in_(has_it))
    if due is not None:
        owed = col(Patient.id).in_(select(Owed.patient_id).where(due_by(day)))
        wanted = wanted.where(owed if due else ~owed)
    in_order = wanted.order_by(col(Patient.label), col(Patient.id)).limit(most)
    return _found(session, session.exec(in_order).all())


def _found(session: Session, patients: Sequence[Patient]) -> list[Found]:
    known = conditions_of(session, select(Patient.id).where(
        col(Patient.id).in_([p.id for p in patients])
    ))  # fmt: skip
    return [
        Found(
            p.id, p.label, p.birth_year, p.birth_date, p.sex,
            tuple(known.get(p.id, ())), p.closed_at is not None,
            p.archived_at is not None,
        )
        for p in patients
    ]  # fmt: skip
