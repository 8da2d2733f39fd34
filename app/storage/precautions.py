"""Orders and risks on an episode: who set them, when they are looked at again."""

from collections.abc import Sequence
from datetime import date, datetime

from sqlalchemy import ColumnElement, and_, or_
from sqlmodel import Field, Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from app.clinical.precautions import PRECAUTIONS
from app.storage import audit
from app.storage.episodes import Episode
from app.storage.errors import NotFound, StaleVersion
from app.storage.patients import patient_for
from app.storage.people import Person
from app.storage.prepared import prepared
from app.storage.tables import Numbered, check, length, one_of


class PrecautionOnEpisode(Numbered, table=True):
    """An order or a risk, from `set_on` until the day before `ended_on`.

    `set_on` is the day the order was given, which may lie before it was entered.
    `set_by` names who ordered it, who need not be someone who signs in here;
    `edited_by` is who entered, changed or lifted it last.
    """

    __tablename__ = "precaution"
    __table_args__ = (
        one_of("tag", PRECAUTIONS),
        length("note", 0, 500),
        length("set_by", 0, 80),
        length("end_note", 0, 200),
        check("review_on", "review_on >= set_on"),
        check("ended_on", "ended_on >= set_on"),
        check("version", "version >= 1"),
    )

    episode_id: int = Field(foreign_key="episode.id", index=True)
    tag: str
    note: str = ""
    set_by: str = ""
    set_on: date
    review_on: date | None = None
    ended_on: date | None = None
    end_note: str = ""
    version: int = 1
    edited_at: datetime | None = None
    edited_by: int | None = Field(default=None, foreign_key="person.id")


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
    """Put a precaution on an episode; one that holds already is left as it is."""
    patient_for(session, person, episode.patient_id, "set_precaution")
    known = holding(session, episode, tag)
    if known is not None:
        return known
    precaution = PrecautionOnEpisode(
        episode_id=episode.id,
        tag=tag,
        note=note,
        set_by=set_by,
        set_on=set_on,
        review_on=review_on,
        edited_at=now,
        edited_by=person.id,
    )
    session.add(precaution)
    session.flush()
    audit.deed(session, "set_precaution", precaution, by=person.id, now=now)
    return precaution


def holding(session: Session, episode: Episode, tag: str) -> PrecautionOnEpisode | None:
    """The precaution of this kind that was not lifted, whatever day it was set on."""
    wanted = _all_of(episode.patient_id).where(
        PrecautionOnEpisode.tag == tag, col(PrecautionOnEpisode.ended_on).is_(None)
    )
    return session.exec(wanted.order_by(col(PrecautionOnEpisode.id)).limit(1)).first()


def change_precaution(
    session: Session,
    person: Person,
    precaution: PrecautionOnEpisode,
    *,
    note: str,
    set_by: str,
    set_on: date,
    review_on: date | None,
    version: int,
    now: datetime,
) -> None:
    """Say something else of one that holds; `version` is the one the editor had.

    Raise StaleVersion when somebody changed or lifted it since.
    """
    episode = session.get_one(Episode, precaution.episode_id)
    patient_for(session, person, episode.patient_id, "end_precaution")
    if precaution.version != version or precaution.ended_on is not None:
        raise StaleVersion
    precaution.note, precaution.set_by = note, set_by
    precaution.set_on, precaution.review_on = set_on, review_on
    _changed(session, person, precaution, "changed_precaution", now)


def _changed(
    session: Session,
    person: Person,
    precaution: PrecautionOnEpisode,
    did: str,
    now: datetime,
) -> None:
    precaution.version += 1
    precaution.edited_at, precaution.edited_by = now, person.id
    session.add(precaution)
    session.flush()
    audit.deed(session, did, precaution, by=person.id, now=now)


def end_precaution(
    session: Session,
    person: Person,
    precaution: PrecautionOnEpisode,
    *,
    on: date,
    note: str = "",
    version: int | None = None,
    now: datetime,
) -> None:
    """Lift a precaution: from that day on it no longer holds.

    One that was lifted before keeps its first day and reason. Raise StaleVersion when
    somebody changed it since `version`.
    """
    episode = session.get_one(Episode, precaution.episode_id)
    patient_for(session, person, episode.patient_id, "end_precaution")
    if precaution.version != (version or precaution.version):
        raise StaleVersion
    if precaution.ended_on is not None:
        return
    # A clock that was set back must not keep an order from being lifted.
    precaution.ended_on, precaution.end_note = max(on, precaution.set_on), note
    _changed(session, person, precaution, "ended_precaution", now)


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
    """What holds on that day, oldest first. A passed review date lifts nothing.

    An order belongs to the person: closing an episode lifts none.
    """
    return _holding(session, episode.patient_id, day).all()


@prepared
def _holding(patient_id: int, day: date) -> SelectOfScalar[PrecautionOnEpisode]:
    wanted = _all_of(patient_id).where(holds_on(day))
    return wanted.order_by(col(PrecautionOnEpisode.set_on), col(PrecautionOnEpisode.id))


def _all_of(patient_id: int) -> SelectOfScalar[PrecautionOnEpisode]:
    """Of every episode of the person."""
    episodes = select(Episode.id).where(Episode.patient_id == patient_id)
    return select(PrecautionOnEpisode).where(
        col(PrecautionOnEpisode.episode_id).in_(episodes)
    )


def all_precautions(
    session: Session, episode: Episode
) -> Sequence[PrecautionOnEpisode]:
    """Those that were lifted too, the latest first."""
    latest = (
        col(PrecautionOnEpisode.set_on).desc(),
        col(PrecautionOnEpisode.id).desc(),
    )
    wanted = _all_of(episode.patient_id).order_by(*latest)
    return session.exec(wanted).all()


def precaution_for(
    session: Session, person: Person, precaution_id: int, deed: str
) -> PrecautionOnEpisode:
    """The precaution, if `person` may do `deed` to its patient."""
    precaution = session.get(PrecautionOnEpisode, precaution_id)
    if precaution is None:
        raise NotFound
    episode = session.get_one(Episode, precaution.episode_id)
    patient_for(session, person, episode.patient_id, deed)
    return precaution
