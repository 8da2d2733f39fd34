"""Episodes of care, the precautions that hold in them, and the visits made.

Whoever calls has fetched the patient or episode with the right to see it; what changes
something asks again for the right to do that.
"""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Final, Literal
from zoneinfo import ZoneInfo

from sqlalchemy import Index, UniqueConstraint, or_
from sqlmodel import Field, Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from app.clinical.visiting import KINDS, MINUTES, NOT_DONE
from app.clinical.vocabulary import EPISODE_ENDS, REOPENINGS, SETTINGS
from app.storage import audit
from app.storage.errors import NotFound, SameIdOtherBody, StaleVersion, StorageProblem
from app.storage.patients import Patient, patient_for
from app.storage.people import Person
from app.storage.prepared import prepared
from app.storage.tables import (
    Numbered,
    between,
    check,
    length,
    one_of,
    partial_index,
    uid,
)

Plan = Literal["restore", "maintain"]
PLANS: Final = ("restore", "maintain")


class Episode(Numbered, table=True):
    """One stretch of care for one reason, by the site's calendar.

    `opened_on` is when it was opened here; `start_on` is the start of care where that
    is another day. `reopen_reason` says why it goes on, if it was closed before.
    """

    __tablename__ = "episode"
    __table_args__ = (
        length("reason", 1, 200),
        one_of("setting", SETTINGS),
        one_of("plan", PLANS),
        check("closed_on", "closed_on >= opened_on"),
        one_of("end_reason", EPISODE_ENDS),
        check("end_reason_when", "end_reason IS NULL OR closed_on IS NOT NULL"),
        check("version", "version >= 1"),
        one_of("reopen_reason", REOPENINGS),
    )

    patient_id: int = Field(foreign_key="patient.id", index=True)
    reason: str
    setting: str
    plan: str
    opened_on: date
    closed_on: date | None = None
    end_reason: str | None = None
    order_on: date | None = None
    plan_on: date | None = None
    start_on: date | None = None
    reopen_reason: str | None = None
    version: int = 1
    edited_at: datetime | None = None
    edited_by: int | None = Field(default=None, foreign_key="person.id")

    @property
    def began_on(self) -> date:
        """The start of care."""
        return self.start_on or self.opened_on


class Visit(Numbered, table=True):
    """One person's contact on one day: `local_date`, as it was there and then."""

    __tablename__ = "visit"
    __table_args__ = (
        uid(),
        UniqueConstraint("episode_id", "person_id", "local_date"),
        Index("ix_visit_local_date", "local_date", "episode_id"),
        # Few, so that a week's are counted without reading the others.
        partial_index(
            "ix_visit_not_as_planned",
            "local_date",
            "kind",
            "missed_reason",
            "left_without",
            "episode_id",
            rule="kind = 'missed' OR left_without <> ''",
        ),
        partial_index(
            "ix_visit_held",
            "episode_id",
            "local_date",
            rule="kind <> 'missed'",
            on_sqlite="kind != 'missed'",
        ),
        length("zone", 1, 60),
        one_of("kind", KINDS),
        one_of("missed_reason", NOT_DONE),
        check("missed", "missed_reason IS NULL OR kind = 'missed'"),
        length("missed_told", 0, 80),
        length("missed_again", 0, 80),
        length("left_without", 0, 200),
        *(between(f"{name}_minutes", 0, 600) for name in MINUTES),
    )

    uid: str = Field(unique=True)
    episode_id: int = Field(foreign_key="episode.id")
    person_id: int = Field(foreign_key="person.id")
    local_date: date
    zone: str
    started_at: datetime
    kind: str = "treatment"
    missed_reason: str | None = None
    missed_told: str = ""
    missed_again: str = ""
    closed_at: datetime | None = None
    closed_by: int | None = Field(default=None, foreign_key="person.id")
    left_without: str = ""
    strip_left_at: datetime | None = None
    individual_minutes: int = 0
    concurrent_minutes: int = 0
    group_minutes: int = 0
    co_treatment_minutes: int = 0


def add_episode(
    session: Session,
    person: Person,
    patient: Patient,
    *,
    reason: str,
    setting: str,
    plan: Plan,
    opened_on: date,
    now: datetime,
) -> Episode:
    """Open an episode."""
    patient_for(session, person, patient.id, "manage_episode")
    episode = Episode(
        patient_id=patient.id,
        reason=reason,
        setting=setting,
        plan=plan,
        opened_on=opened_on,
    )
    session.add(episode)
    session.flush()
    audit.deed(session, "opened_episode", episode, by=person.id, now=now)
    return episode


def edit_episode(
    session: Session,
    person: Person,
    episode: Episode,
    *,
    reason: str,
    setting: str,
    plan: Plan,
    order_on: date | None,
    plan_on: date | None,
    start_on: date | None = None,
    version: int,
    now: datetime,
) -> None:
    """Change what care is for, where, and to what end."""
    _must_be_fresh(session, person, episode, version)
    episode.reason, episode.setting, episode.plan = reason, setting, plan
    episode.order_on, episode.plan_on = order_on, plan_on
    episode.start_on = start_on
    _changed(session, person, episode, "edited_episode", now)


def close_episode(
    session: Session,
    person: Person,
    episode: Episode,
    *,
    on: date,
    why: str | None = None,
    version: int | None = None,
    now: datetime,
) -> None:
    _must_be_fresh(session, person, episode, version or episode.version)
    # Also where the clock was set back since it was opened.
    episode.closed_on, episode.end_reason = max(on, episode.opened_on), why
    _changed(session, person, episode, "closed_episode", now)


