"""The list a person starts the day from: their patients, each with the latest scores.

Plain rows for a page, in a number of queries that does not grow with the list.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any, TypeVar

from sqlmodel import Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from app.access import Subject, may
from app.storage.assignments import Assignment
from app.storage.cover import on_list_of
from app.storage.episodes import Episode
from app.storage.list_places import DayTick, ListPlace, in_own_order
from app.storage.patients import Patient, PatientCondition
from app.storage.people import Person, actor
from app.storage.precautions import PrecautionOnEpisode, holds_on
from app.storage.scores import Score

Found = TypeVar("Found")
Ids = SelectOfScalar[int]


@dataclass(frozen=True, slots=True)
class LastScore:
    """The latest score of one measure."""

    measure: str
    on_date: date
    outcome: str
    value: str | None
    unit: str
    lead_says: str
    lead_crossed: bool | None
    change_verdict: str | None


@dataclass(frozen=True, slots=True)
class CaseloadRow:
    """One patient on the list. Episode fields are None when none is open.

    `next_due` is the earliest review date of a precaution that still holds. `placed`:
    the person gave the patient a place on their list; `ticked`: for this day.
    """

    patient_id: int
    label: str
    birth_year: int | None
    birth_date: date | None
    sex: str | None
    is_demo: bool
    conditions: tuple[str, ...]
    reason: str | None
    setting: str | None
    plan: str | None
    precautions: tuple[str, ...]
    last_scores: tuple[LastScore, ...]
    next_due: date | None
    placed: bool = False
    ticked: bool = False


def caseload_for(
    session: Session, person: Person, *, demo: bool, day: date, own: bool = False
) -> list[CaseloadRow]:
    """Whom `person` may see and has to do with, in their own order; no closed ones.

    `own` leaves out whom they may see without being assigned.
    `day` is today there, for what precautions hold. `demo` chooses the invented
    patients or the real ones; they never share a list.
    """
    ids = visible(session, person, demo, own=own)
    if ids is None:
        return []
    patients = _patients(session, ids, person.id, day)
    conditions = conditions_of(session, ids)
    episodes = _open_episodes(session, ids)
    scores = _last_scores(session, ids)
    precautions = _precautions(session, ids, day)
    return [
        CaseloadRow(
            patient_id=patient.id,
            label=patient.label,
            birth_year=patient.birth_year,
            birth_date=patient.birth_date,
            sex=patient.sex,
            is_demo=patient.is_demo,
            conditions=tuple(conditions.get(patient.id, ())),
            reason=episode.reason if episode else None,
            setting=episode.setting if episode else None,
            plan=episode.plan if episode else None,
            precautions=tuple(tag for tag, _ in precautions.get(patient.id, ())),
            last_scores=tuple(scores.get(patient.id, ())),
            next_due=_earliest(precautions.get(patient.id, ())),
            placed=place is not None,
            ticked=ticked_on == day,
        )
        for patient, place, ticked_on in patients
        for episode in (episodes.get(patient.id),)
    ]


def _patients(session: Session, ids: Ids, person_id: int, day: date) -> Any:
    """Each with their place and this day's tick."""
    ticked = (
        (col(DayTick.patient_id) == col(Patient.id))
        & (col(DayTick.person_id) == person_id)
        & (col(DayTick.day) == day)
    )
    wanted: Any = select(Patient, ListPlace.place, DayTick.day)
    wanted = wanted.outerjoin(DayTick, ticked).where(col(Patient.id).in_(ids))
    return session.exec(in_own_order(wanted, person_id)).all()


def _earliest(holding: Iterable[tuple[str, date | None]]) -> date | None:
    return min((day for _, day in holding if day is not None), default=None)


def visible(
    session: Session,
    person: Person,
    demo: bool,
    *,
    own: bool = False,
    closed: bool = False,
) -> Ids | None:
    """The ids the access table lets them see, as a query; None for nobody at all.

    `own` leaves out whom they see without being assigned, `closed` takes in who left.
    """
    who = actor(person)
    ids = select(Patient.id).where(col(Patient.is_demo).is_(demo))
    if not closed:
        ids = ids.where(col(Patient.closed_at).is_(None))
    if not own and may(who, "see_patient", Subject(is_demo=demo, assigned=False)):
        return ids
    if not may(who, "see_patient", Subject(is_demo=demo, assigned=True)):
        return None
    assigned = select(Assignment.patient_id).where(on_list_of(session, person.id))
    return ids.where(col(Patient.id).in_(assigned))


def _by_patient(found: Iterable[tuple[int, Found]]) -> dict[int, list[Found]]:
    grouped: dict[int, list[Found]] = {}
    for patient_id, row in found:
        grouped.setdefault(patient_id, []).append(row)
    return grouped


def conditions_of(session: Session, ids: Ids) -> dict[int, list[str]]:
    wanted = select(PatientCondition.patient_id, PatientCondition.condition).where(
        col(PatientCondition.patient_id).in_(ids)
    )
    return _by_patient(session.exec(wanted.order_by(col(PatientCondition.condition))))


def _open_episodes(session: Session, ids: Ids) -> dict[int, Episode]:
    """The same episode that `open_episode` finds: the latest one open."""
    wanted = select(Episode).where(
        col(Episode.patient_id).in_(ids), col(Episode.closed_on).is_(None)
    )
    in_order = wanted.order_by(col(Episode.opened_on), col(Episode.id))
    return {episode.patient_id: episode for episode in session.exec(in_order)}


def _precautions(
    session: Session, ids: Ids, day: date
) -> dict[int, list[tuple[str, date | None]]]:
    """Tags that hold on `day`, each with its review while its episode is open.

    An order belongs to the person, not to an episode.
    """
    columns: tuple[Any, ...] = (
        Episode.patient_id, PrecautionOnEpisode.tag,
        PrecautionOnEpisode.review_on, Episode.closed_on,
    )  # fmt: skip
    wanted: Any = (
        select(*columns)
        .join(PrecautionOnEpisode, col(PrecautionOnEpisode.episode_id) == Episode.id)
        .where(col(Episode.patient_id).in_(ids), holds_on(day))
    )
    in_order = wanted.order_by(col(PrecautionOnEpisode.id))
    return _by_patient(
        (owner, (tag, review_on if closed_on is None else None))
        for owner, tag, review_on, closed_on in session.exec(in_order)
    )


def _last_scores(session: Session, ids: Ids) -> dict[int, list[LastScore]]:
    wanted = (
        select(Score)
        .where(col(Score.patient_id).in_(ids), col(Score.newest))
        .order_by(col(Score.on_date).desc(), col(Score.measure))
    )
    return _by_patient((s.patient_id, _light(s)) for s in session.exec(wanted))


def _light(score: Score) -> LastScore:
    return LastScore(
        measure=score.measure,
        on_date=score.on_date,
        outcome=score.outcome,
        value=score.value,
        unit=score.unit,
        lead_says=score.lead_says,
        lead_crossed=score.lead_crossed,
        change_verdict=score.change_verdict,
    )


def conditions_by_id(
    session: Session, patient_ids: Collection[int]
) -> dict[int, list[str]]:
    """The conditions of these patients."""
    some = select(Patient.id).where(col(Patient.id).in_(patient_ids))
    return conditions_of(session, some)


def last_scores_by_id(
    session: Session, patient_ids: Collection[int]
) -> dict[int, list[LastScore]]:
    """Each test's latest score of these patients, the newest test first."""
    some = select(Patient.id).where(col(Patient.id).in_(patient_ids))
    return _last_scores(session, some)
