"""What somebody sent after their session had ended: send it once more, or let it go."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.doing import NUMBERS
from app.clinical.doing import OUTCOMES as SET_OUTCOMES
from app.clinical.quantities import shown
from app.clinical.vocabulary import OUTCOMES
from app.storage.errors import StorageProblem
from app.storage.held_requests import HeldRequest, held_of, let_go
from app.storage.people import Person
from app.storage.trials import round_for
from app.web.dates import day_words
from app.web.deps import (
    Form,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    SiteDep,
    WriteSession,
    Zone,
    page,
)
from app.web.holding import pairs_of

router = APIRouter()
TRIAL = re.compile(r"/rounds/([0-9]{1,9})/trials")
SET = re.compile(r"/patients/[0-9]+/activities/([A-Z][0-9]{2})/sets")
READY = re.compile(r"/patients/[0-9]+/measures/([a-z0-9_]+)/ready")
#: What other forms are called.
OTHERS = {
    re.compile(r"/trials/[0-9]+/void"): "A trial to be voided",
    re.compile(r"/trials/[0-9]+/safety"): "What was noted after a stop",
    re.compile(r"/trials/[0-9]+/seen"): "A stop that was looked into",
    re.compile(r"/sets/[0-9]+/void"): "A set to be voided",
    re.compile(r"/sets/[0-9]+/safety"): "What was noted after a stop",
    re.compile(r"/sets/[0-9]+/seen"): "A stop that was looked into",
    re.compile(r"/patients/new"): "A new patient",
}


@dataclass(frozen=True, slots=True)
class HeldLine:
    """One form: what it says in short, and its fields to be sent as they were."""

    id: int
    path: str
    words: str
    sent: str
    fields: tuple[tuple[str, str], ...]


@router.get("/held")
def show(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
) -> HTMLResponse:
    lines = [
        _line(session, me, site.catalogue, held, now, zone)
        for held in held_of(session, me, now)
    ]
    return page(request, "held/list.html", lines=lines)


@router.post("/held/{held_id}/discard")
def discard(
    me: SignedIn, session: WriteSession, now: Now, held_id: RowId
) -> RedirectResponse:
    let_go(session, me, held_id, did="discarded_held", now=now)
    more = held_of(session, me, now)
    return RedirectResponse("/held" if more else "/caseload", 303)


def _line(
    session: Session,
    me: Person,
    shelf: Catalogue,
    held: HeldRequest,
    now: datetime,
    zone: ZoneInfo,
) -> HeldLine:
    fields = pairs_of(held.body)
    local = held.created_at.astimezone(zone)
    return HeldLine(
        id=held.id,
        path=held.path,
        words=_words(session, me, shelf, held.path, Form(fields)),
        sent=f"{day_words(local.date(), now.astimezone(zone).date())}, {local:%H:%M}",
        fields=_dated(held, fields),
    )


def _dated(
    held: HeldRequest, fields: Sequence[tuple[str, str]]
) -> tuple[tuple[str, str], ...]:
    """As they were sent; a trial or set says when, so that it counts for that day."""
    kept = tuple(pair for pair in fields if pair[0] != "held")
    dated = TRIAL.fullmatch(held.path) or SET.fullmatch(held.path)
    if dated and "taken_at" not in dict(kept):
        at = int(held.created_at.timestamp() * 1000)
        return (*kept, ("taken_at", str(at)))
    return kept


def _words(
    session: Session, me: Person, shelf: Catalogue, path: str, form: Form
) -> str:
    trial = TRIAL.fullmatch(path)
    if trial:
        return f"{_test(session, me, shelf, int(trial[1]))}: {value_sent(form)}"
    ready = READY.fullmatch(path)
    if ready and ready[1] in shelf.measures:
        return f"{shelf.measures[ready[1]].name}: the set-up"
    done = SET.fullmatch(path)
    if done and done[1] in shelf.activities:
        return f"{shelf.activities[done[1]].name}: a set, {set_sent(form)}"
    for pattern, words in OTHERS.items():
        if pattern.fullmatch(path):
            return words
    return "A form"


def _test(session: Session, me: Person, shelf: Catalogue, round_id: int) -> str:
    """The test's name; a round that they may not see any more tells nothing."""
    try:
        round = round_for(session, me, round_id)
    except StorageProblem:
        return "A trial"
    measure = shelf.measures.get(round.measure)
    return measure.name if measure else round.measure


def set_sent(form: Form) -> str:
    """What was counted, or how it ended, as it was sent."""
    outcome = form.text("outcome") or "done"
    if outcome != "done":
        return SET_OUTCOMES.get(outcome, outcome)
    counted = [f"{name} {form.text(name)}" for name in NUMBERS if form.text(name)]
    return ", ".join(counted).replace("_", " ") or "done"


def value_sent(form: Form) -> str:
    """The value or outcome of a trial as it was sent, unjudged."""
    outcome = form.text("outcome")
    if outcome in OUTCOMES and outcome != "completed":
        return OUTCOMES[outcome]
    if form.text("count"):  # its time is only the window
        one, _, many = form.text("counted").partition(" ")
        noun = one if form.text("count") == "1" else many
        return f"{form.text('count')} {noun}".strip()
    raw = form.text("raw_ms")
    if raw.isascii() and raw.isdigit() and len(raw) < 10:
        return f"{shown(Decimal(int(raw)) / 1000, 's')} s (raw)"
    if form.text("typed"):
        return f"{form.text('typed')} s"
    if form.text("distance"):
        return f"{form.text('distance')} {form.text('unit')}".strip()
    if form.text("end_mark"):
        marks = f"{form.text('start_mark')} to {form.text('end_mark')}"
        return f"from {marks} {form.text('unit')}".strip()
    return "no value"
