"""One site on a PostgreSQL server: several processes, and a server that goes away."""

import os
import re
import signal
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from threading import Event, Thread

import httpx
import pytest
from sqlalchemy import Engine, NullPool, create_engine
from sqlmodel import select

from app.cli import main
from app.settings import Settings
from app.storage import people
from app.storage.database import make_engine, migrate, write_session
from app.storage.people import Person
from tests.cluster import SERVER, Cluster, own_database, programs, template, thrown_away
from tests.conftest import found
from tests.faults.kill import SERVER_EVERY, all_rounds, post
from tests.faults.site import (
    Writer,
    amiss,
    browser,
    has_amcheck,
    kept,
    make_site,
    pages_amiss,
    served,
    signed_in,
)
from tests.live import Live
from tests.make import make_person, new_uid

TOLD = {"can": "stands_held", "kit": "tape", "minutes": "10"}
PATIENT = "label,birth_year,sex,conditions,facts,reason,setting,plan,opened_on"
ROW = "Flint Wren,1948,female,,,walks less,community,restore,2026-01-05"


def until(holds: Callable[[], bool], what: str, seconds: float = 180) -> None:
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end, what
        time.sleep(0.05)


def test_several_workers_on_a_file_are_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["serve", "--workers", "2", "--data", str(tmp_path)]) == 2
    assert "several workers need a PostgreSQL server" in capsys.readouterr().err


def workers_of(live: Live) -> set[int]:
    """The processes that answer: those the first one started, but for a helper."""
    told = Path(f"/proc/{live.process.pid}/task/{live.process.pid}/children")
    children = {int(pid) for pid in told.read_text().split()}
    return {
        pid
        for pid in children
        if b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes()
    }


