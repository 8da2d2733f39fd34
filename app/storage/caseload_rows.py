"""All patients of one world with their care and rounds, for the caseload's files.

Plain reads, patient by patient, so that a large site is told in little memory. Whoever
calls has asked whether the world may be told.
"""

from dataclasses import dataclass

from sqlmodel import Session, col, select

from app.storage.episodes import Episode
from app.storage.patients import Patient, PatientDetails, details_of
from app.storage.people import Person
from app.storage.precautions import PrecautionOnEpisode
from app.storage.profile import Profile, profile_of
from app.storage.trials import RoundTrials, rounds_of


@dataclass(frozen=True, slots=True)
class Care:
    """One stretch of care with everything that held in it."""

    episode: Episode
    precautions: tuple[PrecautionOnEpisode, ...]
    profile: Profile | None = None


def labelled(session: Session, *, demo: bool) -> list[tuple[str, int]]:
    """Open patients by label, each label once: a second `Blue 7` is `Blue 7 (2)`."""
    found = by_label(session, demo=demo)
    taken = set(found)
    named = []
    for label, ids in found.items():
        name, number = label, 1
        for patient_id in ids:
            while number > 1 and (name := _numbered(label, number)) in taken:
                number += 1
            number += 1
            taken.add(name)
            named.append((name, patient_id))
    return sorted(named)


def _numbered(label: str, number: int) -> str:
    """Never longer than a label may be."""
    return f"{label[:70].rstrip()} ({number})"


def patient_rows(
    session: Session, patient_id: int
) -> tuple[PatientDetails, list[Care]]:
    """What is known of a patient, and their care, the oldest first."""
    patient = session.get_one(Patient, patient_id)
    wanted = select(Episode).where(Episode.patient_id == patient_id)
    episodes = session.exec(
        wanted.order_by(col(Episode.opened_on), col(Episode.id))
    ).all()
    return details_of(session, patient), [
        Care(episode, _precautions(session, episode), profile_of(session, episode))
        for episode in episodes
    ]


def _precautions(session: Session, episode: Episode) -> tuple[PrecautionOnEpisode, ...]:
    wanted = select(PrecautionOnEpisode).where(
        PrecautionOnEpisode.episode_id == episode.id
    )
    in_order = wanted.order_by(
        col(PrecautionOnEpisode.set_on), col(PrecautionOnEpisode.id)
    )
    return tuple(session.exec(in_order))


def tried_rounds(session: Session, patient_id: int) -> list[RoundTrials]:
    """Rounds that hold trials, oldest first."""
    return [kept for kept in rounds_of(session, patient_id) if kept.trials]


def handles(session: Session) -> dict[int, str]:
    """Handles by id, of everybody: those who left have scores too."""
    return dict(session.exec(select(Person.id, Person.handle)).all())


def by_label(session: Session, *, demo: bool) -> dict[str, list[int]]:
    """Open patients of a world by their label, which several may share."""
    wanted = select(Patient.label, Patient.id).where(
        col(Patient.is_demo).is_(demo), col(Patient.closed_at).is_(None)
    )
    found: dict[str, list[int]] = {}
    for label, patient_id in session.exec(wanted.order_by(col(Patient.id))):
        found.setdefault(label, []).append(patient_id)
    return found
