"""Visits and rounds that happened before they were written here: from a file.

The trial's `clocks` say that it was imported, and by whom it was taken if the file says
so; who imported it stands as who recorded it. Nothing here is judged.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime, time
from typing import Any, Final
from uuid import NAMESPACE_OID, uuid5
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from app.storage import audit
from app.storage.episodes import Episode, Visit
from app.storage.errors import NotFound
from app.storage.patients import Patient, patient_for
from app.storage.people import Person
from app.storage.trials import Round, Trial, TrialBody, body_hash_of

#: A file names the day and no hour.
NOON: Final = time(12)
IMPORTED: Final = "imported"


@dataclass(frozen=True, slots=True)
class PastTrial:
    """A trial as the file tells it; `voided` is the reason, if it does not count."""

    body: TrialBody
    voided: str = ""


@dataclass(frozen=True, slots=True)
class PastRound:
    """The trials of one test on one day, and the id that follows from their content."""

    uid: str
    on: date
    measure: str
    variant: str
    facts: dict[str, str]
    trials: tuple[PastTrial, ...]


def marks_of_import(by: str) -> dict[str, Any]:
    """What the clocks of an imported trial hold."""
    return {IMPORTED: True, "by": by} if by else {IMPORTED: True}


def is_imported(trial: Trial) -> bool:
    return trial.clocks.get(IMPORTED) is True


def is_kept(session: Session, uid: str) -> bool:
    return session.exec(select(Round.id).where(Round.uid == uid)).first() is not None


def care_on(session: Session, patient: Patient, day: date) -> Episode:
    """The stretch of care a day belongs to, else the one nearest to it.

    Raise NotFound when the patient has none at all.
    """
    wanted = select(Episode).where(Episode.patient_id == patient.id)
    episodes = session.exec(wanted.order_by(col(Episode.opened_on), col(Episode.id)))
    found = [(_days_off(e, day), -place, e) for place, e in enumerate(episodes)]
    if not found:
        raise NotFound("This patient has no stretch of care. Open one first.")
    return min(found, key=lambda each: each[:2])[2]


def _days_off(episode: Episode, day: date) -> int:
    if day < episode.opened_on:
        return (episode.opened_on - day).days
    closed = episode.closed_on
    return (day - closed).days if closed is not None and day > closed else 0


def keep_round(
    session: Session,
    person: Person,
    patient: Patient,
    past: PastRound,
    *,
    now: datetime,
    zone: ZoneInfo,
) -> Round:
    """Write a past round with its trials, on the importer's visit of that day."""
    patient_for(session, person, patient.id, "record_trial")
    episode = care_on(session, patient, past.on)
    visit = _visit_on(session, person, episode, past.on, now, zone)
    round = Round(
        uid=past.uid,
        visit_id=visit.id,
        person_id=person.id,
        measure=past.measure,
        variant=past.variant,
        facts=past.facts,
        created_at=now,
    )
    session.add(round)
    session.flush()
    session.add_all(_trials(person, round, past, now))
    audit.deed(session, "imported_round", round, by=person.id, now=now)
    return round


def _trials(
    person: Person, round: Round, past: PastRound, now: datetime
) -> Sequence[Trial]:
    return [
        Trial(
            **asdict(trial.body),
            uid=uuid5(NAMESPACE_OID, f"{round.uid} {place}").hex,
            round_id=round.id,
            place=place,
            recorded_at=now,
            recorded_by=person.id,
            body_hash=body_hash_of(round, trial.body),
            voided_at=now if trial.voided else None,
            voided_by=person.id if trial.voided else None,
            void_reason=trial.voided or None,
        )
        for place, trial in enumerate(past.trials, 1)
    ]


def _visit_on(
    session: Session,
    person: Person,
    episode: Episode,
    day: date,
    now: datetime,
    zone: ZoneInfo,
) -> Visit:
    wanted = select(Visit).where(
        Visit.episode_id == episode.id,
        Visit.person_id == person.id,
        Visit.local_date == day,
    )
    known = session.exec(wanted).first()
    if known is not None:
        return known
    at = min(datetime.combine(day, NOON, zone), now)
    visit = Visit(
        uid=uuid5(NAMESPACE_OID, f"{episode.id} {person.id} {day}").hex,
        episode_id=episode.id,
        person_id=person.id,
        local_date=day,
        zone=zone.key,
        started_at=at,
        closed_at=at,
        closed_by=person.id,
    )
    session.add(visit)
    session.flush()
    audit.deed(session, "imported_visit", visit, by=person.id, now=now)
    return visit
