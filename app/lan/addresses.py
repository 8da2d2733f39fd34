"""Under which name and addresses other machines find this one.

Nothing here asks the network: addresses come from the system itself, the name from the
responder that runs on this machine. A question to a name server would leave it.
"""

import platform
import re
import shutil
import socket
import subprocess
from collections.abc import Iterable, Iterator
from ipaddress import IPv4Address, IPv6Address, ip_address
from pathlib import Path
from typing import Final

Address = IPv4Address | IPv6Address
#: What this machine's network part knows of itself, where there is such a thing.
PROC: Final = Path("/proc/net")
#: The name responder's own socket on Linux (Avahi), which answers without the network.
RESPONDER: Final = Path("/run/avahi-daemon/socket")
ANSWER_S: Final = 2
LISTED: Final = re.compile(
    r"^\s+inet6? ([0-9a-f.:]+)(?!.*(?:temporary|deprecated))", re.M
)
LOCAL_LEAF: Final = re.compile(r"\|-- (\S+)\n\s+/32 host LOCAL")
#: Flags of an address in /proc/net/if_inet6 that soon is another: temporary, deprecated
#: or not yet its own.
PASSING: Final = 0x01 | 0x20 | 0x40


def own_addresses() -> tuple[Address, ...]:
    """Where this machine is reached from others, in order."""
    texts = _from_proc() if (PROC / "fib_trie").is_file() else _from_command()
    found = {ip_address(text) for text in texts}
    return tuple(sorted(filter(_reachable, found), key=lambda a: (a.version, int(a))))


def _reachable(address: Address) -> bool:
    """IPv6 only where it stays: a provider's prefix changes with every network."""
    if address.is_loopback or address.is_link_local or address.is_unspecified:
        return False
    return address.version == 4 or address.is_private


def _from_proc() -> Iterator[str]:
    yield from LOCAL_LEAF.findall((PROC / "fib_trie").read_text())
    six = PROC / "if_inet6"
    for line in six.read_text().splitlines() if six.is_file() else ():
        digits, _, _, _, flags, _ = line.split()
        if not int(flags, 16) & PASSING:
            yield ":".join(digits[i : i + 4] for i in range(0, 32, 4))


def _from_command() -> Iterable[str]:
    return LISTED.findall(_said("ifconfig"))


def own_name(addresses: Iterable[Address]) -> str | None:
    """The name ending in .local that leads here, if this machine answers to one."""
    if platform.system() == "Darwin":
        name = _said("scutil", "--get", "LocalHostName").strip().lower()
        return f"{name}.local" if name else None
    name = socket.gethostname().partition(".")[0].lower() + ".local"
    return name if _answered(name) in {str(a) for a in addresses} else None


def _answered(name: str) -> str:
    """Which address the responder gives for a name; empty when there is none."""
    try:
        with socket.socket(socket.AF_UNIX) as asked:
            asked.settimeout(ANSWER_S)
            asked.connect(str(RESPONDER))
            asked.sendall(f"RESOLVE-HOSTNAME-IPV4 {name}\n".encode())
            answer = asked.recv(1024).decode(errors="replace").split()
    except OSError:
        return ""
    return answer[-1] if answer and answer[0] == "+" else ""


def _said(*command: str) -> str:
    """What a command of this system prints; empty where there is none."""
    program = shutil.which(command[0], path="/usr/sbin:/sbin:/usr/bin:/bin")
    if program is None:
        return ""
    done = subprocess.run(
        [program, *command[1:]], capture_output=True, text=True, check=False
    )
    return done.stdout
