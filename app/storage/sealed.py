"""An encrypted file: a head that anybody can read, then chunks sealed one by one.

The construction is STREAM (Hoang, Reyhanitabar, Rogaway and Vizar 2015; from memory):
the nonce of a chunk holds its place and whether it is the last, and every chunk
vouches for the head. So a file that was cut off, put in another order, added to or
changed anywhere does not open. DEVELOPERS.md has the format, byte by byte.
"""

import hashlib
import hmac
import json
import secrets
import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, BinaryIO, Final

from argon2.low_level import ARGON2_VERSION, Type, hash_secret_raw
from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from app.passphrases import plain
from app.storage.errors import StorageProblem

MAGIC: Final = b"tapeline backup\n"
VERSION: Final = 1
#: After the magic: the version, and how long the head is.
FIXED: Final = struct.Struct(">HI")
LONGEST_HEAD: Final = 4096
CHUNK: Final = 1024 * 1024
LARGEST_CHUNK: Final = 16 * 1024 * 1024
TAG: Final = 16
KEY: Final = 32
PREFIX: Final = 7
SALT: Final = 16
MOST_CHUNKS: Final = 2**32
#: RFC 9106, section 4, the second recommended option (from memory).
TIME_COST, MEMORY_KIB, LANES = 3, 64 * 1024, 4
#: What a file may ask of this machine before anything of it is known to be true.
MOST_TIME, MOST_MEMORY_KIB, MOST_LANES = 16, 1024 * 1024, 16

NOTHING: Final = "Nothing was restored."


class WrongFile(StorageProblem):
    """No backup, or no longer the one that was written."""


class WrongPassphrase(StorageProblem):
    """Another passphrase than the one the file was made with."""

    sentence = (
        "The passphrase does not open this backup: it was made with another one, or "
        f"its head was altered. {NOTHING}"
    )


def altered(what: str) -> WrongFile:
    return WrongFile(
        f"The backup was cut off or altered: {what}. {NOTHING} Take another one."
    )


@dataclass(frozen=True, slots=True)
class Told:
    """What a head tells without the passphrase. True only once a chunk was opened."""

    made_at: datetime
    app_version: str
    schema_revision: str
    content_sha256: str


@dataclass(frozen=True, slots=True)
class Cost:
    """What one guess at the passphrase costs."""

    time: int = TIME_COST
    memory_kib: int = MEMORY_KIB
    lanes: int = LANES


USUAL: Final = Cost()


@dataclass(frozen=True, slots=True)
class Head:
    """All before the first chunk, as it lies in the file and as it reads."""

    raw: bytes
    told: Told
    cost: Cost
    salt: bytes
    key_check: str
    prefix: bytes
    chunk: int


def _derived(passphrase: str, salt: bytes, cost: Cost) -> tuple[bytes, str]:
    """The key, and what tells a wrong passphrase from a damaged file."""
    made = hash_secret_raw(
        plain(passphrase).encode(), salt, time_cost=cost.time,
        memory_cost=cost.memory_kib, parallelism=cost.lanes, hash_len=2 * KEY,
        type=Type.ID, version=ARGON2_VERSION,
    )  # fmt: skip
    return made[:KEY], hashlib.sha256(made[KEY:]).hexdigest()


def new_head(
    told: Told, passphrase: str, *, cost: Cost | None = None, chunk: int = CHUNK
) -> tuple[Head, bytes]:
    """A head with a salt of its own, and the key that goes with it."""
    cost, salt = cost or USUAL, secrets.token_bytes(SALT)
    key, check = _derived(passphrase, salt, cost)
    prefix = secrets.token_bytes(PREFIX)
    says = {
        "kdf": "argon2id", "argon2_version": ARGON2_VERSION, "time_cost": cost.time,
        "memory_kib": cost.memory_kib, "lanes": cost.lanes, "salt": salt.hex(),
        "key_check": check, "cipher": "AES-256-GCM", "nonce_prefix": prefix.hex(),
        "chunk_bytes": chunk, "payload": "whole site",
        "made_at": told.made_at.astimezone(UTC).isoformat(timespec="seconds"),
        "app_version": told.app_version, "schema_revision": told.schema_revision,
        "content_sha256": told.content_sha256,
    }  # fmt: skip
    text = json.dumps(says, indent=1).encode() + b"\n"
    raw = MAGIC + FIXED.pack(VERSION, len(text)) + text
    return Head(raw, told, cost, salt, check, prefix, chunk), key


