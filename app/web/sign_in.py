"""In and out of a site: sign-in, sign-out, the lock, and the demo's start page.

A script is answered by status alone: 204 done, 422 with a sentence, 401 signed out.
"""

import re
from datetime import datetime
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session, col, select

from app.storage import people
from app.storage.database import read_session
from app.storage.devices import known_device
from app.storage.errors import NotFound
from app.storage.held_requests import held_of
from app.storage.people import Person
from app.web.deps import (
    PACK_OF,
    FormDep,
    MaybeSignedIn,
    Now,
    PublicWriteSession,
    SignedIn,
    Site,
    SiteDep,
    WriteSession,
    by_script,
    cookie_name,
    device_key,
    is_locked,
    over_tls,
    pack_stamp,
    page,
    token_of,
)
from app.web.entering import change_over, with_cookie
from app.web.errors import lock_page
from app.web.guessing import MustWait, at_sign_in, whose
from app.web.pins import unlock_fault

public = APIRouter()
router = APIRouter()

HOME: Final = "/home"
NO_MATCH: Final = (
    "That handle and passphrase do not belong together. Nothing was changed: "
    "check both and try again."
)
#: Who may be tried in the demo, with what each would do first.
DEMO_ROLES: Final = {
    "therapist": "Walk a morning's round: test, read the score, see if it changed.",
    "supervisor": "See who is due and who needs a second pair of eyes.",
    "student": "Practise on invented people, free to get it wrong.",
    "new student": "Led from the first trial to the first test signed off.",
}
#: A path of this site: a second slash or a backslash would name another host.
LOCAL_PATH = re.compile(r"/(?![/\\])[^\\\x00-\x20\x7f]*")


def local_path(wanted: str) -> str:
    """`wanted` if it stays on this site, else the start."""
    return wanted if LOCAL_PATH.fullmatch(wanted) else HOME


def _claimed(request: Request, form: FormDep, now: Now) -> Person | str:
    """Who the typed handle and passphrase belong to, or why nobody.

    Hashing takes memory and a core on purpose, so few run at a time, and none while the
    write lock is held.
    """
    handle, passphrase = form.text("handle"), form.get("passphrase", "")
    try:
        tried = at_sign_in(request, handle)
        return whose(request, tried, handle, passphrase, now) or NO_MATCH
    except MustWait as wait:
        return wait.sentence


Claimed = Annotated[Person | str, Depends(_claimed, max_concurrency=2)]


@public.get("/")
def start(site: SiteDep, me: MaybeSignedIn) -> RedirectResponse:
    enter = site.settings.demo and me is None
    return RedirectResponse("/demo" if enter else HOME, 303)


@public.get("/session")
async def session_state(request: Request, me: MaybeSignedIn) -> Response:
    """Whether this browser is signed in, and in a header whether that is locked."""
    told = {"x-tapeline-locked": "yes"} if is_locked(request) else {}
    return Response(status_code=204 if me else 401, headers=told)


@public.get("/sign-in")
def sign_in_page(
    request: Request, site: SiteDep, next: str = HOME, held: str = ""
) -> HTMLResponse:
    return _form_page(request, site, handle="", next=next, held=held)


@public.post("/sign-in", response_model=None)
def sign_in(
    request: Request,
    site: SiteDep,
    form: FormDep,
    claimed: Claimed,  # before the session: nobody waits for the hashing
    session: PublicWriteSession,
    now: Now,
) -> Response:
    if isinstance(claimed, str) and by_script(request):
        return _wrong(claimed)
    if isinstance(claimed, str):
        return _form_page(
            request,
            site,
            handle=form.text("handle"),
            next=form.text("next"),
            wrong=claimed,
            status=422,
        )
    token = change_over(session, request, claimed, now)
    if by_script(request):
        return with_cookie(request, Response(status_code=204), token)
    path = _onward(session, claimed, form.text("next"), now)
    return _signed_in(request, token, path)


