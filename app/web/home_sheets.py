"""Home sheets: made after the teach-back, shown and printed, taken back.

The sheet itself names nobody. A student prepares none: handing one over is signed
treatment, and goes to the therapist or the supervisor.
"""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.access import Subject, may
from app.clinical import home_sheet as words
from app.clinical.activity import Activity
from app.clinical.lately import stopped_last
from app.clinical.precautions import PRECAUTIONS, Precaution
from app.clinical.vocabulary import HOWS
from app.storage.activity_sets import sets_of
from app.storage.episodes import Episode, episode_or_none, open_episode
from app.storage.home_sheets import (
    end_sheet,
    items_of,
    make_sheet,
    sheet_for,
)
from app.storage.patients import Patient, patient_for
from app.storage.people import actor
from app.storage.plans import planned_for
from app.storage.precautions import precautions_on
from app.storage.safety import open_stops_of
from app.web.dates import day_words
from app.web.deps import (
    Form,
    FormDep,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    WriteSession,
    Zone,
    page,
    site_of,
)
from app.web.done_sets import done_sets
from app.web.home_sheet_form import chosen, sheet_body
from app.web.home_sheet_view import paper, reasons, sheet_line
from app.web.stops import StopView, stop_views

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Choice:
    """An activity that may go home, and the grade it was done at last."""

    activity: Activity
    grade: str
    known: bool
    mind: tuple[Precaution, ...]

    @property
    def options(self) -> list[tuple[str, str]]:
        """Grades that are conditions, in words."""
        return [(str(n), said) for n, said in enumerate(self.activity.grade.rungs, 1)]


@router.get("/patients/{patient_id}/home-sheet")
def new(
    request: Request, me: SignedIn, session: ReadSession, now: Now, zone: Zone,
    patient_id: RowId,
) -> HTMLResponse:  # fmt: skip
    patient = patient_for(session, me, patient_id)
    today = now.astimezone(zone).date()
    return _page(request, session, patient, today, Form(), {})


def _page(
    request: Request,
    session: Session,
    patient: Patient,
    today: date,
    typed: Form,
    errors: dict[str, str],
) -> HTMLResponse:
    shelf = site_of(request).catalogue
    episode = episode_or_none(session, patient)
    tags = _tags(session, episode, today)
    stopped = _stopped(session, patient.id, today)
    choices = _choices(session, shelf.activities, patient.id, tags, stopped)
    whom = Subject(patient.is_demo, assigned=True)
    against = [
        (activity.name, reason)
        for activity in shelf.activities.values()
        for reason in words.against(activity, tags, stopped)
    ]
    return page(
        request,
        "home_sheets/make.html",
        status=422 if errors else 200,
        patient=patient,
        episode=episode,
        may_make=may(actor(request.state.me), "sign_treatment", whom),
        here=sheet_line(session, shelf, patient.id, today, site_of(request).zone),
        known=[c for c in choices if c.known],
        others=[c for c in choices if not c.known],
        against=against,
        stops=_open_stops(request, session, patient, today),
        from_page="home_sheet",
        chosen=chosen(typed),
        typed=typed,
        errors=errors,
        uid=typed.text("uid") or uuid.uuid4().hex,
        words=words,
        no_strip=[PRECAUTIONS[t].label for t in words.NO_STRIP_STAYS if t in tags],
        hows=HOWS,
    )


def _open_stops(
    request: Request, session: Session, patient: Patient, today: date
) -> list[StopView]:
    site, found = site_of(request), open_stops_of(session, patient.id)
    return stop_views(found, request.state.me, site.catalogue, site.zone, today)


def _stopped(session: Session, patient_id: int, today: date) -> dict[str, str]:
    """Why what was stopped for safety the last time does not go home, by activity."""
    return {
        key: f"{said.replace('safety', f'safety on {day_words(on, today)}', 1)}"
        for key, (on, said) in stopped_last(done_sets(session, patient_id)).items()
    }


def _tags(session: Session, episode: Episode | None, today: date) -> set[str]:
    return (
        {p.tag for p in precautions_on(session, episode, today)} if episode else set()
    )


def _choices(
    session: Session,
    activities: Mapping[str, Activity],
    patient_id: int,
    tags: set[str],
    stopped: Mapping[str, str],
) -> list[Choice]:
    """Those that may go home, the ones done with or planned for this person first."""
    last = {
        row.activity: row.grade
        for row, _ in sets_of(session, patient_id)
        if row.outcome == "done"
    }
    known = planned_for(session, patient_id) | last.keys()
    found = []
    for activity in activities.values():
        if not words.against(activity, tags, stopped):
            grade = last.get(activity.id) or f"{activity.grade.start.normalize():f}"
            mind = tuple(PRECAUTIONS[t] for t in activity.caution if t in tags)
            found.append(Choice(activity, grade, activity.id in known, mind))
    return sorted(found, key=lambda choice: not choice.known)


@router.post("/patients/{patient_id}/home-sheet", response_model=None)
def make(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
    patient_id: RowId,
) -> Response:
    """Hand one over: only after a teach-back of each activity."""
    patient = patient_for(session, me, patient_id, "sign_treatment")
    episode, today = open_episode(session, patient), now.astimezone(zone).date()
    errors: dict[str, str] = {}
    tags = _tags(session, episode, today)
    stopped = _stopped(session, patient.id, today)
    activities = site_of(request).catalogue.activities
    body = sheet_body(form, activities, tags, errors, stopped)
    if body is None:
        return _page(request, session, patient, today, form, errors)
    sheet = make_sheet(session, me, episode, body, uid=form.uid(), now=now)
    return RedirectResponse(f"/home-sheets/{sheet.id}", 303)


@router.get("/home-sheets/{sheet_id}")
def show(
    request: Request, me: SignedIn, session: ReadSession, now: Now, zone: Zone,
    sheet_id: RowId,
) -> HTMLResponse:  # fmt: skip
    """The sheet for phone and paper; one that may not stay shows no paper."""
    sheet, patient = sheet_for(session, me, sheet_id)
    shelf, today = site_of(request).catalogue, now.astimezone(zone).date()
    episode = session.get_one(Episode, sheet.episode_id)
    tags, items = _tags(session, episode, today), items_of(session, sheet)
    against = reasons(shelf.activities, items, tags)
    ended = day_words(sheet.ended_at.astimezone(zone).date()) if sheet.ended_at else ""
    whom = Subject(patient.is_demo, assigned=True)
    return page(
        request,
        "home_sheets/show.html",
        sheet=sheet,
        patient_id=patient.id,
        made=day_words(sheet.made_at.astimezone(zone).date(), today),
        ended=ended,
        against=against,
        paper=None if ended or against else paper(shelf, sheet, items, tags),
        held=[_line(shelf.activities, item.activity, item.grade) for item in items],
        may_make=may(actor(me), "sign_treatment", whom),
        words=words,
    )


def _line(activities: Mapping[str, Activity], key: str, grade: str) -> str:
    activity = activities.get(key)
    if activity is None:
        return f"{key}, grade {grade}"
    return f"{activity.name}, {activity.grade.words(Decimal(grade))}"


@router.post("/home-sheets/{sheet_id}/end")
def end(
    me: SignedIn, session: WriteSession, now: Now, sheet_id: RowId
) -> RedirectResponse:
    """Take it back: the paper has to come back too."""
    sheet, patient = sheet_for(session, me, sheet_id, "sign_treatment")
    end_sheet(session, me, sheet, now=now)
    return RedirectResponse(f"/patients/{patient.id}/home-sheet", 303)
