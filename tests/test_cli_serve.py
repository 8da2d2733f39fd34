"""`tapeline serve`: what it refuses, what it warns of, the service files it prints."""

import asyncio
import plistlib
import shutil
import socket
import subprocess
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
import uvicorn

from app.cli import main
from app.commands.serving import SERVING
from app.commands.shares import as_in_proc, filesystem_of
from app.lan.keeper import Found

Capture = pytest.CaptureFixture[str]


def refused(capsys: Capture, *arguments: str) -> str:
    """The one sentence with which it stops; nothing was made."""
    code = main(["serve", *arguments])
    out, err = capsys.readouterr()

    assert code == 2
    assert out == ""
    assert err.count("\n") == 1
    return err


@pytest.mark.parametrize("arguments", [("--host", "127.0.0.1"), ("--lan",)])
def test_port_that_is_taken_is_explained(
    capsys: Capture, tmp_path: Path, arguments: tuple[str, ...]
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        data = tmp_path / "site"
        said = refused(capsys, *arguments, "--port", str(port), "--data", str(data))

    assert f"port {port} (another program, maybe Tapeline itself, has it" in said
    assert "choose another port, for example --port " in said
    assert not data.exists()


def test_secure_port_that_is_taken_names_its_own_option(
    capsys: Capture, tmp_path: Path
) -> None:
    with socket.create_server(("0.0.0.0", 0)) as other:
        port = other.getsockname()[1]
        said = refused(
            capsys, "--lan", "--port", "0", "--tls-port", str(port),
            "--data", str(tmp_path / "site"),
        )  # fmt: skip

    assert f"port {port} (" in said
    assert "--tls-port" in said


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("--lan", "--host", "192.0.2.1"), "leave --host and TAPELINE_HOST out"),
        (("--tls-port", "9000"), "go with --lan"),
        (("--new-authority",), "go with --lan"),
        (("--tls-port", "70000", "--lan"), "TAPELINE_TLS_PORT='70000' cannot be used"),
    ],
)
def test_what_does_not_go_together(
    capsys: Capture, tmp_path: Path, arguments: tuple[str, ...], says: str
) -> None:
    assert says in refused(capsys, *arguments, "--data", str(tmp_path / "site"))
    assert not (tmp_path / "site").exists()


