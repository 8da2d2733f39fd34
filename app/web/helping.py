"""A second phone that starts and stops the clock of somebody else's round.

The round and its trials stay the owner's; the helper's phone sends presses. A trial is
stored by the route of every other trial, from whichever phone, under one id.
"""

import math
import uuid
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical import make_safe
from app.clinical.two_clocks import Stamp
from app.clinical.two_phones import KINDS, OWNER, Press
from app.storage.episodes import Episode, Visit
from app.storage.errors import NotAllowed
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.round_help import (
    RoundHelp,
    end_help,
    help_on,
    join_help,
    open_help,
    tell,
)
from app.storage.trials import Round, round_for
from app.web.deps import (
    Form,
    FormDep,
    FormProblem,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    SiteDep,
    WriteSession,
    is_locked,
    page,
)
from app.web.helping_view import (
    MOST,
    Asking,
    exchange_of,
    of_today,
    scale_ms,
    steady_ms,
    told,
)
from app.web.judging import judge
from app.web.minding import minded
from app.web.setup_form import setup_words

router = APIRouter()


async def _arrived() -> float:
    """Asked first of all, so that what the server does is no part of the trip."""
    return steady_ms()


Arrived = Annotated[float, Depends(_arrived)]
OFF: dict[str, Any] = {"on": False}


@router.post("/rounds/{round_id}/help/open")
def open_it(
    me: SignedIn, session: WriteSession, site: SiteDep, now: Now, round_id: RowId
) -> RedirectResponse:
    """The owner lets a second phone join."""
    round = round_for(session, me, round_id, "record_trial")
    if round.person_id != me.id:
        raise NotAllowed("Only who began this test can ask for a second phone.")
    if not site.catalogue.measures[round.measure].timed:
        raise FormProblem("A second phone can only start and stop a stopwatch.")
    if not of_today(session, site, round):
        raise FormProblem(
            "This test was begun on another day. Start it again today, and ask for a "
            "second phone there."
        )
    open_help(session, me, round.id, now)
    return RedirectResponse(f"/rounds/{round.id}", 303)


@router.post("/rounds/{round_id}/help/join")
def join(
    me: SignedIn, session: WriteSession, now: Now, round_id: RowId
) -> RedirectResponse:
    round = round_for(session, me, round_id, "record_trial")
    join_help(session, me, round.id, now)
    return RedirectResponse(f"/rounds/{round.id}/help", 303)


@router.post("/rounds/{round_id}/help/end")
def end(
    me: SignedIn, session: WriteSession, now: Now, round_id: RowId
) -> RedirectResponse:
    """By either of the two; the owner's clock goes on."""
    round = round_for(session, me, round_id, "record_trial")
    ended = end_help(session, me, round.id, now)
    if ended is not None and ended.owner_id != me.id:
        return RedirectResponse(f"/patients/{_patient(session, round).id}", 303)
    return RedirectResponse(f"/rounds/{round.id}", 303)


@router.get("/rounds/{round_id}/help", response_model=None)
def show(
    request: Request, me: SignedIn, session: ReadSession, site: SiteDep, now: Now,
    round_id: RowId,
) -> Response:  # fmt: skip
    """The helper's page: a pad that works the owner's clock."""
    round = round_for(session, me, round_id, "record_trial")
    help = help_on(session, round.id, now)
    if round.person_id == me.id:
        return RedirectResponse(f"/rounds/{round.id}", 303)
    return _page(request, session, site.catalogue, round, help)


def _page(
    request: Request, session: Session, shelf: Catalogue, round: Round,
    help: RoundHelp | None,
) -> HTMLResponse:  # fmt: skip
    me: Person = request.state.me
    patient = _patient(session, round)
    judged = judge(session, shelf, patient, round)
    holder = session.get(Person, help.helper_id) if help and help.helper_id else None
    return page(
        request,
        "helping/show.html",
        judged=judged,
        measure=judged.measure,
        patient=patient,
        setup=setup_words(judged.measure, round.facts),
        mind=minded(request, session, judged),
        owner=session.get_one(Person, round.person_id).name,
        help=help,
        mine=holder is not None and holder.id == me.id,
        taken=holder is not None and holder.id != me.id,
        uid=uuid.uuid4().hex,
        safe=make_safe,
    )


def _patient(session: Session, round: Round) -> Patient:
    visit = session.get_one(Visit, round.visit_id)
    episode = session.get_one(Episode, visit.episode_id)
    return session.get_one(Patient, episode.patient_id)


@router.get("/rounds/{round_id}/help/now")
def how_it_stands(
    request: Request, arrived: Arrived, me: SignedIn, session: ReadSession,
    site: SiteDep, now: Now, round_id: RowId,
    origin: Annotated[float, Query(allow_inf_nan=False)] = 0.0,
    x: Annotated[str, Query(max_length=160, pattern=r"^[-0-9.,e+]*$")] = "",
) -> dict[str, Any]:  # fmt: skip
    """Asked once a second by each phone; also the exchange that compares the clocks."""
    round = round_for(session, me, round_id, "record_trial")
    help = help_on(session, round.id, now)
    side = help.side_of(me) if help else ""
    if help is None or not side:
        return OFF
    asking = Asking(side, me.id, origin, exchange_of(x), is_locked(request))
    return _stamped(told(session, site.catalogue, help, asking), arrived)


@router.post("/rounds/{round_id}/help/presses")
def press(
    request: Request, arrived: Arrived, form: FormDep, me: SignedIn,
    session: WriteSession, site: SiteDep, now: Now, round_id: RowId,
) -> dict[str, Any]:  # fmt: skip
    """One phone tells what was pressed there, and hears how it stands."""
    round = round_for(session, me, round_id, "record_trial")
    help = help_on(session, round.id, now)
    side = help.side_of(me) if help else ""
    if help is None or not side:
        return OFF
    exchange, locked = exchange_of(form.text("x")), is_locked(request)
    asking = Asking(side, me.id, _number(form, "origin"), exchange, locked)
    kind = form.text("kind")
    if kind not in KINDS or (kind == "clear" and side != OWNER):
        raise FormProblem("This press is none that is known.")
    mono = _number(form, "mono")
    stamp = Stamp(asking.phone, _number(form, "of"), mono, None)
    if stamp.origin == asking.origin:  # else another page's clock: nothing compares it
        stamp = Stamp(asking.phone, stamp.origin, mono, asking.exchange)
    pressed = Press(form.uid("trial"), kind, side, me.id, stamp)
    tell(session, help, me, pressed, now)
    return _stamped(told(session, site.catalogue, help, asking), arrived)


def _number(form: Form, name: str) -> float:
    try:
        number = float(form.text(name))
    except ValueError:
        number = math.inf
    if not abs(number) < MOST:
        raise FormProblem("A time of this press did not arrive whole.")
    return number


def _stamped(said: dict[str, Any], arrived: float) -> dict[str, Any]:
    """As late as possible, so that the server's own time is no part of the trip."""
    return said | {"scale": scale_ms(), "t1": arrived, "t2": steady_ms()}