Served = tuple[Settings, Live, list[Writer]]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A site of three processes, and four people signed in."""
    with own_database() as address:
        data = tmp_path_factory.mktemp("workers") / "site"
        settings = make_site(data, 4, address)
        with served(settings, "--workers", "3") as answered:
            yield settings, answered.live, [*signed_in(settings), supervisor(settings)]


def supervisor(settings: Settings) -> Writer:
    """Somebody who may import, and records nothing."""
    engine, now = make_engine(settings.database), datetime.now(UTC)
    with write_session(engine) as session:
        person = make_person(session, "supervisor", role="supervisor", now=now)
        token = people.start_sign_in(session, person, now)
    engine.dispose()
    return Writer(token, 0)


def all_know_what_one_was_told(site: Served) -> None:
    _, live, (writer, *_) = site
    with browser(live, writer) as client:
        client.post("patients/1/measures", data=TOLD)
    for _ in range(12):
        with browser(live, writer) as client:
            assert "Fits today" in client.get("patients/1/measures").text


def wrong_guesses_are_counted_together(site: Served) -> None:
    _, live, _ = site
    origin = {"origin": live.url.rstrip("/")}
    told = []
    for _ in range(7):
        guess = {"handle": "therapist3", "passphrase": "a wrong one, once more"}
        answer = httpx.post(f"{live.url}sign-in", data=guess, headers=origin)
        told.append(found(answer.text, ".error").text())
    assert "Wait" in told[-1]
    assert "Wait" not in told[0]


def same_trial_by_all_at_once_is_one_row(site: Served) -> None:
    settings, live, (_, writer, *_) = site
    uid, good = new_uid(), []

    def send() -> None:
        with browser(live, writer) as client:
            good.append(post(client, writer, uid, 15_400))

    threads = [Thread(target=send) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert good == [True] * 6
    assert kept(settings, [uid]) == {uid: [15_400]}


def import_goes_on_whoever_is_asked(site: Served) -> None:
    _, live, (*_, writer) = site
    with browser(live, writer) as client:
        files = {"file": ("a.csv", f"{PATIENT}\n{ROW}\n".encode())}
        client.post("caseload/import/check", files=files)
    seen: list[httpx.Response] = []

    def asked() -> str:
        with browser(live, writer) as client:
            seen.append(client.get("caseload/import/progress"))
        return seen[-1].text

    until(lambda: "Ready to import" in asked(), "nobody has read the file")
    assert all("Ready to import" in asked() for _ in range(8))
    with browser(live, writer) as client:
        client.post("caseload/import")
    until(lambda: asked() == "", "nobody says that it is written")
    assert seen[-1].headers["location"] == "/caseload/import?added=1"


def one_that_dies_is_replaced_and_all_stop_together(site: Served) -> None:
    settings, live, (_, _, writer, *_) = site
    before = workers_of(live)
    assert len(before) == 3
    os.kill(min(before), signal.SIGKILL)
    until(
        lambda: len(workers_of(live)) == 3 and min(before) not in workers_of(live),
        "the killed worker was not replaced",
    )
    uid = new_uid()
    with browser(live, writer) as client:
        assert post(client, writer, uid, 9_000)
    assert kept(settings, [uid]) == {uid: [9_000]}
    lines = (settings.data_dir / "tapeline.log").read_text().splitlines()
    assert all(re.match(r"\d{4}-\d\d-\d\d ", line) for line in lines)

    # Without their first process nobody would stop them: they stop by themselves.
    last = workers_of(live)
    live.process.kill()
    until(lambda: not any(map(is_running, last)), "a worker was left behind")


@pytest.mark.skipif(not SERVER, reason="needs TAPELINE_TEST_DATABASE_URL")
def test_several_workers_are_one_site(site: Served) -> None:
    """Each request may reach another process, which must know what the first knew."""
    all_know_what_one_was_told(site)
    wrong_guesses_are_counted_together(site)
    same_trial_by_all_at_once_is_one_row(site)
    import_goes_on_whoever_is_asked(site)
    one_that_dies_is_replaced_and_all_stop_together(site)


def is_running(pid: int) -> bool:
    stat = Path(f"/proc/{pid}/stat")
    return stat.exists() and stat.read_text().rpartition(")")[2].split()[0] != "Z"


@dataclass(slots=True)
class Phone:
    """Sends each trial until it is taken, as an outbox does."""

    writer: Writer
    taken: list[str] = field(default_factory=list)
    refused: list[httpx.Response] = field(default_factory=list)

    def record(self, live: Live, over: Event) -> None:
        with browser(live, self.writer) as client:
            while not over.is_set():
                self.send(client, new_uid())

    def send(self, client: httpx.Client, uid: str) -> None:
        url = f"rounds/{self.writer.round_id}/trials"
        body = {"uid": uid, "typed": "15.4"}
        while True:
            answer = client.post(url, data=body)
            if answer.headers.get("tapeline-saved") == uid:
                self.taken.append(uid)
                return
            self.refused.append(answer)
            time.sleep(0.05)


@pytest.fixture
def own_server() -> Iterator[Cluster]:
    if not SERVER or programs() is None:
        pytest.skip("needs TAPELINE_TEST_DATABASE_URL, and PostgreSQL's own programs")
    with thrown_away(durable=True) as cluster:
        yield cluster


def test_server_that_restarts_under_load_loses_nothing(
    own_server: Cluster, tmp_path: Path
) -> None:
    settings = make_site(tmp_path / "site", 4, own_server.url)
    over = Event()
    with served(settings) as answered:
        phones = [Phone(writer) for writer in signed_in(settings)]
        threads = [
            Thread(target=phone.record, args=(answered.live, over)) for phone in phones
        ]
        for thread in threads:
            thread.start()

        def all_have(many: int) -> bool:
            return all(len(phone.taken) >= many for phone in phones)

        until(lambda: all_have(2), "nothing was taken before")
        own_server.stop("immediate")
        until(lambda: any(phone.refused for phone in phones), "nobody was told")
        so_far = max(len(phone.taken) for phone in phones)
        own_server.start()
        until(lambda: all_have(so_far + 2), "nothing was taken after")
        over.set()
        for thread in threads:
            thread.join()

    taken = [uid for phone in phones for uid in phone.taken]
    refused = [answer for phone in phones for answer in phone.refused]
    assert kept(settings, taken) == {uid: [15_400] for uid in taken}
    assert {answer.status_code for answer in refused} == {503}
    assert all("x-request-id" in answer.headers for answer in refused)
    assert all("The database does not answer" in answer.text for answer in refused)
    assert amiss(settings) == []


def test_killed_site_whose_server_fails_too_loses_nothing(own_server: Cluster) -> None:
    found = list(all_rounds(SERVER_EVERY + 1, seed=7, cluster=own_server))

    assert has_amcheck(own_server.url)
    assert [killed.server for killed in found].count(True) == 1
    assert sum(killed.acknowledged for killed in found) > 0
    assert [(killed.lost, killed.doubled) for killed in found] == [(0, 0)] * len(found)
    assert [killed.amiss for killed in found] == [()] * len(found)


@pytest.mark.parametrize("damaged", ["person", "pk_person"])
def test_page_that_was_damaged_is_found(
    own_server: Cluster, tmp_path: Path, damaged: str
) -> None:
    """Or the rounds above would find nothing whatever was wrong."""
    settings = make_site(tmp_path / "site", 4, own_server.url)
    before = pages_amiss(settings)
    with create_engine(own_server.url, poolclass=NullPool).connect() as connection:
        asked = f"SELECT pg_relation_filepath('{damaged}')"
        path = connection.exec_driver_sql(asked).scalar_one()
    own_server.stop()
    with (own_server.folder / "data" / path).open("r+b") as file:
        file.seek(24)  # past the head of its first page
        file.write(b"\x88" * 1000)  # rows beyond the end of the page
    own_server.start()

    assert before == []
    assert any(damaged in told for told in pages_amiss(settings))


@pytest.mark.skipif(not SERVER, reason="needs TAPELINE_TEST_DATABASE_URL")
def test_database_is_lent_again_as_it_was_and_not_with_another_schema() -> None:
    """Else tests would meet what others wrote."""
    used: list[str] = []

    def used_for(statement: str, *, people: int) -> None:
        with filled.lend() as address:
            used.append(address)
            engine = make_engine(address)
            with write_session(engine) as session:
                new = make_person(session, f"person{len(used)}")
                rows = session.exec(select(Person.handle)).all()
                assert (new.id, len(rows)) == (people + 1, people + 1)
                session.connection().exec_driver_sql(statement)
            engine.dispose()

    with template(one_person) as filled:
        used_for("UPDATE person SET handle = 'other' WHERE id = 1", people=1)
        used_for("ALTER TABLE person ADD COLUMN extra text", people=1)
        used_for("SELECT 1", people=1)
    assert used[0] == used[1] != used[2]


def one_person(engine: Engine) -> None:
    migrate(engine, None)
    with write_session(engine) as session:
        make_person(session, "first")
