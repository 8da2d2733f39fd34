"""The brief at the door: who this is, what must not be done, readings, what is due."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.access import Subject, may
from app.catalogue.load import Catalogue
from app.clinical.precautions import PRECAUTIONS, Precaution
from app.clinical.vocabulary import (
    CONDITIONS,
    FALL_QUESTIONS,
    LIVES_WITH,
    PERSON_FACTS,
    PRIOR_LEVELS,
    SETTINGS,
    SEXES,
    SIDED,
    SIDES,
    SIZES,
)
from app.identifiers import warning
from app.storage.caseload import LastScore
from app.storage.cover import covered_for
from app.storage.episodes import Episode, add_episode, episode_or_none, open_episode
from app.storage.errors import NotAllowed, NotFound, SameIdOtherBody
from app.storage.patients import (
    Patient,
    add_patient,
    details_of,
    patient_for,
)
from app.storage.people import Person, actor
from app.storage.precautions import PrecautionOnEpisode, add_precaution, precautions_on
from app.storage.profile import profile_of
from app.storage.safety import open_stops_of
from app.storage.scores import NOT_TRIED, Score, scores_of, unfinished_rounds
from app.storage.trials import rounds_of
from app.storage.visits import visit_with_several
from app.web.brief_goals import goal_lines
from app.web.clock_lines import clock_lines
from app.web.dates import ago_words
from app.web.deps import (
    Form,
    FormDep,
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
from app.web.due import clearance_of, due_tests
from app.web.helping_view import help_offers
from app.web.home_sheet_view import sheet_line
from app.web.labels import free_label
from app.web.last_scores import latest_by_test
from app.web.note_links import report_paths
from app.web.open_visit import open_visit_of
from app.web.patient_form import FormErrors, NewPatient, new_patient
from app.web.person_words import about_words, age_words
from app.web.precaution_lines import precaution_lines
from app.web.setup_form import remembered
from app.web.stops import stop_views

router = APIRouter()


@dataclass(frozen=True, slots=True)
class DueLine:
    """A test due again, and the set-up of last time to start it with."""

    measure_id: str
    name: str
    short: str
    since: str
    setup: str
    mind: tuple[Precaution, ...]
    uid: str


@dataclass(frozen=True, slots=True)
class OpenRound:
    """A test begun today that lacks trials."""

    round_id: int
    name: str
    have: int
    need: int


@router.get("/patients/new")
def new(request: Request, me: SignedIn, session: ReadSession) -> HTMLResponse:
    if not may(actor(me), "add_patient", None):
        raise NotAllowed
    label = free_label(session, is_demo=me.is_demo)
    return _new_page(request, Form({"label": label}.items()), {})


@router.post("/patients/new")
def add(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
) -> Response:
    """Add a patient with an open episode; the same form again adds nobody."""
    if not may(actor(me), "add_patient", None):
        raise NotAllowed
    if form.text("another"):
        return _new_page(request, _another_label(session, me, form), {})
    today = now.astimezone(zone).date()
    try:
        wanted = new_patient(form, today)
    except FormErrors as wrong:
        return _new_page(request, form, wrong.errors)
    uid = form.uid()
    patient = add_patient(session, me, wanted.details, uid=uid, now=now)
    if episode_or_none(session, patient) is None:
        _open(session, me, patient, wanted, today, now)
    elif not _same_patient(session, me, patient, wanted, today):
        raise SameIdOtherBody
    told = {"the label": patient.label, "what care is for": wanted.reason}
    kept = site_of(request).settings.identifiers == "full"
    doubt = "" if kept else warning(told)
    if doubt:
        return page(request, "patients/doubt.html", patient=patient, doubt=doubt)
    return RedirectResponse(f"/patients/{patient.id}", 303)


def _another_label(session: Session, me: Person, form: Form) -> Form:
    """The form as typed, under another made-up label."""
    label = free_label(session, is_demo=me.is_demo, but=form.text("label"))
    kept = [pair for pair in form.pairs if pair[0] not in ("label", "another")]
    return Form([("label", label), *kept])


def _same_patient(
    session: Session, me: Person, patient: Patient, wanted: NewPatient, today: date
) -> bool:
    """Whether this form, sent before, said the same; and was theirs."""
    try:
        patient_for(session, me, patient.id)
    except NotFound:
        return False
    episode = open_episode(session, patient)
    held = {p.tag for p in precautions_on(session, episode, today)}
    was = (episode.reason, episode.setting, episode.plan, held)
    said = (wanted.reason, wanted.setting, wanted.plan, set(wanted.precautions))
    return was == said


def _open(
    session: Session,
    me: Person,
    patient: Patient,
    wanted: NewPatient,
    today: date,
    now: datetime,
) -> None:
    episode = add_episode(
        session, me, patient, reason=wanted.reason, setting=wanted.setting,
        plan=wanted.plan, opened_on=today, now=now,
    )  # fmt: skip
    for tag in wanted.precautions:
        add_precaution(
            session, me, episode, tag=tag, set_by=me.name, set_on=today, now=now
        )


def _new_page(request: Request, form: Form, errors: dict[str, str]) -> HTMLResponse:
    return page(
        request,
        "patients/new.html",
        "patients/_new_form.html",
        status=422 if errors else 200,
        typed=form,
        errors=errors,
        uid=form.text("uid") or uuid.uuid4().hex,
        sexes=SEXES,
        settings=SETTINGS,
        conditions=CONDITIONS,
        facts=PERSON_FACTS,
        precautions=PRECAUTIONS,
        sizes=SIZES,
        sided=SIDED,
        sides=SIDES,
        full=site_of(request).settings.identifiers == "full",
    )


@router.get("/patients/{patient_id}", response_model=None)
def show(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
    patient_id: RowId,
) -> Response:
    patient = patient_for(session, me, patient_id)
    if patient.merged_into is not None:
        return RedirectResponse(f"/patients/{patient.merged_into}", 303)
    today = now.astimezone(zone).date()
    details = details_of(session, patient)
    episode = episode_or_none(session, patient)
    held = precautions_on(session, episode, today) if episode else []
    scores = scores_of(session, [patient.id])
    due = _due(session, site, patient, scores, held, today)
    return page(
        request,
        "patients/show.html",
        patient=patient,
        who=age_words(details.birth_date, details.birth_year, details.sex, today),
        about=about_words(details),
        episode=episode,
        setting=SETTINGS[episode.setting] if episode else "",
        day=(today - episode.began_on).days + 1 if episode else 0,
        precautions=precaution_lines(held, today),
        due=due if episode else [],
        begun=_begun(session, site.catalogue, patient, today),
        scores=latest_by_test(site.catalogue, scores, today),
        several=_several(session, scores),
        stops=stop_views(
            open_stops_of(session, patient.id), me, site.catalogue, zone, today
        ),
        from_page="patient",
        **_around(request, session, me, patient, episode, today),
    )


def _several(session: Session, scores: Sequence[Score]) -> int | None:
    """The visit of the last day on which tests were done, if it holds two or more."""
    tried = [s for s in scores if s.outcome not in NOT_TRIED]
    last_day = max((s.on_date for s in tried), default=None)
    last = [s for s in tried if s.on_date == last_day]
    if len({s.measure for s in last}) < 2:
        return None
    return visit_with_several(session, [s.round_id for s in last])


def _around(
    request: Request,
    session: Session,
    me: Person,
    patient: Patient,
    episode: Episode | None,
    today: date,
) -> dict[str, Any]:
    """What stands beside the tests: the profile, cover, and what may be changed."""
    return {
        "clocks": clock_lines(session, request, episode, today),
        "reports": report_paths(session, episode),
        "goals": goal_lines(session, site_of(request).catalogue, episode),
        "open_visit": open_visit_of(request, session, patient.id),
        "help_offers": help_offers(request, session, patient.id),
        "visit_uid": uuid.uuid4().hex,
        "home_sheet": sheet_line(
            session,
            site_of(request).catalogue,
            patient.id,
            today,
            site_of(request).zone,
        ),
        "covered": covered_for(session, me, patient.id),
        "profile": profile_of(session, episode) if episode else None,
        "prior": PRIOR_LEVELS,
        "lives": LIVES_WITH,
        "falls": FALL_QUESTIONS,
        "changes": _changes(me, patient),
    }


def _changes(me: Person, patient: Patient) -> list[tuple[str, str]]:
    """What this person may change here: a path's end and its words."""
    whom = Subject(patient.is_demo, assigned=True)
    places = (
        ("see_patient", "pathways", "Screening pathways"),
        ("edit_patient", "edit", "Who this is"),
        ("edit_patient", "profile", "Before, home, what matters"),
        ("set_precaution", "precautions", "Precautions"),
        ("manage_episode", "episodes", "Episode"),
        ("transfer_patient", "people", "Hand over, add a helper"),
        ("export_patient", "fhir", "FHIR R4 bundle (JSON)"),
        ("export_patient", "exports", "Export"),
        ("manage_episode", "record", "Close or archive"),
    )
    return [(end, words) for deed, end, words in places if may(actor(me), deed, whom)]


