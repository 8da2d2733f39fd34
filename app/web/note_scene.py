"""What the makers of a note's facts share: one visit with whom and what it is about."""

from dataclasses import dataclass

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.storage.episodes import Episode, Visit
from app.storage.patients import Patient, PatientDetails, details_of
from app.storage.people import Person
from app.web.deps import Site


@dataclass(frozen=True, slots=True)
class Scene:
    """A visit whose reader was asked for before, and the rows it hangs on."""

    session: Session
    site: Site
    visit: Visit
    episode: Episode
    patient: Patient
    details: PatientDetails
    person: Person

    @property
    def shelf(self) -> Catalogue:
        return self.site.catalogue


def scene_of(session: Session, site: Site, visit: Visit) -> Scene:
    episode = session.get_one(Episode, visit.episode_id)
    patient = session.get_one(Patient, episode.patient_id)
    return Scene(
        session, site, visit, episode, patient, details_of(session, patient),
        session.get_one(Person, visit.person_id),
    )  # fmt: skip
