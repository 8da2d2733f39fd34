"""What a stretch of care holds that a rule about deficits may look at, row by row.

Rows become plain values here; each keeps the way back to the page it was written on.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.deficit import (
    Answered,
    Evidence,
    InForce,
    Origin,
    Scored,
    TaskSeen,
)
from app.storage.deficits import tasks_seen
from app.storage.episodes import Episode
from app.storage.patients import Patient, PatientDetails, details_of
from app.storage.precautions import precautions_on
from app.storage.screening import answers_of
from app.storage.trials import Round
from app.storage.visits import visit_ids_of
from app.web.dates import day_words
from app.web.judging import Judged
from app.web.pathway_known import ELSEWHERE, profile_answers
from app.web.rejudging import judged_all


@dataclass(frozen=True, slots=True)
class Gathered:
    """The evidence, and for each piece of it the page it was written on."""

    evidence: Evidence
    hrefs: Mapping[tuple[str, str], str]


def gather(
    session: Session,
    shelf: Catalogue,
    patient: Patient,
    episode: Episode,
    today: date,
    zone: ZoneInfo,
) -> Gathered:
    """All that rules may look at in this stretch of care, as it stands on `today`."""
    details, hrefs = details_of(session, patient), dict[tuple[str, str], str]()
    evidence = Evidence(
        tests=tuple(_tests(session, shelf, patient, episode, details, today)),
        tasks=tuple(_tasks(session, episode, today, hrefs)),
        precautions=tuple(_precautions(session, patient, episode, today, hrefs)),
        answers=tuple(_answers(session, patient, episode, details, today, zone, hrefs)),
        setting=episode.setting,
    )
    rounds = {t.origin.ref: f"/rounds/{t.origin.ref[1]}" for t in evidence.tests}
    return Gathered(evidence, hrefs | rounds)


def _tests(
    session: Session,
    shelf: Catalogue,
    patient: Patient,
    episode: Episode,
    details: PatientDetails,
    today: date,
) -> Iterator[Scored]:
    visits, measures = visit_ids_of(session, episode), shelf.deficits.measures

    def asked(round: Round) -> bool:
        return round.visit_id in visits and round.measure in measures

    for judged in judged_all(session, shelf, patient, asked, details):
        if judged.result is not None:
            yield scored(judged, today)


def scored(judged: Judged, today: date) -> Scored:
    """A judged round as evidence; `judged.result` must be there.

    It was written down when the last of its trials was, voided ones apart.
    """
    assert judged.result is not None
    taken = [t.recorded_at for t in judged.trials if t.voided_at is None]
    ref, said = ("round", str(judged.round.id)), day_words(judged.on_date, today)
    at = max(taken, default=judged.round.created_at)
    return Scored(judged.result, Origin(ref, judged.on_date, said, at))


def _tasks(
    session: Session, episode: Episode, today: date, hrefs: dict[tuple[str, str], str]
) -> Iterator[TaskSeen]:
    for row, day in tasks_seen(session, episode):
        ref = ("task", str(row.id))
        hrefs[ref] = f"/visits/{row.visit_id}#tasks"
        said = day_words(day, today)
        origin = Origin(ref, day, said, row.recorded_at)
        yield TaskSeen(row.task, row.level or "", origin)


def _precautions(
    session: Session,
    patient: Patient,
    episode: Episode,
    today: date,
    hrefs: dict[tuple[str, str], str],
) -> Iterator[InForce]:
    for row in precautions_on(session, episode, today):
        ref = ("precaution", str(row.id))
        hrefs[ref] = f"/patients/{patient.id}/precautions"
        said = day_words(row.set_on, today)
        yield InForce(row.tag, Origin(ref, row.set_on, said, row.edited_at))


def _answers(
    session: Session,
    patient: Patient,
    episode: Episode,
    details: PatientDetails,
    today: date,
    zone: ZoneInfo,
    hrefs: dict[tuple[str, str], str],
) -> Iterator[Answered]:
    """Answers given in this stretch of care, and what stands with the patient.

    The latter have no day of their own: they are as new as the last edit of it.
    """
    began = min(episode.began_on, episode.opened_on)
    for key, given in answers_of(session, patient).items():
        if key in ELSEWHERE or given.on_date < began:
            continue
        ref = ("answer", key)
        hrefs[ref] = f"/patients/{patient.id}/pathways"
        said = day_words(given.on_date, today)
        yield Answered(key, given.value, Origin(ref, given.on_date, said, given.at))
    at = patient.edited_at or patient.created_at
    day = at.astimezone(zone).date()
    for key, value in profile_answers(details).items():
        ref = ("answer", key)
        hrefs[ref] = f"/patients/{patient.id}/{ELSEWHERE[key][0]}"
        yield Answered(key, value, Origin(ref, day, "on record", at))