def _wrong(sentence: str, headers: dict[str, str] | None = None) -> HTMLResponse:
    """For a dialog over an untouched page."""
    said = f'<p class="error" role="alert">{sentence}</p>'
    return HTMLResponse(said, 422, headers)


def _onward(session: Session, person: Person, next: str, now: datetime) -> str:
    """Where to go: what was not saved yet comes before everything else."""
    return "/held" if held_of(session, person, now) else local_path(next)


@router.post("/lock", response_model=None)
def lock(request: Request, site: SiteDep, session: WriteSession, now: Now) -> Response:
    if site.settings.demo:  # where nobody has a passphrase to unlock with
        raise NotFound
    people.lock(session, token_of(request) or "", now)
    return Response(status_code=204) if by_script(request) else _go(HOME)


UnlockFault = Annotated[str, Depends(unlock_fault, max_concurrency=2)]


@router.post("/unlock", response_model=None)
def unlock(
    request: Request,
    me: SignedIn,
    form: FormDep,
    fault: UnlockFault,
    session: WriteSession,
    now: Now,
) -> Response:
    if not fault:
        people.unlock(session, token_of(request) or "", now)
        if by_script(request):
            return Response(status_code=204)
        return _go(_onward(session, me, form.text("next"), now))
    # The fifth wrong PIN has just ended it, and its day pack with it.
    request.state.has_pin = known_device(session, me, device_key(request)) is not None
    if by_script(request):
        return _wrong(fault, {PACK_OF: pack_stamp(request)})
    next = local_path(form.text("next"))
    return lock_page(request, next=next, wrong=fault, by_pin="pin" in form, status=422)


@router.post("/sign-out")
def sign_out(
    request: Request, site: SiteDep, session: WriteSession, now: Now
) -> RedirectResponse:
    people.end_sign_in(session, token_of(request) or "", now)
    response = RedirectResponse("/demo" if site.settings.demo else "/sign-in", 303)
    response.delete_cookie(
        cookie_name(request), secure=over_tls(request), httponly=True, samesite="lax"
    )
    return response


@public.get("/demo")
def demo_page(request: Request, site: SiteDep) -> HTMLResponse:
    _demo_only(site)
    return page(request, "sign_in/demo.html", roles=DEMO_ROLES)


@public.post("/demo/enter", response_model=None)
def enter_demo(
    request: Request,
    site: SiteDep,
    form: FormDep,
    session: PublicWriteSession,
    now: Now,
) -> Response:
    _demo_only(site)
    person = _demo_person(session, form.text("role"))
    token = change_over(session, request, person, now)
    return _signed_in(request, token, HOME)


def _demo_only(site: Site) -> None:
    if not site.settings.demo:
        raise NotFound


def _demo_person(session: Session, role: str) -> Person:
    """The first invented person of a role, or who is new in it; only those offered."""
    wanted = select(Person).where(
        Person.role == role.removeprefix("new "),
        col(Person.is_demo),
        col(Person.active),
    )
    found = session.exec(wanted.order_by(col(Person.id))).all()
    person = found[-1 if role.startswith("new ") else 0] if found else None
    if role not in DEMO_ROLES or person is None:
        raise NotFound
    return person


def _form_page(
    request: Request,
    site: Site,
    *,
    handle: str,
    next: str,
    wrong: str = "",
    held: str = "",
    status: int = 200,
) -> HTMLResponse:
    with read_session(site.engine) as session:
        anybody = people.any_people(session)
    return page(
        request,
        "sign_in/form.html",
        status=status,
        handle=handle,
        next=local_path(next),
        wrong=wrong,
        held=held,
        anybody=anybody,
    )


def _go(path: str) -> RedirectResponse:
    return RedirectResponse(path, 303)


def _signed_in(request: Request, token: str, path: str) -> Response:
    return with_cookie(request, _go(path), token)
