"""What the pages and the guard know of the site's place on the network."""

import hashlib
from dataclasses import dataclass
from ipaddress import ip_address
from urllib.parse import urlsplit

from app.lan.addresses import Address


@dataclass(frozen=True, slots=True)
class Served:
    """Under what the secure port answers just now.

    `stranded` are addresses of this machine that its authority may not sign for.
    """

    names: tuple[str, ...] = ()
    addresses: tuple[Address, ...] = ()
    stranded: tuple[Address, ...] = ()

    def hosts(self) -> tuple[str, ...]:
        """As they stand in an address, the lasting ones first."""
        return (*self.names, *map(in_url, self.addresses))


@dataclass(slots=True)
class Place:
    """The site on the network. `served` is replaced whole when addresses change."""

    tls_port: int
    plain_port: int
    #: The authority's certificate, which a phone is asked to trust (DER and PEM).
    certificate: bytes
    certificate_pem: str
    served: Served = Served()

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the certificate, as phones and programs show it."""
        return hashlib.sha256(self.certificate).hexdigest().upper()

    @property
    def fingerprint_lines(self) -> tuple[str, ...]:
        """In groups of two and rows of eight, to be compared by eye."""
        pairs = [self.fingerprint[i : i + 2] for i in range(0, 64, 2)]
        return tuple(" ".join(pairs[i : i + 8]) for i in range(0, 32, 8))

    @property
    def urls(self) -> tuple[str, ...]:
        """Secure addresses of the site, the one to keep first."""
        return tuple(f"https://{h}:{self.tls_port}/" for h in self.served.hosts())

    @property
    def trust_urls(self) -> tuple[str, ...]:
        """Where a phone that trusts nothing yet begins."""
        served = self.served
        hosts = (*served.hosts(), *map(in_url, served.stranded))
        return tuple(f"http://{h}:{self.plain_port}/trust" for h in hosts)

    def knows(self, name: str) -> bool:
        """Whether the site is served under this host name or address."""
        try:
            return ip_address(name) in self.served.addresses
        except ValueError:
            return name in self.served.names


def in_url(address: Address) -> str:
    return f"[{address}]" if address.version == 6 else str(address)


def host_in(url_host: str) -> str:
    """The name in a Host header, without its port; empty when it is none."""
    try:
        return urlsplit(f"//{url_host}").hostname or ""
    except ValueError:
        return ""
