"""Problem class -> a readable page or part of one: what happened, was kept, to do next.

Whatever is not named here is a fault of the program: 500, logged under the request's
number by the places it passed, never by its message, which may hold a person's text.
"""

import logging
from dataclasses import dataclass
from typing import Final
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, PlainTextResponse, RedirectResponse
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import Response

from app.logs import places
from app.storage.errors import (
    Away,
    Busy,
    CannotWrite,
    Damaged,
    HandleTaken,
    NoRoom,
    NotAllowed,
    NotFound,
    NotSound,
    SameIdOtherBody,
    SchemaTooNew,
    StaleVersion,
    StorageProblem,
    Unavailable,
)
from app.storage.faults import meant_by
from app.storage.links import LinkUsed
from app.storage.practice_shared import KeyWaits
from app.web.deps import (
    PACK_OF,
    FormProblem,
    SessionLocked,
    SignInNeeded,
    by_script,
    pack_stamp,
    render,
)
from app.web.holding import held_state, keep_for_later

log = logging.getLogger("tapeline.problems")
UNCHANGED = "Nothing was changed."
IN_FORM = "Nothing was saved. What you typed is still in the form: go back to it."


@dataclass(frozen=True, slots=True)
class Problem:
    """What a person is told. `link` is a path and its words."""

    status: int
    title: str
    happened: str
    kept: str
    next: str
    link: tuple[str, str] | None = ("/", "Back to the start")
    new_tab: bool = False


class Refused(Exception):
    """A request turned away at the door, before any route saw it."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(problem.title)
        self.problem = problem


#: What pydantic calls a number that can be the key of no row.
NO_ROW: Final = frozenset(
    {"int_parsing", "int_parsing_size", "greater_than_equal", "less_than_equal"}
)
NOT_FOUND = Problem(
    404,
    "Not found",
    "This page does not exist, or it is not one you may see.",
    UNCHANGED,
    "Check the address, or start again from your list.",
)
WRONG_DEED = Problem(
    405,
    "Not done this way",
    "This address does not take that kind of request.",
    UNCHANGED,
    "Start again from your list.",
)
UNREADABLE = Problem(
    400,
    "The form could not be read",
    "What arrived is not a form this program can take: too many fields, or cut short.",
    IN_FORM,
    "Send it again; if it comes back, make it shorter.",
)
SIGNED_OUT = Problem(
    401,
    "You are signed out",
    "Your sign-in has ended, so this was not saved.",
    "What is on this page stays as it is.",
    "Sign in on a new page, come back here, and do it again.",
    ("/sign-in", "Sign in on a new page"),
    new_tab=True,
)
LOCKED = Problem(
    423,
    "Locked",
    "Nobody touched this for a while, or it was locked by hand.",
    "What is on this page stays as it is.",
    "Unlock on a new page with your passphrase, come back here, and do it again.",
    ("/caseload", "Unlock on a new page"),
    new_tab=True,
)
OUR_FAULT = Problem(
    500,
    "Something went wrong here",
    "The program met a fault it did not expect.",
    "Nothing was saved. If you typed something, go back: it is still in the form.",
    "Try once more. If it comes back, give the number below to who runs this site.",
)
NOT_SAVED = (
    "Nothing was saved just now, and nothing that was saved before is lost. If you "
    "typed something, go back: it is still in the form. What waits on this phone stays "
    "there and is sent by itself."
)
TELL = "Tell who runs this site, with these words. Until then write down what you see."


def _unavailable(
    title: str, happened: str, then: str, kept: str = NOT_SAVED
) -> Problem:
    """503: a phone's outbox waits on it, and never takes it for a refusal."""
    return Problem(503, title, happened, kept, then)


#: Nobody at a bedside can mend these, so each says whom to tell and what will wait.
UNAVAILABLE: dict[type[Unavailable], Problem] = {
    NoRoom: _unavailable(
        "The disk is full",
        "There is no room left on the disk of the machine that runs Tapeline.",
        TELL,
    ),
    CannotWrite: _unavailable(
        "Saving is not possible",
        "Tapeline may not write to its own files: the disk or the folder is read-only, "
        "or belongs to somebody else.",
        TELL,
    ),
    Busy: _unavailable(
        "Busy at the moment",
        "Something else is being written, and it took longer than a save can wait.",
        "Wait a minute, then do it again. If it comes back, tell who runs this site.",
    ),
    Away: _unavailable(
        "The database does not answer",
        "Tapeline runs, but the database it keeps everything in does not answer.",
        "Wait a minute, then do it again. If it comes back, tell who runs this site.",
        "What was saved before is not lost. Whether this was saved is not certain: go "
        "back and send it again, it is not kept twice. What waits on this phone stays "
        "there and is sent by itself.",
    ),
    Damaged: _unavailable(
        "The database cannot be read",
        "The file with the records, or the disk under it, does not work as it should.",
        TELL,
    ),
}


def problem_of(fault: Exception) -> Problem:
    """What to say of a fault."""
    unavailable = meant_by(fault)
    if unavailable is not None:
        return _by_kind(unavailable)
    match fault:
        case Refused():
            return fault.problem
        case SignInNeeded():
            return SIGNED_OUT
        case SessionLocked():
            return LOCKED
        case FormProblem():
            return _told(
                422, "Please check this", fault.sentence, IN_FORM, "Change it."
            )
        case RequestValidationError():
            return _unfit(fault)
        case HTTPException():
            return _by_status(fault.status_code)
        case StorageProblem():
            return _stored(fault)
    return OUR_FAULT


def _told(status: int, title: str, happened: str, kept: str, then: str) -> Problem:
    return Problem(status, title, happened, kept, then)


