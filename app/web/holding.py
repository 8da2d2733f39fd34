"""A form sent without script after the session ended or locked: kept for its person.

A browser without script would follow the redirect and lose what was filled in. With
script the page stays as it is and the phone keeps its own, so nothing is held.
"""

from typing import Final
from urllib.parse import parse_qsl, urlencode

from anyio import CapacityLimiter, to_thread
from fastapi import Request

from app.storage import people
from app.storage.database import write_session
from app.storage.held_requests import LARGEST_HELD, LONGEST_PATH, hold
from app.web.deps import by_script, site_of, token_of

FORM_TYPE: Final = "application/x-www-form-urlencoded"
#: Deeds of a session itself, and answers about what is held: never put aside.
NEVER_HELD: Final = ("/sign-in", "/sign-out", "/lock", "/unlock", "/held", "/demo")
#: Writers wait here, not in the threads that whoever holds the write lock may need.
_ONE_AT_A_TIME: Final = CapacityLimiter(1)
SECRETS: Final = frozenset({"passphrase", "new_passphrase", "pin"})
KEPT, FULL = "1", "full"


def held_state(request: Request) -> str:
    """What became of the form just sent: kept, too many wait, or nothing to keep."""
    return str(getattr(request.state, "held", ""))


async def keep_for_later(request: Request) -> None:
    """Hold the form of who was signed in, and note what became of it."""
    if not _may_be_held(request):
        return
    body = await _sent(request)
    if body is None:
        return
    # A passphrase is never stored as it was typed, by whatever form it comes.
    if any(name in SECRETS for name, _ in pairs_of(body)):
        return
    request.state.held = await to_thread.run_sync(
        _hold, request, body, limiter=_ONE_AT_A_TIME
    )


async def _sent(request: Request) -> str | None:
    """The form as a browser sends it; None when it is too large to keep."""
    read = getattr(request.state, "form", None)
    sent = urlencode(read.pairs).encode() if read else await request.body()
    fits = len(sent) <= LARGEST_HELD and sent.isascii()
    return sent.decode("ascii") if fits else None


def _may_be_held(request: Request) -> bool:
    path = request.url.path
    own = not any(path == p or path.startswith(f"{p}/") for p in NEVER_HELD)
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    posted = request.method == "POST" and kind == FORM_TYPE
    return posted and own and len(path) <= LONGEST_PATH and not by_script(request)


def _hold(request: Request, body: str) -> str:
    site, token = site_of(request), token_of(request)
    now = site.clock()
    with write_session(site.engine) as session:
        person = people.was_signed_in(session, token, now) if token else None
        if person is None:
            return ""
        held = hold(session, person, path=request.url.path, body=body, now=now)
    return KEPT if held else FULL


def pairs_of(body: str) -> list[tuple[str, str]]:
    """The fields of a held form, to be sent once more as they were."""
    return parse_qsl(body, keep_blank_values=True)
