"""Orders and risks: set them, say who ordered them, change them, end them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.access import Subject, may
from app.clinical.precautions import PRECAUTIONS
from app.identifiers import warning
from app.storage.episodes import Episode, open_episode
from app.storage.errors import StaleVersion
from app.storage.patients import Patient, patient_for
from app.storage.people import actor
from app.storage.precautions import (
    PrecautionOnEpisode,
    add_precaution,
    all_precautions,
    change_precaution,
    end_precaution,
    holding,
    precaution_for,
)
from app.web.comparing import Compare, compared
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
)
from app.web.patient_form import since
from app.web.versions import version_in

router = APIRouter()
#: A role, never a name: who ordered it. Common practice.
SET_BY: Final = (
    "physician",
    "surgeon",
    "nurse practitioner",
    "ward protocol",
    "therapist",
)


@dataclass(frozen=True, slots=True)
class Shown:
    """What the page shows beside what holds: one form as typed, and what is amiss.

    `row` is the precaution whose form it is, None for the form that adds one; `deed`
    says which of its two forms.
    """

    typed: Form = field(default_factory=Form)
    errors: Mapping[str, str] = field(default_factory=dict)
    row: int | None = None
    deed: str = ""
    compare: Compare | None = None
    doubt: str = ""


@router.get("/patients/{patient_id}/precautions")
def show(
    request: Request, me: SignedIn, session: ReadSession, now: Now, zone: Zone,
    patient_id: RowId,
) -> HTMLResponse:  # fmt: skip
    patient = patient_for(session, me, patient_id, "set_precaution")
    return _page(request, session, patient, now.astimezone(zone).date(), Shown())


def _page(
    request: Request, session: Session, patient: Patient, today: date, shown: Shown
) -> HTMLResponse:
    whom = Subject(patient.is_demo, assigned=True)
    rows = all_precautions(session, open_episode(session, patient))
    held = [p for p in rows if p.ended_on is None or p.ended_on > today]
    return page(
        request,
        "patients/precautions.html",
        status=422 if shown.errors else 409 if shown.compare else 200,
        patient=patient,
        holding=[(p, _typed(p)) for p in held],
        ended=[p for p in rows if p not in held],
        known=PRECAUTIONS,
        free=[p for p in PRECAUTIONS.values() if p.tag not in {h.tag for h in held}],
        set_by=SET_BY,
        shown=shown,
        nothing=Form(),
        today=today,
        may_end=may(actor(request.state.me), "end_precaution", whom),
    )


def _typed(row: PrecautionOnEpisode) -> Form:
    """One that holds, as its form would have sent it."""
    review = row.review_on.isoformat() if row.review_on else ""
    return Form(
        {
            "set_by": row.set_by,
            "set_on": row.set_on.isoformat(),
            "note": row.note,
            "review_on": review,
        }.items()
    )


def _said(form: Mapping[str, str], today: date | None = None) -> dict[str, str]:
    """What a form says, by what it is called there."""
    day = form.get("set_on", "").strip() or (today.isoformat() if today else "")
    return {
        "Set by": form.get("set_by", ""),
        "Ordered on": day,
        "More about it": form.get("note", "").strip(),
        "Look at it again on": form.get("review_on", "").strip(),
    }


def _fields(form: Form, today: date, errors: dict[str, str]) -> dict[str, Any]:
    """What is said of one, but for its kind; `errors` takes what is wrong."""
    set_on = since(form, "set_on", today, errors) or today
    if form.text("set_by") not in SET_BY:
        errors["set_by"] = "Choose who ordered or set it."
    if len(form.text("note")) > 500:
        errors["note"] = "At most 500 letters."
    return {
        "note": form.text("note"),
        "set_by": form.text("set_by"),
        "set_on": set_on,
        "review_on": _review(form, today, errors),
    }


def _review(form: Form, today: date, errors: dict[str, str]) -> date | None:
    """When to look at it again: today or later."""
    text = form.text("review_on")
    if not text:
        return None
    try:
        day = date.fromisoformat(text) if len(text) == 10 else None
    except ValueError:
        day = None
    if day is None or not today <= day <= date(today.year + 2, 12, 31):
        errors["review_on"] = "A day from today on, year-month-day."
    return day


@router.post("/patients/{patient_id}/precautions", response_model=None)
def add(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
    patient_id: RowId,
) -> Response:
    """Set one; the same again is left as it is, another version is compared."""
    patient = patient_for(session, me, patient_id, "set_precaution")
    today = now.astimezone(zone).date()
    errors: dict[str, str] = {}
    said = _fields(form, today, errors)
    if form.text("tag") not in PRECAUTIONS:
        errors["tag"] = "Choose what holds."
    if errors:
        return _page(request, session, patient, today, Shown(form, errors))
    episode = open_episode(session, patient)
    known = holding(session, episode, form.text("tag"))
    if known is not None and _said(_typed(known)) != _said(form, today):
        shown = _stale(session, known, form, "change", zone, today)
        return _page(request, session, patient, today, shown)
    add_precaution(session, me, episode, tag=form.text("tag"), **said, now=now)
    return _done(request, session, patient, form, today)


def _done(
    request: Request, session: Session, patient: Patient, form: Form, today: date
) -> Response:
    doubt = warning({"the note": form.text("note")})
    if doubt:
        return _page(request, session, patient, today, Shown(doubt=doubt))
    return RedirectResponse(f"/patients/{patient.id}/precautions", 303)


def _stale(
    session: Session,
    row: PrecautionOnEpisode,
    form: Form,
    deed: str,
    zone: ZoneInfo,
    today: date,
) -> Shown:
    """Who was quicker and when, beside both versions."""
    lifted = {"Lifted": str(row.ended_on or ""), "Who lifted it, and why": row.end_note}
    if deed == "end":
        note = form.text("end_note")
        yours = {"Lifted": str(today), "Who lifted it, and why": note}
        theirs = lifted if row.ended_on else _said(_typed(row))
    else:
        yours = _said(form, today)
        theirs = _said(_typed(row)) | (lifted if row.ended_on else {})
    compare = compared(session, row.edited_by, row.edited_at, theirs, yours, zone)
    return Shown(form, row=row.id, deed=deed, compare=compare)


@router.post("/precautions/{precaution_id}/change", response_model=None)
def change(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
    precaution_id: RowId,
) -> Response:
    """Say something else of one that holds: a later review, another day."""
    row = precaution_for(session, me, precaution_id, "end_precaution")
    patient = _patient_of(session, row)
    today = now.astimezone(zone).date()
    errors: dict[str, str] = {}
    said = _fields(form, today, errors)
    if errors:
        shown = Shown(form, errors, row.id, "change")
        return _page(request, session, patient, today, shown)
    try:
        change_precaution(session, me, row, **said, version=version_in(form), now=now)
    except StaleVersion:
        if row.ended_on is None and _said(_typed(row)) == _said(form, today):
            return RedirectResponse(f"/patients/{patient.id}/precautions", 303)
        shown = _stale(session, row, form, "change", zone, today)
        return _page(request, session, patient, today, shown)
    return _done(request, session, patient, form, today)


def _patient_of(session: Session, row: PrecautionOnEpisode) -> Patient:
    episode = session.get_one(Episode, row.episode_id)
    return session.get_one(Patient, episode.patient_id)


@router.post("/precautions/{precaution_id}/end", response_model=None)
def end(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
    precaution_id: RowId,
) -> Response:
    """From today on it no longer holds. The order itself has to have changed."""
    row = precaution_for(session, me, precaution_id, "end_precaution")
    patient = _patient_of(session, row)
    today, note = now.astimezone(zone).date(), form.text("end_note")
    if not 1 <= len(note) <= 200:
        told = {"end_note": "Say in up to 200 letters who lifted it and why."}
        shown = Shown(form, told, row.id, "end")
        return _page(request, session, patient, today, shown)
    if row.ended_on is None and row.version == version_in(form):
        end_precaution(session, me, row, on=today, note=note, now=now)
    elif (row.ended_on, row.end_note) != (today, note):
        shown = _stale(session, row, form, "end", zone, today)
        return _page(request, session, patient, today, shown)
    return RedirectResponse(f"/patients/{patient.id}/precautions", 303)
