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

from app.commands.opening import file_of_site
from app.commands.refused import Refused
from app.settings import NEVER_SHOWN, PREFIX, Settings

LABEL: Final = "local.tapeline.serve"
KINDS_BY_SYSTEM: Final = {"Linux": "systemd", "Darwin": "launchd"}
#: Said by the command itself, or never of a site that is served.
ON_THE_LINE: Final = {"data_dir", "host", "port", "tls_port", "workers", "demo"}
#: Stands for a secret. No secret setting takes it, so that a start without the real one
#: stops and never opens another, empty site.
FILL_IN: Final = "fill in"
SQLITE: Final = "sqlite:///"


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
    return FILES[kind](_command(settings, given), settings)


def _command(settings: Settings, given: argparse.Namespace) -> list[str]:
    started_as = Path(sys.argv[0]).absolute()
    program = shutil.which("tapeline") or (
        str(started_as) if started_as.name == "tapeline" else None
    )
    command = [program] if program else [sys.executable, "-m", "app"]
    command += ["serve", "--data", str(settings.data_dir)]
    command += ["--port", str(settings.port)]
    if settings.workers > 1:
        command += ["--workers", str(settings.workers)]
    if given.lan:
        return [*command, "--lan", "--tls-port", str(settings.secure_port)]
    return [*command, "--host", settings.host]


def _environment(settings: Settings) -> dict[str, str]:
    """What else was set, by its variable; of a secret not the value, but FILL_IN."""
    names = sorted(settings.model_fields_set - ON_THE_LINE)
    values = {name: _written(getattr(settings, name)) for name in names}
    return {
        PREFIX + name.upper(): FILL_IN if _is_secret(name, value) else value
        for name, value in values.items()
        if value
    }


def _is_secret(name: str, value: str) -> bool:
    """The address of a file holds no password."""
    return name in NEVER_SHOWN and not value.startswith(SQLITE)


def _written(value: object) -> str:
    """As the environment has it, but with whole paths: a service starts elsewhere."""
    match value:
        case None:
            return ""
        case bool():
            return str(value).lower()
        case tuple():
            return ",".join(value)
        case Path():
            return str(value.absolute())
        case str() if value.startswith(SQLITE):
            return SQLITE + str(Path(value.removeprefix(SQLITE)).absolute())
    return str(value)


def _secrets(settings: Settings) -> list[str]:
    said = _environment(settings)
    return [variable for variable, value in said.items() if value == FILL_IN]


def _folders(settings: Settings) -> list[str]:
    """What it writes to. A disk for backups that is not there ("-") stops no start."""
    data, backups = settings.data_dir.resolve(), settings.backups.resolve()
    file = file_of_site(settings)
    folders = [data]
    if file is not None and not file.resolve().is_relative_to(data):
        folders.append(file.resolve().parent)
    more = [] if backups.is_relative_to(data) else [f"-{backups}"]
    return [*map(str, folders), *more]


def _quoted(word: str) -> str:
    """For a unit file: % begins a specifier, blanks part words (systemd.syntax(7))."""
    plain = word.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + plain.replace("%", "%%") + '"'


def _argument(word: str) -> str:
    """For a command line, the only place where $ begins a variable (systemd.service(5),
    "Command lines"; systemd.exec(5), `Environment=`, says that it does not there).
    """
    return _quoted(word).replace("$", "$$")


def _systemd_environment(settings: Settings) -> str:
    lines = [
        f"Environment={_quoted(f'{variable}={value}')}\n"
        for variable, value in _environment(settings).items()
    ]
    if secret := _secrets(settings):
        lines.append(
            f"# Not printed, since secret: {', '.join(secret)}.\n"
            "# Each is a line NAME=value of this file, which its owner alone may read\n"
            "# (chmod 600); without it the start stops.\n"
            "EnvironmentFile=%h/.config/tapeline.env\n"
        )
    return "".join(lines)


def _sandbox(settings: Settings) -> str:
    writes = "\n".join(f"ReadWritePaths={_quoted(f)}" for f in _folders(settings))
    return f"""\
NoNewPrivileges=yes
ProtectSystem=strict
ProtectHome=read-only
{writes}
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
"""


def _systemd(command: Sequence[str], settings: Settings) -> str:
    line = " ".join(map(_argument, command))
    return f"""\
# Keep as ~/.config/systemd/user/tapeline.service, then:
#   systemctl --user daemon-reload
#   systemctl --user enable --now tapeline
#   journalctl --user -u tapeline        what it said: addresses, fingerprint
#   loginctl enable-linger               to run it without anybody logged in
# The data folder must be there first: start the site once by hand. So must a folder of
# backups that is elsewhere: nothing that is not named below can be written to.
# TAPELINE_ settings that were set are below; another is a line such as
#   Environment=TAPELINE_IDLE_MINUTES=10
[Unit]
Description=Tapeline

[Service]
{_systemd_environment(settings)}ExecStart={line}
Restart=on-failure
RestartSec=5
# Bad input is said once and not tried again.
RestartPreventExitStatus=2
UMask=0077
{_sandbox(settings)}
[Install]
WantedBy=default.target
"""


def _launchd(command: Sequence[str], settings: Settings) -> str:
    log = str(settings.data_dir / "serve.log")
    secret = ", ".join(_secrets(settings))
    fill_in = f"""
     Not printed, since secret: {secret}.
     Fill in below, or the start stops; and let nobody else read it (chmod 600)."""
    told: dict[str, object] = {
        "Label": LABEL,
        "ProgramArguments": list(command),
        "EnvironmentVariables": _environment(settings),
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
    more = fill_in if secret else ""
    return f"""\
{first}
<!-- Keep as ~/Library/LaunchAgents/{LABEL}.plist, then:
     launchctl bootstrap gui/$UID ~/Library/LaunchAgents/{LABEL}.plist
     What it said, with addresses and fingerprint, stands in serve.log of the data
     folder, which must be there first: start the site once by hand.{more} -->
{rest}"""


#: Maker of each kind of file.
FILES: Final[dict[str, Callable[[Sequence[str], Settings], str]]] = {
    "systemd": _systemd,
    "launchd": _launchd,
}
