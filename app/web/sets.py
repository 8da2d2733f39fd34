"""An activity at the bedside: its card, its sets as they happen, taking one back."""

from datetime import datetime
from typing import Annotated
from uuid import NAMESPACE_OID, uuid5
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical import make_safe
from app.clinical.activity import Activity
from app.clinical.allowing import Permit, permit
from app.storage.activity_sets import (
    ActivitySet,
    SetBody,
    record_set,
    set_by_uid,
    set_for,
    void_set,
)
from app.storage.episodes import (
    Episode,
    Visit,
    episode_on,
    episode_or_none,
    open_episode,
    visit_today,
)
from app.storage.errors import NotAllowed, NotFound
from app.storage.patients import Patient, patient_for
from app.storage.people import Person
from app.storage.precautions import precautions_on
from app.web.after_stop import (
    NOT_SAID,
    owes_statement,
    stops_before,
    went_on_unsaid,
)
from app.web.card import card_page
from app.web.deps import (
    Form,
    FormDep,
    FormProblem,
    Now,
    ReadSession,
    RowId,
    SessionLocked,
    SignedIn,
    SiteDep,
    WriteSession,
    Zone,
    is_locked,
    page,
    site_of,
    wants_fragment,
)
from app.web.set_form import read_set
from app.web.trial_form import SAVED, taken_at

router = APIRouter()
#: Outcomes of which something was really done.
DONE = ("done", "stopped")


@router.get("/patients/{patient_id}/activities/{activity_id}")
def card(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    patient_id: RowId,
    activity_id: str,
    grade: Annotated[str, Query(max_length=12, pattern=r"^[-0-9.]*$")] = "",
    on: Annotated[str, Query(pattern="^(yes)?$")] = "",
) -> HTMLResponse:
    patient = patient_for(session, me, patient_id, "record_visit")
    activity = _activity(site.catalogue, activity_id)
    open_episode(session, patient)
    goes_on = on == "yes"
    return _page(
        request, session, me, patient, activity, asked=grade, goes_on=goes_on
    )  # fmt: skip


@router.post("/patients/{patient_id}/activities/{activity_id}/sets")
def record(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
    patient_id: RowId,
    activity_id: str,
) -> Response:
    """Keep a set. One done against an order or a risk is a fact: kept, and marked."""
    patient = patient_for(session, me, patient_id, "record_visit")
    activity = _activity(site.catalogue, activity_id)
    body, errors = read_set(activity, form)
    at, uid = taken_at(form, now), form.uid()
    day = at.astimezone(zone).date()
    episode = episode_on(session, patient, day)
    stands = _stands(session, activity, episode, at, zone)
    overrides = _may_override(session, me, patient)
    if _owes_reason(stands, body, form, overrides):
        errors["override"] = "Say in a few words why it is right for this person today."
    before = stops_before(session, patient, at, zone)
    if owes_statement(before, body, form):
        errors["after_stop"] = NOT_SAID
    if errors:
        if is_locked(request):  # the form again would name the patient
            raise SessionLocked
        return _page(request, session, me, patient, activity, form=form, errors=errors)
    visit = _visit(session, me, patient, episode, uid, at, zone)
    tags = (_against(stands, body, overrides), went_on_unsaid(before, body))
    row, _ = record_set(
        session, me, visit, activity.id, uid=uid, body=body, at=at, now=now,
        against=" ".join(filter(None, tags)),
    )  # fmt: skip
    answer = _answer(request, session, me, patient, activity, row)
    answer.headers[SAVED] = row.uid
    return answer


@router.post("/sets/{set_id}/void")
def void(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    set_id: RowId,
) -> Response:
    row, visit = set_for(session, me, set_id, "record_visit")
    reason = form.text("void_reason")
    if reason in ("", "other"):
        reason = form.text("void_other")
    if not 1 <= len(reason) <= 500:
        raise FormProblem("Say in a few words why this set does not count.")
    void_set(session, me, set_id, reason=reason, now=now)
    episode = session.get_one(Episode, visit.episode_id)
    patient = session.get_one(Patient, episode.patient_id)
    activity = site.catalogue.activities.get(row.activity)
    if wants_fragment(request) and activity is not None:
        return _page(request, session, me, patient, activity)
    return RedirectResponse(_card(patient.id, row.activity), 303)


