"""What a site makes once and every test would make anew, made once for all of them.

Each test has a site of its own that lives for a second, where people's sites run for
weeks. So what SQLAlchemy compiles, the loop that answers, and what no sweep for garbage
will find are those of a process of tests, not of a test.
"""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

import pytest
from anyio.from_thread import start_blocking_portal
from sqlalchemy import Connection, Dialect, Engine, create_engine, event
from sqlalchemy.util import LRUCache
from starlette.testclient import TestClient

from app.storage import database

#: More than the program has statements.
ROOM: Final = 5_000


def share_statements(patch: pytest.MonkeyPatch) -> None:
    """Engines made from here on share what is compiled, and the dialect it is for.

    A dialect is shared once it has connected: by then it has asked for version and
    habits of what it speaks to.
    """
    ready: dict[object, Dialect] = {}
    compiled: Any = LRUCache(ROOM)

    def made(*given: Any, **options: Any) -> Engine:
        engine = create_engine(*given, **options)
        kind = (engine.dialect.name, engine.dialect.loaded_dbapi)
        if kind in ready:
            engine.dialect = ready[kind]
        else:
            event.listen(engine, "engine_connect", keep)
        engine.update_execution_options(compiled_cache=compiled)
        return engine

    def keep(connection: Connection) -> None:
        dialect = connection.dialect
        ready.setdefault((dialect.name, dialect.loaded_dbapi), dialect)

    patch.setattr(database, "create_engine", made)


@contextmanager
def one_loop(patch: pytest.MonkeyPatch) -> Iterator[None]:
    """Test clients ask in one loop with its threads, not in a new one each time."""
    with start_blocking_portal() as portal:
        patch.setattr(TestClient, "portal", portal)
        yield


def leave_unswept() -> None:
    """Nothing there now is garbage, and looking through it takes a quarter second."""
    gc.collect()
    gc.freeze()
