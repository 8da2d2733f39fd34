"""What a route may ask for: the site, the time, who is signed in, a form, a session.

Web modules import each other only through here. `page` alone decides whether a request
gets a whole page or a fragment; routes never look at htmx headers.
"""

import hashlib
import re
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from threading import Lock
from typing import Annotated, Any, cast
from uuid import uuid4
from zoneinfo import ZoneInfo

import jinja2
from fastapi import Depends, Path, Query, Request
from fastapi.responses import HTMLResponse
from sqlalchemy import Engine, event
from sqlmodel import Session
from starlette.concurrency import run_in_threadpool

from app.catalogue.load import Catalogue
from app.clinical.choosing import Today
from app.lan.addresses import is_this_machine
from app.lan.place import Place, host_in
from app.settings import Settings
from app.storage import people
from app.storage.database import read_session, write_session
from app.storage.devices import known_device
from app.storage.faults import meant_by
from app.storage.held_requests import let_go
from app.storage.people import Person, SignIn
from app.typed import as_typed
from app.web.help_topics import topic_of
from app.web.shared import Shared
from app.web.unattended import LOCKED_MAY, POLLED

#: Field limits below the body cap, so that the parser can never be kept busy.
MOST_FIELDS = 1000
LONGEST_FIELD = 256 * 1024
SEEN_EVERY = timedelta(minutes=1)
LONGEST_AT_GATE_S = 120
#: The script of a page says whose page it is, by id.
PAGE_OF = "tapeline-person"
#: Whose day pack may lie on the phone that gets this page.
PACK_OF = "tapeline-pack"


@dataclass(slots=True)
class Site:
    """One running site: everything made at start and shared by its requests.

    `clock` and `zone` may be replaced by a test; `seen` holds when this process last
    wrote each session's last-seen.
    """

    settings: Settings
    engine: Engine
    catalogue: Catalogue
    templates: jinja2.Environment
    version: str
    clock: Callable[[], datetime]
    zone: ZoneInfo
    after_change: Callable[[Session, date], None]
    seen: Mapping[str, datetime] = field(default_factory=dict)
    seen_lock: Lock = field(default_factory=Lock)
    #: What goes on beside the requests, by person; and held while one of them writes.
    jobs: dict[int, object] = field(default_factory=dict)
    jobs_lock: Lock = field(default_factory=Lock)
    gate: Lock = field(default_factory=Lock)
    #: Where on a network it is served over TLS; None: it is not.
    lan: Place | None = None
    #: What was said of today when a test was chosen, by person and patient; no finding.
    today: dict[tuple[int, int], tuple[date, Today]] = field(default_factory=dict)
    #: Takes the place of both memories where a site has several processes.
    shared: Shared | None = None


class SignInNeeded(Exception):
    """Nobody is signed in, or the session has ended."""


class SessionLocked(Exception):
    """Somebody is signed in, but only their passphrase opens anything now."""


