"""The demo site's services, as `demo_data/services.toml` names them."""

from datetime import datetime
from pathlib import Path

import tomli
from sqlalchemy import Engine
from sqlmodel import col, select

from app.access import SUPERVISOR
from app.catalogue.fields import Table
from app.storage.database import write_session
from app.storage.people import Person
from app.storage.services import add_service


def name_services(engine: Engine, folder: Path, now: datetime) -> None:
    """By the first supervisor of the demo; raise CatalogueError for a bad file."""
    path = folder / "services.toml"
    told = Table(tomli.loads(path.read_text("utf-8")), path.name)
    with write_session(engine) as session:
        wanted = select(Person).where(
            Person.role == SUPERVISOR, col(Person.is_demo).is_(True)
        )
        supervisor = session.exec(wanted.order_by(col(Person.id))).first()
        assert supervisor is not None, "people.toml has a supervisor"
        for row in told.tables("service"):
            timed = row.word("kind", ("timed", "untimed")) == "timed"
            add_service(
                session, supervisor, name=row.text("name"), timed=timed, now=now
            )
            row.done()
    told.done()