def _begun(
    session: Session, shelf: Catalogue, patient: Patient, day: date
) -> list[OpenRound]:
    return [
        OpenRound(
            round.id,
            shelf.measures[round.measure].name,
            have,
            shelf.measures[round.measure].variant(round.variant or None).of,
        )
        for round, have in unfinished_rounds(session, patient.id, day)
        if round.measure in shelf.measures
    ]


def _due(
    session: Session,
    site: Site,
    patient: Patient,
    scores: Sequence[Score],
    held: Sequence[PrecautionOnEpisode],
    today: date,
) -> list[DueLine]:
    shelf, every = site.catalogue, site.settings.retest_days
    tried = [s for s in scores if s.outcome not in ("declined", "not_done")]
    latest = {s.measure: s for s in tried}
    tags = [p.tag for p in held]
    owed = due_tests(shelf, map(_light, latest.values()), tags, today, every)
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
                    due.measure.short,
                    since,
                    before.words,
                    clearance_of(due.measure, tags).warned_by,
                    uuid.uuid4().hex,
                )
            )
    return lines


def _light(score: Score) -> LastScore:
    return LastScore(
        score.measure, score.on_date, score.outcome, score.value, score.unit,
        score.lead_says, score.lead_crossed, score.change_verdict,
    )  # fmt: skip
