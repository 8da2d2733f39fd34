"""A browser is let in: its sign-in before ends, and the new one's cookie is set."""

from datetime import datetime

from fastapi import Request
from fastapi.responses import Response
from sqlmodel import Session

from app.storage import people
from app.storage.devices import Device, paired_device
from app.storage.held_requests import forget_old
from app.storage.people import Person
from app.web.deps import cookie_name, device_key, over_tls, token_of


def change_over(
    session: Session,
    request: Request,
    person: Person,
    now: datetime,
    device: Device | None = None,
) -> str:
    """A new session's token; the one this browser had before ends.

    It is noted on the person's phone, so that it ends when that is removed.
    """
    people.end_sign_in(session, token_of(request) or "", now)
    forget_old(session, now)
    device = device or paired_device(session, person, device_key(request))
    device_id = device.id if device else None
    return people.start_sign_in(session, person, now, device_id=device_id)


def with_cookie(request: Request, response: Response, token: str) -> Response:
    response.set_cookie(
        cookie_name(request),
        token,
        secure=over_tls(request),
        httponly=True,
        samesite="lax",
        path="/",
    )
    return response
