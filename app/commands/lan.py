"""`tapeline serve --lan`: the options, both doors, and what is said of them."""

import argparse
import errno
import socket
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import uvicorn

from app.commands.refused import Refused
from app.lan.firewall import hint
from app.settings import Settings

if TYPE_CHECKING:
    from app.lan.keeper import Found, Keeper

#: Bound at the default: with --lan it stands for every address of this machine.
HERE = "127.0.0.1"


def add_options(p: argparse.ArgumentParser) -> None:
    p.add_argument(
        "--lan", action="store_true",
        help="also for phones on this network, over TLS with a certificate of its own",
    )  # fmt: skip
    p.add_argument(
        "--tls-port", metavar="N", type=int,
        help="where TLS is spoken with --lan; default: one above --port",
    )  # fmt: skip
    p.add_argument(
        "--new-authority", action="store_true",
        help="with --lan: make a new certificate authority; every phone has to trust "
        "the new one",
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Lan:
    """The secure door and who keeps its certificate."""

    secure: socket.socket
    keeper: "Keeper"
    find: "Callable[[], Found]"
    #: What was found on opening, in sentences.
    notes: tuple[str, ...]

    def server(self, options: dict[str, Any], app: Any) -> uvicorn.Server:
        from app.lan.listener import TwoDoors

        # Nothing stands in front of it, so nobody's word for an address is taken.
        config = uvicorn.Config(app, proxy_headers=False, **options)
        return TwoDoors(config, self.secure, self.keeper, self.find)


def check(settings: Settings, given: argparse.Namespace) -> None:
    """What cannot go together, before any port is taken."""
    if not given.lan:
        if given.tls_port is not None or given.new_authority:
            raise Refused("--tls-port and --new-authority go with --lan")
        return
    if settings.host != HERE:
        raise Refused(
            "--lan listens on every address of this machine: leave --host and "
            "TAPELINE_HOST out"
        )
    if settings.secure_cookies:
        raise Refused(
            "--lan speaks TLS itself: unset TAPELINE_SECURE_COOKIES, which is for a "
            "server in front that does"
        )


@contextmanager
def opened(settings: Settings, *, new: bool) -> Iterator[tuple[socket.socket, Lan]]:
    """The plain door and the secure one, and an authority for both."""
    from app.lan.authority import LanProblem
    from app.lan.keeper import find, keeper

    def look() -> "Found":
        return find(settings.lan_names)

    with ExitStack() as stack:
        plain = stack.enter_context(everywhere(settings.port, "--port"))
        secure = stack.enter_context(everywhere(settings.secure_port, "--tls-port"))
        ports = plain.getsockname()[1], secure.getsockname()[1]
        now, found = datetime.now(UTC), look()
        try:
            kept = keeper(settings.data_dir, found, now, ports=ports, new=new)
            notes = kept.look(found, now)
        except LanProblem as problem:
            raise Refused(problem.sentence) from problem
        except OSError as fault:
            raise Refused(f"{fault.filename}: {fault.strerror}") from fault
        yield plain, Lan(secure, kept, look, notes)


def say(lan: Lan) -> None:
    """Where phones go, how they come to trust it, and what may stand between."""
    place = lan.keeper.place
    made = "new, so every phone has to trust it" if lan.keeper.made_new else "as before"
    first, *others = place.urls or ("none just now; it goes on looking",)
    lines = [f"For phones on this network: {first}"]
    lines += [f"  also {url}" for url in others]
    lines += [
        "  Keep to one: to a phone another address is another site, and what waits to "
        "be sent stays with the old one.",
        *(f"A phone that is new here begins at {url}" for url in place.trust_urls[:1]),
        f"SHA-256 of the certificate authority ({made}):",
        *(f"  {line}" for line in place.fingerprint_lines),
        hint(place.plain_port, place.tls_port),
        *(f"Note: {sentence}" for sentence in lan.notes),
    ]
    print("\n".join(lines), flush=True)


def everywhere(port: int, option: str) -> socket.socket:
    """A port on every address of this machine, IPv6 too where there is such a thing."""
    if socket.has_dualstack_ipv6():
        try:
            return socket.create_server(
                ("::", port), family=socket.AF_INET6, dualstack_ipv6=True, backlog=128
            )
        except OSError as fault:
            if fault.errno not in (errno.EAFNOSUPPORT, errno.EADDRNOTAVAIL):
                raise Refused(cannot_listen("", port, option, fault)) from fault
    try:
        return socket.create_server(("0.0.0.0", port), backlog=128)
    except OSError as fault:
        raise Refused(cannot_listen("", port, option, fault)) from fault


def cannot_listen(host: str, port: int, option: str, fault: OSError) -> str:
    """One sentence: why a port cannot be had, and what to do."""
    other = port + 10 if port < 65500 else 8765
    where = f"{host} port {port}" if host else f"port {port}"
    if fault.errno == errno.EADDRINUSE:
        why = "another program, maybe Tapeline itself, has it already"
        return (
            f"cannot listen on {where} ({why}): stop that one, or choose another port, "
            f"for example {option} {other}"
        )
    if fault.errno == errno.EACCES:
        why = "ports below 1024 need more rights"
    else:
        why = str(fault.strerror).partition(" (while")[0]
    more = ", or another --host" if host else ""
    return (
        f"cannot listen on {where} ({why}): choose another port, for example "
        f"{option} {max(other, 8765)}{more}"
    )
