"""An encrypted file: a head that anybody can read, then chunks sealed one by one.

The construction is STREAM (Hoang, Reyhanitabar, Rogaway and Vizar 2015; from memory):
the nonce of a chunk holds its place and whether it is the last, and every chunk
vouches for the head. So a file that was cut off, put in another order, added to or
changed anywhere does not open. DEVELOPERS.md has the format, byte by byte.
"""

import hashlib
import hmac
import io
import json
import secrets
import struct
from collections.abc import Iterable, Iterator, Mapping
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
class Frame:
    """What stands before the chunks, what their nonces begin with, their length."""

    raw: bytes
    prefix: bytes
    chunk: int


@dataclass(frozen=True, slots=True)
class Head(Frame):
    """All before the first chunk of a backup, as it lies there and as it reads."""

    told: Told
    cost: Cost
    salt: bytes
    key_check: str


def throwaway(chunk: int = CHUNK) -> tuple[Frame, bytes]:
    """For a file that this process alone shall ever read: no head, a key of now."""
    return Frame(b"", secrets.token_bytes(PREFIX), chunk), secrets.token_bytes(KEY)


def _derived(passphrase: str, salt: bytes, cost: Cost) -> tuple[bytes, str]:
    """The key, and what tells a wrong passphrase from a damaged file."""
    made = hash_secret_raw(
        plain(passphrase).encode(), salt, time_cost=cost.time,
        memory_cost=cost.memory_kib, parallelism=cost.lanes, hash_len=2 * KEY,
        type=Type.ID, version=ARGON2_VERSION,
    )  # fmt: skip
    return made[:KEY], hashlib.sha256(made[KEY:]).hexdigest()


@dataclass(frozen=True, slots=True)
class Lock:
    """A key made of a passphrase and a salt of its own, and what a head tells of it."""

    cost: Cost
    salt: bytes
    key: bytes
    check: str


def new_lock(passphrase: str, cost: Cost | None = None) -> Lock:
    """Takes 64 MiB while it lasts, so best before anything else takes room."""
    cost, salt = cost or USUAL, secrets.token_bytes(SALT)
    return Lock(cost, salt, *_derived(passphrase, salt, cost))


def new_head(told: Told, lock: Lock, *, chunk: int = CHUNK) -> Head:
    """A head for one file: a lock is never used twice."""
    cost, salt = lock.cost, lock.salt
    prefix = secrets.token_bytes(PREFIX)
    says = {
        "kdf": "argon2id", "argon2_version": ARGON2_VERSION, "time_cost": cost.time,
        "memory_kib": cost.memory_kib, "lanes": cost.lanes, "salt": salt.hex(),
        "key_check": lock.check, "cipher": "AES-256-GCM", "nonce_prefix": prefix.hex(),
        "chunk_bytes": chunk, "payload": "whole site",
        "made_at": told.made_at.astimezone(UTC).isoformat(timespec="seconds"),
        "app_version": told.app_version, "schema_revision": told.schema_revision,
        "content_sha256": told.content_sha256,
    }  # fmt: skip
    text = json.dumps(says, indent=1).encode() + b"\n"
    raw = MAGIC + FIXED.pack(VERSION, len(text)) + text
    return Head(raw, prefix, chunk, told, cost, salt, lock.check)


def _nonce(frame: Frame, place: int, is_last: bool) -> bytes:
    if place >= MOST_CHUNKS:
        raise WrongFile("It is too large for one backup.")
    return frame.prefix + struct.pack(">IB", place, is_last)


class Sealer(io.RawIOBase):
    """Takes bytes as they come and writes them out sealed, a chunk at a time.

    `finish` writes the last chunk: without it the file does not open.
    """

    def __init__(self, out: BinaryIO, frame: Frame, key: bytes) -> None:
        self._out, self._frame, self._lock = out, frame, AESGCM(key)
        self._held, self._place = bytearray(), 0
        out.write(frame.raw)

    def writable(self) -> bool:
        return True

    def write(self, given: Any, /) -> int:
        self._held += given
        # The last chunk is known by nothing coming after it.
        while len(self._held) > self._frame.chunk:
            self._seal(self._frame.chunk, is_last=False)
        return len(memoryview(given))

    def _seal(self, length: int, *, is_last: bool) -> None:
        nonce, block = _nonce(self._frame, self._place, is_last), self._held[:length]
        self._out.write(self._lock.encrypt(nonce, bytes(block), self._frame.raw))
        del self._held[:length]
        self._place += 1

    def finish(self) -> None:
        self._seal(len(self._held), is_last=True)


def seal(out: BinaryIO, source: Iterable[bytes], head: Frame, key: bytes) -> None:
    """Write the head, then all of the source, chunk by chunk."""
    sealer = Sealer(out, head, key)
    for block in source:
        sealer.write(block)
    sealer.finish()


def key_of(head: Head, passphrase: str) -> bytes:
    key, check = _derived(passphrase, head.salt, head.cost)
    if not hmac.compare_digest(check, head.key_check):
        raise WrongPassphrase
    return key


def unsealed(file: BinaryIO, frame: Frame, key: bytes) -> Iterator[bytes]:
    """Each chunk after the head; WrongFile at the first that is not as it was written.

    So nothing that was made of them may last before the last one was read.
    """
    lock, place, size = AESGCM(key), 0, frame.chunk + TAG
    block = file.read(size)
    while True:
        following = file.read(size)
        yield _open(lock, frame, block, place, is_last=not following)
        if not following:
            return
        block, place = following, place + 1


def _open(
    lock: AESGCM, frame: Frame, block: bytes, place: int, *, is_last: bool
) -> bytes:
    try:
        return lock.decrypt(_nonce(frame, place, is_last), block, frame.raw)
    except InvalidTag:
        raise altered(f"part {place + 1} of it is not as it was written") from None


class Unsealed(io.RawIOBase):
    """What was sealed, to be read from anywhere in it: one chunk is held at a time.

    WrongFile at a chunk that is not as it was written. Closing it leaves the file open.
    """

    def __init__(self, file: BinaryIO, frame: Frame, key: bytes) -> None:
        """The file is at its first chunk, where `read_head` leaves it."""
        self._file, self._frame, self._lock = file, frame, AESGCM(key)
        self._begin = file.tell()
        length = file.seek(0, io.SEEK_END) - self._begin
        self._chunks = max(1, -(-length // (frame.chunk + TAG)))
        self._size = max(0, length - self._chunks * TAG)
        self._at, self._place, self._held = 0, -1, b""

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET, /) -> int:
        from_where = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self._size}
        self._at = from_where[whence] + offset
        if self._at < 0:
            raise ValueError("before the beginning")
        return self._at

    def readinto(self, buffer: Any, /) -> int:
        if self._at >= self._size:
            return 0
        place, start = divmod(self._at, self._frame.chunk)
        part = self._chunk(place)[start : start + len(buffer)]
        buffer[: len(part)] = part
        self._at += len(part)
        return len(part)

    def _chunk(self, place: int) -> bytes:
        if place != self._place:
            size = self._frame.chunk + TAG
            self._file.seek(self._begin + place * size)
            is_last = place == self._chunks - 1
            block = self._file.read(size)
            self._held = _open(self._lock, self._frame, block, place, is_last=is_last)
            self._place = place
        return self._held


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
        raw, _sized(says["nonce_prefix"], PREFIX),
        _within(says["chunk_bytes"], 1, LARGEST_CHUNK),
        told, cost, _sized(says["salt"], SALT), str(says["key_check"]),
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
