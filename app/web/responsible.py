"""Who looks after a patient: hand over, add a helper, take somebody off."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.access import ASSISTANT, STUDENT
from app.storage.patients import Patient, patient_for
from app.storage.responsible import (
    assign,
    colleague,
    could_be_assigned,
    responsible,
    transfer,
    unassign,
)
from app.web.dates import moment_words
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


@router.get("/patients/{patient_id}/people")
def show(
    request: Request, me: SignedIn, session: ReadSession, zone: Zone, patient_id: RowId
) -> HTMLResponse:
    patient = patient_for(session, me, patient_id, "transfer_patient")
    return _page(request, session, patient, zone, {}, Form())


def _page(
    request: Request,
    session: Session,
    patient: Patient,
    zone: Zone,
    errors: dict[str, str],
    typed: Form,
) -> HTMLResponse:
    now_held = responsible(session, patient)
    held = {person.id for _, person in now_held}
    others = [p for p in could_be_assigned(session, patient) if p.id not in held]
    helpers = (ASSISTANT, STUDENT)
    return page(
        request,
        "patients/people.html",
        status=422 if errors else 200,
        patient=patient,
        lines=[(p, moment_words(a.since, zone), a.note) for a, p in now_held],
        to_hand_over=[p for p in others if p.role not in helpers],
        to_add=[p for p in others if p.role in helpers],
        errors=errors,
        typed=typed,
    )


def _chosen(form: Form) -> int:
    text = form.text("person")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else 0


@router.post("/patients/{patient_id}/people", response_model=None)
def change(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
    patient_id: RowId,
) -> Response:
    """Hand over to a therapist, or add an assistant or a student."""
    patient = patient_for(session, me, patient_id, "transfer_patient")
    errors = {}
    if not _chosen(form):
        errors["person"] = "Choose somebody."
    if not 1 <= len(form.text("note")) <= 200:
        errors["note"] = "Say in a few words why."
    if errors:
        return _page(request, session, patient, zone, errors, form)
    to = colleague(session, patient, _chosen(form))
    deed = transfer if form.text("what") == "transfer" else assign
    deed(session, me, patient, to, note=form.text("note"), now=now)
    gone = form.text("what") == "transfer" and me.role != "supervisor"
    return RedirectResponse(
        "/caseload" if gone else f"/patients/{patient_id}/people", 303
    )


@router.post("/patients/{patient_id}/people/{person_id}/off")
def take_off(
    me: SignedIn,
    session: WriteSession,
    now: Now,
    patient_id: RowId,
    person_id: RowId,
) -> RedirectResponse:
    """The last one stays: a patient is never left to nobody by this."""
    patient = patient_for(session, me, patient_id, "transfer_patient")
    if len(responsible(session, patient)) < 2:
        raise FormProblem("Somebody has to be left. Hand the patient over instead.")
    whom = colleague(session, patient, person_id)
    unassign(session, me, patient, whom, now=now)
    return RedirectResponse(f"/patients/{patient_id}/people", 303)
