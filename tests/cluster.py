"""PostgreSQL for tests: a server that is named, or one that is thrown away afterwards.

python -m tests.cluster pytest tests/storage -k postgresql

runs a command with TAPELINE_TEST_DATABASE_URL naming a new server on a free port, made
in a temporary folder from the machine's own PostgreSQL and removed at the end. Started
by root it runs as `postgres`, since PostgreSQL refuses to run as root.
"""

import os
import pwd
import shutil
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from sqlalchemy import Engine, create_engine, make_url, text

from app.storage.database import make_engine
from tests.make import new_uid

ASKED: Final = "TAPELINE_TEST_DATABASE_URL"
SERVER: Final = os.environ.get(ASKED, "")
#: Where tests that can run on either do.
KINDS: Final = ["sqlite", "postgresql"] if SERVER else ["sqlite"]
INSTALLED: Final = Path("/usr/lib/postgresql")
OWNER: Final = "postgres"


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
def template(fill: Callable[[Engine], None]) -> Iterator[str]:
    """A database that `fill` has filled once, by name, for tests to copy."""
    with own_database() as address:
        engine = make_engine(address)
        fill(engine)
        engine.dispose()
        yield str(make_url(address).database)


@contextmanager
def own_database(like: str = "template1") -> Iterator[str]:
    """The address of a new database, a copy of another, dropped afterwards."""
    name = f"tapeline_{new_uid()}"
    with _server() as server:
        _run(server, f"CREATE DATABASE {name} TEMPLATE {like}")
        yield make_url(SERVER).set(database=name).render_as_string(hide_password=False)
        _run(server, f"DROP DATABASE {name} WITH (FORCE)")


@contextmanager
def _server() -> Iterator[Engine]:
    server = create_engine(SERVER, isolation_level="AUTOCOMMIT")
    yield server
    server.dispose()


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

    @property
    def url(self) -> str:
        return f"postgresql+psycopg://{OWNER}@127.0.0.1:{self.port}/postgres"

    def start(self) -> None:
        told = f"-p {self.port} -k {self.folder} -c listen_addresses=127.0.0.1"
        log = str(self.folder / "log")
        self._control("-o", told, "-l", log, "-w", "start")

    def stop(self, how: str = "fast") -> None:
        """`fast` breaks off what is open; `immediate` is as if the power failed."""
        self._control("-m", how, "-w", "stop")

    def _control(self, *told: str) -> None:
        data = str(self.folder / "data")
        _as_owner([str(self.programs / "pg_ctl"), "-D", data, "-s", *told])


@contextmanager
def thrown_away() -> Iterator[Cluster]:
    """A started server in a folder of its own, stopped and removed at the end."""
    found = programs()
    assert found, f"no PostgreSQL under {INSTALLED}"
    with TemporaryDirectory(prefix="tapeline-pg-") as name:
        folder = Path(name)
        if os.geteuid() == 0:
            shutil.chown(folder, OWNER)
        made = [str(found / "initdb"), "-D", f"{name}/data", "-U", OWNER]
        _as_owner([*made, "-A", "trust", "-E", "UTF8", "--no-sync"])
        cluster = Cluster(folder, _free_port(), found)
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
    with thrown_away() as cluster:
        own = {**os.environ, ASKED: cluster.url}
        return subprocess.run(command, env=own, check=False).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
