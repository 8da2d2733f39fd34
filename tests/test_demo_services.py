"""The demo's services: named once, by its own supervisor, in its own world."""

from pathlib import Path

import pytest
from sqlmodel import select

from app.catalogue.fields import CatalogueError
from app.commands.demo_services import name_services
from app.resources import folder
from app.storage.database import make_engine, migrate, read_session, write_session
from app.storage.services import Service
from tests.make import NOW, make_person


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """A site that holds a real supervisor and an invented one."""
    engine = make_engine(f"sqlite:///{tmp_path / 'demo.sqlite'}")
    migrate(engine, None)
    with write_session(engine) as session:
        make_person(session, "real", role="supervisor")
        make_person(session, "invented", role="supervisor", is_demo=True)
    engine.dispose()
    return tmp_path / "demo.sqlite"


def test_services_are_named_once_and_invented(site: Path) -> None:
    engine = make_engine(f"sqlite:///{site}")
    for _ in range(2):
        name_services(engine, folder("demo_data"), NOW)
    with read_session(engine) as session:
        rows = session.exec(select(Service).order_by(Service.name)).all()
        named = [(row.name, row.timed, row.is_demo) for row in rows]
    engine.dispose()

    assert named == [
        ("Balance and stepping", True, True),
        ("Daily tasks", True, True),
        ("Evaluation", False, True),
    ]


def test_unknown_key_stops_the_start(site: Path) -> None:
    (site.parent / "services.toml").write_text(
        '[[service]]\nname = "Odd"\nkind = "timed"\ncode = "1"\n'
    )
    engine = make_engine(f"sqlite:///{site}")
    with pytest.raises(CatalogueError, match="code"):
        name_services(engine, site.parent, NOW)
    engine.dispose()
