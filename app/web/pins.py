"""Opening a locked page again: with the passphrase, or with this phone's PIN."""

from datetime import datetime
from typing import Final

from fastapi import Request, Response

from app.passphrases import why_not_pin
from app.storage import devices
from app.storage.database import read_session, write_session
from app.storage.devices import Device
from app.storage.people import Person
from app.web.deps import (
    FormDep,
    Now,
    SignedIn,
    Site,
    SiteDep,
    device_cookie,
    device_key,
    over_tls,
)
from app.web.guessing import (
    Guess,
    MustWait,
    count,
    must_not_wait,
    when_signed_in,
    whose,
)

NOT_YOURS: Final = (
    "That is not the passphrase of who signed in here. It is still locked: try again, "
    "or sign out."
)
NO_PIN: Final = "This phone has no PIN any more. Use your passphrase."
#: As long as browsers keep a cookie; the PIN ends by itself long before.
KEPT_SECONDS: Final = 400 * 24 * 3600


def keep_key(request: Request, response: Response, key: str) -> None:
    response.set_cookie(
        device_cookie(request),
        key,
        max_age=KEPT_SECONDS,
        secure=over_tls(request),
        httponly=True,
        samesite="strict",
        path="/",
    )


def drop_key(request: Request, response: Response) -> None:
    response.delete_cookie(
        device_cookie(request),
        secure=over_tls(request),
        httponly=True,
        samesite="strict",
    )


def unlock_fault(
    request: Request, me: SignedIn, form: FormDep, site: SiteDep, now: Now
) -> str:
    """Why it stays locked; empty when the passphrase or this phone's PIN was right."""
    tried, key = when_signed_in(request), device_key(request)
    try:
        if "pin" in form:
            must_not_wait(site, tried, now)
            return _pin_fault(site, me, tried, key, form.text("pin"), now)
        person = whose(request, tried, me.handle, form.get("passphrase", ""), now)
    except MustWait as wait:
        return wait.sentence
    return "" if person else NOT_YOURS


def _pin_fault(
    site: Site, me: Person, tried: Guess, key: str, pin: str, now: datetime
) -> str:
    with read_session(site.engine) as session:
        device = devices.known_device(session, me, key)
        if device is not None:
            session.expunge(device)
    if device is None:
        return NO_PIN
    right = not why_not_pin(pin) and devices.is_pin(device, key, pin)
    count(site, tried, right=right, now=now, at=(me.handle, "pin"))
    with write_session(site.engine) as session:
        after = devices.tried(session, device.id, right=right, now=now)
        if not after.has_pin and right:  # two tries at once
            return NO_PIN
        return "" if right else _left(after)


def _left(device: Device) -> str:
    left = devices.MOST_WRONG - device.wrong
    if left == 0:
        return (
            "Five wrong PINs: this phone has forgotten it. Wait 5 seconds, then use "
            "your passphrase."
        )
    tries = "1 try is" if left == 1 else f"{left} tries are"
    return f"That is not the PIN. {tries} left, then only the passphrase opens this."
