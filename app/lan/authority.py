"""This site's own certificate authority, which phones are asked to trust.

What a phone trusts is the root. Its key signs once, a second certificate called the
signer, and is then forgotten: it is never written anywhere. So the only key on the disk
is the signer's, and that can vouch for this machine's names and addresses alone, also
before programs that do not look at a root's own limits.
"""

import os
import stat
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv4Network, IPv6Network, ip_network
from pathlib import Path
from typing import Final

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from app.lan.addresses import Address

FOLDER: Final = "lan"
ROOT, SIGNER, KEY = "authority.pem", "signer.pem", "signer.key"
YEARS: Final = 5
#: Phones' clocks differ; a certificate of this minute must not be of the future.
EARLIER: Final = timedelta(days=1)
#: A name kept for never being used: it stands where a limit may not be empty.
NOBODY: Final = "tapeline.invalid"
EVERYWHERE: Final = (ip_network("0.0.0.0/0"), ip_network("::/0"))
Key = ec.EllipticCurvePrivateKey


class LanProblem(Exception):
    """The secure port cannot be opened. `sentence` says why and what to do."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


@dataclass(frozen=True, slots=True)
class Authority:
    """The root for phones, the signer below it and the signer's key."""

    root: x509.Certificate
    signer: x509.Certificate
    key: Key

    @property
    def ends(self) -> datetime:
        return self.signer.not_valid_after_utc

    def fault_at(self, now: datetime) -> str:
        """Why nobody would take what it signs now; empty when they would."""
        if now >= self.ends:
            what = f"has ended (on {self.ends:%Y-%m-%d})"
        elif now < self.signer.not_valid_before_utc:
            begins = self.signer.not_valid_before_utc
            what = f"is not yet valid (from {begins:%Y-%m-%d} on)"
        else:
            return ""
        return (
            f"the certificate authority {what} by this machine's clock, which says "
            f"{now:%Y-%m-%d}: check the clock; if it is right, start once with "
            "--new-authority and have every phone trust the new one"
        )

    def may_sign(self, host: str | Address) -> bool:
        """Whether its limits name this very name or address."""
        wanted = host if isinstance(host, str) else ip_network(host)
        return wanted in self._permitted()

    def _permitted(self) -> set[str | IPv4Network | IPv6Network]:
        limits = self.signer.extensions.get_extension_for_class(x509.NameConstraints)
        return {n.value for n in limits.value.permitted_subtrees or ()}


def load(folder: Path) -> Authority | None:
    """The authority of this folder, if one was made; LanProblem when it is no good."""
    if not any((folder / name).exists() for name in (ROOT, SIGNER, KEY)):
        return None
    key_file = folder / KEY
    try:
        _refuse_if_readable(key_file)
        root, signer = (
            x509.load_pem_x509_certificate((folder / name).read_bytes())
            for name in (ROOT, SIGNER)
        )
        key = load_pem_private_key(key_file.read_bytes(), None)
    except (OSError, ValueError) as fault:
        raise LanProblem(_damaged(folder)) from fault
    if not isinstance(key, Key) or key.public_key() != signer.public_key():
        raise LanProblem(_damaged(folder))
    return Authority(root, signer, key)


def _damaged(folder: Path) -> str:
    return (
        f"the certificate authority in {folder} cannot be read: bring its files back, "
        "or start once with --new-authority and have every phone trust the new one"
    )


def _refuse_if_readable(key_file: Path) -> None:
    if stat.S_IMODE(key_file.stat().st_mode) & 0o077:
        raise LanProblem(
            f"others on this machine can read {key_file}: chmod 600 it, or start once "
            "with --new-authority if somebody may have copied it"
        )


def make(
    folder: Path, names: Sequence[str], addresses: Sequence[Address], now: datetime
) -> Authority:
    """A new authority for these and nothing else; one that was there is gone."""
    folder.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    folder.mkdir(mode=0o700, exist_ok=True)
    folder.chmod(0o700)
    limits = _limits(names, addresses)
    ends = now + timedelta(days=365 * YEARS)
    root_key, key = _new_key(), _new_key()
    root_name = _name(f"Tapeline authority {now:%Y-%m-%d}", names)
    root = _certificate(root_name, root_name, root_key, root_key, now, ends)
    signer_name = _name(f"Tapeline signer {now:%Y-%m-%d}", names)
    signer = _certificate(signer_name, root_name, key, root_key, now, ends)
    made = Authority(
        _signed(root, root_key, limits, below=1),
        _signed(signer, root_key, limits, below=0),
        key,
    )
    (folder / ROOT).unlink(missing_ok=True)
    write_private(folder / KEY, key_pem(key))
    write_private(folder / SIGNER, made.signer.public_bytes(Encoding.PEM))
    # Last, so that one cut short is never taken for whole.
    write_private(folder / ROOT, made.root.public_bytes(Encoding.PEM))
    return made


