"""Orders and risks: set them, say who ordered them, end them with a reason."""

from datetime import date
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.access import Subject, may
from app.clinical.precautions import PRECAUTIONS
from app.identifiers import warning
from app.storage.episodes import Episode, open_episode
from app.storage.patients import Patient, patient_for
from app.storage.people import actor
from app.storage.precautions import (
    add_precaution,
    all_precautions,
    end_precaution,
    precaution_for,
)
from app.web.deps import (
    Form,
    FormDep,
    FormProblem,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    WriteSession,
    Zone,
    page,
)

router = APIRouter()
#: A role, never a name: who ordered it. Common practice.
SET_BY: Final = (
    "physician",
    "surgeon",
    "nurse practitioner",
    "ward protocol",
    "therapist",
)


@router.get("/patients/{patient_id}/precautions")
def show(
    request: Request, me: SignedIn, session: ReadSession, now: Now, zone: Zone,
    patient_id: RowId,
) -> HTMLResponse:  # fmt: skip
    patient = patient_for(session, me, patient_id, "set_precaution")
    return _page(request, session, patient, Form(), {}, now.astimezone(zone).date())


def _page(
    request: Request,
    session: Session,
    patient: Patient,
    typed: Form,
    errors: dict[str, str],
    today: date,
    doubt: str = "",
) -> HTMLResponse:
    whom = Subject(patient.is_demo, assigned=True)
    rows = all_precautions(session, open_episode(session, patient))
    holding = [p for p in rows if p.ended_on is None or p.ended_on > today]
    return page(
        request,
        "patients/precautions.html",
        status=422 if errors else 200,
        patient=patient,
        holding=holding,
        ended=[p for p in rows if p not in holding],
        known=PRECAUTIONS,
        free=[p for p in PRECAUTIONS.values() if p.tag not in {h.tag for h in holding}],
        set_by=SET_BY,
        typed=typed,
        errors=errors,
        doubt=doubt,
        today=today,
        may_end=may(actor(request.state.me), "end_precaution", whom),
    )


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
    """Set one; the same again is left as it is."""
    patient = patient_for(session, me, patient_id, "set_precaution")
    today = now.astimezone(zone).date()
    errors: dict[str, str] = {}
    review_on = _review(form, today, errors)
    if form.text("tag") not in PRECAUTIONS:
        errors["tag"] = "Choose what holds."
    if form.text("set_by") not in SET_BY:
        errors["set_by"] = "Choose who ordered or set it."
    if len(form.text("note")) > 500:
        errors["note"] = "At most 500 letters."
    if errors:
        return _page(request, session, patient, form, errors, today)
    episode = open_episode(session, patient)
    add_precaution(
        session, me, episode, tag=form.text("tag"), note=form.text("note"),
        set_by=form.text("set_by"), set_on=today, review_on=review_on, now=now,
    )  # fmt: skip
    doubt = warning({"the note": form.text("note")})
    if doubt:
        return _page(request, session, patient, Form(), {}, today, doubt)
    return RedirectResponse(f"/patients/{patient.id}/precautions", 303)


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


@router.post("/precautions/{precaution_id}/end")
def end(
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
    precaution_id: RowId,
) -> RedirectResponse:
    """From today on it no longer holds. The order itself has to have changed."""
    precaution = precaution_for(session, me, precaution_id, "end_precaution")
    note = form.text("end_note")
    if not 1 <= len(note) <= 200:
        raise FormProblem("Say in a few words who lifted it and why.")
    on = now.astimezone(zone).date()
    end_precaution(session, me, precaution, on=on, note=note, now=now)
    episode = session.get_one(Episode, precaution.episode_id)
    return RedirectResponse(f"/patients/{episode.patient_id}/precautions", 303)
