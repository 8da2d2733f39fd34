"""The audit trail for supervisors: who did what and when, and whether it is whole."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.storage import audit_checks, staff
from app.storage.audit import AuditEntry, head_of
from app.storage.audit_trail import (
    Key,
    Place,
    Wanted,
    entries_for,
    may_read,
    places_of,
    words_used,
)
from app.storage.database import write_session
from app.storage.people import Person
from app.storage.wrong_guesses import wrong_since
from app.web.audit_words import deed_words, subject_words
from app.web.dates import day_words
from app.web.deps import (
    Form,
    FormDep,
    Now,
    ReadSession,
    SignedIn,
    SiteDep,
    Zone,
    page,
    wants_fragment,
)

router = APIRouter()
ON_A_PAGE: Final = 50
#: How long one asking reads on in the chain: shorter than anybody waits for a page.
PATIENCE_S: Final = 2.0
LATELY: Final = timedelta(days=7)
FIELDS: Final = ("who", "deed", "subject", "from", "to")


@dataclass(frozen=True, slots=True)
class Line:
    """One entry in words. `about` is empty when it is of who did it, and `href` when
    there is no page, or not for them."""

    id: int
    at: str
    who: str
    did: str
    about: str
    href: str


@dataclass(frozen=True, slots=True)
class Chain:
    """How much of the chain was found whole. `rest` entries were not looked at yet."""

    upto: int
    broken: int | None
    checked: str
    rest: int


@dataclass(frozen=True, slots=True)
class Clock:
    """The site's clock, and now: an entry of another year names its year."""

    zone: ZoneInfo
    now: datetime

    def words(self, at: datetime) -> str:
        local, today = at.astimezone(self.zone), self.now.astimezone(self.zone).date()
        return f"{day_words(local.date(), today)}, {local:%H:%M}"


class BadFilter(Exception):
    """Fields of the filter that cannot be used, each with its sentence."""

    def __init__(self, errors: dict[str, str]) -> None:
        super().__init__(", ".join(errors))
        self.errors = errors


@router.get("/audit")
def show(
    request: Request, me: SignedIn, session: ReadSession, now: Now, zone: Zone
) -> HTMLResponse:
    may_read(me)
    clock = Clock(zone, now)
    typed, errors = Form(request.query_params.items()), {}
    try:
        wanted = wanted_by(typed, zone)
    except BadFilter as bad:
        wanted, errors = Wanted(), bad.errors
    found = [] if errors else entries_for(session, me, wanted, ON_A_PAGE + 1)
    shown = found[:ON_A_PAGE]
    places = places_of(session, me, [entry for entry, _ in shown])
    return page(
        request,
        "audit/list.html",
        status=422 if errors else 200,
        lines=[line(entry, who, places, clock) for entry, who in shown],
        older=shown[-1][0].id if len(found) > ON_A_PAGE else 0,
        later=bool(wanted.before),
        typed=typed,
        errors=errors,
        asked={name: typed.text(name) for name in FIELDS if typed.text(name)},
        people=staff.everybody(session, me),
        deeds=_choices(words_used(session, "deed"), deed_words),
        subjects=_choices(words_used(session, "subject"), subject_words),
        chain=chain_of(session, clock),
        wrong=wrong_lately(session, me, clock),
        go_on=False,
    )


def _choices(words: Iterable[str], say: Callable[[str], str]) -> list[tuple[str, str]]:
    return sorted(((word, say(word)) for word in words), key=lambda pair: pair[1])


def wanted_by(typed: Mapping[str, str], zone: ZoneInfo) -> Wanted:
    """What the filter's closed values ask for; raise BadFilter."""
    errors: dict[str, str] = {}
    since, until = _day(typed, "from", errors), _day(typed, "to", errors)
    if since and until and until < since:
        errors["to"] = "This day lies before the first one."
    who, before = _number(typed, "who", errors), _number(typed, "before", errors)
    deed, subject = _word(typed, "deed", errors), _word(typed, "subject", errors)
    if errors:
        raise BadFilter(errors)
    return Wanted(
        who=who,
        deed=deed,
        subject=subject,
        since=_starts(since, zone) if since else None,
        until=_starts(until + timedelta(days=1), zone) if until else None,
        before=before,
    )


def _day(typed: Mapping[str, str], name: str, errors: dict[str, str]) -> date | None:
    text = typed.get(name, "").strip()
    try:
        day = date.fromisoformat(text) if text else None
    except ValueError:
        day = date.min
    if day is not None and not 1900 <= day.year <= 2100:
        errors[name] = "A day like 2026-03-09."
        return None
    return day


def _starts(day: date, zone: ZoneInfo) -> datetime:
    return datetime.combine(day, time(), zone)


def _number(typed: Mapping[str, str], name: str, errors: dict[str, str]) -> int | None:
    text = typed.get(name, "").strip()
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and 0 < int(text[:10]) < 2**31):
        errors[name] = "Choose from the list."
        return None
    return int(text)


def _word(typed: Mapping[str, str], name: str, errors: dict[str, str]) -> str:
    word = typed.get(name, "").strip()
    if word and not (word.isascii() and word.replace("_", "a").isalpha()):
        errors[name] = "Choose from the list."
    return word


def line(
    entry: AuditEntry, who: Person | None, places: Mapping[Key, Place], clock: Clock
) -> Line:
    place = places.get((entry.subject, entry.subject_id))
    about = f"{subject_words(entry.subject)}, number {entry.subject_id}"
    if entry.subject == "person" and entry.subject_id == entry.person_id:
        place, about = None, ""
    return Line(
        id=entry.id,
        at=clock.words(entry.at),
        who=who.name if who else "The program",
        did=deed_words(entry.deed),
        about=place.name if place else about,
        href=_href(place) if place else "",
    )


def _href(place: Place) -> str:
    folder = {"patient": "patients", "round": "rounds", "person": "people"}
    return f"/{folder[place.kind]}/{place.id}"


@dataclass(frozen=True, slots=True)
class WrongLine:
    """How often a secret was wrong at one handle."""

    handle: str
    many: int
    last: str


def wrong_lately(session: Session, me: Person, clock: Clock) -> list[WrongLine]:
    found = wrong_since(session, me, clock.now - LATELY)
    return [
        WrongLine(
            w.person.handle if w.person else "handles that nobody has",
            w.many,
            clock.words(w.last_at),
        )
        for w in found
    ]


def chain_of(session: Session, clock: Clock) -> Chain:
    last, known = head_of(session).last_id, audit_checks.last_check(session)
    if known is None:
        return Chain(0, None, "", last)
    return Chain(
        upto=known.upto_id,
        broken=known.broken_id,
        checked=clock.words(known.checked_at),
        rest=max(0, last - known.upto_id),
    )


@router.post("/audit/check")
def check(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
) -> Response:
    """Read on in the chain for a moment; long ones take several askings."""
    may_read(me)
    afresh = form.text("afresh") == "yes"
    read = audit_checks.read_on(session, afresh=afresh, seconds=PATIENCE_S)
    with write_session(site.engine) as writing:
        audit_checks.keep(writing, read, now)
        chain = chain_of(writing, Clock(zone, now))
    if not wants_fragment(request):
        return RedirectResponse("/audit", 303)
    go_on = bool(chain.rest) and chain.broken is None
    return page(request, "audit/_chain.html", chain=chain, go_on=go_on)
