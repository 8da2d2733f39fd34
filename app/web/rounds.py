"""A round at the bedside: its trials as they happen, then the reading."""

import uuid
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.clinical.quantities import shown
from app.clinical.quantities import words as with_unit
from app.clinical.vocabulary import OUTCOMES, UNABLE_REASONS
from app.storage.episodes import Episode, Visit
from app.storage.patients import Patient, patient_for
from app.storage.people import Person
from app.storage.trials import (
    Round,
    Trial,
    record_trial,
    round_for,
    trial_for,
    void_trial,
)
from app.web.deps import (
    Form,
    FormDep,
    FormProblem,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    Site,
    SiteDep,
    WriteSession,
    page,
    site_of,
    wants_fragment,
)
from app.web.judging import Judged, clinical_trial, counts, judge, keep
from app.web.result_view import result_view
from app.web.setup_form import setup_words
from app.web.trial_form import FieldProblem, trial_body

router = APIRouter()


@dataclass(frozen=True, slots=True)
class TrialLine:
    """One trial in the list under a round. `counted` is its place among those."""

    id: int
    words: str
    counted: int | None
    practice: bool
    voided: str
    splits: tuple[str, ...]


@router.get("/rounds/{round_id}")
def show(
    request: Request, me: SignedIn, session: ReadSession, site: SiteDep, round_id: RowId
) -> HTMLResponse:
    round, patient = _fetch(session, me, round_id, "see_patient")
    judged = judge(session, site.catalogue, patient, round)
    return _page(request, judged, patient)


@router.post("/rounds/{round_id}/trials")
def record(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    round_id: RowId,
) -> Response:
    round, patient = _fetch(session, me, round_id, "record_trial")
    measure = site.catalogue.measures[round.measure]
    try:
        body = trial_body(measure, form)
    except FieldProblem as problem:
        judged = judge(session, site.catalogue, patient, round)
        return _page(request, judged, patient, form, problem.errors)
    uid = form.text("uid") or uuid.uuid4().hex
    trial, _ = record_trial(session, me, round, uid=uid, body=body, now=now)
    return _answer(request, session, site, patient, round, now, saved=trial.uid)


@router.post("/trials/{trial_id}/void")
def void(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    trial_id: RowId,
) -> Response:
    trial = trial_for(session, me, trial_id, "void_trial")
    reason = form.text("void_reason") or form.text("void_other")
    if not 1 <= len(reason) <= 500:
        raise FormProblem("Say in a few words why this trial does not count.")
    void_trial(session, me, trial, reason=reason, now=now)
    round, patient = _fetch(session, me, trial.round_id, "void_trial")
    return _answer(request, session, site, patient, round, now)


def _fetch(
    session: Session, me: Person, round_id: int, deed: str
) -> tuple[Round, Patient]:
    round = round_for(session, me, round_id, deed)
    visit = session.get_one(Visit, round.visit_id)
    episode = session.get_one(Episode, visit.episode_id)
    return round, patient_for(session, me, episode.patient_id, deed)


def _answer(
    request: Request,
    session: Session,
    site: Site,
    patient: Patient,
    round: Round,
    now: datetime,
    saved: str = "",
) -> Response:
    judged = keep(session, site.catalogue, patient, round, now=now)
    if wants_fragment(request):
        return _page(request, judged, patient, saved=saved)
    return RedirectResponse(f"/rounds/{round.id}", 303)


def _page(
    request: Request,
    judged: Judged,
    patient: Patient,
    form: Form | None = None,
    errors: dict[str, str] | None = None,
    saved: str = "",
) -> HTMLResponse:
    """The round; only its form when a field is refused, only its work after a trial."""
    refused = "rounds/_trial_form.html" if errors else "rounds/_work.html"
    return page(
        request,
        "rounds/show.html",
        refused,
        status=422 if errors else 200,
        judged=judged,
        measure=judged.measure,
        patient=patient,
        setup=setup_words(judged.measure, judged.round.facts),
        lines=trial_lines(judged),
        view=result_view(judged) if judged.result else None,
        uid=(form.text("uid") if form else "") or uuid.uuid4().hex,
        typed=form or Form(),
        errors=errors or {},
        saved=saved or (judged.trials[-1].uid if judged.trials else ""),
        again_uid=uuid.uuid4().hex,
        edition=site_of(request).catalogue.edition,
        unable_reasons=UNABLE_REASONS,
    )


def trial_lines(judged: Judged) -> list[TrialLine]:
    """Every trial in order, the voided ones too."""
    place, lines = 0, []
    for trial in judged.trials:
        counted = None
        if counts(trial) and place < judged.needed:
            place += 1
            counted = place
        lines.append(
            TrialLine(
                trial.id,
                trial_words(trial),
                counted,
                trial.practice,
                trial.void_reason or "",
                _split_words(trial),
            )
        )
    return lines


def trial_words(trial: Trial) -> str:
    """What happened, with the unit it was read in."""
    made = clinical_trial(trial)
    if made.value is None:
        reason = UNABLE_REASONS.get(trial.reason, trial.reason)
        return OUTCOMES[trial.outcome] + (f": {reason}" if reason else "")
    return with_unit(shown(made.value, made.unit), made.unit)


def _split_words(trial: Trial) -> tuple[str, ...]:
    return tuple(
        with_unit(shown(Decimal(ms) / 1000, "s"), "s") for ms in trial.splits_ms
    )
