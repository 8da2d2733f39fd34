"""Under which address a phone of the same network finds this site, and how safely."""

import socket
from ipaddress import ip_address
from typing import Final
from urllib.parse import urlsplit, urlunsplit

from app.lan.place import Place
from app.settings import Settings

#: Kept for examples in writing (RFC 5737): nobody has it, and nothing is sent to it.
ELSEWHERE: Final = ("192.0.2.1", 9)
NOT_ENCRYPTED: Final = (
    "This connection is not encrypted: whoever is in the same network could read what "
    "is sent, and sign in with it."
)
ONLY_HERE: Final = "This address works on this computer alone: no phone can open it."
#: The way out of both, where somebody can restart the site.
ENCRYPTED_START: Final = "tapeline serve --lan"


def for_phones(settings: Settings, url: str, lan: Place | None = None) -> str:
    """The same address as a phone can use it, where the site listens for phones.

    A site that speaks TLS on its network is reached by its own first name there.
    """
    parts = urlsplit(url)
    if lan is not None and parts.scheme != "https":
        secure = urlsplit(next(iter(lan.urls), ""))
        named = parts._replace(scheme=secure.scheme, netloc=secure.netloc)
        return urlunsplit(named) if secure.netloc else url
    if not is_only_here(url) or _is_here(settings.host):
        return url
    own = _own_number()
    port = f":{parts.port}" if parts.port else ""
    return urlunsplit(parts._replace(netloc=f"{own}{port}")) if own else url


def is_only_here(url: str) -> bool:
    """Whether an address means whatever machine it is opened on."""
    return _is_here(urlsplit(url).hostname or "")


def is_open(url: str) -> bool:
    """Whether others of the network could read along."""
    return urlsplit(url).scheme != "https" and not is_only_here(url)


def _is_here(host: str) -> bool:
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _own_number() -> str:
    """This machine's address on the network it would reach others by; or empty."""
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect(ELSEWHERE)
            return str(probe.getsockname()[0])
    except OSError:
        return ""
