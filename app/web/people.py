"""The people of a site, for its supervisors: add, change, switch off, give a link.

What lets somebody in, or lets them do more, asks for the supervisor's own passphrase
again: a phone left open must not make its finder anybody else. Taking rights away asks
for nothing, since it may be urgent. (Common practice; OWASP's advice on sensitive
changes to accounts, from memory.)
"""

from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.access import ROLES
from app.storage import devices, staff
from app.storage import people as people_rows
from app.storage.errors import HandleTaken, StaleVersion, StorageProblem
from app.storage.links import end_links
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
    over_tls,
    page,
    site_of,
)
from app.web.person_form import person_errors
from app.web.phones import phones_of
from app.web.reauth import PassphraseFault
from app.web.versions import version_in

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
    request: Request,
    form: FormDep,
    me: SignedIn,
    fault: PassphraseFault,
    session: WriteSession,
    now: Now,
) -> Response:
    """Add somebody and show the link by which they choose their passphrase."""
    staff.everybody(session, me)
    errors = person_errors(form) | _again(fault)
    if errors:
        return _new_page(request, form, errors)
    try:
        person = _added(session, me, form, now)
    except HandleTaken as taken:
        return _new_page(request, form, {"handle": taken.sentence})
    return _link_page(request, session, me, person, now)


def _again(fault: str) -> dict[str, str]:
    return {"passphrase": fault} if fault else {}


def _added(session: Session, me: Person, form: Form, now: datetime) -> Person:
    """A form sent twice adds one person, and its second answer has a link too."""
    handle, name, role = (form.text(key) for key in ("handle", "name", "role"))
    before = staff.added_just_so(session, me, handle=handle, name=name, role=role)
    return before or people_rows.add_person(
        session,
        handle=handle,
        name=name,
        role=role,
        passphrase_hash=people_rows.UNSET,
        is_demo=me.is_demo,
        by=me,
        now=now,
    )


def _link_page(
    request: Request, session: Session, me: Person, person: Person, now: datetime
) -> HTMLResponse:
    """Shown once, in the answer itself: no later address brings it back."""
    token = staff.give_link(session, person, by=me, now=now)
    scheme = "https" if over_tls(request) else "http"
    link = f"{scheme}://{request.url.netloc}/join/{token}"
    return page(request, "people/link.html", person=person, link=link)


@router.get("/people/{person_id}")
def show(
    request: Request, me: SignedIn, session: ReadSession, person_id: RowId
) -> HTMLResponse:
    person = staff.managed(session, me, person_id)
    return _show_page(request, session, me, person)


@router.post("/people/{person_id}/devices/{device_id}/remove")
def remove_phone(
    me: SignedIn, session: WriteSession, now: Now, person_id: RowId, device_id: RowId
) -> RedirectResponse:
    """A phone of theirs that was lost, or that they left behind."""
    person = staff.managed(session, me, person_id)
    devices.end_device(session, person, device_id, now, by=me)
    return RedirectResponse(f"/people/{person.id}", 303)


def _known(person: Person) -> Form:
    return Form([("name", person.name), ("role", person.role)])


def _show_page(
    request: Request,
    session: Session,
    me: Person,
    person: Person,
    typed: Form | None = None,
    errors: dict[str, str] | None = None,
    *,
    sent: str = "change",
    wrong: str = "",
) -> HTMLResponse:
    """`sent`: the form of the page that the errors belong to."""
    return page(
        request,
        "people/show.html",
        status=422 if errors else 409 if wrong else 200,
        person=person,
        typed=typed or _known(person),
        errors={sent: errors or {}},
        wrong=wrong,
        holds=staff.held_by(session, me, person),
        phones=phones_of(session, person, site_of(request).zone),
    )


@router.post("/people/{person_id}", response_model=None)
def change(
    request: Request,
    form: FormDep,
    me: SignedIn,
    fault: PassphraseFault,
    session: WriteSession,
    now: Now,
    person_id: RowId,
) -> Response:
    person = staff.managed(session, me, person_id)
    given = Form([*form.pairs, ("handle", person.handle)])
    errors = person_errors(given) | _again(fault)
    if errors:
        return _show_page(request, session, me, person, form, errors)
    try:
        staff.rename(
            session,
            me,
            person,
            name=form.text("name"),
            role=form.text("role"),
            version=version_in(form),
            now=now,
        )
    except (StaleVersion, staff.LastSupervisor) as refused:
        return _refused(request, session, me, person, form, refused)
    return RedirectResponse(f"/people/{person.id}", 303)


def _refused(
    request: Request,
    session: Session,
    me: Person,
    person: Person,
    form: Form | None,
    refused: StorageProblem,
) -> HTMLResponse:
    """What they typed stays; what is stored now is said beside it."""
    wrong = refused.sentence
    if isinstance(refused, StaleVersion):
        wrong += f" It is now: {person.name}, {person.role}."
    return _show_page(request, session, me, person, form, wrong=wrong)


@router.post("/people/{person_id}/active", response_model=None)
def switch(
    request: Request,
    form: FormDep,
    me: SignedIn,
    fault: PassphraseFault,
    session: WriteSession,
    now: Now,
    person_id: RowId,
) -> Response:
    """Switch somebody off or on again."""
    person = staff.managed(session, me, person_id)
    on = form.text("active") == "yes"
    if on and fault:
        errors = _again(fault)
        return _show_page(request, session, me, person, errors=errors, sent="active")
    deed = staff.switch_on if on else staff.switch_off
    try:
        deed(session, me, person, version=version_in(form), now=now)
    except (StaleVersion, staff.LastSupervisor) as refused:
        return _refused(request, session, me, person, None, refused)
    return RedirectResponse(f"/people/{person.id}", 303)


@router.post("/people/{person_id}/link")
def give_link(
    request: Request,
    me: SignedIn,
    fault: PassphraseFault,
    session: WriteSession,
    now: Now,
    person_id: RowId,
) -> HTMLResponse:
    """A new link to choose a passphrase; the one before no longer works."""
    person = staff.managed(session, me, person_id)
    if fault:
        errors = _again(fault)
        return _show_page(request, session, me, person, errors=errors, sent="link")
    try:
        return _link_page(request, session, me, person, now)
    except staff.SwitchedOff as refused:
        return _refused(request, session, me, person, None, refused)


@router.post("/people/{person_id}/sign-ins/end")
def end_sign_ins(
    me: SignedIn, session: WriteSession, now: Now, person_id: RowId
) -> RedirectResponse:
    """Nor may a link that was made for a phone let anybody in again."""
    person = staff.managed(session, me, person_id)
    people_rows.end_sign_ins(session, person, by=me, now=now)
    end_links(session, person, now, ("pair",))
    return RedirectResponse(f"/people/{person.id}", 303)
