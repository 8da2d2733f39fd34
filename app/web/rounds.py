"""A round at the bedside: its trials as they happen, then the reading."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.clinical import make_safe
from app.clinical.quantities import BadNumber, rounded, shown
from app.clinical.quantities import words as with_unit
from app.clinical.vocabulary import UNABLE_REASONS
from app.storage.episodes import Episode, Visit
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.round_help import round_done
from app.storage.safety import stops_in
from app.storage.trials import (
    Round,
    Trial,
    record_trial,
    round_for,
    round_of_trial,
    round_on,
    trial_for,
    void_trial,
)
from app.storage.visits import tests_in
from app.web.chance import FIELD, chance_view, read_percent
from app.web.dates import day_words
from app.web.deficits import DeficitLine, named_by
from app.web.deps import (
    Form,
    FormDep,
    FormProblem,
    Now,
    ReadSession,
    RowId,
    SessionLocked,
    SignedIn,
    Site,
    SiteDep,
    WriteSession,
    Zone,
    is_locked,
    page,
    site_of,
    wants_fragment,
)
from app.web.helped import helped_lines, vouched
from app.web.helping_view import help_of
from app.web.judging import Judged, counts, judge, keep, takes_stage
from app.web.made_from import part_lines, wholes_of
from app.web.minding import minded
from app.web.open_visit import open_visit_of
from app.web.result_view import result_view
from app.web.setup_form import other_side, setup_words
from app.web.stops import StopView, stop_views
from app.web.trial_form import SAVED, FieldProblem, taken_at, trial_body
from app.web.trial_words import trial_words

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
    request: Request,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    round_id: RowId,
    pretest: Annotated[str, Query(max_length=6, pattern=r"^[0-9.]*$")] = "",
) -> HTMLResponse:
    round, patient = _fetch(session, me, round_id, "see_patient")
    form = Form([(FIELD, pretest)])
    try:
        own = read_percent(pretest) if pretest else None
    except BadNumber as bad:
        judged = judge(session, site.catalogue, patient, round)
        return _page(request, session, judged, patient, form, {FIELD: str(bad)})
    judged = judge(session, site.catalogue, patient, round, own)
    return _page(request, session, judged, patient, form)


@router.post("/rounds/{round_id}/chance")
def chance(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    round_id: RowId,
) -> Response:
    """Read the result from one's own chance before the test; nothing is stored."""
    round, patient = _fetch(session, me, round_id, "see_patient")
    typed = form.text(FIELD)
    if not typed:  # emptied: back to the published one
        return RedirectResponse(f"/rounds/{round.id}", 303)
    try:
        percent = rounded(read_percent(typed) * 100, 1).normalize()
    except BadNumber as bad:
        judged = judge(session, site.catalogue, patient, round)
        return _page(request, session, judged, patient, form, {FIELD: str(bad)})
    return RedirectResponse(f"/rounds/{round.id}?{FIELD}={percent:f}#chance", 303)


@router.post("/rounds/{round_id}/trials")
def record(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
    round_id: RowId,
) -> Response:
    asked, patient = _fetch(session, me, round_id, "record_trial")
    try:
        body = trial_body(site.catalogue.measures[asked.measure], form)
    except FieldProblem as problem:
        if is_locked(request):  # the form again would name the patient
            raise SessionLocked from problem
        judged = judge(session, site.catalogue, patient, asked)
        return _page(request, session, judged, patient, form, problem.errors)
    uid = form.uid()
    round = round_of_trial(session, me, asked, uid) or round_on(
        session, me, asked, at=taken_at(form, now), now=now, zone=zone
    )
    body = vouched(session, me, asked, body)
    trial, _ = record_trial(
        session, me, round, uid=uid, body=body, now=now, helped=asked
    )
    if is_locked(request):
        _keep(session, site, patient, round, now)
        answer: Response = _stored(request, trial)
    else:
        answer = _answer(request, session, site, patient, round, now, saved=trial.uid)
    answer.headers[SAVED] = trial.uid
    if round.id != asked.id:  # the page goes on in the round of that day
        round_done(session, asked.id, now)
        answer.headers["hx-replace-url"] = f"/rounds/{round.id}"
    return answer


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
    reason = form.text("void_reason")
    if reason in ("", "other"):
        reason = form.text("void_other")
    if not 1 <= len(reason) <= 500:
        raise FormProblem("Say in a few words why this trial does not count.")
    void_trial(session, me, trial, reason=reason, now=now)
    round, patient = _fetch(session, me, trial.round_id, "void_trial")
    return _answer(request, session, site, patient, round, now)


def _fetch(
    session: Session, me: Person, round_id: int, deed: str
) -> tuple[Round, Patient]:
    round = round_for(session, me, round_id, deed)  # asks for the patient's, too
    visit = session.get_one(Visit, round.visit_id)
    episode = session.get_one(Episode, visit.episode_id)
    return round, session.get_one(Patient, episode.patient_id)


def _keep(
    session: Session, site: Site, patient: Patient, round: Round, now: datetime
) -> Judged:
    """The score as it stands; with a result a second phone has no more to do."""
    judged = keep(session, site.catalogue, patient, round, now=now)
    if judged.result:
        round_done(session, round.id, now)
    return judged


