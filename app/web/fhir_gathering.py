"""What gathering one patient's record shares: rows fetched once, keys, people."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from app.catalogue.load import Catalogue
from app.exports.fhir_values import PersonValue
from app.storage.episodes import Episode, Visit
from app.storage.patients import Patient, PatientDetails
from app.storage.people import Person
from app.web.fhir_release import Release


@dataclass(slots=True)
class Gathering:
    """`gone` are the keys of observations that go out; `people` whoever is named."""

    session: Session
    shelf: Catalogue
    patient: Patient
    details: PatientDetails
    zone: ZoneInfo
    episodes: dict[int, Episode]
    visits: dict[int, Visit]
    release: Release
    people: dict[int, PersonValue] = field(default_factory=dict)
    gone: set[str] = field(default_factory=set)
    voided: int = 0
    unfinished: int = 0

    def person(self, person_id: int) -> str:
        """The key of somebody, who is then told of too."""
        if person_id not in self.people:
            person = self.session.get_one(Person, person_id)
            key = f"person {person.id} {person.created_at.isoformat()}"
            self.people[person_id] = PersonValue(key, person.name, person.role)
        return self.people[person_id].key

    def seen(self, visit_id: int, by: int, at: datetime, key: str) -> dict[str, Any]:
        """Where, by whom and when, for something that goes out under `key`.

        The encounter stays empty for a colleague's entry in a student's visit that
        itself does not go out.
        """
        visit = self.visits[visit_id]
        self.gone.add(key)
        return {
            "key": key,
            "visit": visit_key(visit) if self.release.visit_goes(visit) else "",
            "person": self.person(by),
            "at": at.astimezone(ZoneInfo(visit.zone)),
        }

    def may_go(self, what: str, visit_id: int, by: int, at: datetime) -> bool:
        """Whether it goes out; if not, it is counted."""
        goes = self.release.may_go(visit_id, by, at)
        self.release.left_out[what] += not goes
        return goes


def visit_key(visit: Visit) -> str:
    return f"visit {visit.uid}"


def episode_key(patient: Patient, episode: Episode) -> str:
    return f"episode {patient.uid} {episode.id}"


def visits_in_order(session: Session, patient_id: int) -> list[Visit]:
    """All visits of a patient, oldest first, however many there are."""
    wanted = (
        select(Visit)
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .where(Episode.patient_id == patient_id)
    )
    in_order = wanted.order_by(col(Visit.local_date), col(Visit.id))
    return list(session.exec(in_order))
