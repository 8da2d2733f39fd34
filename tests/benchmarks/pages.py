"""What every page takes on a large site, beside a bare page of the same size.

The bare page is FastAPI and Jinja alone: it runs the same queries by the driver, throws
their rows away and sends the same words, compressed alike, rendered as one value: the
budget is against it. A second one, without a budget, does the same by the program's own
means: the queries through SQLModel, which makes their rows, and the words line by line.
All three are asked in turn, so that noise of the machine falls on each, and through the
same client, whose own time is in each.
"""

import gc
import statistics
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import jinja2
from fastapi import FastAPI
from fastapi.responses import HTMLResponse
from sqlalchemy import Engine
from sqlalchemy.orm import ORMExecuteState, Session
from starlette.middleware.gzip import GZipMiddleware
from starlette.testclient import TestClient

from app.main import create_app
from app.settings import Settings
from app.storage import people
from app.storage.database import read_session, write_session
from app.web.deps import Site
from tests.asked import Query, heard, queries
from tests.benchmarks.figures import POSTGRESQL, SQLITE, Figure, Options
from tests.conftest import BASE, client_of, person_by
from tests.load.site import NOW, make_site
from tests.load.story import (
    HELPER,
    NEWCOMER,
    STUDENT,
    SUPERVISOR,
    THERAPIST,
    tell_story,
)

TIMES, QUICK_TIMES = 40, 10
LONGEST_S = 15
#: Who asks, by handle: of the bulk, and of the story.
CHIEF, MINE = "supervisor", "therapist0"
#: By whom each address is asked; those of a patient are filled in from the story.
ASKED_BY: Final[Mapping[str, tuple[str, ...]]] = {
    CHIEF: (
        "/audit", "/caseload/export", "/caseload/import", "/desk", "/desk/summary",
        "/desk/table", "/exports", "/exports/left-out", "/people", "/people/new",
        "/people/{chief_id}", "/practice/rules/{measure_id}", "/services",
    ),
    MINE: (
        "/account", "/account/pair", "/activities",
        "/activities/evidence", "/activities/tools", "/activities/{aid}",
        "/bedside", "/bedside/attach", "/caseload", "/caseload/arrange", "/cover",
        "/help", "/help/changes", "/help/{topic}", "/held", "/kit",
        "/kit/scale", "/measures/{measure_id}/sources", "/patients/find",
        "/patients/new", "/practice/scoring", "/session", "/sign-in",
        "/healthz", "/sw.js",
    ),
    STUDENT: (
        "/practice", "/practice/progress", "/practice/{case}/{trial}",
        "/practice/attempts/{attempt_id}", "/practice/showings/{showing_id}",
    ),
    SUPERVISOR: (
        "/practice/agreement", "/practice/checks/new",
        "/practice/people/{student_id}", "/visits/{reviewed_id}/review",
    ),
    NEWCOMER: ("/practice/checks/{check_id}",),
    HELPER: ("/rounds/{round_id}/help",),
    THERAPIST: (
        "/goals/{goal_id}", "/goals/{goal_id}/edit", "/home-sheets/{sheet_id}",
        "/patients/{patient_id}",
        "/patients/{patient_id}/activities/{activity_id}",
        "/patients/{patient_id}/deficits", "/patients/{treated_id}/doses",
        "/patients/{patient_id}/edit", "/patients/{patient_id}/episodes",
        "/patients/{patient_id}/episodes/{episode_id}/picture",
        "/patients/{patient_id}/exports", "/patients/{patient_id}/fhir",
        "/patients/{patient_id}/goals", "/patients/{patient_id}/goals/new",
        "/patients/{patient_id}/goals/scale", "/patients/{patient_id}/home-sheet",
        "/patients/{patient_id}/measures",
        "/patients/{patient_id}/measures/{measure_id}",
        "/patients/{patient_id}/measures/{measure_id}/ready",
        "/patients/{patient_id}/pathways",
        "/patients/{patient_id}/pathways/{pathway_id}",
        "/patients/{patient_id}/people", "/patients/{treated_id}/plan",
        "/patients/{patient_id}/precautions", "/patients/{patient_id}/profile",
        "/patients/{patient_id}/record", "/patients/{treated_id}/rooms",
        "/patients/{treated_id}/rooms/ramp", "/patients/{patient_id}/treat",
        "/patients/{patient_id}/visits", "/rounds/{round_id}",
        "/rounds/{round_id}/help/now",
        "/sets/{set_id}/safety", "/trials/{trial_id}/safety", "/visits/{visit_id}",
        "/visits/{visit_id}/hand-off/{to}", "/visits/{visit_id}/notes/{note}",
        "/visits/{signed_id}/notes/{note}/text", "/visits/{visit_id}/picture",
        "/visits/{visit_id}/teaching",
    ),
}  # fmt: skip
#: Names of a path that a row of the story stands for under another name.
ALSO: Final = {"treated_id": "patient_id", "reviewed_id": "visit_id",
               "signed_id": "visit_id", "student_id": "person_id",
               "chief_id": "person_id"}  # fmt: skip
