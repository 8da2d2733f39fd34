"""Links that work once: the site's first supervisor, and a passphrase of one's own.

Opening a link shows a form and changes nothing; sending the form uses the link up.
"""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.access import SUPERVISOR
from app.guessing import why_not
from app.passphrases import SHORTEST
from app.storage import people, staff
from app.storage.database import read_session
from app.storage.errors import HandleTaken
from app.storage.links import LinkUsed, OneTimeLink, Purpose, open_link, use_link
from app.storage.people import Person, hash_passphrase
from app.web.deps import Form, FormDep, Now, PublicWriteSession, SiteDep, page
from app.web.person_form import about, passphrase_errors, person_errors

public = APIRouter()


def _hashed(form: FormDep, site: SiteDep, now: Now, token: str) -> str:
    """The new passphrase's hash, when it may be used at all; empty otherwise.

    Only for who holds a link that works: hashing for anybody would keep a core busy.
    """
    with read_session(site.engine) as session:
        open_link(session, token, now)
    typed = form.get("passphrase", "")
    return "" if why_not(typed, about(form)) else hash_passphrase(typed)


#: Before the writing session, so that nobody waits for the hashing.
Hashed = Annotated[str, Depends(_hashed, max_concurrency=2)]


def _link(session: Session, token: str, purpose: Purpose, now: datetime) -> OneTimeLink:
    link = open_link(session, token, now)
    if link.purpose != purpose:
        raise LinkUsed
    return link


@public.get("/set-up/{token}")
def show_setup(request: Request, site: SiteDep, now: Now, token: str) -> HTMLResponse:
    with read_session(site.engine) as session:
        _link(session, token, "setup", now)
    return _page(request, "setup", Form(), {})


@public.post("/set-up/{token}", response_model=None)
def setup(
    request: Request,
    form: FormDep,
    hashed: Hashed,
    session: PublicWriteSession,
    now: Now,
    token: str,
) -> Response:
    """Make the first supervisor. Whoever comes second finds the link used."""
    link = _link(session, token, "setup", now)
    form = Form([*form.pairs, ("role", SUPERVISOR)])
    errors = person_errors(form) | passphrase_errors(form, about(form))
    if errors:
        return _page(request, "setup", form, errors)
    try:
        people.add_person(
            session,
            handle=form.text("handle"),
            name=form.text("name"),
            role=SUPERVISOR,
            passphrase_hash=hashed,
            now=now,
        )
    except HandleTaken as taken:
        return _page(request, "setup", form, {"handle": taken.sentence})
    use_link(session, link, now)
    return RedirectResponse("/sign-in", 303)


@public.get("/join/{token}")
def show_join(request: Request, site: SiteDep, now: Now, token: str) -> HTMLResponse:
    with read_session(site.engine) as session:
        person = _person_of(session, _link(session, token, "passphrase", now))
        known = Form([("name", person.name), ("handle", person.handle)])
    return _page(request, "join", known, {})


@public.post("/join/{token}", response_model=None)
def join(
    request: Request,
    form: FormDep,
    hashed: Hashed,
    session: PublicWriteSession,
    now: Now,
    token: str,
) -> Response:
    """Set the passphrase of who the link is for."""
    link = _link(session, token, "passphrase", now)
    person = _person_of(session, link)
    known = Form([*form.pairs, ("name", person.name), ("handle", person.handle)])
    errors = passphrase_errors(known, (person.name, person.handle))
    if errors or not hashed:
        return _page(request, "join", known, errors)
    use_link(session, link, now)
    staff.set_passphrase(session, person, passphrase_hash=hashed, by=person, now=now)
    return RedirectResponse("/sign-in", 303)


def _person_of(session: Session, link: OneTimeLink) -> Person:
    found = session.get(Person, link.person_id)
    if found is None or not found.active:
        raise LinkUsed
    return found


def _page(
    request: Request, which: str, typed: Form, errors: dict[str, str]
) -> HTMLResponse:
    return page(
        request,
        f"sign_in/{which}.html",
        status=422 if errors else 200,
        typed=typed,
        errors=errors,
        shortest=SHORTEST,
    )
