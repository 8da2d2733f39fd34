"""Two machines on one machine: network namespaces joined by a cable of their own.

The site's has no way out: its default route leads to the phone, which forwards nothing,
so that whatever it tried to send anywhere would be seen on the cable.
"""

import ctypes
import os
import shutil
import socket
import subprocess
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field

import pytest

SITE, PHONE = "198.51.100.1", "198.51.100.2"
ALL_FRAMES = 3
#: Read now: a running test sees no such setting of its machine.
REQUIRED = bool(os.environ.get("TAPELINE_REQUIRE_NETWORK"))


def missing(reason: str) -> None:
    """Skipped with the reason; where it is required, as in CI, a failure."""
    if REQUIRED:
        pytest.fail(reason)
    pytest.skip(reason)


@dataclass
class Cable:
    """Both ends' namespaces, and everything sent by the site so far."""

    site: str
    phone: str
    watch: socket.socket
    seen: list[bytes] = field(default_factory=list)

    def inside(self, end: str, *command: str) -> tuple[str, ...]:
        return ("ip", "netns", "exec", end, *command)

    def sent_by_site(self) -> list[tuple[str, int, int, int]]:
        """Of each TCP and UDP packet: to whom, protocol, own port, TCP's flags."""
        self.watch.setblocking(False)
        while True:
            try:
                self.seen.append(self.watch.recv(65535))
            except BlockingIOError:
                break
        packets = (packet(frame) for frame in self.seen)
        return [p[1:] for p in packets if p and p[0] == SITE]


def needs_openssl() -> None:
    """The outside judge of certificates."""
    if not shutil.which("openssl"):
        missing("no `openssl` command here: nobody to judge certificates")


def packet(frame: bytes) -> tuple[str, str, int, int, int] | None:
    """From, to, protocol, source port and flags of a frame with TCP or UDP in it.

    The phone asks by IPv4, so that nothing of either kind should come by IPv6.
    """
    if frame[12:14] == b"\x86\xdd" and frame[20] in (6, 17):
        return SITE, "somebody by IPv6", frame[20], 0, 0
    if frame[12:14] != b"\x08\x00" or frame[23] not in (6, 17):
        return None
    begins = 14 + (frame[14] & 15) * 4
    source, target = (socket.inet_ntoa(frame[i : i + 4]) for i in (26, 30))
    port = int.from_bytes(frame[begins : begins + 2])
    flags = frame[begins + 13] if frame[23] == 6 else 0
    return source, target, frame[23], port, flags


def set_namespace(descriptor: int) -> None:
    """Moves this thread into a network namespace (Python has its own from 3.12)."""
    if ctypes.CDLL(None, use_errno=True).setns(descriptor, 0) != 0:
        raise OSError(ctypes.get_errno(), "setns")


def ip(*arguments: str) -> None:
    subprocess.run(["ip", *arguments], check=True, capture_output=True, text=True)


@contextmanager
def cable() -> Iterator[Cable]:
    """Made for a test and taken away after it; skipped where this cannot be."""
    if not shutil.which("ip"):
        missing("no `ip` command here (Debian: iproute2): no second machine to be")
    number = os.getpid()
    site, phone, ends = f"tl-site-{number}", f"tl-phone-{number}", (
        f"tls{number}", f"tlp{number}",
    )  # fmt: skip
    with ExitStack() as after:
        try:
            for name in (site, phone):
                ip("netns", "add", name)
                after.callback(ip, "netns", "del", name)
        except subprocess.CalledProcessError as fault:
            missing(f"no network namespace may be made here: {fault.stderr.strip()}")
        ip("link", "add", ends[0], "netns", site, "type", "veth",
           "peer", "name", ends[1], "netns", phone)  # fmt: skip
        for name, end, address in ((site, ends[0], SITE), (phone, ends[1], PHONE)):
            ip("-n", name, "addr", "add", f"{address}/24", "dev", end)
            ip("-n", name, "link", "set", "lo", "up")
            ip("-n", name, "link", "set", end, "up")
        ip("-n", site, "route", "add", "default", "via", PHONE)
        watch = after.enter_context(watching(phone, ends[1]))
        yield Cable(site, phone, watch)


@contextmanager
def watching(namespace: str, end: str) -> Iterator[socket.socket]:
    """A socket that hears every frame at one end. Made inside, kept outside."""
    with open(f"/run/netns/{namespace}") as there, open("/proc/self/ns/net") as here:
        set_namespace(there.fileno())
        try:
            watch = socket.socket(socket.AF_PACKET, socket.SOCK_RAW)
            watch.bind((end, ALL_FRAMES))
        finally:
            set_namespace(here.fileno())
    with watch:
        yield watch
