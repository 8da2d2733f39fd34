"""A site on real SQLite built by the migrations, a clock, and the named cast.

The therapist owns the patient; the colleague, the supervisor, the student and the
outsider do not. Each name is a client already signed in; `client` is nobody.
"""

import os
import re
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby
from pathlib import Path

import hypothesis
import pytest
from fastapi import FastAPI
from selectolax.lexbor import LexborHTMLParser, LexborNode
from sqlalchemy import Engine
from sqlmodel import Session, select
from starlette.testclient import TestClient

from app.main import create_app
from app.settings import PREFIX, Settings
from app.storage import people
from app.storage.database import make_engine, migrate, read_session, write_session
from app.storage.patients import Patient
from app.storage.people import Person
from app.web.deps import Site
from tests.built_demo import CopyDemo, copier
from tests.cluster import KINDS, Template, template
from tests.make import NOW, make_episode, make_patient, make_person
from tests.shared import leave_unswept, one_loop, share_statements

# A slow machine is no failed property. The gate judges a change and throws no dice: it
# tries the same examples each time, and everybody else draws others.
hypothesis.settings.register_profile(
    "ours", deadline=None, derandomize="CI" in os.environ,
    suppress_health_check=[hypothesis.HealthCheck.too_slow],
)  # fmt: skip
hypothesis.settings.load_profile("ours")
BASE = "http://localhost:8765"
#: Handle and role. An outsider has the therapist's role and nobody on the caseload.
CAST = {
    "therapist": "therapist",
    "colleague": "therapist",
    "supervisor": "supervisor",
    "student": "student",
    "outsider": "therapist",
}
DATABASE = "tapeline.sqlite"
#: Files of tests about pages that also run on PostgreSQL.
ON_BOTH = {
    "test_caseload_files",
    "test_desk",
    "test_doses",
    "test_exports",
    "test_goals",
    "test_held",
    "test_helping",
    "test_import_jobs",
    "test_notes",
    "test_open_visit",
    "test_pairing",
    "test_patients",
    "test_practice",
    "test_review",
    "test_rooms",
    "test_rounds",
    "test_safety",
    "test_sets",
    "test_visit_lists",
    "test_visits",
}


@dataclass
class Clock:
    """The site's clock; a test moves it."""

    now: datetime = NOW

    def __call__(self) -> datetime:
        return self.now

    def move(self, **by: float) -> None:
        self.now += timedelta(**by)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Journeys wait more than they work: spread over the rest, one worker at a time
    waits while the others work. Files stay whole, for what they make once."""
    files = [list(each) for _, each in groupby(items, key=lambda item: item.path)]
    journeys = [each for each in files if "journeys" in each[0].path.parts]
    others = [each for each in files if "journeys" not in each[0].path.parts]
    many = len(journeys)
    items.clear()
    for number, each in enumerate(others):
        while journeys and len(journeys) * len(others) >= many * (len(others) - number):
            items += journeys.pop(0)
        items += each
    items += [item for each in journeys for item in each]


def pytest_collection_finish() -> None:
    leave_unswept()


@pytest.fixture(autouse=True, scope="session")
def _made_once() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        share_statements(patch)
        with one_loop(patch):
            yield


@pytest.fixture(autouse=True)
def _own_environment_only(monkeypatch: pytest.MonkeyPatch) -> None:
    """Settings of the machine the tests run on do not reach them."""
    for name in os.environ:
        if name.startswith(PREFIX) and not name.startswith(f"{PREFIX}TEST_"):
            monkeypatch.delenv(name)


@pytest.fixture(scope="session")
def copy_demo(tmp_path_factory: pytest.TempPathFactory) -> CopyDemo:
    """Copies the invented site's database, which is built once for all workers."""
    own = tmp_path_factory.getbasetemp()
    return copier(own.parent if "PYTEST_XDIST_WORKER" in os.environ else own)