def _unfit(fault: RequestValidationError) -> Problem:
    """An address that names no row is Not Found; anything else is a form problem."""
    wrong = [(error["loc"][0], error["type"]) for error in fault.errors()]
    if any(w == "path" or (w == "query" and t in NO_ROW) for w, t in wrong):
        return NOT_FOUND
    happened = "A field is missing, or holds what cannot be read."
    return _told(422, "Please check this", happened, IN_FORM, "Look at each field.")


def _by_kind(fault: Unavailable) -> Problem:
    known = (UNAVAILABLE[kind] for kind in type(fault).__mro__ if kind in UNAVAILABLE)
    return next(known, _not_sound(fault))


def _not_sound(fault: StorageProblem) -> Problem:
    return _unavailable("This site must be looked at", fault.sentence, TELL)


def _by_status(status: int) -> Problem:
    known = {404: NOT_FOUND, 405: WRONG_DEED, 400: UNREADABLE}
    return known.get(status, OUR_FAULT)


def _stored(fault: StorageProblem) -> Problem:
    match fault:
        case LinkUsed():
            return _told(
                404, "This link no longer works", fault.sentence, UNCHANGED, fault.next
            )
        case NotFound():
            return NOT_FOUND
        case NotAllowed():
            return _told(
                403, "Not yours to do", fault.sentence, UNCHANGED, "Ask who may do it."
            )
        case KeyWaits():
            return _told(
                403, "Not yet", fault.sentence, UNCHANGED, "Do your own trials first."
            )
        case HandleTaken():
            return _told(
                422, "Please check this", fault.sentence, IN_FORM, "Change it."
            )
        case SameIdOtherBody():
            return _told(
                409,
                "Already saved differently",
                fault.sentence,
                "What you sent now is still where you typed it.",
                "Open the first one, compare, and record a new one if both are right.",
            )
        case StaleVersion():
            return _told(
                409,
                "Changed meanwhile",
                fault.sentence,
                "What you typed is still in the form.",
                "Open the page again, compare, and make your change once more.",
            )
    return _by_its_sentence(fault)


def _by_its_sentence(fault: StorageProblem) -> Problem:
    """Whatever storage refuses is told, and never a fault of the program."""
    if isinstance(fault, NotSound | SchemaTooNew):
        return _not_sound(fault)
    return _told(
        409,
        "This was not done",
        fault.sentence,
        "What you typed is still in the form.",
        "Go back, look at it again, and change what the sentence above says.",
    )


def answer(request: Request, fault: Exception) -> Response:
    """The response for any fault, and its line in the log when it is ours."""
    problem = problem_of(fault)
    if problem.status == 401 and not by_script(request):
        return RedirectResponse(_sign_in_path(request), 303)
    if problem.status == 423 and not by_script(request):
        return lock_page(request, next=_here(request), status=423)
    if problem.status >= 500:
        log.error("%s %s", request.state.request_id, places(fault))
    headers = getattr(fault, "headers", None)
    try:
        body = _render(request, problem)
    except Exception as second:
        # The page that tells of a fault must not itself be a blank one.
        log.error("%s %s", request.state.request_id, places(second))
        return PlainTextResponse(f"{problem.happened} {problem.kept}", problem.status)
    return HTMLResponse(body, _status(request, problem), headers)


def _render(request: Request, problem: Problem) -> str:
    name = "_problem.html" if _in_place(request) else "error.html"
    return render(request, name, problem=problem, number=request.state.request_id)


def _in_place(request: Request) -> bool:
    """A restored page is asked by script too, but must be whole."""
    restored = request.headers.get("hx-history-restore-request") == "true"
    return by_script(request) and not restored


def _status(request: Request, problem: Problem) -> int:
    """A 422 takes its form's place, and a problem without its form must not."""
    return 400 if problem.status == 422 and _in_place(request) else problem.status


def _sign_in_path(request: Request) -> str:
    """Sign in, then back here; a form's own address is not one to come back to."""
    held = held_state(request)
    if held:
        return f"/sign-in?held={held}"
    here = _here(request)
    return f"/sign-in?next={quote(here)}" if here else "/sign-in"


def _here(request: Request) -> str:
    """The page that was asked for; empty for a form or the start."""
    if request.method != "GET" or request.url.path == "/":
        return ""
    query = f"?{request.url.query}" if request.url.query else ""
    return request.url.path + query


def lock_page(
    request: Request, *, next: str, wrong: str = "", by_pin: bool = False, status: int
) -> HTMLResponse:
    """All that a locked session is shown: who may unlock it, and nobody else.

    The stamp stands in the page too: the worker sees no answer to a form.
    """
    held, stamp = held_state(request), pack_stamp(request)
    text = render(
        request, "sign_in/lock.html", next=next, wrong=wrong, by_pin=by_pin, held=held,
        stamp=stamp,
    )  # fmt: skip
    return HTMLResponse(text, status, {PACK_OF: stamp})


async def _ask_first(request: Request, fault: Exception) -> Response:
    """Before a sign-in or a passphrase is asked for, what was sent is put aside."""
    await keep_for_later(request)
    return await run_in_threadpool(answer, request, fault)


def install(app: FastAPI) -> None:
    """Answer every named problem raised in a route; the guard answers all others."""
    app.add_exception_handler(SignInNeeded, _ask_first)
    app.add_exception_handler(SessionLocked, _ask_first)
    for kind in (
        Refused,
        FormProblem,
        RequestValidationError,
        HTTPException,
        StorageProblem,
    ):
        app.add_exception_handler(kind, answer)
