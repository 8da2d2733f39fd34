"""A person's own list: the order they keep their patients in, and whom they see today.

Neither is a record of care, so neither stands in the audit trail.
"""

from datetime import date

from sqlalchemy import delete, insert
from sqlmodel import Session, col, select

from app.storage.caseload import visible
from app.storage.list_places import DayTick, ListPlace, in_own_order
from app.storage.patients import Patient, patient_for
from app.storage.people import Person


def own_order(session: Session, person: Person) -> list[int]:
    """Everybody on the list, as it is shown: whoever was never moved comes last."""
    ids = visible(session, person, person.is_demo)
    if ids is None:
        return []
    wanted = select(Patient.id).where(col(Patient.id).in_(ids))
    return list(session.exec(in_own_order(wanted, person.id)))


def move(
    session: Session,
    person: Person,
    patient_id: int,
    *,
    before: int | None = None,
    after: int | None = None,
) -> None:
    """Put one patient beside another. Of two phones the last wins, and nobody is lost.

    When the other has left the list meanwhile, it stays as it is.
    """
    patient_for(session, person, patient_id)
    order = own_order(session, person)
    beside = before if before is not None else after
    rest = [each for each in order if each != patient_id]
    if beside not in rest or patient_id not in order:
        return
    rest.insert(rest.index(beside) + (before is None), patient_id)
    mine = col(ListPlace.person_id) == person.id
    session.exec(delete(ListPlace).where(mine, col(ListPlace.patient_id).in_(rest)))
    session.execute(
        insert(ListPlace),
        [
            {"person_id": person.id, "patient_id": each, "place": place}
            for place, each in enumerate(rest)
        ],
    )
    session.flush()


def tick(
    session: Session, person: Person, patient_id: int, day: date, *, on: bool
) -> None:
    """Say that a patient is seen on `day`, or not; ticks of other days go."""
    patient_for(session, person, patient_id)
    mine = col(DayTick.person_id) == person.id
    session.exec(delete(DayTick).where(mine, col(DayTick.day) != day))
    known = session.get(DayTick, (person.id, patient_id))
    if on and known is None:
        session.add(DayTick(person_id=person.id, patient_id=patient_id, day=day))
    elif known is not None and not on:
        session.delete(known)
    session.flush()