class FormProblem(Exception):
    """A form that cannot be used, when there is no page to show it again on."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


class Form(dict[str, str]):
    """A posted form as typed: name to text, the last value winning."""

    def __init__(self, pairs: Iterable[tuple[str, str]] = ()) -> None:
        self.pairs = tuple(pairs)
        super().__init__(self.pairs)

    def text(self, name: str) -> str:
        """The field without blanks round it; empty when missing."""
        return self.get(name, "").strip()

    def uid(self, name: str = "uid") -> str:
        """The id made on the phone, or a new one; another shape is a form problem."""
        sent = self.text(name)
        if sent and not re.fullmatch(r"[0-9a-f]{32}", sent, re.ASCII):
            raise FormProblem("This form's id was damaged. Open the page again.")
        return sent or uuid4().hex

    def every(self, name: str) -> tuple[str, ...]:
        """All values of a field that may repeat, such as tick boxes."""
        return tuple(value for key, value in self.pairs if key == name)


def site_of(request: Request) -> Site:
    return cast(Site, request.app.state.site)


# These and others that wait for nothing are async: a plain one costs a thread each.
# Of the request alone, where they can: what they ask for is built for each route anew.
async def _site(request: Request) -> Site:
    return site_of(request)


SiteDep = Annotated[Site, Depends(_site)]


async def _now(request: Request) -> datetime:
    return site_of(request).clock()


async def _zone(request: Request) -> ZoneInfo:
    return site_of(request).zone


async def _form(request: Request) -> Form:
    async with request.form(
        max_files=0, max_fields=MOST_FIELDS, max_part_size=LONGEST_FIELD
    ) as posted:
        form = Form(
            (as_typed(name), as_typed(value))
            for name, value in posted.multi_items()
            if isinstance(value, str)
        )
    request.state.form = form  # a body can be read only once
    return form


Now = Annotated[datetime, Depends(_now)]
Zone = Annotated[ZoneInfo, Depends(_zone)]
FormDep = Annotated[Form, Depends(_form)]
#: A row's key in a path: anything else, or too large to store, is Not Found.
RowId = Annotated[int, Path(ge=1, le=2**31 - 1)]
#: The same after a question mark, where 0 means none.
AskedId = Annotated[int, Query(ge=0, le=2**31 - 1)]


def over_tls(request: Request) -> bool:
    return site_of(request).settings.secure_cookies or request.url.scheme == "https"


def in_the_open(request: Request) -> bool:
    """At an address that no browser takes for secure: plain http, not this machine."""
    return not over_tls(request) and not is_this_machine(
        host_in(request.headers.get("host", ""))
    )


def cookie_name(request: Request) -> str:
    """Over TLS the prefix makes the browser refuse a cookie another host planted."""
    return "__Host-tapeline" if over_tls(request) else "tapeline"


def token_of(request: Request) -> str | None:
    return request.cookies.get(cookie_name(request))


def device_cookie(request: Request) -> str:
    """The name of the cookie with this browser's own key, for its PIN."""
    return f"{cookie_name(request)}-device"


def device_key(request: Request) -> str:
    """This browser's own key; empty where no PIN was ever set."""
    return request.cookies.get(device_cookie(request), "")


#: Whose live sign-in a browser holds, and whether it has their PIN.
Holder = tuple[Person, SignIn, bool]


def _way(request: Request) -> tuple[str, str]:
    return request.method, getattr(request.scope.get("route"), "path", "")


def _holder(request: Request, site: Site, now: datetime) -> Holder | None:
    token = token_of(request)
    if not token:
        return None
    with read_session(site.engine) as session:
        found = people.live_sign_in(session, token, now)
        if found is None:
            return None
        key = device_key(request)
        has_pin = bool(key) and known_device(session, found[0], key) is not None
        session.expunge_all()
    return *found, has_pin


def person_or_none(request: Request) -> Person | None:
    """Who is signed in, as a loaded row that belongs to no session."""
    site = site_of(request)
    if not (holder := _holder(request, site, now := site.clock())):
        return None
    person, sign_in, has_pin = holder
    if request.headers.get(PAGE_OF, str(person.id)) != str(person.id):
        return None  # a page left open by another person never acts as this one
    request.state.me = person
    request.state.has_pin = has_pin
    request.state.locked = people.is_locked(sign_in, now, site.settings.idle)
    # Looking at a lock is no use of the session, and neither is a page left open.
    if not request.state.locked and _way(request) not in POLLED:
        _write_seen(site, token_of(request) or "", now)
    return person


def is_locked(request: Request) -> bool:
    """Whether the session that asks is locked: its answers then tell of nobody."""
    return bool(getattr(request.state, "locked", False))


def _write_seen(site: Site, token: str, now: datetime) -> None:
    """Write last-seen, at most once a minute for a session.

    Before any session of the request opens: a second writer inside it would wait for
    ever. Nobody queues, so that pages never wait for a lock; who is passed over is
    written a minute later. A full disk or another writer stops no page that only reads.
    """
    last = site.seen.get(token)
    if last is not None and abs(now - last) < SEEN_EVERY:
        return
    if site.gate.locked() or not site.seen_lock.acquire(blocking=False):
        return
    try:
        kept = site.seen.items()
        fresh = {t: at for t, at in kept if abs(now - at) < SEEN_EVERY}
        site.seen = {**fresh, token: now}
        with write_session(site.engine, impatient=True) as session:
            people.seen(session, token, now)
    except Exception as fault:
        if meant_by(fault) is None:
            raise
    finally:
        site.seen_lock.release()


MaybeSignedIn = Annotated[Person | None, Depends(person_or_none)]


async def signed_in(request: Request, person: MaybeSignedIn) -> Person:
    if person is None:
        raise SignInNeeded
    if is_locked(request) and _way(request) not in LOCKED_MAY:
        raise SessionLocked
    return person


