"""What to treat with: what the tests showed, which activities answer it, and why."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from app.storage.patients import patient_for
from app.storage.plans import star
from app.web.activity_words import deficit_words
from app.web.choosing import keep_for_today, said_today
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
    site_of,
)
from app.web.planning import activity_in
from app.web.treat_page import treat_page
from app.web.treating import today_from

router = APIRouter()


@router.get("/patients/{patient_id}/treat")
def show(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    now: Now,
    zone: Zone,
    patient_id: RowId,
    deficit: str = "",
) -> HTMLResponse:
    patient = patient_for(session, me, patient_id, "record_visit")
    today = now.astimezone(zone).date()
    return treat_page(request, session, me, patient, today, only=deficit)


@router.post("/patients/{patient_id}/treat")
def say_today(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
    patient_id: RowId,
) -> Response:
    """What the person can do now, who is there and what with: kept for today."""
    patient = patient_for(session, me, patient_id, "record_visit")
    today = now.astimezone(zone).date()
    said, errors = today_from(form, said_today(site, me, patient, today))
    if errors:
        return treat_page(
            request, session, me, patient, today, form=form, said=said, errors=errors
        )
    keep_for_today(site, me, patient, today, said)
    return RedirectResponse(f"/patients/{patient.id}/treat{_query(request, form)}", 303)


@router.post("/patients/{patient_id}/treat/search")
def search(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: ReadSession,
    now: Now,
    zone: Zone,
    patient_id: RowId,
) -> HTMLResponse:
    """Changes nothing, though it is a POST: a GET would write the words in a log."""
    patient = patient_for(session, me, patient_id, "record_visit")
    today = now.astimezone(zone).date()
    return treat_page(request, session, me, patient, today, form=form)


@router.post("/patients/{patient_id}/treat/favourite")
def favourite(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    site: SiteDep,
    patient_id: RowId,
) -> RedirectResponse:
    """Star an activity, or take the star away; it is one's own, for all patients."""
    patient = patient_for(session, me, patient_id)
    activity = activity_in(site.catalogue, form)
    star(session, me, activity.id, on=form.text("star") == "on")
    back = f"/patients/{patient.id}/treat{_query(request, form)}"
    return RedirectResponse(f"{back}#{activity.id}", 303)


def _query(request: Request, form: Form) -> str:
    """Back to the same deficit: a word of a closed list, or nothing."""
    only = form.text("deficit")
    known = only in deficit_words(site_of(request).catalogue)
    return f"?deficit={only}" if known else ""
