"""What a page takes on a large site, beside a bare page of the same size in one run.

    python -m tests.benchmarks.pages --patients 10000 --trials 1000000

A row says: p50 and p95 in ms of the page, its SELECTs, its bytes, and its p95 against
that of a bare FastAPI and Jinja page of the same bytes that runs the same queries and
throws their rows away, as a ratio.
"""

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jinja2
from fastapi import FastAPI
from fastapi.responses import HTMLResponse
from sqlalchemy import Engine, event
from starlette.testclient import TestClient

from app.main import create_app
from app.storage import people
from app.storage.database import write_session
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


def row(app: FastAPI, name: str, client: TestClient, path: str) -> str:
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
    return (
        f"{name:<22} {p50:8.1f} {p95:8.1f} {len(queries):8} {size:9} {p95 / floor:8.1f}"
    )


def measure(folder: Path, patients: int, trials: int) -> list[str]:
    app = create_app(make_site(folder, patients, trials))
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
    heads = ("p50 ms", "p95 ms", "selects", "bytes", "x bare")
    head = f"{'page':<22}" + "".join(f"{word:>9}" for word in heads)
    return [head, *(row(app, *each) for each in pages)]


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--patients", type=int, default=1000)
    given.add_argument("--trials", type=int, default=20_000)
    wanted = given.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        started = time.monotonic()
        lines = measure(Path(folder), wanted.patients, wanted.trials)
        print(f"{wanted.patients} patients, {wanted.trials} trials; "
              f"{time.monotonic() - started:.0f} s in all")  # fmt: skip
        print("\n".join(lines))


if __name__ == "__main__":
    main()