SignedIn = Annotated[Person, Depends(signed_in)]

#: Enough for any page of one patient, and little memory in a long list.
HELD_ROWS = 200


def _reading(request: Request, _me: SignedIn) -> Iterator[Session]:
    with read_session(site_of(request).engine, page=True) as session:
        session.info["now"] = site_of(request).clock()
        yield session


def _prepare(session: Session, site: Site) -> None:
    """Say when it is, and hold on to the latest rows: else they are asked for anew."""
    session.info["now"] = site.clock()
    latest: deque[object] = deque(maxlen=HELD_ROWS)
    event.listen(session, "loaded_as_persistent", lambda _, row: latest.append(row))


def _writing(request: Request, _form: FormDep) -> Iterator[Session]:
    # The form is a dependency so that a slow phone never holds the write lock.
    _pass_gate(site := site_of(request))
    with write_session(site.engine) as session:
        _prepare(session, site)
        yield session
        today = site.clock().astimezone(site.zone).date()
        site.after_change(session, today)


def _pass_gate(site: Site) -> None:
    """Wait while an import is written: the database itself would refuse sooner."""
    if site.gate.acquire(timeout=LONGEST_AT_GATE_S):
        site.gate.release()


# "function": the commit happens before the answer leaves, so a failed save is told.
ReadSession = Annotated[Session, Depends(_reading, scope="function")]
#: For deeds of people not signed in. One writer at a time, the others waiting without
#: a thread: 40 that wait for the lock of the database would leave its holder none.
PublicWriteSession = Annotated[
    Session, Depends(_writing, scope="function", max_concurrency=1)
]


async def _own_writing(
    me: SignedIn, session: PublicWriteSession, form: FormDep, now: Now
) -> Session:
    """A form that was held for this person leaves the list with its own deed."""
    held = form.text("held")
    if held.isdecimal() and len(held) < 10:
        await run_in_threadpool(
            let_go, session, me, int(held), did="sent_held", now=now
        )
    return session


WriteSession = Annotated[Session, Depends(_own_writing, scope="function")]


def by_script(request: Request) -> bool:
    """Asked by a script (htmx or fetch), which would follow a redirect unseen."""
    mode = request.headers.get("sec-fetch-mode", "navigate")
    return request.headers.get("hx-request") == "true" or mode != "navigate"


def wants_fragment(request: Request) -> bool:
    """Asked by htmx for a part of the page it already shows."""
    asked = request.headers
    return (
        asked.get("hx-request") == "true"
        and asked.get("hx-request-type") != "full"
        and asked.get("hx-history-restore-request") != "true"
    )


def render(request: Request, template: str, **context: Any) -> str:
    """A template with what the shell gives every one of them."""
    site = site_of(request)
    me = getattr(request.state, "me", None)
    idle = site.settings.idle
    return site.templates.get_template(template).render(
        request=request,
        demo=site.settings.demo,
        in_the_open=in_the_open(request),
        lan=site.lan,
        me=me,
        person_id=me.id if me else None,
        idle_minutes=idle.seconds // 60 if idle else 0,
        locked=is_locked(request),
        help_topic=topic_of(template),
        program_version=site.version,
        catalogue_edition=site.catalogue.edition,
        has_pin=getattr(request.state, "has_pin", False),
        day_pack=site.settings.day_pack == "on",
        **context,
    )


def pack_stamp(request: Request) -> str:
    """Whose day pack may lie on this browser: of this sign-in, and of its PIN now.

    It stands on every page, and one of another is wiped (static/js/pack_guard.js).
    """
    site, has_pin = site_of(request), getattr(request.state, "has_pin", None)
    if has_pin is None:  # a page that shows nobody
        if not (holder := _holder(request, site, site.clock())):
            return "nobody"
        has_pin = holder[2]
    if site.settings.day_pack == "off":
        return "off"
    key = device_key(request) if has_pin else ""
    return hashlib.sha256(f"{token_of(request)}:{key}".encode()).hexdigest()[:16]


def page(
    request: Request,
    template: str,
    fragment: str | None = None,
    /,
    *,
    status: int = 200,
    **context: Any,
) -> HTMLResponse:
    """The page, or only its `fragment` when that is what was asked for."""
    name = fragment if fragment and wants_fragment(request) else template
    html = render(request, name, **context)
    return HTMLResponse(html, status, {PACK_OF: pack_stamp(request)})
