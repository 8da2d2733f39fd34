"""Screening pathways of one patient: each rule with their own answer, and the gaps."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from app.catalogue.load import Catalogue
from app.clinical.pathway import Pathway, walk
from app.clinical.screening import QUESTIONS, Question
from app.storage.errors import NotFound
from app.storage.patients import Patient, patient_for
from app.storage.screening import answer
from app.web.dates import day_words
from app.web.deps import (
    Form,
    FormDep,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    SiteDep,
    WriteSession,
    Zone,
    page,
)
from app.web.pathway_known import ELSEWHERE, Gathered, gather
from app.web.pathway_view import pathway_view

router = APIRouter()
TAKE_BACK: Final = "take_back"


@dataclass(frozen=True, slots=True)
class Asked:
    """One question of the form. `last` tells an answer of an earlier day."""

    key: str
    question: Question
    options: tuple[tuple[str, str], ...]
    chosen: str
    last: str


@router.get("/patients/{patient_id}/pathways")
def listing(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
    patient_id: RowId,
) -> HTMLResponse:
    patient = patient_for(session, me, patient_id)
    shelf, today = site.catalogue, now.astimezone(zone).date()
    paths = list(shelf.pathways.values())
    wanted = {key for path in paths for key in path.measures}
    known = gather(session, shelf, patient, wanted, today).known
    views = [pathway_view(walk(p, known), known, shelf, patient.id) for p in paths]
    return page(request, "pathways/list.html", patient=patient, views=views)


@router.get("/patients/{patient_id}/pathways/{pathway_id}")
def show(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
    patient_id: RowId,
    pathway_id: str,
) -> HTMLResponse:
    patient = patient_for(session, me, patient_id)
    path, today = _pathway(site.catalogue, pathway_id), now.astimezone(zone).date()
    found = gather(session, site.catalogue, patient, path.measures, today)
    return _page(request, site.catalogue, patient, path, found, today)


@router.post("/patients/{patient_id}/pathways/{pathway_id}", response_model=None)
def save(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
    patient_id: RowId,
    pathway_id: str,
) -> Response:
    """Keep what was answered today; a question left alone adds nothing."""
    patient = patient_for(session, me, patient_id, "record_visit")
    path, today = _pathway(site.catalogue, pathway_id), now.astimezone(zone).date()
    errors = _errors(path, form)
    if errors:
        found = gather(session, site.catalogue, patient, path.measures, today)
        return _page(request, site.catalogue, patient, path, found, today, form, errors)
    said = {key: form.text(key) for key in _asked_here(path) if form.text(key)}
    said = {key: "" if v == TAKE_BACK else _plain(key, v) for key, v in said.items()}
    answer(session, me, patient.id, said, day=today, now=now)
    return RedirectResponse(f"/patients/{patient.id}/pathways/{path.id}", 303)


def _pathway(shelf: Catalogue, pathway_id: str) -> Pathway:
    found = shelf.pathways.get(pathway_id)
    if found is None:
        raise NotFound
    return found


def _asked_here(path: Pathway) -> tuple[str, ...]:
    return tuple(key for key in path.questions if key not in ELSEWHERE)


def _plain(key: str, value: str) -> str:
    return value if QUESTIONS[key].options else str(int(value))


def _errors(path: Pathway, form: Form) -> dict[str, str]:
    errors = {}
    for key in _asked_here(path):
        question, typed = QUESTIONS[key], form.text(key)
        if not typed or typed == TAKE_BACK or question.knows(typed):
            continue
        errors[key] = (
            "Choose one." if question.options
            else f"Type a whole number from 0 to {question.most}."
        )  # fmt: skip
    return errors


def _page(
    request: Request,
    shelf: Catalogue,
    patient: Patient,
    path: Pathway,
    found: Gathered,
    today: date,
    form: Form | None = None,
    errors: Mapping[str, str] | None = None,
) -> HTMLResponse:
    walked = walk(path, found.known)
    elsewhere = [
        (q.label, q.words(found.known.answers.get(k, "")), *ELSEWHERE[k])
        for k, q in ((k, QUESTIONS[k]) for k in path.questions if k in ELSEWHERE)
    ]
    return page(
        request,
        "pathways/show.html",
        status=422 if errors else 200,
        patient=patient,
        view=pathway_view(walked, found.known, shelf, patient.id),
        asked=[_asked(key, found, today, form) for key in _asked_here(path)],
        elsewhere=elsewhere,
        errors=dict(errors or {}),
        edition=shelf.edition,
    )


def _asked(key: str, found: Gathered, today: date, form: Form | None) -> Asked:
    """Today's answer stands in the form; an earlier one is told and asked anew."""
    question, day = QUESTIONS[key], found.days.get(key)
    given = found.known.answers.get(key, "")
    options = tuple(question.options.items())
    if given and options:
        options = (*options, (TAKE_BACK, "take it back"))
    chosen = given if day == today else ""
    last = ""
    if given and day and day != today:
        last = f"Last answer, {day_words(day, today)}: {question.words(given)}."
    if form is not None:
        chosen = form.text(key)
    return Asked(key, question, options, chosen, last)