def _card(patient_id: int, activity_id: str) -> str:
    return f"/patients/{patient_id}/activities/{activity_id}"


def _activity(shelf: Catalogue, activity_id: str) -> Activity:
    found = shelf.activities.get(activity_id)
    if found is None:
        raise NotFound("There is no such activity.")
    return found


def _may_override(session: Session, me: Person, patient: Patient) -> bool:
    """Whether they may go against a risk for this patient, with a reason."""
    try:
        patient_for(session, me, patient.id, "go_against_risk")
    except NotAllowed:
        return False
    return True


def _stands(
    session: Session, activity: Activity, episode: Episode, at: datetime, zone: ZoneInfo
) -> Permit:
    """What stands against the activity on the day it was done."""
    held = precautions_on(session, episode, at.astimezone(zone).date())
    return permit(activity, [p.tag for p in held])


def _owes_reason(stands: Permit, body: SetBody, form: Form, overrides: bool) -> bool:
    """Asked only of a card that named these risks: a stale one could not have known."""
    if body.outcome != "done" or not (stands.needs_reason and overrides):
        return False
    told = set(form.text("told").split())
    knew = told >= {p.tag for p in stands.risks}
    return knew and not body.override.strip()


def _against(stands: Permit, body: SetBody, overrides: bool) -> str:
    """The orders, else the risks, that it was done against all the same; as tags."""
    if body.outcome not in DONE:
        return ""
    if stands.allows(may_override=overrides, reason=body.override):
        return ""
    return " ".join(p.tag for p in stands.orders or stands.risks)


def _visit(
    session: Session,
    me: Person,
    patient: Patient,
    episode: Episode,
    uid: str,
    at: datetime,
    zone: ZoneInfo,
) -> Visit:
    """The visit of that day; of a set that is sent again, the one it was put in."""
    known = set_by_uid(session, uid)
    if known is not None and known.recorded_by == me.id:
        visit = session.get_one(Visit, known.visit_id)
        if session.get_one(Episode, visit.episode_id).patient_id == patient.id:
            return visit
    own = uuid5(NAMESPACE_OID, uid).hex
    return visit_today(session, me, episode, now=at, zone=zone, uid=own)


def _answer(
    request: Request,
    session: Session,
    me: Person,
    patient: Patient,
    activity: Activity,
    row: ActivitySet,
) -> Response:
    if is_locked(request):
        return page(
            request,
            "rounds/stored.html",
            "rounds/_stored.html",
            saved=row.uid,
            of="set",
            id=row.id,
            stopped=row.outcome == "stopped",
            safe=make_safe,
            next=_card(patient.id, activity.id),
        )
    if wants_fragment(request):
        return _page(request, session, me, patient, activity, saved=row)
    place = "#make-safe" if row.outcome == "stopped" else ""
    return RedirectResponse(_card(patient.id, activity.id) + place, 303)


def _page(
    request: Request,
    session: Session,
    me: Person,
    patient: Patient,
    activity: Activity,
    *,
    asked: str = "",
    goes_on: bool = False,
    form: Form | None = None,
    errors: dict[str, str] | None = None,
    saved: ActivitySet | None = None,
) -> HTMLResponse:
    site = site_of(request)
    # A late set may be of care that was closed meanwhile.
    episode = episode_or_none(session, patient)
    stands = Permit()
    if episode is not None:
        stands = _stands(session, activity, episode, site.clock(), site.zone)
    return card_page(
        request,
        session,
        patient,
        activity,
        stands,
        may_override=_may_override(session, me, patient),
        asked=asked,
        goes_on=goes_on,
        form=form,
        errors=errors,
        saved=saved,
    )