def _answer(
    request: Request,
    session: Session,
    site: Site,
    patient: Patient,
    round: Round,
    now: datetime,
    saved: str = "",
) -> Response:
    judged = _keep(session, site, patient, round, now)
    if wants_fragment(request):
        return _page(request, session, judged, patient, saved=saved)
    return RedirectResponse(f"/rounds/{round.id}", 303)


def _stored(request: Request, trial: Trial) -> HTMLResponse:
    """What a locked session is told: that it is kept, and nothing of whom."""
    return page(
        request,
        "rounds/stored.html",
        "rounds/_stored.html",
        saved=trial.uid,
        of="trial",
        id=trial.id,
        stopped=trial.outcome == "stopped",
        safe=make_safe,
        next=f"/rounds/{trial.round_id}",
    )


def _page(
    request: Request,
    session: Session,
    judged: Judged,
    patient: Patient,
    form: Form | None = None,
    errors: dict[str, str] | None = None,
    saved: str = "",
) -> HTMLResponse:
    """The round; only its form when a field is refused, only its work after a trial.

    A refused reason is shown in the other endings, below the form.
    """
    in_form = errors and not {"reason", "why"} & errors.keys()
    refused = "rounds/_trial_form.html" if in_form else "rounds/_work.html"
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
        uid=(form.text("uid") if form else "") or uuid.uuid4().hex,
        typed=form or Form(),
        errors=errors or {},
        saved=saved or (judged.trials[-1].uid if judged.trials else ""),
        again_uid=uuid.uuid4().hex,
        edition=site_of(request).catalogue.edition,
        unable_reasons=UNABLE_REASONS,
        stops=_stops(request, session, judged.round),
        other_day=_other_day(request, session, judged),
        safe=make_safe,
        open_visit=open_visit_of(request, session, patient.id),
        **_beside(request, session, judged),
        **_result(judged, form),
        **_of_kind(request, session, judged, patient),
    )


def _beside(request: Request, session: Session, judged: Judged) -> dict[str, Any]:
    """What is minded beside the clock, and who works it from another phone, or did."""
    return {
        "mind": minded(request, session, judged),
        "help": help_of(request, session, judged.round, judged.measure),
        "helped": helped_lines(session, judged.trials),
    }


def _result(judged: Judged, form: Form | None) -> dict[str, Any]:
    """The reading and its chance, once the trials make a score."""
    if judged.result is None:
        return {"view": None, "chance": None}
    chance = chance_view(judged.result, form or Form())
    return {"view": result_view(judged), "chance": chance}


def _named(request: Request, session: Session, judged: Judged) -> Sequence[DeficitLine]:
    """What this result asks work for, while its stretch of care goes on."""
    visit = session.get_one(Visit, judged.round.visit_id)
    if session.get_one(Episode, visit.episode_id).closed_on is not None:
        return ()
    site = site_of(request)
    today = site.clock().astimezone(site.zone).date()
    return named_by(site.catalogue, judged, today)


def _of_kind(
    request: Request, session: Session, judged: Judged, patient: Patient
) -> dict[str, Any]:
    """What a test made from others shows, ways on and back, what it asks work for."""
    measure, shelf = judged.measure, site_of(request).catalogue
    return {
        "parts": part_lines(session, shelf, patient, judged),
        "wants_height": measure.formula == "relative_power",
        "several": tests_in(session, judged.round.visit_id) > 1,
        "wholes": wholes_of(session, shelf, patient, judged) if judged.result else [],
        "other_side": other_side(measure, judged.round.facts),
        "other_uid": uuid.uuid4().hex,
        "named": _named(request, session, judged),
    }


def _other_day(request: Request, session: Session, judged: Judged) -> str:
    """The day of an unfinished round, when that is not today."""
    today = site_of(request).clock().astimezone(site_of(request).zone).date()
    day = session.get_one(Visit, judged.round.visit_id).local_date
    return "" if judged.result or day == today else day_words(day, today)


def _stops(request: Request, session: Session, round: Round) -> list[StopView]:
    """The round's stops, which lead its page; the last one with its form."""
    site = site_of(request)
    today = site.clock().astimezone(site.zone).date()
    found = stops_in(session, round)
    me: Person = request.state.me
    return stop_views(found, me, site.catalogue, site.zone, today)


def trial_lines(judged: Judged) -> list[TrialLine]:
    """Every trial in order, the voided ones too."""
    place, lines = 0, []
    stages = stage_labels(judged)
    for trial in judged.trials:
        counted = None
        if counts(trial) and place < judged.needed:
            place += 1
            counted = place
        lines.append(
            TrialLine(
                trial.id,
                stages.get(trial.id, "") + trial_words(trial, judged.measure),
                counted,
                trial.practice,
                trial.void_reason or "",
                split_words(judged, trial),
            )
        )
    return lines


def stage_labels(judged: Judged) -> dict[int, str]:
    """Of each trial that took a stage: which one, as its words begin."""
    taken = [t for t in judged.trials if takes_stage(t)]
    pairs = zip(taken, judged.measure.stages, strict=False)
    return {trial.id: f"{stage.label}: " for trial, stage in pairs}


def split_words(judged: Judged, trial: Trial) -> tuple[str, ...]:
    """Each marked part by its name, with the time it was marked at."""
    names = judged.measure.splits
    timed = [with_unit(shown(Decimal(ms) / 1000, "s"), "s") for ms in trial.splits_ms]
    return tuple(
        f"{names[i] if i < len(names) else f'part {i + 1}'} at {at}"
        for i, at in enumerate(timed)
    )
