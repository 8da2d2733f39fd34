"""Links that work once: the site's first supervisor, and a passphrase of one's own.

Opening a link shows a form and changes nothing; sending the form uses the link up.
"""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from app.access import SUPERVISOR
from app.passphrases import LONGEST, SHORTEST, why_not
from app.storage import people, staff
from app.storage.database import read_session
from app.storage.errors import HandleTaken, NotFound
from app.storage.links import USED, OneTimeLink, open_link, use_link
from app.storage.people import Person, hash_passphrase
from app.web.deps import Form, FormDep, Now, PublicWriteSession, Site, SiteDep, page
from app.web.person_form import about, passphrase_errors, person_errors

public = APIRouter()


def _hashed(form: FormDep) -> str:
    """The new passphrase's hash, when it may be used at all; empty otherwise."""
    typed = form.get("passphrase", "")
    return "" if why_not(typed, about(form)) else hash_passphrase(typed)


#: Before the writing session, so that nobody waits for the hashing.
Hashed = Annotated[str, Depends(_hashed, max_concurrency=2)]


def _link(site: Site, token: str, purpose: str, now: datetime) -> OneTimeLink:
    with read_session(site.engine) as session:
        link = open_link(session, token, now)
        session.expunge(link)
    if link.purpose != purpose:
        raise NotFound(USED)
    return link


@public.get("/set-up/{token}")
def show_setup(request: Request, site: SiteDep, now: Now, token: str) -> HTMLResponse:
    _link(site, token, "setup", now)
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
    link = open_link(session, token, now)
    if link.purpose != "setup":
        raise NotFound(USED)
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
    link = _link(site, token, "passphrase", now)
    with read_session(site.engine) as session:
        person = _person(session.get(Person, link.person_id))
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
    link = open_link(session, token, now)
    person = _person(session.get(Person, link.person_id or 0))
    known = Form([*form.pairs, ("name", person.name), ("handle", person.handle)])
    errors = passphrase_errors(known, (person.name, person.handle))
    if errors or not hashed:
        return _page(request, "join", known, errors)
    staff.set_passphrase(session, person, passphrase_hash=hashed, by=person, now=now)
    use_link(session, link, now)
    return RedirectResponse("/sign-in", 303)


def _person(found: Person | None) -> Person:
    if found is None or not found.active:
        raise NotFound(USED)
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
        longest=LONGEST,
    )
