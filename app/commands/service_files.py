"""`tapeline serve --print-service`: a file by which the system starts the site itself.

Printed, never installed: who runs the machine reads it first.
"""

import argparse
import platform
import plistlib
import shutil
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from app.commands.refused import Refused
from app.settings import Settings

LABEL: Final = "local.tapeline.serve"
KINDS_BY_SYSTEM: Final = {"Linux": "systemd", "Darwin": "launchd"}


def add_option(p: argparse.ArgumentParser) -> None:
    p.add_argument(
        "--print-service", nargs="?", const="", choices=("", *FILES), metavar="KIND",
        help="print a service file (systemd or launchd; default: this machine's kind) "
        "that starts the site with these options, and stop",
    )  # fmt: skip


def service_file(kind: str, settings: Settings, given: argparse.Namespace) -> str:
    """The file of this kind, with every path whole."""
    kind = kind or KINDS_BY_SYSTEM.get(platform.system(), "")
    if kind not in FILES:
        raise Refused(
            "this system has neither systemd nor launchd as far as is known: name one, "
            "as in --print-service systemd"
        )
    return FILES[kind](_command(settings, given), settings.data_dir)


def _command(settings: Settings, given: argparse.Namespace) -> list[str]:
    started_as = Path(sys.argv[0]).absolute()
    program = shutil.which("tapeline") or (
        str(started_as) if started_as.name == "tapeline" else None
    )
    command = [program] if program else [sys.executable, "-m", "app"]
    command += ["serve", "--data", str(settings.data_dir)]
    command += ["--port", str(settings.port)]
    if given.lan:
        return [*command, "--lan", "--tls-port", str(settings.secure_port)]
    return [*command, "--host", settings.host]


def _quoted(word: str) -> str:
    """For a unit file: % begins a specifier, $ a variable, blanks part words."""
    plain = word.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + plain.replace("%", "%%").replace("$", "$$") + '"'


def _systemd(command: Sequence[str], data: Path) -> str:
    line = " ".join(map(_quoted, command))
    return f"""\
# Keep as ~/.config/systemd/user/tapeline.service, then:
#   systemctl --user daemon-reload
#   systemctl --user enable --now tapeline
#   journalctl --user -u tapeline        what it said: addresses, fingerprint
#   loginctl enable-linger               to run it without anybody logged in
# The data folder must be there first: start the site once by hand.
# TAPELINE_ settings go here, one line each: Environment=TAPELINE_IDLE_MINUTES=10
[Unit]
Description=Tapeline

[Service]
ExecStart={line}
Restart=on-failure
RestartSec=5
# Bad input is said once and not tried again.
RestartPreventExitStatus=2
UMask=0077
NoNewPrivileges=yes
ProtectSystem=strict
ProtectHome=read-only
ReadWritePaths={_quoted(str(data))}
PrivateTmp=yes
ProtectKernelTunables=yes
ProtectControlGroups=yes
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
LockPersonality=yes
SystemCallArchitectures=native
SystemCallFilter=@system-service

[Install]
WantedBy=default.target
"""


def _launchd(command: Sequence[str], data: Path) -> str:
    log = str(data / "serve.log")
    told: dict[str, object] = {
        "Label": LABEL,
        "ProgramArguments": list(command),
        "RunAtLoad": True,
        "KeepAlive": {"SuccessfulExit": False},
        "ThrottleInterval": 30,
        "Umask": 0o077,
        "StandardOutPath": log,
        "StandardErrorPath": log,
        "ProcessType": "Interactive",
    }
    text = plistlib.dumps(told, sort_keys=False).decode()
    first, rest = text.split("\n", 1)
    return f"""\
{first}
<!-- Keep as ~/Library/LaunchAgents/{LABEL}.plist, then:
     launchctl bootstrap gui/$UID ~/Library/LaunchAgents/{LABEL}.plist
     What it said, with addresses and fingerprint, stands in serve.log of the data
     folder, which must be there first: start the site once by hand. -->
{rest}"""


#: Maker of each kind of file.
FILES: Final[dict[str, Callable[[Sequence[str], Path], str]]] = {
    "systemd": _systemd,
    "launchd": _launchd,
}
