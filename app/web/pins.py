"""Opening a locked page again: with the passphrase, or with this phone's PIN."""

from datetime import datetime
from typing import Final

from fastapi import Request, Response

from app.passphrases import why_not_pin
from app.storage import devices
from app.storage.database import read_session, write_session
from app.storage.devices import Device
from app.storage.people import Person
from app.web.deps import FormDep, Now, SignedIn, Site, SiteDep, cookie_name, over_tls
from app.web.guessing import MustWait, whose

NOT_YOURS: Final = (
    "That is not the passphrase of who signed in here. It is still locked: try again, "
    "or sign out."
)
NO_PIN: Final = "This phone has no PIN any more. Use your passphrase."
#: As long as browsers keep a cookie; the PIN ends by itself long before.
KEPT_SECONDS: Final = 400 * 24 * 3600


def device_key(request: Request) -> str:
    """This browser's own key; empty where no PIN was ever set."""
    return request.cookies.get(f"{cookie_name(request)}-device", "")


def keep_key(request: Request, response: Response, key: str) -> None:
    response.set_cookie(
        f"{cookie_name(request)}-device",
        key,
        max_age=KEPT_SECONDS,
        secure=over_tls(request),
        httponly=True,
        samesite="strict",
        path="/",
    )


def drop_key(request: Request, response: Response) -> None:
    response.delete_cookie(
        f"{cookie_name(request)}-device",
        secure=over_tls(request),
        httponly=True,
        samesite="strict",
    )


def unlock_fault(
    request: Request, me: SignedIn, form: FormDep, site: SiteDep, now: Now
) -> str:
    """Why it stays locked; empty when the passphrase or this phone's PIN was right."""
    if "pin" in form:
        return _pin_fault(site, me, device_key(request), form.text("pin"), now)
    try:
        person = whose(request, me.handle, form.get("passphrase", ""), now)
    except MustWait as wait:
        return wait.sentence
    return "" if person else NOT_YOURS


def _pin_fault(site: Site, me: Person, key: str, pin: str, now: datetime) -> str:
    with read_session(site.engine) as session:
        device = devices.known_device(session, me, key)
        if device is not None:
            session.expunge(device)
    if device is None:
        return NO_PIN
    right = not why_not_pin(pin) and devices.is_pin(device, pin)
    with write_session(site.engine) as session:
        after = devices.tried(session, device.id, right=right, now=now)
        if after.ended_at is not None and right:  # two tries at once
            return NO_PIN
        return "" if right else _left(after)


def _left(device: Device) -> str:
    left = devices.MOST_WRONG - device.wrong
    if left == 0:
        return "Five wrong PINs: this phone has forgotten it. Use your passphrase."
    tries = "1 try is" if left == 1 else f"{left} tries are"
    return f"That is not the PIN. {tries} left, then only the passphrase opens this."
