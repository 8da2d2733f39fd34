"""What a started site prints for phones, and that no log ever holds a pairing link."""

import re
import sys
from io import StringIO
from pathlib import Path

import httpx
import pytest

from app.cli import main
from app.commands.pairing import pairing_lines
from app.lan.place import Place, Served
from app.settings import Settings
from app.web import phone_address
from tests.live import started
from tests.make import PASSPHRASE
from tests.qr_reading import of_blocks, read

TOKEN = "0123456789abcdefghjk"
COLOURS = re.compile(r"\x1b\[[\d;]*m")


class Terminal(StringIO):
    """A terminal of UTF-8 that somebody looks at."""

    encoding = "utf-8"

    def isatty(self) -> bool:
        return True


@pytest.fixture
def everywhere(monkeypatch: pytest.MonkeyPatch) -> Settings:
    """A site that listens for phones, on a machine whose address is known."""
    monkeypatch.setattr(phone_address, "_own_number", lambda: "192.168.178.20")
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setenv("TERM", "xterm")
    return Settings(host="0.0.0.0")


@pytest.mark.parametrize("path", ["", f"set-up/{TOKEN}"])
def test_terminal_shows_a_picture_of_the_printed_address(
    everywhere: Settings, monkeypatch: pytest.MonkeyPatch, path: str
) -> None:
    monkeypatch.setattr(sys, "stdout", Terminal())
    lines = pairing_lines(everywhere, f"https://192.168.178.20:8766/{path}")
    drawn = [COLOURS.sub("", line) for line in lines if COLOURS.match(line)]
    (printed,) = [line.strip() for line in lines if line.startswith("  ")]

    assert printed == f"https://192.168.178.20:8766/{path}"
    assert read(of_blocks(drawn)) == printed
    assert len(printed) <= 60
    assert ("Pair a phone" in " ".join(lines)) == (path == "")


def test_picture_is_left_out_where_it_would_not_be_one(
    everywhere: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = f"https://192.168.178.20:8766/set-up/{TOKEN}"
    wanted = pairing_lines(everywhere, address)  # into pytest's own file
    monkeypatch.setattr(sys, "stdout", Terminal())
    refused = pairing_lines(everywhere, address, qr=False)
    monkeypatch.setenv("COLUMNS", "40")
    narrow = pairing_lines(everywhere, address)

    assert wanted == refused == narrow
    assert wanted[0] == "On a phone in the same network, open:"
    assert not any(COLOURS.search(line) for line in wanted)


def test_nothing_is_said_where_no_phone_can_come(everywhere: Settings) -> None:
    here = everywhere.model_copy(update={"host": "127.0.0.1"})

    assert pairing_lines(here, "http://127.0.0.1:8765/") == []
    assert pairing_lines(here, "http://localhost:8765/") == []


def test_plain_http_shows_phones_no_link_that_would_turn_them_away(
    everywhere: Settings,
) -> None:
    (line,) = pairing_lines(everywhere, f"http://127.0.0.1:8765/set-up/{TOKEN}")
    behind = everywhere.model_copy(update={"secure_cookies": True})

    assert "tapeline serve --lan" in line
    assert TOKEN not in line
    assert pairing_lines(behind, "http://127.0.0.1:8765/") == []


def test_over_tls_nothing_is_warned_of(everywhere: Settings) -> None:
    lines = pairing_lines(everywhere, "https://ward-laptop.local:8765/")

    assert "  https://ward-laptop.local:8765/" in lines
    assert not any("not encrypted" in line for line in lines)


def test_on_a_network_of_its_own_a_phone_gets_the_secure_address(
    everywhere: Settings,
) -> None:
    here = everywhere.model_copy(update={"host": "127.0.0.1"})
    place = Place(8766, 8765, b"", "", Served(names=("ward-laptop.local",)))
    lines = pairing_lines(here, f"http://127.0.0.1:8765/set-up/{TOKEN}", place)

    assert f"  https://ward-laptop.local:8766/set-up/{TOKEN}" in lines
    assert not any("not encrypted" in line for line in lines)

    place.served = Served()  # no network just now
    assert pairing_lines(here, "http://127.0.0.1:8765/", place) == []


def test_secret_of_a_link_is_in_no_line_of_a_running_site(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = tmp_path / "site"
    monkeypatch.setenv("TAPELINE_PASSPHRASE", PASSPHRASE)
    who = ["--handle", "ward3", "--name", "Ward three", "--role", "therapist"]
    assert main(["people", "add", *who, "--data", str(data)]) == 0
    monkeypatch.delenv("TAPELINE_PASSPHRASE")
    with started("serve", "--port", "0", "--data", str(data)) as live:
        ours = {"origin": live.url.rstrip("/")}
        desktop = httpx.Client(base_url=live.url, headers=ours, timeout=20)
        phone = httpx.Client(base_url=live.url, headers=ours, timeout=20)
        with desktop, phone:
            desktop.post("/sign-in", data={"handle": "ward3", "passphrase": PASSPHRASE})
            shown = desktop.post("/account/pair", data={"passphrase": PASSPHRASE})
            found = re.search(r"/pair/(\w{16})<", shown.text)
            assert found
            link = f"/pair/{found[1]}"
            asked = [phone.get(link), phone.head(link)]
            sent = [phone.post(link), phone.post(link), phone.put(link)]
            wrong = phone.get(f"{link}x?why={found[1]}")
            follows = phone.get(sent[0].headers["location"])
        live.process.terminate()
        printed = live.said + live.process.communicate(timeout=60)[0]
    log = "".join(p.read_text() for p in data.glob("*.log*"))

    assert [a.status_code for a in [*asked, *sent, wrong]] == [
        200, 200, 303, 404, 405, 404,
    ]  # fmt: skip
    assert follows.status_code == 200
    assert log.count("POST /pair/{token}") == 2
    assert found[1] not in log + printed
    assert found[1] not in follows.text + str(follows.url)