def test_lan_beside_a_server_that_speaks_tls_is_refused(
    capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TAPELINE_SECURE_COOKIES", "true")

    assert "speaks TLS itself" in refused(capsys, "--lan", "--data", str(tmp_path))


def test_without_a_network_there_is_nothing_to_certify(
    capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("app.lan.keeper.find", lambda _: Found((), ()))
    said = refused(
        capsys, "--lan", "--port", "0", "--tls-port", "0", "--data", str(tmp_path)
    )

    assert "join one first" in said


@pytest.mark.parametrize(
    "name", ["com", "local", "*.example.org", "a b.example", "ward_1.example", "-a.b"]
)
def test_name_that_would_be_no_limit_is_refused(
    capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.setenv("TAPELINE_LAN_NAMES", f"ward.example.org,{name}")
    said = refused(capsys, "--lan", "--data", str(tmp_path))

    assert "TAPELINE_LAN_NAMES=" in said
    assert "whole names" in said


def service(capsys: Capture, *arguments: str) -> str:
    assert main(["serve", *arguments]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


DATA = "/srv/ward 5%/tape$line"


def test_systemd_unit_is_one_that_systemd_takes(
    capsys: Capture, tmp_path: Path
) -> None:
    unit = service(
        capsys, "--print-service", "systemd", "--lan", "--port", "9000", "--data", DATA
    )
    file = tmp_path / "tapeline.service"
    file.write_text(unit)

    (starts,) = (line for line in unit.splitlines() if line.startswith("ExecStart="))
    assert (
        '"serve" "--data" "/srv/ward 5%%/tape$$line" "--port" "9000" "--lan"' in starts
    )
    assert '"--tls-port" "9001"' in starts
    for line in ("UMask=0077", "NoNewPrivileges=yes", "ProtectSystem=strict",
                 "RestartPreventExitStatus=2"):  # fmt: skip
        assert f"\n{line}\n" in unit
    if shutil.which("systemd-analyze"):
        done = subprocess.run(
            ["systemd-analyze", "verify", "--user", str(file)],
            capture_output=True, text=True, check=False,
            env={"XDG_RUNTIME_DIR": str(tmp_path), "PATH": "/usr/bin:/bin"},
        )  # fmt: skip
        assert "tapeline.service:" not in done.stderr, done.stderr


def test_launchd_file_holds_the_same_command(capsys: Capture) -> None:
    text = service(
        capsys, "--print-service", "launchd", "--data", DATA, "--workers", "3"
    )
    told = plistlib.loads(text.encode())

    assert told["ProgramArguments"][-9:] == [
        "serve", "--data", DATA, "--port", "8765", "--workers", "3",
        "--host", "127.0.0.1",
    ]  # fmt: skip
    assert told["Umask"] == 0o077
    assert told["KeepAlive"] == {"SuccessfulExit": False}


@pytest.mark.parametrize(
    ("system", "begins"), [("Linux", "# Keep as"), ("Darwin", "<?xml")]
)
def test_kind_is_this_machines_unless_it_is_named(
    capsys: Capture, monkeypatch: pytest.MonkeyPatch, system: str, begins: str
) -> None:
    monkeypatch.setattr("platform.system", lambda: system)

    assert service(capsys, "--print-service").startswith(begins)


def test_kind_must_be_known(capsys: Capture, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("platform.system", lambda: "Haiku")

    assert "--print-service systemd" in refused(capsys, "--print-service")


@pytest.mark.parametrize(
    ("kind", "warned"), [("nfs4", True), ("cifs", True), ("fuse.sshfs", True),
                         ("ext4", False), ("apfs", False)],
)  # fmt: skip
def test_network_share_is_warned_of_before_anything_is_made(
    capsys: Capture,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    kind: str,
    warned: bool,
) -> None:
    mounts = tmp_path / "mounts"
    mounts.write_text(f"/dev/a / ext4 rw 0 0\nward:/s {tmp_path} {kind} rw 0 0\n")
    monkeypatch.setattr("app.commands.shares.MOUNTS", mounts)
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = str(other.getsockname()[1])
        assert main(["serve", "--port", port, "--data", str(tmp_path / "s")]) == 2
    err = capsys.readouterr().err

    assert (f"lies on a network share ({kind})" in err) is warned
    assert ("rely on its locks" in err) is warned


def test_mounts_of_macos_are_read_too() -> None:
    said = (
        "/dev/disk3s1s1 on / (apfs, sealed, local, read-only, journaled)\n"
        "//me@ward/my share on /Volumes/my share (smbfs, nodev, nosuid)\n"
        "map auto_home on /System/Volumes/Data/home (autofs, automounted)\n"
    )
    mounts = as_in_proc(said)

    assert filesystem_of(Path("/Volumes/my share/tapeline"), mounts) == "smbfs"
    assert filesystem_of(Path("/Users/me"), mounts) == "apfs"


@pytest.mark.parametrize(
    ("neighbour", "believed"), [("127.0.0.1", "203.0.113.9"), ("10.0.0.7", "10.0.0.7")]
)
def test_only_a_proxy_on_this_machine_says_who_asked(
    neighbour: str, believed: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As uvicorn is told, whatever stands in the environment."""
    monkeypatch.setenv("FORWARDED_ALLOW_IPS", "*")
    seen: list[str] = []

    async def app(scope: Any, _receive: Any, _send: Any) -> None:
        seen.append(scope["client"][0])

    config = uvicorn.Config(app, **SERVING)
    config.load()
    asked = {"type": "http", "scheme": "http", "client": (neighbour, 5),
             "headers": [(b"x-forwarded-for", b"203.0.113.9")]}  # fmt: skip
    with ThreadPoolExecutor(1) as own:  # a browser may have a loop of this thread
        own.submit(asyncio.run, config.loaded_app(asked, None, None)).result()

    assert seen == [believed]
