"""PostgreSQL for tests: a server that is named, or one that is thrown away afterwards.

python -m tests.cluster pytest tests/storage -k postgresql

runs a command with TAPELINE_TEST_DATABASE_URL naming a new server on a free port, made
in a temporary folder from the machine's own PostgreSQL and removed at the end. Started
by root it runs as `postgres`, since PostgreSQL refuses to run as root.
"""

import os
import pwd
import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final, cast

from sqlalchemy import Connection, Engine, NullPool, create_engine, make_url, text

from app.storage.database import make_engine
from tests.make import new_uid

ASKED: Final = "TAPELINE_TEST_DATABASE_URL"
SERVER: Final = os.environ.get(ASKED, "")
#: Where tests that can run on either do.
KINDS: Final = ["sqlite", "postgresql"] if SERVER else ["sqlite"]
INSTALLED: Final = Path("/usr/lib/postgresql")
OWNER: Final = "postgres"
#: What a server does so that a power failure costs nothing.
CAREFUL: Final = ("fsync", "synchronous_commit", "full_page_writes")


@contextmanager
def own_schema() -> Iterator[str]:
    """The address of a new schema on the server, dropped afterwards."""
    name = f"tapeline_{new_uid()}"
    with _server() as server:
        _run(server, f"CREATE SCHEMA {name}")
        address = make_url(SERVER).update_query_dict(
            {"options": f"-csearch_path={name}"}
        )
        yield address.render_as_string(hide_password=False)
        _run(server, f"DROP SCHEMA {name} CASCADE")


@contextmanager
def template(fill: Callable[[Engine], None]) -> Iterator["Template"]:
    """A database that `fill` has filled once, whose like tests may use."""
    with own_database() as address, ExitStack() as copies:
        engine = make_engine(address)
        fill(engine)
        engine.dispose()
        yield Template(str(make_url(address).database), copies)


@dataclass(slots=True)
class Template:
    """Lends databases like one that was filled, each to one test at a time.

    A copy takes the server as long as everything else of most tests, so that a copy
    that comes back is put in order and lent again.
    """

    name: str
    copies: ExitStack
    free: list["Copy"] = field(default_factory=list)

    @contextmanager
    def lend(self) -> Iterator[str]:
        copy = self.free.pop() if self.free else self._another()
        yield copy.url
        if copy.put_in_order():
            self.free.append(copy)

    def _another(self) -> "Copy":
        address = self.copies.enter_context(own_database(self.name))
        engine = create_engine(address, poolclass=NullPool)
        return Copy(address, self.copies.enter_context(engine.connect()))


#: Changes with every table, column, constraint, index or trigger that does.
SHAPE: Final = """
SELECT md5(string_agg(part, ' ' ORDER BY part)) FROM (
  SELECT concat_ws('.', oid, xmin) FROM pg_class WHERE relnamespace = 'public'::regnamespace
  UNION ALL SELECT concat_ws('.', attrelid, attnum, a.xmin) FROM pg_attribute AS a
    JOIN pg_class AS c ON c.oid = attrelid AND relnamespace = 'public'::regnamespace
  UNION ALL SELECT concat_ws('.', oid, xmin) FROM pg_constraint
  UNION ALL SELECT concat_ws('.', oid, xmin) FROM pg_trigger
) AS parts (part)
"""  # noqa: E501
TABLES: Final = "SELECT tablename FROM pg_tables WHERE schemaname = 'public'"
NUMBERS: Final = (
    "SELECT format('setval(%L, %s, %L)', quote_ident(sequencename), "
    "coalesce(last_value, start_value), last_value IS NOT NULL) "
    "FROM pg_sequences WHERE schemaname = 'public'"
)
ALONE: Final = (
    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
    "WHERE datname = current_database() AND pid <> pg_backend_pid()"
)


