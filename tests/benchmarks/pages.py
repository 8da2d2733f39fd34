"""What a page takes on a large site, beside a bare page of the same size in one run.

The baseline is a bare FastAPI and Jinja page of the same bytes that runs the same
queries and throws their rows away.
"""

import statistics
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from typing import Any

import jinja2
from fastapi import FastAPI
from fastapi.responses import HTMLResponse
from sqlalchemy import Engine, event
from starlette.testclient import TestClient

from app.main import create_app
from app.settings import Settings
from app.storage import people
from app.storage.database import write_session
from tests.benchmarks.figures import POSTGRESQL, SQLITE, Figure, Options
from tests.conftest import BASE, client_of, person_by
from tests.load.site import NOW, make_site

TIMES = 30


def timed(ask: Callable[[], object], times: int = TIMES) -> tuple[float, float]:
    """p50 and p95 in milliseconds."""
    took = []
    for _ in range(times):
        started = time.perf_counter()
        ask()
        took.append(1000 * (time.perf_counter() - started))
    took.sort()
    return statistics.median(took), took[int(0.95 * (len(took) - 1))]


def signed_in(app: FastAPI, handle: str) -> TestClient:
    with write_session(app.state.site.engine) as session:
        token = people.start_sign_in(session, person_by(session, handle), NOW)
    client = client_of(app)
    client.cookies.set("tapeline", token, domain="localhost.local")
    return client


Query = tuple[str, Any]


def asked(engine: Engine, ask: Callable[[], object]) -> list[Query]:
    """The queries of a page as they reach the database, with their values."""
    seen: list[Query] = []

    def note(_c: Any, _u: Any, statement: str, values: Any, *_rest: Any) -> None:
        if statement.lstrip()[:6].upper() in ("SELECT", "WITH"):
            seen.append((statement, values))

    event.listen(engine, "before_cursor_execute", note)
    ask()
    event.remove(engine, "before_cursor_execute", note)
    return seen


def bare(engine: Engine, size: int, queries: list[Query]) -> TestClient:
    """A page of as many bytes, after the same queries."""
    app = FastAPI()
    template = jinja2.Environment(autoescape=True).from_string("<p>{{ words }}</p>")

    @app.get("/")
    def page() -> HTMLResponse:
        with engine.connect() as connection:
            for statement, values in queries:
                connection.exec_driver_sql(statement, values).all()
        return HTMLResponse(template.render(words="x" * max(0, size - 7)))

    return TestClient(app, base_url=BASE)


def row(
    app: FastAPI, name: str, client: TestClient, path: str, database: str
) -> Iterator[Figure]:
    engine = app.state.site.engine

    def ask() -> object:
        answer = client.get(path)
        assert answer.status_code == 200, (path, answer.status_code)
        return answer

    size = len(client.get(path).content)
    queries = asked(engine, ask)
    p50, p95 = timed(ask)
    plain = bare(engine, size, queries)
    _, floor = timed(lambda: plain.get("/"))
    told = f"{len(queries)} SELECTs, {size} bytes"
    yield Figure(f"{name}: p50", p50, "ms", database, note=told)
    yield Figure(
        f"{name}: p95", p95, "ms", database, floor, "a bare page", most=150,
        most_ratio=2,
    )  # fmt: skip
    yield Figure(f"{name}: SELECTs", len(queries), "", database, most=10)


def figures(options: Options) -> Iterator[Figure]:
    patients, trials = (100, 2000) if options.quick else (10_000, 1_000_000)
    for database in options.databases():
        with ExitStack() as stack:
            address = ""
            if database == POSTGRESQL and options.new_database is not None:
                address = stack.enter_context(options.new_database())
            folder = options.folder / f"pages {database}"
            yield from measure(make_site(folder, patients, trials, address), patients)


def measure(settings: Settings, patients: int) -> Iterator[Figure]:
    app = create_app(settings)
    app.state.site.clock = lambda: NOW
    chief, therapist = signed_in(app, "supervisor"), signed_in(app, "therapist0")
    view = chief.post("/desk/table", data={"plan": "maintain"}).headers["location"]
    mine = max(1, patients // 40)  # the first patient of therapist0
    deep = max(1, patients // 50)
    pages = [
        ("caseload", therapist, "/caseload"),
        ("brief", therapist, f"/patients/{mine}"),
        ("round", therapist, f"/rounds/{mine}"),
        ("desk", chief, "/desk"),
        ("table, first page", chief, "/desk/table"),
        ("table, last page", chief, f"/desk/table?number={deep}"),
        ("table, by owed", chief, "/desk/table?sort=due&down=true"),
        ("table, filtered", chief, view),
        ("week in counts", chief, "/desk/summary"),
    ]
    database = SQLITE if settings.database.startswith("sqlite") else POSTGRESQL
    for each in pages:
        yield from row(app, *each, database)
    app.state.site.engine.dispose()