#: GET addresses that are not measured, each with the reason.
LEFT_OUT: Final = {
    "/": "sends on to the first page",
    "/account/phone": "only on a phone that was paired a minute ago",
    "/caseload/import/progress": "sends on where no import is under way",
    "/demo": "only a demo site has it",
    "/home": "sends on to the first page",
    "/join/{token}": "its address works once",
    "/pack": "sealed with argon2, which takes a second on purpose",
    "/pair/{token}": "its address works once",
    "/practice/next": "sends on to what is drawn",
    "/review": "sends on to the desk",
    "/set-up/{token}": "its address works once",
    "/trust": "only where the site is served over TLS on a network",
    "/trust/tapeline-authority.crt": "only where the site is served over TLS",
    "/trust/tapeline-authority.pem": "only where the site is served over TLS",
}


@dataclass(frozen=True, slots=True)
class Page:
    """A page by the name it has in the table, who asks for it, and its address."""

    name: str
    handle: str
    path: str


@dataclass(frozen=True, slots=True)
class Took:
    """p50 and p95 in milliseconds."""

    p50: float
    p95: float


def timed(
    *asks: Callable[[], object],
    times: int = TIMES,
    clock: Callable[[], float] = time.perf_counter,
) -> list[Took]:
    """How long each takes, asked in turn: a, b, a, b; slow ones fewer times."""
    took: list[list[float]] = [[] for _ in asks]
    begun = clock()
    for number in range(times):
        if number >= 3 and clock() - begun > LONGEST_S:
            break
        for ask, mine in zip(asks, took, strict=True):
            started = clock()
            ask()
            mine.append(1000 * (clock() - started))
    return [_took(sorted(mine)) for mine in took]


def _took(in_order: list[float]) -> Took:
    return Took(statistics.median(in_order), in_order[int(0.95 * (len(in_order) - 1))])


def signed_in(app: FastAPI, handle: str) -> TestClient:
    with write_session(app.state.site.engine) as session:
        token = people.start_sign_in(session, person_by(session, handle), NOW)
    client = client_of(app)
    client.cookies.set("tapeline", token, domain="localhost.local")
    return client


def asked_of_session(ask: Callable[[], object]) -> list[ORMExecuteState]:
    """The same as the program puts them."""
    seen: list[ORMExecuteState] = []
    with heard(Session, "do_orm_execute", seen.append):
        ask()
    return [state for state in seen if state.is_select]


def bare(
    engine: Engine, words: str, asked: list[Query], states: list[ORMExecuteState]
) -> TestClient:
    """A page of the same words after the same queries: bare, and by our means."""
    app = FastAPI()
    app.add_middleware(GZipMiddleware, minimum_size=1024, compresslevel=5)
    jinja = jinja2.Environment(autoescape=True)
    whole = jinja.from_string("{{ words|safe }}")
    by_line = jinja.from_string("{% for line in lines %}{{ line|safe }}{% endfor %}")

    def by_driver() -> HTMLResponse:
        with engine.connect() as connection:
            for statement, values in asked:
                connection.exec_driver_sql(statement, values).all()
        return HTMLResponse(whole.render(words=words))

    def by_session() -> HTMLResponse:
        with read_session(engine, page=True) as session:
            for state in states:
                Session.execute(session, state.statement, state.parameters).all()
        return HTMLResponse(by_line.render(lines=words.splitlines(keepends=True)))

    app.add_api_route("/", by_driver, response_model=None)
    app.add_api_route("/by-session", by_session, response_model=None)
    return TestClient(app, base_url=BASE)


