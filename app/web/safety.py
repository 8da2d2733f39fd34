"""After "Stop - make safe": what happened and what was done, and who looks into it."""

import re
from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.clinical import make_safe
from app.storage.people import Person
from app.storage.safety import Stop, mark_seen, record_answers, stop_for
from app.storage.safety_rows import Of
from app.web.deps import (
    Form,
    FormDep,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    WriteSession,
    page,
    site_of,
    wants_fragment,
)
from app.web.safety_form import TYPED, read_answers
from app.web.stops import stop_page, stop_views

router = APIRouter()


@router.get("/trials/{trial_id}/safety")
def show(
    request: Request, me: SignedIn, session: ReadSession, trial_id: RowId
) -> HTMLResponse:
    stop = stop_for(session, me, trial_id)
    return _page(request, me, stop, "safety/_panel.html")


@router.get("/sets/{set_id}/safety")
def show_set(
    request: Request, me: SignedIn, session: ReadSession, set_id: RowId
) -> HTMLResponse:
    stop = stop_for(session, me, set_id, of="set")
    return _page(request, me, stop, "safety/_panel.html")


@router.post("/trials/{trial_id}/safety", response_model=None)
def record(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    trial_id: RowId,
) -> Response:
    return _record(request, form, me, session, now, trial_id, "trial")


@router.post("/sets/{set_id}/safety", response_model=None)
def record_of_set(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    set_id: RowId,
) -> Response:
    return _record(request, form, me, session, now, set_id, "set")


def _record(
    request: Request,
    form: Form,
    me: Person,
    session: Session,
    now: datetime,
    row_id: int,
    of: Of,
) -> Response:
    """Keep what can be used of the form, and say what could not."""
    stop = stop_for(session, me, row_id, "record_trial", of)
    said, errors = read_answers(form, stop.row.recorded_at, site_of(request).zone)
    base_id = _base(form)
    stop = record_answers(session, me, row_id, said, of=of, base_id=base_id, now=now)
    if not (errors or wants_fragment(request)):
        return RedirectResponse(f"{stop_page(stop)}#make-safe", 303)
    if not form.text("asked"):
        return _page(request, me, stop, "safety/_panel.html")
    # With what another has noted, the row is not the one this form shows.
    foreign = any(getattr(stop.answers, name) != said[name] for name in said)
    return _page(
        request, me, stop, "safety/_marks.html", form, errors,
        foreign=foreign, base=base_id if foreign else stop.event_id,
    )  # fmt: skip


@router.post("/trials/{trial_id}/seen", response_model=None)
def look_into(
    form: FormDep, me: SignedIn, session: WriteSession, now: Now, trial_id: RowId
) -> Response:
    return _seen(form, mark_seen(session, me, trial_id, now))


@router.post("/sets/{set_id}/seen", response_model=None)
def look_into_set(
    form: FormDep, me: SignedIn, session: WriteSession, now: Now, set_id: RowId
) -> Response:
    return _seen(form, mark_seen(session, me, set_id, now, "set"))


def _seen(form: Form, stop: Stop) -> Response:
    patient = f"/patients/{stop.patient_id}"
    back = {
        "caseload": "/caseload", "patient": patient,
        "home_sheet": f"{patient}/home-sheet",
    }  # fmt: skip
    return RedirectResponse(back.get(form.text("back"), stop_page(stop)), 303)


def _base(form: Form) -> int | None:
    """The row the form was filled from, when it says one."""
    typed = form.text("base")
    return int(typed) if re.fullmatch(r"[0-9]{1,9}", typed) else None


def _page(
    request: Request,
    me: Person,
    stop: Stop,
    part: str,
    form: Form | None = None,
    errors: dict[str, str] | None = None,
    **more: object,
) -> HTMLResponse:
    """The stop by itself, or the part of it that changed.

    A part answers 200 whatever it marks: the rest was saved, and nothing takes the
    place of a form in which somebody goes on typing.
    """
    site = site_of(request)
    today = site.clock().astimezone(site.zone).date()
    (view,) = stop_views([stop], me, site.catalogue, site.zone, today)
    return page(
        request,
        "safety/show.html",
        part,
        status=422 if errors and not wants_fragment(request) else 200,
        stop=view,
        safe=make_safe,
        noted=form,
        wrong=errors or {},
        typed_fields=TYPED,
        **more,
    )
