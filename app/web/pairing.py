"""Pairing a phone: a link that works once, shown as a picture on another screen.

Opening the link shows whom it signs in and changes nothing, so that a camera may look
at it first. Sending its form uses it up, signs the phone in, and asks for a PIN.
"""

from datetime import datetime, timedelta
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.passphrases import LONGEST_PIN, SHORTEST_PIN, why_not_pin
from app.storage import devices, people
from app.storage.database import read_session
from app.storage.devices import LONGEST_NAME, Device, Pairing
from app.storage.links import (
    LASTS,
    LinkUnknown,
    LinkUsed,
    OneTimeLink,
    make_link,
    open_link,
    use_link,
)
from app.storage.people import Person
from app.web.dates import moment_words
from app.web.deps import (
    FormDep,
    Now,
    PublicWriteSession,
    ReadSession,
    SignedIn,
    SiteDep,
    WriteSession,
    Zone,
    device_key,
    in_the_open,
    over_tls,
    page,
    token_of,
)
from app.web.entering import change_over, with_cookie
from app.web.errors import UNCHANGED, Problem, Refused
from app.web.guessing import MustWait, at_link, count, must_not_wait
from app.web.phone_address import (
    ENCRYPTED_START,
    NOT_ENCRYPTED,
    doubt,
    for_phones,
)
from app.web.phones import called, named, names_of
from app.web.pins import keep_key
from app.web.qr import picture
from app.web.reauth import PassphraseFault

public = APIRouter()
router = APIRouter()

MINUTES: Final = LASTS["pair"] // timedelta(minutes=1)
HOME, FIRST_PIN, ACCOUNT = "/home", "/account/phone", "/account"
OPEN_AGAIN: Final = "The link stays good for its minutes: open it again after that."


class PairingOver(LinkUsed):
    """The same, with what to do on a phone that cannot be paired this way."""

    sentence = (
        f"It has been used, is more than {MINUTES} minutes old, or was replaced by a "
        "newer one."
    )
    next = (
        "On the computer, open Your account, choose Pair a phone, and scan the new "
        "picture. If this phone is paired already, go on from the start."
    )

    def __init__(self, *, guessed: bool = False) -> None:
        super().__init__()
        self.guessed = guessed


@router.get("/account/pair")
def ask_for_link(request: Request, _me: SignedIn) -> HTMLResponse:
    return page(request, "pair/start.html", errors={})


@router.post("/account/pair")
def show_link(
    request: Request,
    me: SignedIn,
    fault: PassphraseFault,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
) -> HTMLResponse:
    """Make a link and show it, in the answer itself: no later address brings it back.

    It lets a phone in, so it asks for the passphrase, as every way in does.
    """
    names = ("pair/start.html", "pair/_start.html")
    if fault:
        return page(request, *names, status=422, errors={"passphrase": fault})
    mine = session.get_one(Person, me.id)
    token = make_link(session, "pair", person=mine, by=mine, now=now)
    scheme = "https" if over_tls(request) else "http"
    here = f"{scheme}://{request.url.netloc}/pair/{token}"
    link = for_phones(site.settings, here, site.lan)
    return page(
        request,
        *names,
        errors={},
        link=link,
        picture=picture(link),
        until=moment_words(now + LASTS["pair"], zone).partition(", ")[2],
        doubt=doubt(site.settings, link, site.lan),
        trust=site.lan.trust_urls[:1] if site.lan else (),
        # The demo has no such door, and a site that has one was started so already.
        start="" if site.lan or site.settings.demo else ENCRYPTED_START,
    )


def _checked(request: Request, site: SiteDep, now: Now, token: str) -> None:
    """Raise PairingOver. Guesses wait as at sign-in, and are counted with those."""
    tried = at_link(request)
    try:
        must_not_wait(site, tried, now)
    except MustWait as wait:
        raise Refused(
            Problem(429, "Wait a little", wait.sentence, UNCHANGED, OPEN_AGAIN, None)
        ) from wait
    try:
        with read_session(site.engine) as session:
            _opened(session, token, now)
    except PairingOver as over:
        if over.guessed:
            count(site, tried, right=False, now=now)
        raise


