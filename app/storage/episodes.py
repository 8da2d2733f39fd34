"""Episodes of care, the precautions that hold in them, and the visits made.

Whoever calls has fetched the patient or episode with the right to see it; what changes
something asks again for the right to do that.
"""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Final, Literal
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, UniqueConstraint, and_, or_
from sqlmodel import Field, Session, col, select

from app.clinical.precautions import PRECAUTIONS
from app.clinical.vocabulary import SETTINGS
from app.storage import audit
from app.storage.errors import NotFound, SameIdOtherBody
from app.storage.patients import Patient, patient_for
from app.storage.people import Person
from app.storage.tables import Numbered, check, length, one_of, uid

Plan = Literal["restore", "maintain"]
PLANS: Final = ("restore", "maintain")


class Episode(Numbered, table=True):
    """One stretch of care for one reason, by the site's calendar."""

    __tablename__ = "episode"
    __table_args__ = (
        length("reason", 1, 200),
        one_of("setting", SETTINGS),
        one_of("plan", PLANS),
        check("closed_on", "closed_on >= opened_on"),
    )

    patient_id: int = Field(foreign_key="patient.id", index=True)
    reason: str
    setting: str
    plan: str
    opened_on: date
    closed_on: date | None = None


class PrecautionOnEpisode(Numbered, table=True):
    """An order or a risk, from `set_on` until the day before `ended_on`.

    `set_by` names who ordered it, who need not be someone who signs in here.
    """

    __tablename__ = "precaution"
    __table_args__ = (
        one_of("tag", PRECAUTIONS),
        length("note", 0, 500),
        length("set_by", 0, 80),
        check("review_on", "review_on >= set_on"),
        check("ended_on", "ended_on >= set_on"),
    )

    episode_id: int = Field(foreign_key="episode.id", index=True)
    tag: str
    note: str = ""
    set_by: str = ""
    set_on: date
    review_on: date | None = None
    ended_on: date | None = None


class Visit(Numbered, table=True):
    """One person's contact on one day: `local_date`, as it was there and then."""

    __tablename__ = "visit"
    __table_args__ = (
        uid(),
        UniqueConstraint("episode_id", "person_id", "local_date"),
        length("zone", 1, 60),
    )

    uid: str = Field(unique=True)
    episode_id: int = Field(foreign_key="episode.id")
    person_id: int = Field(foreign_key="person.id")
    local_date: date
    zone: str
    started_at: datetime


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
    patient_for(session, person, patient.id, "edit_patient")
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


def close_episode(
    session: Session, person: Person, episode: Episode, *, on: date, now: datetime
) -> None:
    patient_for(session, person, episode.patient_id, "edit_patient")
    episode.closed_on = on
    session.add(episode)
    session.flush()
    audit.deed(session, "closed_episode", episode, by=person.id, now=now)


def open_episode(session: Session, patient: Patient) -> Episode:
    """The open episode, the latest when there are several; NotFound when none is."""
    wanted = (
        select(Episode)
        .where(Episode.patient_id == patient.id, col(Episode.closed_on).is_(None))
        .order_by(col(Episode.opened_on).desc(), col(Episode.id).desc())
    )
    episode = session.exec(wanted.limit(1)).first()
    if episode is None:
        raise NotFound("This patient has no open episode. Open one first.")
    return episode


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


def add_precaution(
    session: Session,
    person: Person,
    episode: Episode,
    *,
    tag: str,
    note: str = "",
    set_by: str = "",
    set_on: date,
    review_on: date | None = None,
    now: datetime,
) -> PrecautionOnEpisode:
    """Put a precaution on an episode."""
    patient_for(session, person, episode.patient_id, "edit_patient")
    precaution = PrecautionOnEpisode(
        episode_id=episode.id,
        tag=tag,
        note=note,
        set_by=set_by,
        set_on=set_on,
        review_on=review_on,
    )
    session.add(precaution)
    session.flush()
    audit.deed(session, "set_precaution", precaution, by=person.id, now=now)
    return precaution


def end_precaution(
    session: Session,
    person: Person,
    precaution: PrecautionOnEpisode,
    *,
    on: date,
    now: datetime,
) -> None:
    """Lift a precaution: from that day on it no longer holds."""
    episode = session.get_one(Episode, precaution.episode_id)
    patient_for(session, person, episode.patient_id, "edit_patient")
    precaution.ended_on = on
    session.add(precaution)
    session.flush()
    audit.deed(session, "ended_precaution", precaution, by=person.id, now=now)


def holds_on(day: date) -> ColumnElement[bool]:
    """The one rule of when a precaution holds: from `set_on` to before `ended_on`."""
    return and_(
        col(PrecautionOnEpisode.set_on) <= day,
        or_(
            col(PrecautionOnEpisode.ended_on).is_(None),
            col(PrecautionOnEpisode.ended_on) > day,
        ),
    )


def precautions_on(
    session: Session, episode: Episode, day: date
) -> Sequence[PrecautionOnEpisode]:
    """What holds on that day, oldest first. A passed review date lifts nothing."""
    wanted = select(PrecautionOnEpisode).where(
        PrecautionOnEpisode.episode_id == episode.id, holds_on(day)
    )
    in_order = wanted.order_by(
        col(PrecautionOnEpisode.set_on), col(PrecautionOnEpisode.id)
    )
    return session.exec(in_order).all()


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
