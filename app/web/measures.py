"""Choosing a test, getting it ready, starting a round, and a test's history."""

import uuid
from datetime import date, datetime
from functools import partial
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.clinical.choosing import MINUTES, Today, offers
from app.clinical.measure import Measure
from app.clinical.vocabulary import ABILITIES, KIT_ITEMS
from app.storage.episodes import Episode, episodes_of, open_episode, visit_today
from app.storage.patients import Patient, details_of, patient_for
from app.storage.people import Person
from app.storage.precautions import precautions_on
from app.storage.scores import scores_of
from app.storage.trials import Round, TrialBody, record_trial, rounds_of, start_round
from app.storage.visits import visit_ids_of
from app.web.brief_goals import goal_notches
from app.web.choosing import (
    keep_for_today,
    last_tries,
    said_today,
    sections,
    today_from,
)
from app.web.course_view import course_view, made_scores
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
    Zone,
    page,
    site_of,
)
from app.web.due import clearance_of
from app.web.history_view import history_view
from app.web.judging import keep
from app.web.last_scores import latest_by_test
from app.web.made_from import part_note
from app.web.open_visit import open_visit_of
from app.web.setup_form import fact_fields, facts_from, lacking, remembered, swapped
from app.web.shelf import measure_or_not_found

router = APIRouter()


@router.get("/patients/{patient_id}/measures")
def choose(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
    patient_id: RowId,
) -> HTMLResponse:
    patient = patient_for(session, me, patient_id, "record_trial")
    today = now.astimezone(zone).date()
    said = said_today(site, me, patient, today)
    return _choose_page(request, session, site, patient, said, today, {})


@router.post("/patients/{patient_id}/measures")
def choose_for_today(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
    patient_id: RowId,
) -> Response:
    """What the person can do now, and the room: kept for today, never a finding."""
    patient = patient_for(session, me, patient_id, "record_trial")
    today = now.astimezone(zone).date()
    said, errors = today_from(form, said_today(site, me, patient, today))
    if errors:
        return _choose_page(request, session, site, patient, said, today, errors)
    keep_for_today(site, me, patient, today, said)
    return RedirectResponse(f"/patients/{patient.id}/measures", 303)


def _choose_page(
    request: Request,
    session: Session,
    site: Site,
    patient: Patient,
    said: Today,
    today: date,
    errors: dict[str, str],
) -> HTMLResponse:
    tags = _tags(session, open_episode(session, patient), today)
    scores = scores_of(session, [patient.id])
    tries = last_tries(session, site.catalogue, scores)
    found = offers(site.catalogue.measures.values(), said, tags, tries, today)
    lines = latest_by_test(site.catalogue, scores, today)
    return page(
        request,
        "measures/choose.html",
        status=422 if errors else 200,
        patient=patient,
        said=said,
        sections=sections(found, said),
        others=[o for o in found if not o.fits],
        last={line.measure_id: line for line in lines},
        abilities=ABILITIES,
        kit=KIT_ITEMS,
        minutes=MINUTES,
        errors=errors,
        open_visit=open_visit_of(request, session, patient.id),
    )


@router.get("/patients/{patient_id}/measures/{measure_id}")
def history(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    patient_id: RowId,
    measure_id: str,
) -> HTMLResponse:
    patient = patient_for(session, me, patient_id)
    measure = measure_or_not_found(site.catalogue, measure_id)
    rounds = rounds_of(session, patient.id, measure.id)
    scores = scores_of(session, [patient.id], measure.id)
    details = details_of(session, patient)
    made = made_scores(session, site.catalogue, patient, details, rounds, measure)
    episode = (*episodes_of(session, patient), None)[0]
    here = visit_ids_of(session, episode) if episode else frozenset()
    over = course_view(details, episode, measure, rounds, made, here) if episode else ()
    return page(
        request,
        "measures/history.html",
        patient=patient,
        measure=measure,
        view=history_view(
            measure,
            rounds,
            scores,
            made,
            here,
            partial(goal_notches, session, episode, measure),
        ),
        course=over,
        episode=episode,
        open_visit=open_visit_of(request, session, patient.id),
    )


@router.get("/patients/{patient_id}/measures/{measure_id}/ready")
def ready(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
    patient_id: RowId,
    measure_id: str,
) -> HTMLResponse:
    """`?part=`: the test that this one is to be a part of."""
    patient = patient_for(session, me, patient_id, "record_trial")
    measure = measure_or_not_found(site.catalogue, measure_id)
    return _ready_page(
        request, session, patient, measure, now.astimezone(zone).date(), Form(), {}
    )


