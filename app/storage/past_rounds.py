"""Visits and rounds that happened before they were written here: from a file.

The trial's `clocks` say that it was imported, and by whom it was taken if the file says
so; who imported it stands as who recorded it. Nothing here is judged.
"""

from collections.abc import Collection, Sequence
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


def kept_among(session: Session, uids: Collection[str]) -> frozenset[str]:
    """Those of these ids that a round has already."""
    wanted = select(Round.uid).where(col(Round.uid).in_(uids))
    return frozenset(session.exec(wanted)) if uids else frozenset()


def care_on(episodes: Sequence[Episode], day: date) -> Episode:
    """The stretch of care a day belongs to, else the one nearest to it.

    `episodes` are all of one patient, the oldest first. Raise NotFound without any.
    """
    found = [(_days_off(e, day), -place, e) for place, e in enumerate(episodes)]
    if not found:
        raise NotFound("This patient has no stretch of care. Open one first.")
    return min(found, key=lambda each: each[:2])[2]


def _days_off(episode: Episode, day: date) -> int:
    if day < episode.opened_on:
        return (episode.opened_on - day).days
    closed = episode.closed_on
    return (day - closed).days if closed is not None and day > closed else 0


def keep_rounds(
    session: Session,
    person: Person,
    patient: Patient,
    past: Sequence[PastRound],
    *,
    now: datetime,
    zone: ZoneInfo,
) -> list[Round]:
    """Write a patient's past rounds with their trials, on the importer's visits.

    All at once, since a file may hold a hundred thousand trials.
    """
    patient_for(session, person, patient.id, "record_trial")
    visits = _visits_on(session, person, patient, [told.on for told in past], now, zone)
    rounds = [
        Round(
            uid=told.uid,
            visit_id=visits[told.on].id,
            person_id=person.id,
            measure=told.measure,
            variant=told.variant,
            facts=told.facts,
            created_at=now,
        )
        for told in past
    ]
    session.add_all(rounds)
    session.flush()
    for round, told in zip(rounds, past, strict=True):
        session.add_all(_trials(person, round, told, now))
    audit.deeds(session, "imported_round", rounds, by=person.id, now=now)
    return rounds


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


def _visits_on(
    session: Session,
    person: Person,
    patient: Patient,
    days: Sequence[date],
    now: datetime,
    zone: ZoneInfo,
) -> dict[date, Visit]:
    """The importer's visit to a patient of each day; missing ones are made."""
    wanted = select(Episode).where(Episode.patient_id == patient.id)
    in_order = wanted.order_by(col(Episode.opened_on), col(Episode.id))
    episodes = session.exec(in_order).all()
    care = {day: care_on(episodes, day) for day in days}
    theirs = select(Visit).where(
        col(Visit.episode_id).in_([episode.id for episode in episodes]),
        Visit.person_id == person.id,
    )
    # Of several on one day the first stands.
    oldest_last = session.exec(theirs.order_by(col(Visit.id).desc()))
    known = {(visit.episode_id, visit.local_date): visit for visit in oldest_last}
    made = {
        day: _visit(person, episode, day, now, zone)
        for day, episode in care.items()
        if (episode.id, day) not in known
    }
    session.add_all(made.values())
    session.flush()
    audit.deeds(session, "imported_visit", list(made.values()), by=person.id, now=now)
    return {
        day: made.get(day) or known[episode.id, day] for day, episode in care.items()
    }


def _visit(
    person: Person, episode: Episode, day: date, now: datetime, zone: ZoneInfo
) -> Visit:
    at = min(datetime.combine(day, NOON, zone), now)
    return Visit(
        uid=uuid5(NAMESPACE_OID, f"{episode.id} {person.id} {day}").hex,
        episode_id=episode.id,
        person_id=person.id,
        local_date=day,
        zone=zone.key,
        started_at=at,
        closed_at=at,
        closed_by=person.id,
    )
