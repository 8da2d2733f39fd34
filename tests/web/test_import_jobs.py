"""One import, told once, by whichever process: also in the instants between steps."""

import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event
from starlette.testclient import TestClient

from app.settings import Settings
from app.storage.database import WritingSession
from app.web import import_jobs
from app.web.deps import Site
from app.web.shared import Shared
from tests.conftest import Clock, client_of, running
from tests.web.test_caseload_files import SCORED, WHO, finished, labels, look

#: A thread that waits for one that will not come goes on after so long.
NOBODY_COMES_S = 2.0
PROGRESS = "/caseload/import/progress"


@contextmanager
def once_committed(then: Callable[[], object]) -> Iterator[None]:
    """What happens after an import was committed, before anybody was told."""

    def after(_session: object) -> None:
        if threading.current_thread().name.startswith("import-"):
            then()

    event.listen(WritingSession, "after_commit", after)
    try:
        yield
    finally:
        event.remove(WritingSession, "after_commit", after)


@pytest.mark.parametrize("workers", [1, 2])
def test_page_stays_between_the_commit_and_the_telling(
    supervisor: TestClient, site: Site, tmp_path: Path, workers: int
) -> None:
    site.shared = Shared(tmp_path / "board") if workers > 1 else None
    committed, asked = threading.Event(), threading.Event()

    def hold() -> None:
        committed.set()
        assert asked.wait(60)

    look(supervisor, WHO, SCORED)
    with once_committed(hold):
        supervisor.post("/caseload/import")
        assert committed.wait(60)
        between = supervisor.get(PROGRESS)
        asked.set()
        end = finished(supervisor)

    assert between.status_code == 200
    assert "Writing the files" in between.text
    assert "hx-trigger" in between.text
    assert end.headers["location"] == "/caseload/import?added=3"


class LateBoard(Shared):
    """What is told beside an import arrives after its end was told, if it can."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.saying, self.over, self.late = (threading.Event() for _ in range(3))
        self.told_over: list[bool] = []

    def tell(self, name: str, value: Any) -> None:
        beside = not value["over"] and value["says"] == "working out what is owed"
        if beside:
            self.saying.set()
            self.over.wait(NOBODY_COMES_S)
        super().tell(name, value)
        self.told_over.append(value["over"])
        if beside:
            self.late.set()
        elif value["over"]:
            self.over.set()
            assert self.late.wait(60)


def test_nothing_is_told_after_the_end(
    supervisor: TestClient,
    site: Site,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(import_jobs, "TELL_EVERY_S", 0.01)
    site.shared = Shared(tmp_path / "board")
    look(supervisor, WHO)
    board = site.shared = LateBoard(tmp_path / "board")
    with once_committed(lambda: board.saying.wait(60)):
        supervisor.post("/caseload/import")
        assert board.over.wait(60)
        assert board.late.wait(60)
        end = finished(supervisor)

    assert board.told_over[-1] is True
    assert end.headers["location"] == "/caseload/import?added=1"


class Meeting(Shared):
    """Whoever reads it waits for somebody else who does, as long as anybody comes."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.both = threading.Barrier(2, timeout=NOBODY_COMES_S)

    def told(self, name: str) -> Any:
        found = super().told(name)
        with suppress(threading.BrokenBarrierError):
            self.both.wait()
        return found


def test_one_import_however_many_workers_are_tapped(
    supervisor: TestClient,
    site: Site,
    settings: Settings,
    clock: Clock,
    tmp_path: Path,
) -> None:
    """Two workers that have both seen, in the same instant, that nobody writes."""
    board = Shared(tmp_path / "board")
    site.shared = board
    look(supervisor, WHO)
    with running(settings, clock) as app:
        other: Site = app.state.site
        there = client_of(app)
        there.cookies = supervisor.cookies
        site.shared = other.shared = Meeting(board.folder)
        with ThreadPoolExecutor(2) as taps:
            pressed = [
                taps.submit(client.post, "/caseload/import")
                for client in (supervisor, there)
            ]
        codes = [tap.result().status_code for tap in pressed]
        site.shared = other.shared = board
        ends = [finished(client).headers["location"] for client in (supervisor, there)]
        jobs = [job for one in (site, other) for job in one.jobs.values()]
        begun = [j for j in jobs if isinstance(j, import_jobs.Job) and j.writing]

    assert codes == [303, 303]
    assert ends == ["/caseload/import?added=1"] * 2
    assert len(begun) == 1
    assert labels(site) == ["Blue 7", "Green 2"]
