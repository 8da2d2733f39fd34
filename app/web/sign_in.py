"""In and out of a site: sign-in, sign-out, and the demo's one-tap start page."""

import re
from datetime import datetime
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from sqlmodel import Session, col, select

from app.storage import people
from app.storage.database import read_session
from app.storage.errors import NotFound
from app.storage.people import Person
from app.web.deps import (
    FormDep,
    MaybeSignedIn,
    Now,
    PublicWriteSession,
    Site,
    SiteDep,
    WriteSession,
    cookie_name,
    over_tls,
    page,
    token_of,
)

public = APIRouter()
router = APIRouter()

HOME: Final = "/caseload"
NO_MATCH: Final = (
    "That handle and passphrase do not belong together. Nothing was changed: "
    "check both and try again."
)
#: Who may be tried in the demo, with what each would do first.
DEMO_ROLES: Final = {
    "therapist": "Walk a morning's round: test, read the score, see if it changed.",
    "supervisor": "See who is due and who needs a second pair of eyes.",
    "student": "Practise on invented people, free to get it wrong.",
}
#: A path of this site: a second slash or a backslash would name another host.
LOCAL_PATH = re.compile(r"/(?![/\\])[^\\\x00-\x20\x7f]*")


def local_path(wanted: str) -> str:
    """`wanted` if it stays on this site, else the start."""
    return wanted if LOCAL_PATH.fullmatch(wanted) else HOME


def _claimed(form: FormDep, site: SiteDep) -> Person | None:
    """Who the typed handle and passphrase belong to.

    Hashing takes memory and a core on purpose, so few run at a time, and none while the
    write lock is held.
    """
    with read_session(site.engine) as session:
        person = people.check_passphrase(
            session, form.text("handle"), form.get("passphrase", "")
        )
        if person is not None:
            session.expunge(person)
    return person


Claimed = Annotated[Person | None, Depends(_claimed, max_concurrency=2)]


@public.get("/")
def start(site: SiteDep, me: MaybeSignedIn) -> RedirectResponse:
    enter = site.settings.demo and me is None
    return RedirectResponse("/demo" if enter else HOME, 303)


@public.get("/sign-in")
def sign_in_page(request: Request, site: SiteDep, next: str = HOME) -> HTMLResponse:
    return _form_page(request, site, handle="", next=next)


@public.post("/sign-in", response_model=None)
def sign_in(
    request: Request,
    site: SiteDep,
    form: FormDep,
    claimed: Claimed,  # before the session: nobody waits for the hashing
    session: PublicWriteSession,
    now: Now,
) -> HTMLResponse | RedirectResponse:
    if claimed is None:
        return _form_page(
            request,
            site,
            handle=form.text("handle"),
            next=form.text("next"),
            wrong=NO_MATCH,
            status=422,
        )
    token = _change_over(session, request, claimed, now)
    return _signed_in(request, token, local_path(form.text("next")))


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


@public.post("/demo/enter")
def enter_demo(
    request: Request,
    site: SiteDep,
    form: FormDep,
    session: PublicWriteSession,
    now: Now,
) -> RedirectResponse:
    _demo_only(site)
    person = _demo_person(session, form.text("role"))
    token = _change_over(session, request, person, now)
    return _signed_in(request, token, HOME)


def _demo_only(site: Site) -> None:
    if not site.settings.demo:
        raise NotFound


def _demo_person(session: Session, role: str) -> Person:
    """The first invented person of a role; only roles the start page offers."""
    wanted = select(Person).where(
        Person.role == role, col(Person.is_demo), col(Person.active)
    )
    person = session.exec(wanted.order_by(col(Person.id))).first()
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
        anybody=anybody,
    )


def _change_over(
    session: Session, request: Request, person: Person, now: datetime
) -> str:
    """A new session's token; the one this browser had before ends."""
    people.end_sign_in(session, token_of(request) or "", now)
    return people.start_sign_in(session, person, now)


def _signed_in(request: Request, token: str, path: str) -> RedirectResponse:
    response = RedirectResponse(path, 303)
    response.set_cookie(
        cookie_name(request),
        token,
        secure=over_tls(request),
        httponly=True,
        samesite="lax",
        path="/",
    )
    return response
