"""Real databases built by the migrations, empty, and a ward with one patient in them.

Every test that asks for `engine` runs on SQLite, and on PostgreSQL too when
TAPELINE_TEST_DATABASE_URL names a server; each test there has a schema of its own.
"""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from sqlalchemy import Engine, create_engine, event, make_url, text

from app.storage.database import make_engine, migrate, write_session
from app.storage.episodes import Episode, Visit
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.trials import Round
from tests.make import (
    make_episode,
    make_patient,
    make_person,
    make_round,
    make_visit,
    new_uid,
)

SERVER = os.environ.get("TAPELINE_TEST_DATABASE_URL", "")
KINDS = ["sqlite", "postgresql"] if SERVER else ["sqlite"]


@dataclass(frozen=True)
class Ward:
    """People with their ends of the access table, and one patient in the middle.

    The therapist owns the patient and has begun a round; the outsider has nobody.
    """

    engine: Engine
    therapist: Person
    outsider: Person
    supervisor: Person
    student: Person
    patient: Patient
    episode: Episode
    visit: Visit
    round: Round


@contextmanager
def own_schema() -> Iterator[str]:
    """The address of a new schema on the server, dropped afterwards."""
    name = f"tapeline_{new_uid()}"
    server = create_engine(SERVER, isolation_level="AUTOCOMMIT")
    with server.connect() as connection:
        connection.execute(text(f"CREATE SCHEMA {name}"))
        address = make_url(SERVER).update_query_dict(
            {"options": f"-csearch_path={name}"}
        )
        yield address.render_as_string(hide_password=False)
        connection.execute(text(f"DROP SCHEMA {name} CASCADE"))
    server.dispose()


@pytest.fixture(scope="session")
def built_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated SQLite file that holds nothing, for tests to copy."""
    path = tmp_path_factory.mktemp("empty") / "built.sqlite"
    engine = make_engine(f"sqlite:///{path}")
    migrate(engine, None)
    engine.dispose()
    return path


@pytest.fixture(params=KINDS)
def url(
    request: pytest.FixtureRequest, tmp_path: Path, built_file: Path
) -> Iterator[str]:
    """The address of a migrated, empty database."""
    if request.param == "sqlite":
        path = shutil.copy(built_file, tmp_path / "site.sqlite")
        yield f"sqlite:///{path}"
        return
    with own_schema() as address:
        engine = make_engine(address)
        migrate(engine, None)
        engine.dispose()
        yield address


@pytest.fixture
def engine(url: str) -> Iterator[Engine]:
    engine = make_engine(url)
    yield engine
    engine.dispose()


@pytest.fixture
def new_file(tmp_path: Path) -> Iterator[Engine]:
    """A SQLite file that no migration has seen."""
    engine = make_engine(f"sqlite:///{tmp_path / 'new.sqlite'}")
    yield engine
    engine.dispose()


@pytest.fixture
def ward(engine: Engine) -> Ward:
    with write_session(engine) as session:
        therapist = make_person(session)
        patient = make_patient(session, therapist)
        episode = make_episode(session, therapist, patient)
        visit = make_visit(session, therapist, episode)
        return Ward(
            engine=engine,
            therapist=therapist,
            outsider=make_person(session, "outsider"),
            supervisor=make_person(session, "supervisor", role="supervisor"),
            student=make_person(session, "student", role="student"),
            patient=patient,
            episode=episode,
            visit=visit,
            round=make_round(session, therapist, visit),
        )


@pytest.fixture
def queries(ward: Ward) -> Iterator[list[str]]:
    """Every SELECT the engine is asked from here on."""
    asked: list[str] = []

    def note(*given: object) -> None:
        if str(given[2]).startswith("SELECT"):
            asked.append(str(given[2]))

    event.listen(ward.engine, "before_cursor_execute", note)
    yield asked
    event.remove(ward.engine, "before_cursor_execute", note)
