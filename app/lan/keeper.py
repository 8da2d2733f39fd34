"""Keeps the site's certificate good: while it runs, and as addresses come and go."""

import ssl
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import ip_address
from pathlib import Path
from typing import Final

from cryptography.hazmat.primitives.serialization import Encoding

from app.lan.addresses import Address, own_addresses, own_name
from app.lan.authority import (
    FOLDER,
    Authority,
    LanProblem,
    leaf,
    load,
    make,
    write_private,
)
from app.lan.place import Place, Served, in_url

LEAF: Final = "leaf.pem"
#: Browsers take no more than 397 days from anybody; ours lives a season.
LEAF_DAYS: Final = 90
RENEW_BEFORE: Final = timedelta(days=30)
#: Warned of an authority that ends, since every phone has to trust the next one.
SAY_BEFORE: Final = timedelta(days=60)
#: Forward secrecy and authenticated ciphers only; TLS 1.3 brings its own.
CIPHERS: Final = "ECDHE+AESGCM:ECDHE+CHACHA20"
NO_NAME: Final = (
    "This machine answers to no name ending in .local, so phones use its address. When "
    "that changes they have to trust and sign in anew, and what waits on them stays "
    "behind. A name responder (Avahi on Linux) or a name in TAPELINE_LAN_NAMES helps."
)


@dataclass(frozen=True, slots=True)
class Found:
    """What this machine is called and where it is, just now."""

    names: tuple[str, ...]
    addresses: tuple[Address, ...]


def find(wanted: Iterable[str]) -> Found:
    """Its own name and addresses, and those the setting adds. May take a moment."""
    addresses = own_addresses()
    own = own_name(addresses)
    names = [own] if own else []
    more: list[Address] = []
    for host in wanted:
        try:
            more.append(ip_address(host))
        except ValueError:
            names.append(host)
    return Found(tuple(dict.fromkeys(names)), tuple(dict.fromkeys([*addresses, *more])))


@dataclass(slots=True)
class Keeper:
    """The authority at work: the place as the pages know it, and the TLS context."""

    folder: Path
    authority: Authority
    place: Place
    context: ssl.SSLContext
    made_new: bool
    leaf_made: datetime | None = None
    leaf_ends: datetime | None = None
    last: Found = Found((), ())

    def look(self, found: Found, now: datetime) -> tuple[str, ...]:
        """Renew what needs it; what there is to say of it, in sentences."""
        if found == self.last and self._is_fresh(now):
            return ()
        served = self._served(found)
        changed = self.last != Found((), ()) and found != self.last
        if fault := self.authority.fault_at(now):
            return (f"{fault[0].upper()}{fault[1:]}.",)
        hosts = (*served.names, *served.addresses)
        if hosts:
            self._renew(hosts, now)
        self.place.served = served
        self.last = found  # only now: what failed is tried again at the next look
        return self._sentences(served, now, changed=changed)

    def _is_fresh(self, now: datetime) -> bool:
        made, ends = self.leaf_made, self.leaf_ends
        return bool(made and ends and made <= now < ends - RENEW_BEFORE)

    def _served(self, found: Found) -> Served:
        may = self.authority.may_sign
        return Served(
            tuple(filter(may, found.names)),
            tuple(filter(may, found.addresses)),
            tuple(a for a in found.addresses if not may(a)),
        )

    def _renew(self, hosts: Sequence[str | Address], now: datetime) -> None:
        """New connections get the new one; those that are open keep theirs."""
        pem, ends = leaf(self.authority, hosts, now, LEAF_DAYS)
        write_private(self.folder / LEAF, pem)
        self.context.load_cert_chain(self.folder / LEAF)
        self.leaf_made, self.leaf_ends = now, ends

    def _sentences(
        self, served: Served, now: datetime, *, changed: bool
    ) -> tuple[str, ...]:
        said = []
        if changed:
            said.append("The addresses of this machine changed.")
        if served.stranded:
            said.append(_stranded(served))
        if not served.names:
            said.append(NO_NAME)
        if self.authority.ends - now < SAY_BEFORE:
            said.append(
                f"The certificate authority ends on {self.authority.ends:%Y-%m-%d}: "
                "start once with --new-authority before, and have phones trust it."
            )
        return tuple(said)


def _stranded(served: Served) -> str:
    many = ", ".join(map(in_url, served.stranded))
    how = (
        f"phones go on with {served.names[0]}"
        if served.names
        else "phones cannot get in there"
    )
    return (
        f"New address {many}: the authority that phones trust was not made for it, so "
        f"{how}. To use it, start once with --new-authority; every phone then has to "
        "trust the new one."
    )


def keeper(
    data_dir: Path,
    found: Found,
    now: datetime,
    *,
    ports: tuple[int, int],
    new: bool = False,
) -> Keeper:
    """The site's authority, made at the first start or when it is asked for anew.

    `ports` are those of plain HTTP and of TLS. LanProblem when it cannot be: a clock
    that is wrong once must not cost every phone its trust.
    """
    folder = data_dir / FOLDER
    authority = None if new else load(folder)
    is_new = authority is None
    if authority is not None and (fault := authority.fault_at(now)):
        raise LanProblem(fault)
    if authority is None:
        if not found.names and not found.addresses:
            raise LanProblem(
                "this machine is on no network to make a certificate for: join one "
                "first, or leave --lan out"
            )
        authority = make(folder, found.names, found.addresses, now)
    plain, tls = ports
    place = Place(
        tls,
        plain,
        authority.root.public_bytes(Encoding.DER),
        authority.root.public_bytes(Encoding.PEM).decode(),
    )
    return Keeper(folder, authority, place, _context(), is_new)


def _context() -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.set_ciphers(CIPHERS)
    context.options |= ssl.OP_NO_RENEGOTIATION | ssl.OP_NO_COMPRESSION
    context.set_alpn_protocols(["http/1.1"])
    return context
