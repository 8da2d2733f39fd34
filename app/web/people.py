"""The people of a site, for its supervisors: add, change, switch off, give a link."""

from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.access import ROLES
from app.storage import people as people_rows
from app.storage import staff
from app.storage.errors import HandleTaken, StaleVersion, StorageProblem
from app.storage.links import make_link
from app.storage.people import Person
from app.web.dates import moment_words
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
from app.web.person_form import person_errors

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Line:
    """Somebody on the list."""

    id: int
    name: str
    handle: str
    role: str
    active: bool
    seen: str


@router.get("/people")
def everybody(
    request: Request, me: SignedIn, session: ReadSession, zone: Zone
) -> HTMLResponse:
    lines = [
        Line(
            p.id, p.name, p.handle, p.role, p.active,
            moment_words(p.last_seen_at, zone) if p.last_seen_at else "never",
        )
        for p in staff.everybody(session, me)
    ]  # fmt: skip
    return page(request, "people/list.html", lines=lines)


@router.get("/people/new")
def new(request: Request, me: SignedIn, session: ReadSession) -> HTMLResponse:
    staff.everybody(session, me)
    return _new_page(request, Form(), {})


def _new_page(request: Request, typed: Form, errors: dict[str, str]) -> HTMLResponse:
    status = 422 if errors else 200
    return page(
        request, "people/new.html", status=status, typed=typed, errors=errors,
        roles=ROLES,
    )  # fmt: skip


@router.post("/people/new", response_model=None)
def add(
    request: Request, form: FormDep, me: SignedIn, session: WriteSession, now: Now
) -> Response:
    """Add somebody and show the link by which they choose their passphrase."""
    staff.everybody(session, me)
    errors = person_errors(form)
    if errors:
        return _new_page(request, form, errors)
    try:
        person = people_rows.add_person(
            session,
            handle=form.text("handle"),
            name=form.text("name"),
            role=form.text("role"),
            passphrase_hash=people_rows.UNSET,
            is_demo=me.is_demo,
            by=me,
            now=now,
        )
    except HandleTaken as taken:
        return _new_page(request, form, {"handle": taken.sentence})
    return _link_page(request, session, me, person, now)


def _link_page(
    request: Request, session: Session, me: Person, person: Person, now: datetime
) -> HTMLResponse:
    """Shown once, in the answer itself: no later address brings it back."""
    token = make_link(session, "passphrase", person=person, by=me, now=now)
    base = str(request.base_url).rstrip("/")
    return page(request, "people/link.html", person=person, link=f"{base}/join/{token}")


@router.get("/people/{person_id}")
def show(
    request: Request, me: SignedIn, session: ReadSession, person_id: RowId
) -> HTMLResponse:
    person = staff.managed(session, me, person_id)
    known = Form([("name", person.name), ("role", person.role)])
    return _show_page(request, session, person, known, {})


def _show_page(
    request: Request,
    session: Session,
    person: Person,
    typed: Form,
    errors: dict[str, str],
    wrong: str = "",
) -> HTMLResponse:
    return page(
        request,
        "people/show.html",
        status=422 if errors else 409 if wrong else 200,
        person=person,
        typed=typed,
        errors=errors,
        wrong=wrong,
        roles=ROLES,
        holds=staff.held_by(session, person),
    )


@router.post("/people/{person_id}", response_model=None)
def change(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    person_id: RowId,
) -> Response:
    person = staff.managed(session, me, person_id)
    given = Form([*form.pairs, ("handle", person.handle)])
    errors = person_errors(given)
    if errors:
        return _show_page(request, session, person, form, errors)
    try:
        staff.rename(
            session,
            me,
            person,
            name=form.text("name"),
            role=form.text("role"),
            version=_version(form),
            now=now,
        )
    except (StaleVersion, staff.LastSupervisor) as refused:
        return _refused(request, session, person, form, refused)
    return RedirectResponse(f"/people/{person.id}", 303)


def _version(form: Form) -> int:
    text = form.text("version")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 9 else 0


def _refused(
    request: Request,
    session: Session,
    person: Person,
    form: Form,
    refused: StorageProblem,
) -> HTMLResponse:
    """What they typed stays; what is stored now is said beside it."""
    wrong = refused.sentence
    if isinstance(refused, StaleVersion):
        wrong += f" It is now: {person.name}, {person.role}."
    return _show_page(request, session, person, form, {}, wrong)


@router.post("/people/{person_id}/active", response_model=None)
def switch(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    person_id: RowId,
) -> Response:
    """Switch somebody off or on again."""
    person = staff.managed(session, me, person_id)
    deed = staff.switch_on if form.text("active") == "yes" else staff.switch_off
    try:
        deed(session, me, person, version=_version(form), now=now)
    except (StaleVersion, staff.LastSupervisor) as refused:
        known = Form([("name", person.name), ("role", person.role)])
        return _refused(request, session, person, known, refused)
    return RedirectResponse(f"/people/{person.id}", 303)


@router.post("/people/{person_id}/link")
def give_link(
    request: Request, me: SignedIn, session: WriteSession, now: Now, person_id: RowId
) -> HTMLResponse:
    """A new link to choose a passphrase; the one before no longer works."""
    person = staff.managed(session, me, person_id)
    return _link_page(request, session, me, person, now)


@router.post("/people/{person_id}/sign-ins/end")
def end_sign_ins(
    me: SignedIn, session: WriteSession, now: Now, person_id: RowId
) -> RedirectResponse:
    person = staff.managed(session, me, person_id)
    people_rows.end_sign_ins(session, person, by=me, now=now)
    return RedirectResponse(f"/people/{person.id}", 303)
