"""What people keep of their own list: places and ticks. The deeds: `own_list`."""

from datetime import date
from typing import Any

from sqlmodel import Field, col

from app.storage.patients import Patient
from app.storage.tables import Table, check


class ListPlace(Table, table=True):
    """Where somebody keeps a patient on their own list."""

    __tablename__ = "list_place"
    __table_args__ = (check("place", "place >= 0"),)

    person_id: int = Field(foreign_key="person.id", primary_key=True)
    patient_id: int = Field(foreign_key="patient.id", primary_key=True)
    place: int


class DayTick(Table, table=True):
    """Somebody means to see a patient on `day`; on any other day it says nothing."""

    __tablename__ = "day_tick"

    person_id: int = Field(foreign_key="person.id", primary_key=True)
    patient_id: int = Field(foreign_key="patient.id", primary_key=True)
    day: date


def in_own_order(wanted: Any, person_id: int) -> Any:
    """Patients as this person keeps them; whoever has no place yet comes last."""
    own = (col(ListPlace.patient_id) == col(Patient.id)) & (
        col(ListPlace.person_id) == person_id
    )
    place = col(ListPlace.place)
    return wanted.outerjoin(ListPlace, own).order_by(
        place.is_(None), place, col(Patient.label), col(Patient.id)
    )
