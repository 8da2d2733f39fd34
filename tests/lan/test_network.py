"""`tapeline serve --lan` seen from another machine, on a network with no way out."""

import json
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.lan.namespaces import PHONE, SITE, Cable, cable, needs_openssl
from tests.live import LONGEST_S, ROOT, TAPELINE, environment

PLAIN, SECURE, NAME = 8765, 8766, "ward.example.org"
TCP, SYN, ACK = 6, 2, 16


@dataclass
class Ward:
    """The running site, what it printed, and the certificate a phone would take."""

    cable: Cable
    process: subprocess.Popen[str]
    said: str
    trust: str

    def phone(self, *wishes: dict[str, Any]) -> list[dict[str, Any]]:
        """Each wish asked from the other machine."""
        usual = {"name": SITE, "address": SITE, "path": "/", "tls": False}
        whole = [
            {**usual, "port": SECURE if w.get("tls") else PLAIN, **w} for w in wishes
        ]
        asking = (sys.executable, "-m", "tests.lan.phone")
        done = subprocess.run(
            self.cable.inside(self.cable.phone, *asking),
            cwd=ROOT, env=environment(), input=json.dumps(whole),
            capture_output=True, text=True, timeout=LONGEST_S, check=True,
        )  # fmt: skip
        answers: list[dict[str, Any]] = json.loads(done.stdout)
        return answers


@pytest.fixture
def ward(tmp_path: Path) -> Iterator[Ward]:
    needs_openssl()
    folder = tmp_path / "site"
    folder.mkdir(mode=0o700)
    with cable() as made, (folder / "said").open("w+") as said:
        process = subprocess.Popen(
            made.inside(made.site, *TAPELINE, "serve", "--lan", "--data", str(folder)),
            cwd=ROOT, env=environment(TAPELINE_LAN_NAMES=NAME, PYTHONUNBUFFERED="1"),
            stdout=said, stderr=subprocess.STDOUT, text=True,
        )  # fmt: skip
        with process:
            try:
                started = Ward(made, process, "", str(folder / "trusted.pem"))
                started.said = wait_until_open(folder / "said", process)
                (taken,) = started.phone({"path": "/trust/tapeline-authority.pem"})
                Path(started.trust).write_text(taken["body"])
                yield started
            finally:
                process.terminate()
                process.wait(LONGEST_S)


def test_ward_of_two_machines_without_a_way_out(ward: Ward) -> None:
    """One start for all of it, since a start takes seconds. The order matters."""
    phone_that_trusts_the_authority_gets_in(ward)
    phone_that_does_not_is_warned_and_shown_how(ward)
    fingerprint_on_the_terminal_is_that_of_what_the_phone_took(ward)
    other_names_are_refused_and_redirect_nowhere(ward)
    site_sends_nothing_to_anybody_who_did_not_ask(ward)
    watching_would_have_seen_one(ward)


def wait_until_open(said: Path, process: subprocess.Popen[str]) -> str:
    """Its last words at a first start are the link that makes a supervisor."""
    for _ in range(LONGEST_S * 10):
        text = said.read_text()
        if "/set-up/" in text:
            return text
        assert process.poll() is None, text
        time.sleep(0.1)
    raise AssertionError(said.read_text())


def phone_that_trusts_the_authority_gets_in(ward: Ward) -> None:
    by_address, by_name = ward.phone(
        {"path": "/sign-in", "tls": True, "trust": ward.trust},
        {"path": "/sign-in", "tls": True, "trust": ward.trust, "name": NAME},
    )

    for answer in (by_address, by_name):
        assert answer["status"] == 200
        assert 'type="password"' in answer["body"]


def phone_that_does_not_is_warned_and_shown_how(ward: Ward) -> None:
    warned, start, form, typed, how = ward.phone(
        {"path": "/sign-in", "tls": True},
        {"path": "/"},
        {"path": "/sign-in"},
        {"path": "/sign-in", "method": "POST", "body": "handle=a&passphrase=b"},
        {"path": "/trust"},
    )

    assert "unable to get" in warned["refused"]
    assert [start["status"], form["status"], typed["status"]] == [200, 403, 403]
    for page in (start, form, typed):
        assert "This address is not secure" in page["body"]
        assert "password" not in page["body"]
        assert f"https://{NAME}:{SECURE}/" in page["body"]
    assert how["status"] == 200
    assert "iPhone" in how["body"]


def fingerprint_on_the_terminal_is_that_of_what_the_phone_took(ward: Ward) -> None:
    rows = re.findall(r"^  ((?:[0-9A-F]{2} ?){8})$", ward.said, re.M)
    done = subprocess.run(
        ["openssl", "x509", "-in", ward.trust, "-noout", "-fingerprint", "-sha256"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip

    shown = done.stdout.strip().partition("=")[2].replace(":", "")
    assert "".join(rows).replace(" ", "") == shown


def other_names_are_refused_and_redirect_nowhere(ward: Ward) -> None:
    (evil,) = ward.phone(
        {
            "path": "/",
            "tls": True,
            "trust": ward.trust,
            "head": {"Host": "evil.example"},
        }
    )

    assert evil["status"] == 400


def site_sends_nothing_to_anybody_who_did_not_ask(ward: Ward) -> None:
    """Everything on the cable since before it started: answers of its two ports."""
    ward.phone(
        {"path": "/trust"}, {"path": "/bedside", "tls": True, "trust": ward.trust}
    )
    time.sleep(0.3)
    sent = ward.cable.sent_by_site()

    assert len(sent) > 20, "nothing was heard"
    assert {(to, kind, port) for to, kind, port, _ in sent} == {
        (PHONE, TCP, PLAIN), (PHONE, TCP, SECURE),
    }  # fmt: skip
    # A connection of its own would begin with SYN alone.
    assert not [flags for *_, flags in sent if flags & SYN and not flags & ACK]
    assert remotes(ward.process.pid) <= {PHONE}


def watching_would_have_seen_one(ward: Ward) -> None:
    """The check above is worth what this finds: a name looked up, a page fetched."""
    before = len(ward.cable.sent_by_site())
    attempt = (
        "import socket; s = socket.socket(socket.AF_INET, socket.SOCK_DGRAM);"
        "s.sendto(b'x', ('203.0.113.53', 53));"
        "t = socket.socket(); t.settimeout(0.5); t.connect_ex(('203.0.113.80', 80))"
    )
    subprocess.run(
        ward.cable.inside(ward.cable.site, sys.executable, "-c", attempt), check=True
    )
    sent = ward.cable.sent_by_site()[before:]

    assert {to for to, *_ in sent} == {"203.0.113.53", "203.0.113.80"}


def remotes(process: int) -> set[str]:
    """With whom the sockets of its namespace are connected, as the system tells."""
    found = set()
    for table in ("tcp", "udp", "tcp6", "udp6"):
        listing = Path(f"/proc/{process}/net/{table}")
        for line in listing.read_text().splitlines()[1:] if listing.exists() else ():
            digits = line.split()[2].partition(":")[0][-8:]
            address = socket.inet_ntoa(bytes.fromhex(digits)[::-1])
            found.add(address)
    return found - {"0.0.0.0"}
