"""`tapeline people` and `serve`: a real site, from nobody to its first person."""

import getpass
import json
import re
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest

from app.cli import main
from app.settings import Settings
from app.storage.database import make_engine, read_session
from app.storage.people import check_passphrase
from app.web.backup_state import NONE_MADE
from tests.conftest import Clock, client_of, running
from tests.live import Live, started
from tests.make import PASSPHRASE

Capture = pytest.CaptureFixture[str]
Added = Callable[..., int]


@pytest.fixture
def data(tmp_path: Path) -> Path:
    return tmp_path / "site"


@pytest.fixture
def add(data: Path) -> Added:
    """Adds a supervisor with the handle ward3 unless told otherwise."""

    def run(**given: str) -> int:
        said = {"handle": "ward3", "name": "Ward three", "role": "supervisor"} | given
        options = [part for key, value in said.items() for part in (f"--{key}", value)]
        return main(["people", "add", *options, "--data", str(data)])

    return run


@pytest.fixture
def given(monkeypatch: pytest.MonkeyPatch) -> None:
    """The passphrase is in the environment, for this test alone."""
    monkeypatch.setenv("TAPELINE_PASSPHRASE", PASSPHRASE)


def listed(data: Path, capsys: Capture) -> list[dict[str, object]]:
    capsys.readouterr()
    assert main(["people", "list", "--json", "--data", str(data)]) == 0
    found: list[dict[str, object]] = json.loads(capsys.readouterr().out)
    return found


@pytest.mark.usefixtures("given")
def test_added_person_can_sign_in(data: Path, add: Added, capsys: Capture) -> None:
    assert add(handle=" Ward3 ") == 0
    out, err = capsys.readouterr()
    engine = make_engine(f"sqlite:///{data / 'tapeline.sqlite'}")
    with read_session(engine) as session:
        person = check_passphrase(session, "ward3", PASSPHRASE)
    engine.dispose()

    assert "Added ward3, supervisor." in out
    assert PASSPHRASE not in out + err
    assert person is not None
    assert (person.name, person.role, person.is_demo) == (
        "Ward three", "supervisor", False,
    )  # fmt: skip


@pytest.mark.usefixtures("given")
def test_everybody_is_listed_without_secrets(
    data: Path, add: Added, capsys: Capture
) -> None:
    add()
    add(handle="night", name="Night desk", role="therapist")

    assert listed(data, capsys) == [
        {"handle": "night", "name": "Night desk", "role": "therapist",
         "active": True, "last_seen": None},
        {"handle": "ward3", "name": "Ward three", "role": "supervisor",
         "active": True, "last_seen": None},
    ]  # fmt: skip


@pytest.mark.usefixtures("given")
def test_list_is_readable(data: Path, add: Added, capsys: Capture) -> None:
    add()
    capsys.readouterr()

    assert main(["people", "list", "--data", str(data)]) == 0
    assert capsys.readouterr().out.split() == ["ward3", "supervisor", "Ward", "three"]


@pytest.mark.usefixtures("given")
@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"handle": ""}, "--handle ''"),
        ({"handle": "two words"}, "--handle 'two words'"),
        ({"handle": "x" * 61}, "at most 60"),
        ({"name": "  "}, "--name '  '"),
        ({"name": "two\nlines"}, "on one line"),
        ({"name": "x" * 81}, "1 to 80"),
    ],
)
def test_bad_person_is_refused(
    data: Path, add: Added, capsys: Capture, wrong: dict[str, str], says: str
) -> None:
    assert add(**wrong) == 2
    out, err = capsys.readouterr()

    assert out == ""
    assert says in err
    assert err.count("\n") == 1
    assert not data.exists()


@pytest.mark.usefixtures("given")
def test_unknown_role_is_refused(add: Added, capsys: Capture) -> None:
    with pytest.raises(SystemExit, match="2"):
        add(role="king")
    assert "invalid choice: 'king'" in capsys.readouterr().err


@pytest.mark.usefixtures("given")
def test_handle_is_given_once(data: Path, add: Added, capsys: Capture) -> None:
    add()

    assert add(name="Somebody else") == 2
    assert "Somebody already has this handle" in capsys.readouterr().err
    assert [p["name"] for p in listed(data, capsys)] == ["Ward three"]


@pytest.mark.parametrize("passphrase", ["", "short", "x" * 257])
def test_passphrase_has_a_length(
    monkeypatch: pytest.MonkeyPatch, add: Added, capsys: Capture, passphrase: str
) -> None:
    monkeypatch.setenv("TAPELINE_PASSPHRASE", passphrase)

    assert add() == 2
    assert "letters" in capsys.readouterr().err


def test_without_a_terminal_it_says_where_to_put_it(
    monkeypatch: pytest.MonkeyPatch, add: Added, capsys: Capture
) -> None:
    monkeypatch.setattr(sys.stdin, "isatty", lambda: False, raising=False)

    assert add() == 2
    assert "put the passphrase in TAPELINE_PASSPHRASE" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("typed", "code", "says"),
    [
        ([PASSPHRASE, PASSPHRASE], 0, ""),
        ([PASSPHRASE, PASSPHRASE + "!"], 2, "differ; nobody was added"),
    ],
    ids=["the same twice", "two that differ"],
)
def test_terminal_asks_twice(
    monkeypatch: pytest.MonkeyPatch,
    add: Added,
    capsys: Capture,
    typed: list[str],
    code: int,
    says: str,
) -> None:
    answers = iter(typed)
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(getpass, "getpass", lambda _prompt: next(answers))

    assert add() == code
    assert says in capsys.readouterr().err
    assert next(answers, None) is None


