"""Faults of the machine under a site, made for real, or skipped with a reason."""

import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import pytest
from fastapi import FastAPI
from sqlmodel import select

from app.settings import Settings
from app.storage import people
from app.storage.database import read_session, write_session
from app.storage.trials import Trial
from app.web.deps import Site
from tests.conftest import DATABASE, Clock, client_of, person_by, running
from tests.make import new_uid

NOBODY = 65_534


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 4 MB of its own; only root can make one, and not in every container."""
    where = tmp_path / "small"
    where.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(where)]
    done = subprocess.run(mount, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        pytest.skip(f"no disk can be made here: {done.stderr.strip()}")
    yield where
    subprocess.run(["umount", "-l", str(where)], check=True)


def fill_up(disk: Path) -> Path:
    """A file that takes all the room there is."""
    ballast = disk / "ballast"
    with ballast.open("wb", buffering=0) as file:
        try:
            while file.write(b"\0" * 4096):
                pass
        except OSError:
            pass
    return ballast


@contextmanager
def as_somebody_else() -> Iterator[None]:
    """Without root's right to write whatever is read-only."""
    root = os.geteuid() == 0
    if root:
        os.seteuid(NOBODY)
    try:
        yield
    finally:
        if root:
            os.seteuid(0)


class Bedside:
    """A therapist's phone in the middle of a test, and what the site holds of it."""

    def __init__(self, app: FastAPI, clock: Clock) -> None:
        self.site: Site = app.state.site
        self.clock = clock
        self.phone = client_of(app)
        with write_session(self.site.engine) as session:
            person = person_by(session, "therapist")
            token = people.start_sign_in(session, person, clock())
        self.phone.cookies.set("tapeline", token, domain="localhost.local")
        begun = self.phone.post(
            "/patients/1/measures/timed_up_and_go/ready",
            data={"uid": new_uid(), "device": "none", "seat_height": "17.5 in"},
        )
        self.round = begun.headers["location"]

    def send(self, uid: str, *, by_script: bool = False) -> "Answer":
        headers = {"hx-request": "true"} if by_script else {}
        body = {"uid": uid, "typed": "15.4"}
        answer = self.phone.post(f"{self.round}/trials", data=body, headers=headers)
        return Answer(answer.status_code, answer.text, dict(answer.headers))

    def reads(self) -> bool:
        """Whether the pages open that only read, a while later."""
        self.clock.move(minutes=2)
        asked = (self.phone.get(path) for path in ("/caseload", self.round))
        return all(answer.status_code == 200 for answer in asked)

    def stored(self) -> list[str]:
        with read_session(self.site.engine) as session:
            return list(session.exec(select(Trial.uid)))


class Answer:
    """What a phone is told, and whether its outbox keeps what it had sent."""

    def __init__(self, status: int, text: str, headers: dict[str, str]) -> None:
        self.status, self.text, self.headers = status, text, headers

    @property
    def waits(self) -> bool:
        """As `verdictOf` in outbox_item.js has it: our own answer, of 500 or above."""
        return self.status >= 500 and "x-request-id" in self.headers


Open = Callable[[Path], AbstractContextManager[Bedside]]


@pytest.fixture
def bedside_in(built_database: Path, clock: Clock) -> Open:
    """A site in a folder of the test's choice, and a therapist who tests somebody."""

    @contextmanager
    def opened(folder: Path) -> Iterator[Bedside]:
        shutil.copy(built_database, folder / DATABASE)
        settings = Settings(data_dir=folder, site_timezone="UTC")
        with running(settings, clock) as app:
            yield Bedside(app, clock)

    return opened


@pytest.fixture
def bedside(app: FastAPI, clock: Clock) -> Bedside:
    return Bedside(app, clock)
