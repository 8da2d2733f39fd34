"""`tapeline demo` in a process of its own, and the folders it will not touch."""

import socket
import sqlite3
from contextlib import closing
from pathlib import Path
from shutil import copy

import httpx
import pytest

from app.catalogue.load import catalogue
from app.cli import main
from app.commands.demo_files import read_story
from app.commands.demo_folder import MARKER
from app.resources import folder
from tests.live import environment, started

PATIENTS = len(read_story(folder("demo_data"), catalogue()).patients)


def assert_demo_refused(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code = main(["demo", "--port", "0", "--data", str(data)])
    out, err = capsys.readouterr()

    assert code == 2
    assert out == ""
    assert "`tapeline demo` did not make" in err
    assert err.count("\n") == 1


def rows(data: Path, query: str) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(data / "tapeline.sqlite")) as site:
        return site.execute(query).fetchall()


def test_it_answers_and_leaves_nothing_behind(tmp_path: Path) -> None:
    real = tmp_path / "real.sqlite"
    env = environment(
        TMPDIR=str(tmp_path),
        TAPELINE_DATABASE_URL=f"sqlite:///{real}",
        TAPELINE_DATA_DIR=str(tmp_path / "real"),
    )
    with started("demo", "--port", "0", env=env) as live:
        with httpx.Client(base_url=live.url) as browser:
            health = browser.get("healthz")
            start = browser.get("/", follow_redirects=True)
            entered = browser.post(
                "demo/enter",
                data={"role": "therapist"},
                headers={"sec-fetch-site": "same-origin"},
                follow_redirects=True,
            )
        during = list(tmp_path.iterdir())
    stopped = live.process.returncode

    assert "everybody in it is invented" in live.said
    assert health.json()["status"] == "ok"
    assert (start.url.path, start.status_code) == ("/demo", 200)
    assert (entered.url.path, entered.status_code) == ("/caseload", 200)
    assert "Amber Heron" in entered.text
    assert len(during) == 1
    assert during[0].name.startswith("tapeline-demo-")
    assert stopped == 0
    assert not list(tmp_path.iterdir())


def test_people_of_the_demo_are_shown_and_passphrases_are_off() -> None:
    same = {"sec-fetch-site": "same-origin"}
    with (
        started("demo", "--port", "0") as live,
        httpx.Client(base_url=live.url, headers=same, follow_redirects=True) as browser,
    ):
        browser.post("demo/enter", data={"role": "supervisor"})
        people, account = browser.get("people"), browser.get("account")
        pin = browser.post("account/pin", data={"pin": "739154"})
        added = browser.post(
            "people/new", data={"name": "X", "handle": "x", "role": "student"}
        )

    assert people.text.count('class="person"') >= 3
    assert "nobody has a passphrase" in account.text
    assert 'type="password"' not in account.text.partition("</main>")[0]
    assert pin.status_code == 404
    assert "In the demo nobody signs in with a passphrase" in added.text


def test_folder_is_made_afresh(tmp_path: Path) -> None:
    data = tmp_path / "demo"
    for _ in range(2):
        with started("demo", "--port", "0", "--data", str(data)) as live:
            httpx.get(f"{live.url}healthz").raise_for_status()
        labels = [label for (label,) in rows(data, "SELECT label FROM patient")]
        assert len(labels) == len(set(labels)) == PATIENTS


def test_taken_port_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        code = main(["demo", "--port", str(port), "--data", str(tmp_path / "new")])
    out, err = capsys.readouterr()

    assert code == 2
    assert out == ""
    assert f"cannot listen on 127.0.0.1 port {port}" in err
    assert "--port" in err
    assert err.count("\n") == 1
    assert not (tmp_path / "new").exists()


def test_foreign_folder_is_refused_and_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = tmp_path / "tapeline.sqlite"
    site.write_bytes(b"somebody's site")

    assert_demo_refused(tmp_path, capsys)
    assert site.read_bytes() == b"somebody's site"
    assert [p.name for p in tmp_path.iterdir()] == ["tapeline.sqlite"]


def test_marked_folder_with_real_people_is_refused(
    built_database: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / MARKER).write_text("")
    copy(built_database, tmp_path / "tapeline.sqlite")

    assert_demo_refused(tmp_path, capsys)
    assert rows(tmp_path, "SELECT handle FROM person WHERE NOT is_demo")


@pytest.mark.parametrize(
    "command",
    [
        ["serve", "--port", "0"],
        ["people", "add", "--handle", "x", "--name", "X", "--role", "supervisor"],
    ],
)
def test_real_commands_refuse_a_demo_folder(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    command: list[str],
) -> None:
    (tmp_path / MARKER).write_text("")

    assert main([*command, "--data", str(tmp_path)]) == 2
    assert "holds a demo site" in capsys.readouterr().err