def test_list_makes_no_site(data: Path, capsys: Capture) -> None:
    assert main(["people", "list", "--data", str(data)]) == 2
    assert "there is no site in" in capsys.readouterr().err
    assert not data.exists()


@pytest.mark.parametrize("command", [["people", "list"], ["serve", "--port", "0"]])
def test_file_that_is_no_database_is_refused(
    data: Path, capsys: Capture, command: list[str]
) -> None:
    data.mkdir()
    (data / "tapeline.sqlite").write_text("a letter, not a database " * 50)

    assert main([*command, "--data", str(data)]) == 2
    err = capsys.readouterr().err
    assert "tapeline: The file is not a database that can be read" in err
    assert err.count("\n") == 1


def test_port_out_of_range_is_refused(data: Path, capsys: Capture) -> None:
    assert main(["serve", "--port", "70000", "--data", str(data)]) == 2
    assert "TAPELINE_PORT='70000' cannot be used" in capsys.readouterr().err
    assert not data.exists()


@pytest.mark.usefixtures("given")
def test_real_site_says_how_to_begin_until_somebody_can(data: Path, add: Added) -> None:
    with started("serve", "--port", "0", "--data", str(data)) as empty:
        health = httpx.get(f"{empty.url}healthz")
        demo = httpx.get(f"{empty.url}demo")
        assert empty.process.stdout is not None
        advice = [empty.process.stdout.readline() for _ in range(2)]
        add()
    with started("serve", "--port", "0", "--data", str(data)) as staffed:
        home = httpx.get(staffed.url, follow_redirects=True)
        staffed.process.terminate()
        rest = staffed.process.communicate()[0]

    assert health.json()["status"] == "ok"
    assert demo.status_code == 404
    assert "to become the first supervisor" in advice[0]
    assert re.fullmatch(r" +http://127\.0\.0\.1:\d+/set-up/\w{20}\n?", advice[1])
    assert home.url.path == "/sign-in"
    assert rest == f"{NONE_MADE}\nStopped.\n"


def printed_link(site: Live) -> str:
    """The path of the set-up link that a started site prints."""
    assert site.process.stdout is not None
    lines = [site.process.stdout.readline() for _ in range(2)]
    found = re.search(r"/(set-up/\w{20})$", lines[1].strip())
    assert found, lines
    return found[1]


def test_second_start_voids_the_link_of_the_first(data: Path) -> None:
    with started("serve", "--port", "0", "--data", str(data)) as first:
        old = printed_link(first)
    with started("serve", "--port", "0", "--data", str(data)) as second:
        new = printed_link(second)
        answers = [httpx.get(second.url + link) for link in (old, new)]
    log = "".join(p.read_text() for p in data.glob("*.log*"))

    assert [answer.status_code for answer in answers] == [404, 200]
    assert answers[1].headers["referrer-policy"] == "strict-origin"
    assert "/set-up/{token}" in log
    assert new.removeprefix("set-up/") not in log


@pytest.mark.usefixtures("given")
def test_reset_prints_a_path_that_sets_a_passphrase(
    data: Path, add: Added, capsys: Capture
) -> None:
    add()
    capsys.readouterr()
    assert main(["people", "reset", "--handle", "WARD3", "--data", str(data)]) == 0
    found = re.search(r"(/join/\w{20})$", capsys.readouterr().out.strip())
    assert found
    with running(
        Settings(data_dir=data, site_timezone="UTC"), Clock(datetime.now(UTC))
    ) as app:
        browser = client_of(app)
        chosen = browser.post(found[1], data={"passphrase": "nine slow barges pass"})
        old = browser.post(
            "/sign-in", data={"handle": "ward3", "passphrase": PASSPHRASE}
        )

    assert chosen.status_code == 303
    assert old.status_code == 422


@pytest.mark.usefixtures("given")
def test_deactivated_from_the_machine(data: Path, add: Added, capsys: Capture) -> None:
    add()
    add(handle="night", name="Night desk", role="therapist")
    assert main(["people", "deactivate", "--handle", "night", "--data", str(data)]) == 0
    assert main(["people", "reset", "--handle", "night", "--data", str(data)]) == 2
    refused = capsys.readouterr().err

    assert "switched off" in refused
    assert [p["active"] for p in listed(data, capsys)] == [False, True]


@pytest.mark.usefixtures("given")
@pytest.mark.parametrize("deed", ["reset", "deactivate"])
def test_nobody_of_that_handle_is_said(
    data: Path, add: Added, capsys: Capture, deed: str
) -> None:
    add()

    assert main(["people", deed, "--handle", "nobody", "--data", str(data)]) == 2
    assert "nobody has the handle 'nobody'" in capsys.readouterr().err


@pytest.mark.usefixtures("given")
def test_last_supervisor_stays_on_the_command_line_too(
    data: Path, add: Added, capsys: Capture
) -> None:
    add()

    assert main(["people", "deactivate", "--handle", "ward3", "--data", str(data)]) == 2
    assert "only active supervisor" in capsys.readouterr().err
    assert listed(data, capsys)[0]["active"] is True