@router.post("/patients/{patient_id}/measures/{measure_id}/ready")
def begin(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
    patient_id: RowId,
    measure_id: str,
) -> Response:
    """A set-up made anew, or `same=yes`: the one of last time, said to hold today."""
    patient = patient_for(session, me, patient_id, "record_trial")
    measure = measure_or_not_found(site.catalogue, measure_id)
    today = now.astimezone(zone).date()
    facts, errors = facts_from(measure, form)
    variant = form.text("variant") or measure.variants[0].id
    if form.text("same") == "yes":
        before = remembered(measure, rounds_of(session, patient.id, measure.id))
        if before is None:
            raise FormProblem("There is no earlier set-up of this test to repeat.")
        facts = swapped(measure, before.facts, form.text("swap"))
        variant, errors = before.variant, lacking(measure, facts)
    if variant not in {v.id for v in measure.variants}:
        errors["variant"] = "Choose one of the trial rules."
    if form.every("not_ok"):
        errors["ready"] = (
            "Something is marked not ok: put it right and untick it, or record the "
            "test as not done."
        )
    if errors:
        return _ready_page(request, session, patient, measure, today, form, errors)
    round = _start(session, me, patient, measure, variant, facts, form, now, zone)
    if measure.components:  # its parts may be there already: then it has its score
        keep(session, site.catalogue, patient, round, now=now)
    return RedirectResponse(f"/rounds/{round.id}", 303)


@router.post("/patients/{patient_id}/measures/{measure_id}/not-done")
def not_done(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
    patient_id: RowId,
    measure_id: str,
) -> Response:
    """Declined or not done, before any set-up: a result of its own, with its reason."""
    patient = patient_for(session, me, patient_id, "record_trial")
    measure = measure_or_not_found(site.catalogue, measure_id)
    today = now.astimezone(zone).date()
    outcome, reason = form.text("outcome"), form.text("reason")
    errors = {}
    if outcome not in ("declined", "not_done"):
        errors["outcome"] = "Choose declined or not done."
    if not 1 <= len(reason) <= 500:
        errors["reason"] = "Say why in a few words."
    if errors:
        return _ready_page(request, session, patient, measure, today, form, errors)
    variant = measure.variants[0].id
    round = _start(
        session, me, patient, measure, variant, {}, form, now, zone, blocked_too=True
    )
    body = TrialBody(outcome=outcome, reason=reason)
    record_trial(session, me, round, uid=_uid(form, "trial_uid"), body=body, now=now)
    keep(session, site.catalogue, patient, round, now=now)
    return RedirectResponse(f"/patients/{patient.id}", 303)


def _tags(session: Session, episode: Episode, day: date) -> list[str]:
    return [p.tag for p in precautions_on(session, episode, day)]


def _uid(form: Form, name: str = "uid") -> str:
    return form.uid(name)


def _start(
    session: Session,
    me: Person,
    patient: Patient,
    measure: Measure,
    variant: str,
    facts: dict[str, str],
    form: Form,
    now: datetime,
    zone: ZoneInfo,
    *,
    blocked_too: bool = False,
) -> Round:
    """Begin a round in today's visit, unless an order in force forbids the test."""
    episode = open_episode(session, patient)
    tags = _tags(session, episode, now.astimezone(zone).date())
    clear = clearance_of(measure, tags)
    if not clear.allowed and not blocked_too:
        labels = ", ".join(p.label for p in clear.blocked_by)
        raise FormProblem(f"Not started. In force: {labels}. The order must change.")
    uid = _uid(form)
    visit = visit_today(session, me, episode, now=now, zone=zone, uid=_visit_uid(uid))
    return start_round(
        session, me, visit, uid=uid, measure=measure.id, variant=variant, facts=facts,
        now=now,
    )  # fmt: skip


def _visit_uid(round_uid: str) -> str:
    """A visit begun by a round takes an id of its own from it: a repeat finds both."""
    return uuid.uuid5(uuid.NAMESPACE_OID, round_uid).hex


def _ready_page(
    request: Request,
    session: Session,
    patient: Patient,
    measure: Measure,
    today: date,
    form: Form,
    errors: dict[str, str],
) -> HTMLResponse:
    shelf = site_of(request).catalogue
    tags = _tags(session, open_episode(session, patient), today)
    before = remembered(measure, rounds_of(session, patient.id, measure.id))
    conditions = list(details_of(session, patient).conditions)
    kept = before.facts if before else {}
    return page(
        request,
        "measures/ready.html",
        status=422 if errors else 200,
        patient=patient,
        measure=measure,
        clearance=clearance_of(measure, tags),
        open_visit=open_visit_of(request, session, patient.id),
        before=before,
        fields=fact_fields(measure, conditions, form, kept),
        part_note=part_note(shelf, request.query_params.get("part", ""), measure),
        typed=form,
        errors=errors,
        uid=_uid(form),
        trial_uid=_uid(form, "trial_uid"),
    )
