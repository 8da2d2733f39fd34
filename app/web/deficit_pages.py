"""The page of a patient's deficits: what names each, and a therapist's own word."""

from collections.abc import Mapping
from datetime import date
from typing import Final
from uuid import uuid4

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.access import Subject, may
from app.catalogue.load import Catalogue
from app.clinical.deficit import Deficit
from app.identifiers import warning
from app.storage.deficits import ADDING, JUDGING, WORDS, say
from app.storage.episodes import open_episode
from app.storage.patients import Patient, patient_for
from app.storage.people import Person, actor
from app.web.deficits import DeficitsView, deficits_of
from app.web.deps import (
    Form,
    FormDep,
    FormProblem,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    SiteDep,
    WriteSession,
    Zone,
    page,
    site_of,
)

router = APIRouter()
LONGEST_REASON: Final = 300


@router.get("/patients/{patient_id}/deficits")
def show(
    request: Request, me: SignedIn, session: ReadSession, site: SiteDep, now: Now,
    zone: Zone, patient_id: RowId,
) -> HTMLResponse:  # fmt: skip
    patient = patient_for(session, me, patient_id)
    today = now.astimezone(zone).date()
    return _page(request, session, site.catalogue, patient, today, Form())


@router.post("/patients/{patient_id}/deficits", response_model=None)
def speak(
    request: Request, form: FormDep, me: SignedIn, session: WriteSession,
    site: SiteDep, now: Now, zone: Zone, patient_id: RowId,
) -> Response:  # fmt: skip
    """Add one, strike one, or take either back."""
    patient = patient_for(session, me, patient_id, ADDING)
    today, shelf = now.astimezone(zone).date(), site.catalogue
    errors = _errors(form, shelf)
    if errors:
        return _page(request, session, shelf, patient, today, form, errors)
    episode, reason = open_episode(session, patient), form.text("reason")
    say(
        session, me, episode, form.text("deficit"), form.text("word"), reason,
        uid=form.uid(), day=today, now=now,
    )  # fmt: skip
    doubt = warning({"the reason": reason})
    if doubt:
        return _page(request, session, shelf, patient, today, Form(), {}, doubt)
    return RedirectResponse(f"/patients/{patient.id}/deficits", 303)


def _errors(form: Form, shelf: Catalogue) -> dict[str, str]:
    errors, word = {}, form.text("word")
    if word not in WORDS:  # no form of ours sends this
        raise FormProblem("Open the page again and choose what to do.")
    if form.text("deficit") not in shelf.deficits.named:
        errors["deficit"] = "Choose what work is asked for."
    length = len(form.text("reason"))
    if length > LONGEST_REASON:
        errors["reason"] = f"At most {LONGEST_REASON} letters."
    elif word != "back" and not length:
        errors["reason"] = "Say in a few words why."
    return errors


def _page(
    request: Request,
    session: Session,
    shelf: Catalogue,
    patient: Patient,
    today: date,
    typed: Form,
    errors: Mapping[str, str] | None = None,
    doubt: str = "",
) -> HTMLResponse:
    view = deficits_of(session, shelf, patient, today, site_of(request).zone)
    me: Person = request.state.me
    whom = Subject(patient.is_demo, assigned=True)
    return page(
        request,
        "deficits/show.html",
        status=422 if errors else 200,
        patient=patient,
        view=view,
        free=_free(shelf, view),
        by_hand=[d for d in shelf.deficits.named.values() if d.by_hand],
        may_judge=may(actor(me), JUDGING, whom),
        typed=typed,
        errors=dict(errors or {}),
        doubt=doubt,
        longest=LONGEST_REASON,
        uid=typed.text("uid") or uuid4().hex,
    )


def _free(shelf: Catalogue, view: DeficitsView) -> list[Deficit]:
    """Those that nobody has named or struck yet."""
    there = {line.key for line in view.lines}
    return [d for key, d in shelf.deficits.named.items() if key not in there]