def leaf(
    authority: Authority, served: Iterable[str | Address], now: datetime, days: int
) -> tuple[bytes, datetime]:
    """Key and chain for what is served, as one PEM, and when that ends."""
    key = _new_key()
    ends = min(now + timedelta(days=days) - EARLIER, authority.ends)
    alternatives = [
        x509.DNSName(s) if isinstance(s, str) else x509.IPAddress(s) for s in served
    ]
    subject = _name("Tapeline site", ())
    builder = _certificate(
        subject, authority.signer.subject, key, authority.key, now, ends
    )
    builder = (
        builder.add_extension(x509.SubjectAlternativeName(alternatives), False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), True)
        .add_extension(_usage(digital_signature=True), True)
        .add_extension(_FOR_SERVERS, False)
    )
    made = builder.sign(authority.key, hashes.SHA256())
    chain = [made, authority.signer]
    pem = b"".join(c.public_bytes(Encoding.PEM) for c in chain)
    return key_pem(key) + pem, ends


_FOR_SERVERS = x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH])


def _new_key() -> Key:
    return ec.generate_private_key(ec.SECP256R1())


def key_pem(key: Key) -> bytes:
    return key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())


def _name(common: str, names: Sequence[str]) -> x509.Name:
    """Shown in a phone's list, so it says which machine's it is."""
    whole = f"{common} {names[0]}" if names else common
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, whole[:64])])


def _certificate(
    subject: x509.Name,
    issuer: x509.Name,
    key: Key,
    issuer_key: Key,
    now: datetime,
    ends: datetime,
) -> x509.CertificateBuilder:
    own, above = key.public_key(), issuer_key.public_key()
    named = x509.SubjectKeyIdentifier.from_public_key(own)
    signed_by = x509.AuthorityKeyIdentifier.from_issuer_public_key(above)
    return (
        x509.CertificateBuilder(subject_name=subject, issuer_name=issuer)
        .public_key(own)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - EARLIER)
        .not_valid_after(ends)
        .add_extension(named, False)
        .add_extension(signed_by, False)
    )


def _signed(
    builder: x509.CertificateBuilder,
    root_key: Key,
    limits: x509.NameConstraints,
    *,
    below: int,
) -> x509.Certificate:
    """An authority within its limits; `below` it there may be so many more."""
    builder = (
        builder.add_extension(x509.BasicConstraints(ca=True, path_length=below), True)
        .add_extension(_usage(key_cert_sign=True, crl_sign=True), True)
        .add_extension(limits, True)
        .add_extension(_FOR_SERVERS, False)
    )
    return builder.sign(root_key, hashes.SHA256())


def _limits(names: Sequence[str], addresses: Sequence[Address]) -> x509.NameConstraints:
    """These alone. A kind that is not mentioned would be free, so both always are."""
    permitted: list[x509.GeneralName] = [
        x509.DNSName(name) for name in names or (NOBODY,)
    ]
    permitted += [x509.IPAddress(ip_network(a)) for a in addresses]
    versions = {a.version for a in addresses}
    excluded = [x509.IPAddress(n) for n in EVERYWHERE if n.version not in versions]
    return x509.NameConstraints(permitted, excluded or None)


def _usage(**yes: bool) -> x509.KeyUsage:
    every = (
        "digital_signature", "content_commitment", "key_encipherment",
        "data_encipherment", "key_agreement", "key_cert_sign", "crl_sign",
        "encipher_only", "decipher_only",
    )  # fmt: skip
    return x509.KeyUsage(**{use: yes.get(use, False) for use in every})


def write_private(file: Path, content: bytes) -> None:
    """Whole or not at all, and never for a moment readable by others."""
    new = file.with_name(f".{file.name}.new")
    new.unlink(missing_ok=True)
    descriptor = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "wb") as out:
        out.write(content)
        out.flush()
        os.fsync(out.fileno())
    new.replace(file)
