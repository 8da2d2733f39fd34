"""What commonly opens a port in the firewall of this machine. Common practice."""

import shutil
from collections.abc import Callable
from typing import Final

#: Program to look for, and what is commonly typed. First found, first told.
COMMANDS: Final = {
    "ufw": "sudo ufw allow {plain},{tls}/tcp",
    "firewall-cmd": "sudo firewall-cmd --add-port={plain}/tcp --add-port={tls}/tcp",
    "nft": "sudo nft add rule inet filter input tcp dport {{ {plain}, {tls} }} accept",
    "iptables": "sudo iptables -I INPUT -p tcp -m multiport --dports {plain},{tls} "
    "-j ACCEPT",
    "socketfilterfw": "System Settings, Network, Firewall: allow incoming connections "
    "for Python",
}
PLACES: Final = "/usr/sbin:/sbin:/usr/bin:/bin:/usr/libexec/ApplicationFirewall"


def _which(name: str) -> str | None:
    return shutil.which(name, path=PLACES)


def hint(plain: int, tls: int, which: Callable[[str], str | None] = _which) -> str:
    """Which ports must be let in, and what opens them on this system."""
    said = (
        f"If a phone gets no answer, a firewall may stand between: ports {plain} and "
        f"{tls} (TCP) must be let in to this machine."
    )
    for program, command in COMMANDS.items():
        if which(program):
            typed = command.format(plain=plain, tls=tls)
            return f"{said} Common practice here: {typed}"
    return said
