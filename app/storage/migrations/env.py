"""What Alembic runs for every command.

The program hands over a connection. The `alembic` command has none, and works on the
scratch database that pyproject.toml names.
"""

import importlib
import pkgutil
from typing import Any, Literal

from alembic import context
from alembic.autogenerate.api import AutogenContext
from sqlalchemy import Connection
from sqlmodel import AutoString, UTCDateTime

from app import storage
from app.storage.database import make_engine
from app.storage.tables import Table, tell_postgresql
from app.storage.upgrade import changing_schema

# Every table of the program is then known, and a new module cannot be forgotten.
for module in pkgutil.iter_modules(storage.__path__):
    importlib.import_module(f"{storage.__name__}.{module.name}")
tell_postgresql(Table.metadata)


def plainly(kind: str, item: Any, _context: AutogenContext) -> str | Literal[False]:
    """How a new migration writes SQLModel's types: as what they are in the database."""
    if kind == "type" and isinstance(item, AutoString):
        return "sa.String()"
    if kind == "type" and isinstance(item, UTCDateTime):
        return "sa.DateTime(timezone=True)"
    return False


def run(connection: Connection) -> None:
    context.configure(
        connection=connection,
        target_metadata=Table.metadata,
        render_as_batch=True,
        render_item=plainly,
    )
    with context.begin_transaction():
        context.run_migrations()


given = context.config.attributes.get("connection")
if given is not None:
    run(given)
else:
    scratch = make_engine(str(context.config.get_alembic_option("scratch_database")))
    with changing_schema(scratch) as connection:
        run(connection)
    scratch.dispose()
