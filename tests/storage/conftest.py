"""Real databases built by the migrations, empty, and a ward with one patient in them.

Every test that asks for `engine` runs on SQLite, and on PostgreSQL too when
TAPELINE_TEST_DATABASE_URL names a server; each test there has a database of its own.
"""

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from sqlalchemy import Engine

from app.storage.database import make_engine, migrate, write_session
from app.storage.episodes import Episode, Visit
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.trials import Round
from tests.asked import Query, queries
from tests.cluster import KINDS, Template, template
from tests.make import (
    make_episode,
    make_patient,
    make_person,
    make_round,
    make_visit,
)


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


@pytest.fixture(scope="session")
def built_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated SQLite file that holds nothing, for tests to copy."""
    path = tmp_path_factory.mktemp("empty") / "built.sqlite"
    engine = make_engine(f"sqlite:///{path}")
    migrate(engine, None)
    engine.dispose()
    return path


@pytest.fixture(scope="session")
def built_template() -> Iterator[Template]:
    """The same on the PostgreSQL server: copying takes a tenth of migrating."""
    with template(lambda engine: migrate(engine, None)) as filled:
        yield filled


@pytest.fixture(params=KINDS)
def url(
    request: pytest.FixtureRequest, tmp_path: Path, built_file: Path
) -> Iterator[str]:
    """The address of a migrated, empty database."""
    if request.param == "sqlite":
        path = shutil.copy(built_file, tmp_path / "site.sqlite")
        yield f"sqlite:///{path}"
        return
    with request.getfixturevalue("built_template").lend() as address:
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
def reached(ward: Ward) -> Iterator[list[Query]]:
    """Every query the engine is asked from here on."""
    with queries(ward.engine) as asked:
        yield asked
