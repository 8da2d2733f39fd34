"""The day pack: today's people on one phone, encrypted, for homes without signal.

The server gives its contents once, to a script, for the PIN of this phone; the phone
encrypts them (static/js/pack_seal.js) and wipes them at sign-out, whenever a page says
that the sign-in or the PIN is another, and when the browser next runs anything of this
site after the night, from which on they open for nobody. Off unless a site asks for it.
"""

from datetime import datetime, time, timedelta
from typing import Annotated, Final
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from sqlmodel import Session

from app.access import Subject, may
from app.storage import audit
from app.storage.devices import known_device
from app.storage.errors import NotAllowed, NotFound
from app.storage.patients import Patient, patient_for
from app.storage.people import Person, actor
from app.storage.todays_list import todays_list
from app.web.deps import (
    PACK_OF,
    FormDep,
    Now,
    ReadSession,
    SignedIn,
    SiteDep,
    WriteSession,
    Zone,
    device_key,
    pack_stamp,
    page,
)
from app.web.pack_content import person_of
from app.web.pins import NO_PIN, unlock_fault

NOBODY: Final = "Nobody is ticked for today. Tick who is seen today, then come back."
NO_TYPED_PIN: Final = "Type the PIN of this phone."


async def _switched_on(site: SiteDep) -> None:
    if site.settings.day_pack == "off":
        raise NotFound


router = APIRouter(dependencies=[Depends(_switched_on)])


@router.get("/pack")
def show(
    request: Request, me: SignedIn, session: ReadSession, now: Now, zone: Zone
) -> HTMLResponse:
    """What would go along, and what this phone holds already: its script says that."""
    _must_be_allowed(me)
    going = _going(session, me, now, zone)
    return page(
        request,
        "pack/show.html",
        labels=[patient.label for patient in going],
        stamp=pack_stamp(request),
    )


def _typed_pin_fault(
    request: Request,
    _on: Annotated[None, Depends(_switched_on)],
    me: SignedIn,
    form: FormDep,
    site: SiteDep,
    now: Now,
) -> str:
    """Checked before the writing session; wrong ones count as at the lock."""
    _must_be_allowed(me)
    if not form.text("pin"):
        return NO_TYPED_PIN
    return unlock_fault(request, me, form, site, now)


PinFault = Annotated[str, Depends(_typed_pin_fault, max_concurrency=2)]


@router.post("/pack")
def take(
    request: Request,
    me: SignedIn,
    fault: PinFault,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
) -> Response:
    """Everything that goes along, once; who and how many stand in the audit trail."""
    device = known_device(session, me, device_key(request))
    going = _going(session, me, now, zone)
    wrong = fault or ("" if device else NO_PIN) or ("" if going else NOBODY)
    if wrong or device is None:
        request.state.has_pin = device is not None  # the fifth wrong one ends it
        return JSONResponse({"wrong": wrong}, 422, {PACK_OF: pack_stamp(request)})
    today = now.astimezone(zone).date()
    people = [person_of(session, site.catalogue, me, p, today) for p in going]
    audit.deed(session, "took_day_pack", device, by=me.id, now=now)
    for patient in going:
        audit.deed(session, "took_along", patient, by=me.id, now=now)
    until = good_until(now, zone, site.settings.pack_ends)
    return JSONResponse(
        {
            "stamp": pack_stamp(request),
            "lasts_ms": int((until - now).total_seconds() * 1000),
            "people": people,
        }
    )


def _must_be_allowed(me: Person) -> None:
    if not may(actor(me), "take_along", Subject(me.is_demo, assigned=True)):
        raise NotAllowed


def _going(
    session: Session, me: Person, now: datetime, zone: ZoneInfo
) -> list[Patient]:
    """Whoever is ticked for today on the person's own list, in their order."""
    today = now.astimezone(zone).date()
    ticked = (r.row for r in todays_list(session, me, today) if r.row.ticked)
    return [patient_for(session, me, row.patient_id) for row in ticked]


def good_until(now: datetime, zone: ZoneInfo, at: time) -> datetime:
    """The next time the site's clock shows `at`: never more than a day ahead."""
    day = now.astimezone(zone).date()
    tonight = datetime.combine(day, at, zone)
    if tonight <= now:
        tonight = datetime.combine(day + timedelta(days=1), at, zone)
    return tonight