def reopen_episode(
    session: Session,
    person: Person,
    episode: Episode,
    *,
    why: str,
    version: int,
    now: datetime,
) -> None:
    """It goes on as if it had not been closed; the audit trail says that it was."""
    _must_be_fresh(session, person, episode, version)
    if any(e.closed_on is None for e in _of_patient(session, episode.patient_id)):
        raise StorageProblem("Another episode is open: close that one first.")
    episode.closed_on, episode.end_reason = None, None
    episode.reopen_reason = why
    _changed(session, person, episode, "reopened_episode", now)


def _must_be_fresh(
    session: Session, person: Person, episode: Episode, version: int
) -> None:
    """Asked before anything is changed, so that a refusal leaves nothing half done."""
    patient_for(session, person, episode.patient_id, "manage_episode")
    if episode.version != version:
        raise StaleVersion


def _changed(
    session: Session, person: Person, episode: Episode, did: str, now: datetime
) -> None:
    episode.version += 1
    episode.edited_at, episode.edited_by = now, person.id
    session.add(episode)
    session.flush()
    audit.deed(session, did, episode, by=person.id, now=now)


def episode_for(
    session: Session, person: Person, episode_id: int, deed: str = "see_patient"
) -> Episode:
    """The episode, if `person` may do `deed` to its patient."""
    episode = session.get(Episode, episode_id)
    if episode is None:
        raise NotFound
    patient_for(session, person, episode.patient_id, deed)
    return episode


def episodes_of(session: Session, patient: Patient) -> Sequence[Episode]:
    """All of them, the latest first."""
    return _of_patient(session, patient.id).all()


@prepared
def _of_patient(patient_id: int) -> SelectOfScalar[Episode]:
    wanted = select(Episode).where(Episode.patient_id == patient_id)
    return wanted.order_by(col(Episode.opened_on).desc(), col(Episode.id).desc())


@prepared
def _newest_open(patient_id: int) -> SelectOfScalar[Episode]:
    wanted = select(Episode).where(
        Episode.patient_id == patient_id, col(Episode.closed_on).is_(None)
    )
    newest = wanted.order_by(col(Episode.opened_on).desc(), col(Episode.id).desc())
    return newest.limit(1)


def open_episode(session: Session, patient: Patient) -> Episode:
    """The open episode, the latest when there are several; NotFound when none is."""
    episode = _newest_open(session, patient.id).first()
    if episode is None:
        raise NotFound("This patient has no open episode. Open one first.")
    return episode


def episode_or_none(session: Session, patient: Patient) -> Episode | None:
    """The same; None when none is open."""
    try:
        return open_episode(session, patient)
    except NotFound:
        return None


def episode_on(session: Session, patient: Patient, day: date) -> Episode:
    """The episode that was open on a day, for what arrives after it was closed.

    Raise NotFound when none was and none is.
    """
    wanted = select(Episode).where(
        Episode.patient_id == patient.id,
        Episode.opened_on <= day,
        or_(col(Episode.closed_on).is_(None), col(Episode.closed_on) >= day),
    )
    newest = wanted.order_by(col(Episode.opened_on).desc(), col(Episode.id).desc())
    return session.exec(newest.limit(1)).first() or open_episode(session, patient)


def last_visit(session: Session, episode: Episode) -> Visit | None:
    """The latest visit of an episode that took place; None before the first."""
    return _last_held(session, episode.id).first()


@prepared
def _last_held(episode_id: int) -> SelectOfScalar[Visit]:
    wanted = select(Visit).where(Visit.episode_id == episode_id, Visit.kind != "missed")
    newest = wanted.order_by(col(Visit.local_date).desc(), col(Visit.id).desc())
    return newest.limit(1)


def visit_today(
    session: Session,
    person: Person,
    episode: Episode,
    *,
    now: datetime,
    zone: ZoneInfo,
    uid: str,
) -> Visit:
    """The person's visit on the day it is there now, made when it is the first.

    The same id sent again later, even after midnight, finds the visit it made.
    """
    patient_for(session, person, episode.patient_id, "record_trial")
    sent = session.exec(select(Visit).where(Visit.uid == uid)).first()
    if sent is not None:
        if (sent.person_id, sent.episode_id) != (person.id, episode.id):
            raise SameIdOtherBody
        return sent
    today = now.astimezone(zone).date()
    known = session.exec(
        select(Visit).where(
            Visit.person_id == person.id,
            Visit.episode_id == episode.id,
            Visit.local_date == today,
        )
    ).first()
    if known is not None and known.kind == "missed":  # it did happen after all
        known.kind, known.missed_reason = "treatment", None
        known.closed_at, known.closed_by = None, None
        session.add(known)
        session.flush()
        audit.deed(session, "resumed_visit", known, by=person.id, now=now)
    return known or _new_visit(session, person, episode, today, now, zone, uid)


def _new_visit(
    session: Session,
    person: Person,
    episode: Episode,
    today: date,
    now: datetime,
    zone: ZoneInfo,
    uid: str,
) -> Visit:
    visit = Visit(
        uid=uid,
        episode_id=episode.id,
        person_id=person.id,
        local_date=today,
        zone=zone.key,
        started_at=now,
    )
    session.add(visit)
    session.flush()
    audit.deed(session, "started_visit", visit, by=person.id, now=now)
    return visit
