"""The brief at the door: who this is, what must not be done, readings, what is due."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.precautions import PRECAUTIONS, Precaution
from app.clinical.vocabulary import SETTINGS
from app.storage.caseload import LastScore
from app.storage.episodes import (
    Episode,
    PrecautionOnEpisode,
    open_episode,
    precautions_on,
)
from app.storage.errors import NotFound
from app.storage.patients import Patient, details_of, patient_for
from app.storage.scores import Score, scores_of
from app.storage.trials import rounds_of
from app.web.dates import ago_words, day_words
from app.web.deps import Now, ReadSession, RowId, SignedIn, SiteDep, Zone, page
from app.web.due import due_tests
from app.web.last_scores import latest_by_test
from app.web.person_words import about_words, age_words
from app.web.setup_form import remembered

router = APIRouter()


@dataclass(frozen=True, slots=True)
class PrecautionLine:
    """A precaution in force."""

    what: Precaution
    note: str
    set_by: str
    since: str
    review: str


@dataclass(frozen=True, slots=True)
class DueLine:
    """A test due again, and the set-up of last time to start it with."""

    measure_id: str
    name: str
    since: str
    setup: str
    uid: str


@router.get("/patients/{patient_id}")
def show(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
    patient_id: RowId,
) -> HTMLResponse:
    patient = patient_for(session, me, patient_id)
    today = now.astimezone(zone).date()
    details = details_of(session, patient)
    episode = episode_or_none(session, patient)
    held = precautions_on(session, episode, today) if episode else []
    scores = scores_of(session, [patient.id])
    due = _due(session, site.catalogue, patient, scores, held, today)
    return page(
        request,
        "patients/show.html",
        patient=patient,
        who=age_words(details.birth_date, details.birth_year, details.sex, today),
        about=about_words(details),
        episode=episode,
        setting=SETTINGS[episode.setting] if episode else "",
        day=(today - episode.opened_on).days + 1 if episode else 0,
        precautions=precaution_lines(held, today),
        due=due if episode else [],
        scores=latest_by_test(site.catalogue, scores, today),
    )


def episode_or_none(session: Session, patient: Patient) -> Episode | None:
    try:
        return open_episode(session, patient)
    except NotFound:
        return None


def precaution_lines(
    held: Sequence[PrecautionOnEpisode], today: date
) -> list[PrecautionLine]:
    """What holds today, orders before risks."""
    lines = [
        PrecautionLine(
            PRECAUTIONS[p.tag],
            p.note,
            p.set_by,
            ago_words(p.set_on, today),
            day_words(p.review_on, today) if p.review_on else "",
        )
        for p in held
    ]
    return sorted(lines, key=lambda line: line.what.kind != "order")


def _due(
    session: Session,
    shelf: Catalogue,
    patient: Patient,
    scores: Sequence[Score],
    held: Sequence[PrecautionOnEpisode],
    today: date,
) -> list[DueLine]:
    latest = {s.measure: s for s in scores}
    owed = due_tests(shelf, map(_light, latest.values()), [p.tag for p in held], today)
    rounds = rounds_of(session, patient.id) if owed else []
    lines = []
    for due in owed:
        before = remembered(due.measure, rounds)
        if before is not None:
            since = ago_words(due.last.on_date, today)
            lines.append(
                DueLine(
                    due.measure.id,
                    due.measure.name,
                    since,
                    before.words,
                    uuid.uuid4().hex,
                )
            )
    return lines


def _light(score: Score) -> LastScore:
    return LastScore(
        score.measure, score.on_date, score.outcome, score.value, score.unit,
        score.lead_says, score.lead_crossed, score.change_verdict,
    )  # fmt: skip
