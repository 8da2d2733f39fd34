"""The list a day starts from: today's people first, each list in one's own order."""

from collections.abc import Collection
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.access import STUDENT, may
from app.clinical.note import NOTE_KINDS
from app.storage import own_list
from app.storage.held_requests import held_of
from app.storage.people import Person, actor
from app.storage.review import returned_to
from app.storage.safety import students_stops
from app.storage.todays_list import todays_list
from app.web.dates import day_words
from app.web.deps import (
    Form,
    FormDep,
    FormProblem,
    Now,
    ReadSession,
    SignedIn,
    SiteDep,
    WriteSession,
    Zone,
    page,
    site_of,
    wants_fragment,
)
from app.web.list_lines import groups_of, next_up, person_line
from app.web.note_links import note_path
from app.web.stops import stop_views
from app.web.students_path import path_of

router = APIRouter()


@router.get("/home")
def home(me: SignedIn) -> RedirectResponse:
    """Where a day starts: the supervisor's desk, or one's own list."""
    oversees = may(actor(me), "see_desk", None)
    return RedirectResponse("/desk" if oversees else "/caseload", 303)


@router.get("/caseload")
def show(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
) -> HTMLResponse:
    today = now.astimezone(zone).date()
    stops = students_stops(session, me)
    listed = _listed(request, session, me, now, zone)
    seen = {line.patient_id for line in listed["lines"]}
    return page(
        request,
        "caseload/list.html",
        **listed,
        path=path_of(session, me, site.catalogue, seen, today),
        may_add=may(actor(me), "add_patient", None),
        stops=stop_views(stops, me, site.catalogue, zone, today),
        from_page="caseload",
        held=len(held_of(session, me, now)),
        returned=_returned(session, me, seen, today),
    )


def _returned(
    session: Session, me: Person, seen: Collection[int], today: date
) -> list[tuple[str, str]]:
    """The notes a reader gave back to me: in words, and where they are worded anew.

    Only a student's note is read and given back.
    """
    if me.role != STUDENT:
        return []
    return [
        (
            f"{label}: {NOTE_KINDS[text.note or 'visit']}, "
            f"{day_words(visit.local_date, today)}",
            note_path(visit, text.note or "visit"),
        )
        for text, visit, patient_id, label in returned_to(session, me)
        if patient_id in seen
    ]


def _listed(
    request: Request, session: Session, me: Person, now: datetime, zone: ZoneInfo
) -> dict[str, Any]:
    """The lines, and the groups they stand in."""
    today, shelf = now.astimezone(zone).date(), site_of(request).catalogue
    rows = todays_list(session, me, today)
    lines = [person_line(shelf, row, today, zone) for row in rows]
    placed = any(row.row.placed for row in rows)
    return {
        "lines": lines,
        "groups": groups_of(lines, placed=placed),
        "next_up": next_up(lines),
    }


@router.get("/caseload/arrange")
def arrange(
    request: Request, me: SignedIn, session: ReadSession, now: Now, zone: Zone
) -> HTMLResponse:
    """The same list with its buttons: who is seen today, and in what order."""
    return _arrange_page(request, session, me, now, zone)


def _arrange_page(
    request: Request, session: Session, me: Person, now: datetime, zone: ZoneInfo
) -> HTMLResponse:
    return page(
        request,
        "caseload/arrange.html",
        "caseload/_arrange.html",
        **_listed(request, session, me, now, zone),
    )


@router.post("/caseload/arrange", response_model=None)
def move(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
) -> Response:
    """Put one beside another: said so, two taps of one button do what one does."""
    patient_id = _number(form, "patient")
    if form.text("before"):
        own_list.move(session, me, patient_id, before=_number(form, "before"))
    else:
        own_list.move(session, me, patient_id, after=_number(form, "after"))
    return _arranged(request, session, me, now, zone, patient_id)


@router.post("/caseload/today", response_model=None)
def tick(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
) -> Response:
    patient_id = _number(form, "patient")
    today = now.astimezone(zone).date()
    own_list.tick(session, me, patient_id, today, on=form.text("today") == "yes")
    return _arranged(request, session, me, now, zone, patient_id)


def _arranged(
    request: Request,
    session: Session,
    me: Person,
    now: datetime,
    zone: ZoneInfo,
    patient_id: int,
) -> Response:
    """The list again; without script, where it was touched."""
    if wants_fragment(request):
        return _arrange_page(request, session, me, now, zone)
    return RedirectResponse(f"/caseload/arrange#p{patient_id}", 303)


def _number(form: Form, name: str) -> int:
    typed = form.text(name)
    if not (typed.isascii() and typed.isdigit() and len(typed) < 10):
        raise FormProblem("This button was damaged. Open the list again.")
    return int(typed)