def _opened(session: Session, token: str, now: datetime) -> tuple[OneTimeLink, Person]:
    """The link and whom it signs in; PairingOver."""
    try:
        link = open_link(session, token, now)
    except LinkUsed as used:
        raise PairingOver(guessed=isinstance(used, LinkUnknown)) from used
    person = session.get(Person, link.person_id)
    if link.purpose != "pair" or person is None or not person.active:
        raise PairingOver
    return link, person


@public.get("/pair/{token}", dependencies=[Depends(_checked)])
def show(request: Request, site: SiteDep, now: Now, token: str) -> HTMLResponse:
    with read_session(site.engine) as session:
        _, person = _opened(session, token, now)
        here = people.live_sign_in(session, token_of(request) or "", now)
        other = here[0].name if here and here[0].id != person.id else ""
        name = called(_agent(request), names_of(session, person))
    return page(
        request,
        "pair/ask.html",
        person=person,
        other=other,
        name=name,
        longest=LONGEST_NAME,
        host=request.url.hostname,
        doubt=NOT_ENCRYPTED if in_the_open(request) else "",
    )


def _agent(request: Request) -> str:
    return request.headers.get("user-agent", "")


@public.post("/pair/{token}", dependencies=[Depends(_checked)])
def pair(
    request: Request,
    form: FormDep,
    site: SiteDep,
    session: PublicWriteSession,
    now: Now,
    token: str,
) -> Response:
    """Use the link up and sign the phone in. Who comes second finds the link used."""
    link, person = _opened(session, token, now)
    use_link(session, link, now)
    own = called(_agent(request), names_of(session, person))
    device, key = devices.pair_phone(
        session,
        person,
        name=named(form.text("name"), own),
        old_key=device_key(request),
        now=now,
    )
    entered = change_over(session, request, person, now, device)
    # The demo locks nobody out, so there is nothing that a PIN would open.
    response = RedirectResponse(HOME if site.settings.demo else FIRST_PIN, 303)
    keep_key(request, response, key)
    return with_cookie(request, response, entered)


def _new_phone(
    session: Session, request: Request, me: Person, now: datetime
) -> Device | None:
    """This phone, when it was paired just now and has no PIN yet."""
    device = devices.paired_device(session, me, device_key(request))
    return device if device is not None and device.takes_first_pin(now) else None


@router.get(FIRST_PIN, response_model=None)
def ask_for_pin(
    request: Request, me: SignedIn, session: ReadSession, now: Now
) -> Response:
    device = _new_phone(session, request, me, now)
    return _pin_page(request, device, {}) if device else RedirectResponse(ACCOUNT, 303)


def _pin_page(request: Request, device: Device, errors: dict[str, str]) -> HTMLResponse:
    return page(
        request,
        "pair/pin.html",
        status=422 if errors else 200,
        phone=device.name,
        errors=errors,
        shortest=SHORTEST_PIN,
        longest=LONGEST_PIN,
    )


def _hashed(
    request: Request, form: FormDep, me: SignedIn, site: SiteDep, now: Now
) -> Pairing | None:
    """Only for who may set one here: hashing for anybody would keep a core busy."""
    with read_session(site.engine) as session:
        device = _new_phone(session, request, me, now)
    pin = form.text("pin")
    return devices.pair(pin) if device and not why_not_pin(pin) else None


@router.post(FIRST_PIN, response_model=None)
def set_first_pin(
    request: Request,
    form: FormDep,
    me: SignedIn,
    hashed: Annotated[Pairing | None, Depends(_hashed, max_concurrency=2)],
    session: WriteSession,
    now: Now,
) -> Response:
    """A PIN without the passphrase, on a phone paired minutes ago and never since."""
    old = device_key(request)
    device = _new_phone(session, request, me, now)
    if device is None:
        return RedirectResponse(ACCOUNT, 303)
    if hashed is None:
        return _pin_page(request, device, {"pin": why_not_pin(form.text("pin"))})
    devices.add_device(session, me, hashed, old_key=old, now=now)
    response = RedirectResponse(HOME, 303)
    keep_key(request, response, hashed.key)
    return response
