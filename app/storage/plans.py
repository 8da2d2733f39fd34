"""What somebody means to do with a patient on a day, and which activities they star.

Whoever calls asks `allowing.permit` first: it needs the catalogue. Favourites are no
record of care and stand in no audit trail.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import date, datetime
from typing import Final

from sqlalchemy import JSON, UniqueConstraint, delete
from sqlmodel import Field, Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from app.clinical.session_plan import LONGEST_REASON, MOST_SETS
from app.storage import audit
from app.storage.episodes import Episode
from app.storage.errors import StaleVersion
from app.storage.patients import patient_for
from app.storage.people import Person
from app.storage.prepared import prepared
from app.storage.tables import (
    Numbered,
    Table,
    between,
    check,
    length,
    signed_number_text,
    uid,
)

LONGEST_PLAN_MIN: Final = 600


class SessionPlan(Numbered, table=True):
    """One person's plan for a patient on a day. Its items are rows of their own."""

    __tablename__ = "session_plan"
    __table_args__ = (
        uid(),
        UniqueConstraint("episode_id", "person_id", "for_date"),
        check("version", "version >= 1"),
    )

    uid: str = Field(unique=True)
    episode_id: int = Field(foreign_key="episode.id")
    person_id: int = Field(foreign_key="person.id")
    for_date: date
    version: int = 1
    edited_at: datetime


class PlanItem(Table, table=True):
    """One activity of a plan; all are written anew with it.

    `override` is the reason to go against the risks named in `against`.
    """

    __tablename__ = "plan_item"
    __table_args__ = (
        between("place", 0, 99),
        length("activity", 3, 8),
        check("grade", signed_number_text("grade")),
        between("sets", 1, MOST_SETS),
        between("minutes", 1, LONGEST_PLAN_MIN),
        length("override", 0, LONGEST_REASON),
        UniqueConstraint("plan_id", "activity"),
    )

    plan_id: int = Field(foreign_key="session_plan.id", primary_key=True)
    place: int = Field(primary_key=True)
    activity: str
    grade: str
    sets: int
    minutes: int
    override: str = ""
    against: list[str] = Field(sa_type=JSON)


class FavouriteActivity(Table, table=True):
    """An activity that somebody starred."""

    __tablename__ = "favourite_activity"
    __table_args__ = (length("activity", 3, 8),)

    person_id: int = Field(foreign_key="person.id", primary_key=True)
    activity: str = Field(primary_key=True)


@dataclass(frozen=True, slots=True)
class PlanLine:
    """An item as it is to be kept."""

    activity: str
    grade: str
    sets: int
    minutes: int
    override: str = ""
    against: list[str] = field(default_factory=list)


def plan_on(
    session: Session, person: Person, episode: Episode, day: date
) -> SessionPlan | None:
    """Somebody's own plan of a day."""
    return _on(session, episode.id, person.id, day).one_or_none()


@prepared
def _on(episode_id: int, person_id: int, day: date) -> SelectOfScalar[SessionPlan]:
    return select(SessionPlan).where(
        SessionPlan.episode_id == episode_id,
        SessionPlan.person_id == person_id,
        SessionPlan.for_date == day,
    )


def plan_before(
    session: Session, person: Person, episode: Episode, day: date
) -> SessionPlan | None:
    """Their latest earlier one that holds something."""
    wanted = _filled(episode.id, person.id).where(SessionPlan.for_date < day)
    newest = wanted.order_by(col(SessionPlan.for_date).desc())
    return session.exec(newest.limit(1)).first()


def plan_after(
    session: Session, person: Person, episode: Episode, day: date
) -> SessionPlan | None:
    """Their next one after a day that holds something."""
    return _next(session, episode.id, person.id, day).first()


@prepared
def _next(episode_id: int, person_id: int, day: date) -> SelectOfScalar[SessionPlan]:
    wanted = _filled(episode_id, person_id).where(SessionPlan.for_date > day)
    return wanted.order_by(col(SessionPlan.for_date)).limit(1)


def _filled(episode_id: int, person_id: int) -> SelectOfScalar[SessionPlan]:
    """Somebody's plans that hold something."""
    return select(SessionPlan).where(
        SessionPlan.episode_id == episode_id,
        SessionPlan.person_id == person_id,
        col(SessionPlan.id).in_(select(PlanItem.plan_id)),
    )


def planned_for(session: Session, patient_id: int) -> frozenset[str]:
    """Activities that stand in anybody's plan of any day for this patient."""
    wanted = (
        select(PlanItem.activity)
        .join(SessionPlan, col(PlanItem.plan_id) == col(SessionPlan.id))
        .join(Episode, col(SessionPlan.episode_id) == col(Episode.id))
        .where(Episode.patient_id == patient_id)
    )
    return frozenset(session.exec(wanted))


def lines_of(session: Session, plan: SessionPlan | None) -> list[PlanLine]:
    """The items of a plan, in order; of no plan none."""
    if plan is None:
        return []
    wanted = select(PlanItem).where(PlanItem.plan_id == plan.id)
    return [
        PlanLine(
            row.activity, row.grade, row.sets, row.minutes, row.override,
            list(row.against),
        )
        for row in session.exec(wanted.order_by(col(PlanItem.place)))
    ]  # fmt: skip


def write_plan(
    session: Session,
    person: Person,
    episode: Episode,
    day: date,
    lines: Sequence[PlanLine],
    *,
    uid: str,
    version: int,
    now: datetime,
) -> SessionPlan:
    """Replace what is planned; `version` is the one the editor had, 0 for none.

    Raise StaleVersion when it was changed since, NotAllowed when a reason to go against
    a risk is new and they may not.
    """
    patient_for(session, person, episode.patient_id, "record_visit")
    plan = plan_on(session, person, episode, day)
    if (plan.version if plan else 0) != version:
        raise StaleVersion
    before = {(line.activity, line.override) for line in lines_of(session, plan)}
    reasons = {(line.activity, line.override) for line in lines if line.override}
    if reasons - before:
        patient_for(session, person, episode.patient_id, "go_against_risk")
    if plan is None:
        plan = SessionPlan(
            uid=uid, episode_id=episode.id, person_id=person.id, for_date=day,
            version=0, edited_at=now,
        )  # fmt: skip
    plan.version += 1
    plan.edited_at = now
    session.add(plan)
    session.flush()
    _replace(session, plan, lines)
    audit.deed(session, "planned_session", plan, by=person.id, now=now)
    if reasons - before:
        audit.deed(session, "planned_against_risk", plan, by=person.id, now=now)
    return plan


def _replace(session: Session, plan: SessionPlan, lines: Sequence[PlanLine]) -> None:
    session.exec(delete(PlanItem).where(col(PlanItem.plan_id) == plan.id))
    session.add_all(
        PlanItem(plan_id=plan.id, place=place, **asdict(line))
        for place, line in enumerate(lines)
    )
    session.flush()


def favourites_of(session: Session, person: Person) -> frozenset[str]:
    wanted = select(FavouriteActivity.activity)
    mine = wanted.where(FavouriteActivity.person_id == person.id)
    return frozenset(session.exec(mine))


def star(session: Session, person: Person, activity: str, *, on: bool) -> None:
    """Make it a favourite, or no longer."""
    known = session.get(FavouriteActivity, (person.id, activity))
    if on and known is None:
        session.add(FavouriteActivity(person_id=person.id, activity=activity))
    elif known is not None and not on:
        session.delete(known)
    session.flush()