def _nonce(head: Head, place: int, is_last: bool) -> bytes:
    if place >= MOST_CHUNKS:
        raise WrongFile("It is too large for one backup.")
    return head.prefix + struct.pack(">IB", place, is_last)


def seal(out: BinaryIO, source: BinaryIO, head: Head, key: bytes) -> None:
    """Write the head, then all of the source, chunk by chunk."""
    lock, place = AESGCM(key), 0
    out.write(head.raw)
    block = source.read(head.chunk)
    while True:
        following = source.read(head.chunk)
        nonce = _nonce(head, place, is_last=not following)
        out.write(lock.encrypt(nonce, block, head.raw))
        if not following:
            return
        block, place = following, place + 1


def key_of(head: Head, passphrase: str) -> bytes:
    key, check = _derived(passphrase, head.salt, head.cost)
    if not hmac.compare_digest(check, head.key_check):
        raise WrongPassphrase
    return key


def unsealed(file: BinaryIO, head: Head, key: bytes) -> Iterator[bytes]:
    """Each chunk after the head; WrongFile at the first that is not as it was written.

    So nothing that was made of them may last before the last one was read.
    """
    lock, place, size = AESGCM(key), 0, head.chunk + TAG
    block = file.read(size)
    while True:
        following = file.read(size)
        try:
            yield lock.decrypt(
                _nonce(head, place, is_last=not following), block, head.raw
            )
        except InvalidTag:
            where = f"part {place + 1} of it is not as it was written"
            raise altered(where) from None
        if not following:
            return
        block, place = following, place + 1


def read_head(file: BinaryIO) -> Head:
    """What stands before the first chunk; the file is left at that chunk."""
    fixed = file.read(len(MAGIC) + FIXED.size)
    if not fixed.startswith(MAGIC):
        raise WrongFile(f"This is no backup made by Tapeline. {NOTHING}")
    if len(fixed) < len(MAGIC) + FIXED.size:
        raise altered("its head is not whole")
    version, length = FIXED.unpack(fixed[len(MAGIC) :])
    if version > VERSION:
        raise WrongFile(
            f"The backup was made by a newer version of Tapeline. {NOTHING} Use that "
            "version, or a newer one."
        )
    text = file.read(length) if length <= LONGEST_HEAD else b""
    if version < 1 or len(text) != length:
        raise altered("its head is not whole")
    try:
        return _read(fixed + text, json.loads(text))
    except (ValueError, TypeError, KeyError, RecursionError) as fault:
        raise altered("its head cannot be read") from fault


def _read(raw: bytes, says: Mapping[str, Any]) -> Head:
    known = (says["kdf"], says["argon2_version"], says["cipher"], says["payload"])
    if known != ("argon2id", ARGON2_VERSION, "AES-256-GCM", "whole site"):
        raise ValueError("other ways")
    cost = Cost(
        _within(says["time_cost"], 1, MOST_TIME),
        _within(says["memory_kib"], 8 * MOST_LANES, MOST_MEMORY_KIB),
        _within(says["lanes"], 1, MOST_LANES),
    )
    made_at = datetime.fromisoformat(says["made_at"])
    if made_at.utcoffset() is None:
        raise ValueError("no zone")
    told = Told(
        made_at, str(says["app_version"]), str(says["schema_revision"]),
        str(says["content_sha256"]),
    )  # fmt: skip
    return Head(
        raw, told, cost, _sized(says["salt"], SALT), str(says["key_check"]),
        _sized(says["nonce_prefix"], PREFIX),
        _within(says["chunk_bytes"], 1, LARGEST_CHUNK),
    )  # fmt: skip


def _within(value: object, least: int, most: int) -> int:
    if type(value) is not int or not least <= value <= most:
        raise ValueError("out of bounds")
    return value


def _sized(text: str, length: int) -> bytes:
    value = bytes.fromhex(text)
    if len(value) != length:
        raise ValueError("other length")
    return value