def row(
    app: FastAPI, page: Page, client: TestClient, database: str, times: int
) -> Iterator[Figure]:
    engine = app.state.site.engine

    def ask() -> str:
        answer = client.get(page.path)
        assert answer.status_code in (200, 204), (page.path, answer.status_code)
        return answer.text

    #: A file that is sent is as long as what it holds: the budgets are for pages.
    is_file = "content-disposition" in client.get(page.path).headers
    words = ask()
    with queries(engine) as asked:
        ask()
    plain = bare(engine, words, asked, asked_of_session(ask))
    own, driver, means = timed(
        ask, lambda: plain.get("/"), lambda: plain.get("/by-session"), times=times
    )
    told = f"{len(asked)} SELECTs, {len(words.encode())} bytes"
    yield Figure(
        f"{page.name}: p50", own.p50, "ms", database, means.p50,
        "a bare page by SQLModel, line by line", note=told,
    )  # fmt: skip
    yield Figure(
        f"{page.name}: p95", own.p95, "ms", database, driver.p95, "a bare page",
        most=None if is_file else 150, most_ratio=None if is_file else 2,
    )  # fmt: skip
    most = None if is_file else 10
    yield Figure(f"{page.name}: SELECTs", len(asked), "", database, most=most)


def figures(options: Options) -> Iterator[Figure]:
    patients, trials = (100, 2000) if options.quick else (10_000, 1_000_000)
    times = QUICK_TIMES if options.quick else TIMES
    for database in options.databases():
        with options.address(database) as address:
            folder = options.folder / f"pages {database}"
            made = make_site(folder, patients, trials, address)
            yield from measure(made, patients, times)


def of_bulk(patients: int) -> Iterator[Page]:
    """Pages that grow with the site, and those of a patient with a long history."""
    mine = max(1, patients // 40)  # the first patient of therapist0
    deep = max(1, patients // 50)
    yield Page("brief of the bulk", MINE, f"/patients/{mine}")
    yield Page("round of the bulk", MINE, f"/rounds/{mine}")
    yield Page(
        "measure of the bulk", MINE, f"/patients/{mine}/measures/four_square_step"
    )
    yield Page("table, last page", CHIEF, f"/desk/table?number={deep}")
    yield Page("table, by owed", CHIEF, "/desk/table?sort=due&down=true")


def posted(clients: Mapping[str, TestClient]) -> Iterator[Page]:
    """Addresses that only a form gives."""
    view = clients[CHIEF].post("/desk/table", data={"plan": "maintain"})
    yield Page("table, filtered", CHIEF, view.headers["location"])
    begun = clients[MINE].post("/practice/scoring", data={"level": "2"})
    yield Page("/practice/scoring/{showing_id}", MINE, begun.headers["location"])


def measure(settings: Settings, patients: int, times: int) -> Iterator[Figure]:
    app = create_app(settings)
    site: Site = app.state.site
    site.clock = lambda: NOW
    names = tell_story(site.engine, site.catalogue, settings) | {"chief_id": 1}
    clients = {handle: signed_in(app, handle) for handle in ASKED_BY}
    plain = [
        Page(path, handle, path.format_map(names))
        for handle, paths in ASKED_BY.items()
        for path in paths
    ]
    database = SQLITE if settings.database.startswith("sqlite") else POSTGRESQL
    gc.freeze()  # as a site does when it begins to serve
    for page in (*of_bulk(patients), *posted(clients), *plain):
        yield from row(app, page, clients[page.handle], database, times)
    site.engine.dispose()