class Copy:
    """A database of its own, and what it held when it was made."""

    def __init__(self, url: str, connection: Connection) -> None:
        self.url = url
        # No copying in or out of a table in SQLAlchemy: the driver's own connection.
        self.driver = cast(Any, connection.connection.driver_connection)
        self._do("SET session_replication_role = replica")  # no triggers, no keys
        self.driver.commit()
        self.shape = self._do(SHAPE).fetchall()
        tables = [f'"{name}"' for (name,) in self._do(TABLES)]
        self.emptied = "; ".join(f"DELETE FROM {table}" for table in tables)
        numbers = [call for (call,) in self._do(NUMBERS)]
        self.numbered = f"SELECT {', '.join(numbers)}"
        held = {table: self._rows(table) for table in tables}
        self.held = {table: rows for table, rows in held.items() if rows}
        self.driver.commit()

    def put_in_order(self) -> bool:
        """Take out what was written; False where the schema was changed as well."""
        self._do(ALONE)
        if self._do(SHAPE).fetchall() != self.shape:
            self.driver.rollback()
            return False
        self._do(self.emptied)
        self._do(self.numbered)
        for table, rows in self.held.items():
            with self.driver.cursor().copy(f"COPY {table} FROM STDIN") as into:
                into.write(rows)
        self.driver.commit()
        return True

    def _do(self, statement: str) -> Any:
        return self.driver.execute(statement)

    def _rows(self, table: str) -> bytes:
        with self.driver.cursor().copy(f"COPY {table} TO STDOUT") as out:
            return b"".join(bytes(part) for part in out)


@contextmanager
def own_database(like: str = "template1", server: str = SERVER) -> Iterator[str]:
    """The address of a new database, a copy of another, dropped afterwards."""
    name = f"tapeline_{new_uid()}"
    with _server(server) as engine:
        _run(engine, f"CREATE DATABASE {name} TEMPLATE {like}")
        yield make_url(server).set(database=name).render_as_string(hide_password=False)
        _run(engine, f"DROP DATABASE {name} WITH (FORCE)")


@contextmanager
def _server(address: str = SERVER) -> Iterator[Engine]:
    # No connection waits in a pool: the server may be stopped in between.
    engine = create_engine(address, isolation_level="AUTOCOMMIT", poolclass=NullPool)
    yield engine
    engine.dispose()


def _run(server: Engine, statement: str) -> None:
    with server.connect() as connection:
        connection.execute(text(statement))


def programs() -> Path | None:
    """The folder of the machine's newest PostgreSQL; None where there is none."""
    found = [path.parent for path in INSTALLED.glob("*/bin/initdb")]
    if found:
        return max(found, key=lambda path: int(path.parent.name))
    known = shutil.which("initdb")
    return Path(known).parent if known else None


@dataclass(frozen=True, slots=True)
class Cluster:
    """A server of our own, to be stopped and started as it pleases a test."""

    folder: Path
    port: int
    programs: Path
    #: Whether what was committed outlives a power failure: slower by half or more.
    durable: bool = True

    @property
    def url(self) -> str:
        return f"postgresql+psycopg://{OWNER}@127.0.0.1:{self.port}/postgres"

    def start(self) -> None:
        told = f"-p {self.port} -k {self.folder} -c listen_addresses=127.0.0.1"
        told += "" if self.durable else "".join(f" -c {name}=off" for name in CAREFUL)
        log = str(self.folder / "log")
        self._control("-o", told, "-l", log, "-w", "start")

    def stop(self, how: str = "fast") -> None:
        """`fast` breaks off what is open; `immediate` is as if the power failed."""
        self._control("-m", how, "-w", "stop")

    def _control(self, *told: str) -> None:
        data = str(self.folder / "data")
        _as_owner([str(self.programs / "pg_ctl"), "-D", data, "-s", *told])


@contextmanager
def thrown_away(*, durable: bool = True) -> Iterator[Cluster]:
    """A started server in a folder of its own, stopped and removed at the end."""
    found = programs()
    assert found, f"no PostgreSQL under {INSTALLED}"
    with TemporaryDirectory(prefix="tapeline-pg-") as name:
        folder = Path(name)
        if os.geteuid() == 0:
            shutil.chown(folder, OWNER)
        made = [str(found / "initdb"), "-D", f"{name}/data", "-U", OWNER]
        _as_owner([*made, "-A", "trust", "-E", "UTF8", "--no-sync"])
        cluster = Cluster(folder, _free_port(), found, durable)
        cluster.start()
        try:
            yield cluster
        finally:
            cluster.stop("immediate")


def _as_owner(command: list[str]) -> None:
    """Run it as this user, or as `postgres` when this user is root."""
    user = pwd.getpwnam(OWNER).pw_uid if os.geteuid() == 0 else None
    done = subprocess.run(
        command, user=user, cwd="/", stdout=subprocess.DEVNULL, check=False
    )
    assert done.returncode == 0, f"{command[0]} failed"


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as door:
        port: int = door.getsockname()[1]
        return port


def main(command: list[str]) -> int:
    # Asked to stop, it still stops its server and removes it.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(128 + signal.SIGTERM))
    with thrown_away(durable=False) as cluster:
        own = {**os.environ, ASKED: cluster.url}
        return subprocess.run(command, env=own, check=False).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
