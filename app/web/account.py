"""One's own account: where one is signed in, this phone's PIN, the passphrase."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.guessing import why_not
from app.passphrases import LONGEST_PIN, SHORTEST, SHORTEST_PIN, why_not_pin
from app.storage import devices, people, staff
from app.storage.devices import Pairing, end_device, paired_device
from app.storage.errors import NotFound
from app.storage.people import Person, SignIn, hash_passphrase, sign_ins_of
from app.web.dates import moment_words
from app.web.deps import (
    FormDep,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    SiteDep,
    WriteSession,
    Zone,
    device_key,
    page,
    token_of,
)
from app.web.phones import called, names_of, phones_of
from app.web.pins import drop_key, keep_key
from app.web.reauth import PassphraseFault

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Place:
    """One browser that is signed in; `name` where it is a phone that was paired."""

    id: int
    name: str
    since: str
    used: str
    here: bool
    locked: bool


@router.get("/account")
def show(
    request: Request, me: SignedIn, session: ReadSession, now: Now, zone: Zone
) -> HTMLResponse:
    return _page(request, session, me, now, zone, {})


def _page(
    request: Request,
    session: Session,
    me: Person,
    now: datetime,
    zone: ZoneInfo,
    errors: dict[str, str],
) -> HTMLResponse:
    here = people.live_sign_in(session, token_of(request) or "", now)
    device = paired_device(session, me, device_key(request))
    phones = phones_of(session, me, zone, device.id if device else None)
    names = {phone.id: phone.name for phone in phones}
    return page(
        request,
        "account/show.html",
        status=422 if errors else 200,
        sign_ins=[
            _place(s, names, zone, here is not None and s.id == here[1].id)
            for s in sign_ins_of(session, me, now)
        ],
        phones=phones,
        pin_here=device is not None and device.has_pin,
        errors=errors,
        shortest=SHORTEST,
        shortest_pin=SHORTEST_PIN,
        longest_pin=LONGEST_PIN,
    )


def _place(
    sign_in: SignIn, names: Mapping[int, str], zone: ZoneInfo, here: bool
) -> Place:
    return Place(
        id=sign_in.id,
        name=names.get(sign_in.device_id or 0, ""),
        since=moment_words(sign_in.started_at, zone),
        used=moment_words(sign_in.last_seen_at, zone),
        here=here,
        locked=sign_in.locked_at is not None,
    )


@router.post("/account/sign-ins/{sign_in_id}/end")
def end_one(
    me: SignedIn, session: WriteSession, now: Now, sign_in_id: RowId
) -> RedirectResponse:
    """End one of one's own; another's is not found."""
    if not people.end_sign_ins(session, me, by=me, now=now, only=sign_in_id):
        raise NotFound
    return RedirectResponse("/account", 303)


@router.post("/account/sign-ins/end-others")
def end_others(
    request: Request, me: SignedIn, session: WriteSession, now: Now
) -> RedirectResponse:
    people.end_sign_ins(session, me, by=me, now=now, but=token_of(request) or "")
    return RedirectResponse("/account", 303)


def _new_hash(form: FormDep, me: SignedIn) -> str:
    typed = form.get("new_passphrase", "")
    return "" if why_not(typed, (me.name, me.handle)) else hash_passphrase(typed)


@router.post("/account/passphrase", response_model=None)
def change_passphrase(
    request: Request,
    form: FormDep,
    me: SignedIn,
    fault: PassphraseFault,
    hashed: Annotated[str, Depends(_new_hash, max_concurrency=2)],
    session: WriteSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
) -> Response:
    """The old one is asked for; every other sign-in and every PIN ends."""
    if site.settings.demo:
        raise NotFound
    wrong = why_not(form.get("new_passphrase", ""), (me.name, me.handle))
    errors = {"passphrase": fault} if fault else {}
    if wrong:
        errors["new_passphrase"] = wrong
    if errors:
        return _page(request, session, me, now, zone, errors)
    mine = session.get_one(Person, me.id)
    staff.set_passphrase(
        session, mine, passphrase_hash=hashed, by=me, now=now,
        but=token_of(request) or "",
    )  # fmt: skip
    return RedirectResponse("/account", 303)


def _pairing(form: FormDep) -> Pairing | None:
    pin = form.text("pin")
    return None if why_not_pin(pin) else devices.pair(pin)


@router.post("/account/pin", response_model=None)
def set_pin(
    request: Request,
    form: FormDep,
    me: SignedIn,
    fault: PassphraseFault,
    pairing: Annotated[Pairing | None, Depends(_pairing, max_concurrency=2)],
    session: WriteSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
) -> Response:
    """A PIN for this browser alone."""
    if site.settings.demo:
        raise NotFound
    errors = {"pin_passphrase": fault} if fault else {}
    wrong = why_not_pin(form.text("pin"))
    if wrong:
        errors["pin"] = wrong
    if errors or pairing is None:
        return _page(request, session, me, now, zone, errors)
    name = called(request.headers.get("user-agent", ""), names_of(session, me))
    device = devices.add_device(
        session, me, pairing, old_key=device_key(request), now=now, name=name
    )
    people.is_on(session, token_of(request) or "", device.id)
    response = RedirectResponse("/account", 303)
    keep_key(request, response, pairing.key)
    return response


@router.post("/account/devices/{device_id}/remove")
def remove_device(
    request: Request, me: SignedIn, session: WriteSession, now: Now, device_id: RowId
) -> RedirectResponse:
    """Its sign-ins end with it; here, that is one's own."""
    here = paired_device(session, me, device_key(request))
    end_device(session, me, device_id, now)
    response = RedirectResponse("/account", 303)
    if here is not None and here.id == device_id:
        drop_key(request, response)
    return response
