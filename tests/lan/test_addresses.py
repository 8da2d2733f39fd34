"""What this machine is called and where it is, without asking the network."""

import socket
import threading
from ipaddress import ip_address
from pathlib import Path

import pytest

from app.lan import addresses
from app.lan.firewall import hint

TRIE = """\
Main:
  +-- 0.0.0.0/0 3 0 5
     +-- 127.0.0.0/8 2 0 2
           |-- 127.0.0.1
              /32 host LOCAL
     +-- 192.0.2.0/24 2 0 2
           |-- 192.0.2.0
              /24 link UNICAST
           |-- 192.0.2.20
              /32 host LOCAL
        |-- 192.0.2.255
           /32 link BROADCAST
     |-- 169.254.3.4
        /32 host LOCAL
Local:
           |-- 192.0.2.20
              /32 host LOCAL
           |-- 10.1.2.3
              /32 host LOCAL
"""
SIX = """\
fd000000000000000000000000000002 04 40 00 82     eth0
fd00000000000000aaaa000000000003 04 40 00 01     eth0
20010db8000000000000000000000001 04 40 00 80     eth0
26001900000000000000000000000001 04 40 00 80     eth0
00000000000000000000000000000001 01 80 10 80       lo
fe8000000000000000fc00fffe000001 04 40 20 80     eth0
"""
IFCONFIG = """\
lo0: flags=8049<UP,LOOPBACK,RUNNING,MULTICAST> mtu 16384
\tinet 127.0.0.1 netmask 0xff000000
\tinet6 ::1 prefixlen 128
en0: flags=8863<UP,BROADCAST,SMART,RUNNING,SIMPLEX,MULTICAST> mtu 1500
\tether 02:00:00:00:00:00
\tinet6 fe80::1%en0 prefixlen 64 secured scopeid 0x6
\tinet 192.0.2.33 netmask 0xffffff00 broadcast 192.0.2.255
\tinet6 fd00::33 prefixlen 64 autoconf secured
\tinet6 fd00::99 prefixlen 64 autoconf temporary
"""


def written(folder: Path, **files: str) -> Path:
    for name, text in files.items():
        (folder / name).write_text(text)
    return folder


def test_linux_tells_its_lasting_addresses(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    proc = written(tmp_path, fib_trie=TRIE, if_inet6=SIX)
    monkeypatch.setattr(addresses, "PROC", proc)

    found = [str(a) for a in addresses.own_addresses()]

    # Of the documentation's own range Python says that it is private; that is no harm.
    assert found == ["10.1.2.3", "192.0.2.20", "2001:db8::1", "fd00::2"]


def test_other_systems_are_asked_by_their_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(addresses, "PROC", tmp_path)
    monkeypatch.setattr(addresses, "_said", lambda *_: IFCONFIG)

    found = [str(a) for a in addresses.own_addresses()]

    assert found == ["192.0.2.33", "fd00::33"]


@pytest.mark.parametrize(
    ("answer", "found"),
    [
        ("+ 2 0 {name} 192.0.2.20\n", True),
        ("+ 2 0 {name} 192.0.2.99\n", False),  # another machine has that name
        ("-15 Timeout reached\n", False),
        ("", False),
    ],
)
def test_name_is_taken_from_the_responder_of_this_machine(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, answer: str, found: bool
) -> None:
    name = socket.gethostname().partition(".")[0].lower() + ".local"
    monkeypatch.setattr(addresses, "RESPONDER", tmp_path / "r")
    asked: list[str] = []
    with socket.socket(socket.AF_UNIX) as responder:
        responder.bind(str(tmp_path / "r"))
        responder.listen(1)

        def respond() -> None:
            with responder.accept()[0] as one:
                asked.append(one.recv(200).decode())
                one.sendall(answer.format(name=name).encode())

        responding = threading.Thread(target=respond)
        responding.start()
        own = [ip_address("192.0.2.20")]
        said = addresses.own_name(own)
        responding.join(5)

    assert asked == [f"RESOLVE-HOSTNAME-IPV4 {name}\n"]
    assert said == (name if found else None)


def test_no_responder_means_no_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(addresses, "RESPONDER", tmp_path / "nobody")

    assert addresses.own_name(addresses.own_addresses()) is None


def test_name_of_macos_is_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("platform.system", lambda: "Darwin")
    monkeypatch.setattr(addresses, "_said", lambda *_: "Ward-Laptop\n")

    assert addresses.own_name(()) == "ward-laptop.local"


@pytest.mark.parametrize(
    ("there", "says"),
    [
        ("ufw", "sudo ufw allow 8765,8766/tcp"),
        ("firewall-cmd", "--add-port=8765/tcp --add-port=8766/tcp"),
        ("nft", "tcp dport { 8765, 8766 } accept"),
        ("iptables", "--dports 8765,8766 -j ACCEPT"),
        ("none", "must be let in to this machine."),
    ],
)
def test_firewall_hint_names_ports_and_what_is_found(there: str, says: str) -> None:
    said = hint(8765, 8766, lambda name: name if name == there else None)

    assert "8765 and 8766" in said
    assert said.endswith(says)
    assert ("Common practice" in said) is (there != "none")