@pytest.fixture(scope="session")
def built_database(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated database file with the cast and the therapist's patient in it.

    Made once, since hashing and migrating take time, and copied by every test.
    """
    path = tmp_path_factory.mktemp("built") / DATABASE
    engine = make_engine(f"sqlite:///{path}")
    _fill(engine)
    engine.dispose()
    return path


def _fill(engine: Engine) -> None:
    migrate(engine, None)
    with write_session(engine) as session:
        people_by = {
            handle: make_person(session, handle, role=role)
            for handle, role in CAST.items()
        }
        owner = people_by["therapist"]
        make_episode(session, owner, make_patient(session, owner))


@pytest.fixture(scope="session")
def built_template() -> Iterator[Template]:
    """The same on the PostgreSQL server that is named."""
    with template(_fill) as filled:
        yield filled


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Some pages are asked on both databases, when there is a server."""
    asked = "database_kind" in metafunc.fixturenames and len(KINDS) > 1
    if asked and metafunc.module.__name__.rpartition(".")[2] in ON_BOTH:
        metafunc.parametrize("database_kind", KINDS)


@pytest.fixture
def database_kind() -> str:
    return KINDS[0]


@contextmanager
def cast_database(
    request: pytest.FixtureRequest, kind: str, folder: Path
) -> Iterator[str]:
    """The cast's database for one test, in `folder` or on the server: its address."""
    if kind == "postgresql":
        with request.getfixturevalue("built_template").lend() as address:
            yield address
    else:
        shutil.copy(request.getfixturevalue("built_database"), folder / DATABASE)
        yield ""


@pytest.fixture
def settings(
    request: pytest.FixtureRequest, tmp_path: Path, database_kind: str
) -> Iterator[Settings]:
    with cast_database(request, database_kind, tmp_path) as address:
        yield Settings(data_dir=tmp_path, database_url=address, site_timezone="UTC")


@pytest.fixture
def clock() -> Clock:
    return Clock()


@contextmanager
def running(settings: Settings, clock: Clock) -> Iterator[FastAPI]:
    app = create_app(settings)
    app.state.site.clock = clock
    yield app
    app.state.site.engine.dispose()


@pytest.fixture
def app(settings: Settings, clock: Clock) -> Iterator[FastAPI]:
    with running(settings, clock) as app:
        yield app


@pytest.fixture
def site(app: FastAPI) -> Site:
    site: Site = app.state.site
    return site


def client_of(app: FastAPI) -> TestClient:
    """A browser on one of our own pages, which shows redirects instead of following."""
    headers = {"sec-fetch-site": "same-origin"}
    return TestClient(app, base_url=BASE, headers=headers, follow_redirects=False)


@pytest.fixture
def client(app: FastAPI) -> TestClient:
    return client_of(app)


@pytest.fixture
def sign_in_as(app: FastAPI, site: Site, clock: Clock) -> Callable[[str], TestClient]:
    """A signed-in client by handle, without the cost of hashing."""

    def sign_in(handle: str) -> TestClient:
        with write_session(site.engine) as session:
            token = people.start_sign_in(session, person_by(session, handle), clock())
        client = client_of(app)
        client.cookies.set("tapeline", token, domain="localhost.local")
        return client

    return sign_in


def found(html: str, css: str) -> LexborNode:
    """The first such element of a page, which must be there."""
    node = LexborHTMLParser(html).css_first(css)
    assert node is not None, f"no {css}"
    return node


#: Hashes and uids, and random bytes in letters, digits and signs of three kinds.
DRAWN = re.compile(
    r"\b[0-9a-f]{12,}\b"
    r"|(?<![\w/+-])(?=[\w/+-]*[0-9])(?=[\w/+-]*[a-z])(?=[\w/+-]*[A-Z])[\w/+-]{16,}",
    re.ASCII,
)


def undrawn(text: str) -> str:
    """The text without what was drawn at random, which can hold any few digits."""
    return DRAWN.sub("CODE", text)


def person_by(session: Session, handle: str) -> Person:
    return session.exec(select(Person).where(Person.handle == handle)).one()


@pytest.fixture
def patient_id(site: Site) -> int:
    """The one patient, whom the therapist owns."""
    with read_session(site.engine) as session:
        found: int = session.exec(select(Patient.id)).one()
    return found


@pytest.fixture
def therapist(sign_in_as: Callable[[str], TestClient]) -> TestClient:
    return sign_in_as("therapist")


@pytest.fixture
def colleague(sign_in_as: Callable[[str], TestClient]) -> TestClient:
    return sign_in_as("colleague")


@pytest.fixture
def supervisor(sign_in_as: Callable[[str], TestClient]) -> TestClient:
    return sign_in_as("supervisor")


@pytest.fixture
def student(sign_in_as: Callable[[str], TestClient]) -> TestClient:
    return sign_in_as("student")


@pytest.fixture
def outsider(sign_in_as: Callable[[str], TestClient]) -> TestClient:
    return sign_in_as("outsider")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """What was measured stands in the output, also of a run in which all passed."""
    found = [
        (kind, str(line))
        for report in terminalreporter.getreports("passed")
        if report.when == "call"
        for kind, line in report.user_properties
    ]
    if found:
        terminalreporter.section("measured")
    for kind, line in found:
        terminalreporter.write_line(f"{kind}: {line}")
