"""An encrypted file opens whole or not at all; other lines read its format too."""

import hashlib
import json
from io import SEEK_END, SEEK_SET, BufferedReader, BytesIO

import pytest
from _argon2_cffi_bindings import ffi, lib
from argon2.low_level import Type, core, hash_secret_raw
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from app.storage import sealed
from app.storage.sealed import (
    Cost,
    Head,
    Told,
    Unsealed,
    WrongFile,
    WrongPassphrase,
    key_of,
    new_head,
    new_lock,
    read_head,
    seal,
    unsealed,
)
from tests.make import NOW, PASSPHRASE

#: Far below what is used for a real file, so that tests are quick.
CHEAP = Cost(time=1, memory_kib=128, lanes=1)
TOLD = Told(NOW, "1.2", "0030", "ab" * 32)
CHUNK = 64
#: Three whole chunks and a piece.
TEXT = bytes(range(200))


def sealed_of(text: bytes, chunk: int = CHUNK) -> bytes:
    lock, out = new_lock(PASSPHRASE, CHEAP), BytesIO()
    seal(out, BytesIO(text), new_head(TOLD, lock, chunk=chunk), lock.key)
    return out.getvalue()


def opened(made: bytes, passphrase: str = PASSPHRASE) -> bytes:
    file = BytesIO(made)
    head = read_head(file)
    key, begins = key_of(head, passphrase), file.tell()
    text = b"".join(unsealed(file, head, key))
    file.seek(begins)
    assert Unsealed(file, head, key).read() == text
    return text


def head_of(made: bytes) -> Head:
    return read_head(BytesIO(made))


def with_head(made: bytes, **other: object) -> bytes:
    """The same file with other words in its head, well formed."""
    raw = head_of(made).raw
    says = json.loads(raw[22:]) | other
    text = json.dumps(says).encode()
    return made[:18] + len(text).to_bytes(4, "big") + text + made[len(raw) :]


def by_the_book(made: bytes, passphrase: str) -> bytes:
    """What DEVELOPERS.md says of the format, and nothing of the program's."""
    assert made[:16] == b"tapeline backup\n"
    assert int.from_bytes(made[16:18], "big") == 1
    start = 22 + int.from_bytes(made[18:22], "big")
    says = json.loads(made[22:start])
    stretched = hash_secret_raw(
        passphrase.encode(), bytes.fromhex(says["salt"]), says["time_cost"],
        says["memory_kib"], says["lanes"], 64, Type.ID, 19,
    )  # fmt: skip
    assert hashlib.sha256(stretched[32:]).hexdigest() == says["key_check"]
    size = says["chunk_bytes"] + 16
    count = -(-(len(made) - start) // size)
    text = b""
    for place in range(count):
        is_last = bytes([place == count - 1])
        nonce = bytes.fromhex(says["nonce_prefix"]) + place.to_bytes(4, "big") + is_last
        block = made[start + place * size : start + (place + 1) * size]
        text += AESGCM(stretched[:32]).decrypt(nonce, block, made[:start])
    return text


@pytest.mark.parametrize("length", [0, 1, CHUNK - 1, CHUNK, CHUNK + 1, 3 * CHUNK, 200])
def test_format_is_the_one_that_is_written_down(length: int) -> None:
    made = sealed_of(TEXT[:length])

    assert by_the_book(made, PASSPHRASE) == opened(made) == TEXT[:length]


def test_head_tells_what_it_is_and_no_two_are_alike() -> None:
    one, other = sealed_of(TEXT), sealed_of(TEXT)

    assert head_of(one).told == TOLD
    assert head_of(one).salt != head_of(other).salt
    assert head_of(one).prefix != head_of(other).prefix
    assert TEXT[:16] not in one


def test_real_files_cost_a_guess_64_mib() -> None:
    lock = new_lock(PASSPHRASE)
    head, key = new_head(TOLD, lock), lock.key
    cost = head.cost

    assert (cost.time, cost.memory_kib, cost.lanes) == (3, 65536, 4)
    assert key_of(read_head(BytesIO(head.raw)), PASSPHRASE) == key


def test_passphrase_is_the_same_however_it_was_typed() -> None:
    lock = new_lock("Caf\u00e9 am Rand der Stadt", CHEAP)
    head, key = new_head(TOLD, lock), lock.key

    assert key_of(head, "Cafe\u0301 am Rand der Stadt") == key
    with pytest.raises(WrongPassphrase):
        key_of(head, "Cafe am Rand der Stadt")


def test_every_flipped_bit_is_found() -> None:
    """One bit of every byte, head and chunks alike."""
    made = sealed_of(TEXT)
    for place in range(len(made)):
        harmed = bytearray(made)
        harmed[place] ^= 1 << place % 8

        with pytest.raises((WrongFile, WrongPassphrase)):
            opened(bytes(harmed))


def test_every_cut_is_found() -> None:
    made = sealed_of(TEXT)
    for length in range(len(made)):
        with pytest.raises(WrongFile):
            opened(made[:length])


def test_parts_in_another_order_doubled_or_added_are_found() -> None:
    made = sealed_of(TEXT[: 3 * CHUNK])
    start, size = len(head_of(made).raw), CHUNK + 16
    head, a, b, c = made[:start], *(made[start + i * size :][:size] for i in range(3))
    other = sealed_of(TEXT[: 3 * CHUNK])
    strange = other[len(head_of(other).raw) :][:size]
    assert head + a + b + c == made

    for wrong in (
        [b, a, c], [a, c, b], [a, b], [a, c], [a, a, b, c], [a, b, c, c],
        [strange, b, c], [a, b, c, b"\0"], [a, b, c, made],
    ):  # fmt: skip
        with pytest.raises(WrongFile, match="cut off or altered"):
            opened(b"".join([head, *wrong]))


@pytest.mark.parametrize(
    ("other", "says"),
    [
        ({"made_at": "2020-01-01T00:00:00+00:00"}, "part 1 of it is not"),
        ({"content_sha256": "00"}, "part 1 of it is not"),
        ({"time_cost": 2}, "does not open"),
        ({"memory_kib": 2**30}, "head cannot be read"),
        ({"time_cost": 10**9}, "head cannot be read"),
        ({"lanes": True}, "head cannot be read"),
        ({"salt": "00"}, "head cannot be read"),
        ({"cipher": "none"}, "head cannot be read"),
        ({"made_at": "2020-01-01"}, "head cannot be read"),
        ({"chunk_bytes": 0}, "head cannot be read"),
    ],
)
def test_head_that_was_rewritten_is_refused(
    other: dict[str, object], says: str
) -> None:
    """Also one that asks for so much work that the machine would stand still."""
    with pytest.raises((WrongFile, WrongPassphrase), match=says):
        opened(with_head(sealed_of(TEXT), **other))


def test_each_refusal_says_what_it_is() -> None:
    made = sealed_of(TEXT)

    with pytest.raises(WrongFile, match="no backup made by Tapeline"):
        opened(b"PK\3\4" + made)
    with pytest.raises(WrongFile, match="newer version"):
        opened(made[:16] + b"\0\2" + made[18:])
    with pytest.raises(WrongPassphrase, match="passphrase does not open"):
        opened(made, PASSPHRASE + "!")
    with pytest.raises(WrongFile, match="head is not whole"):
        opened(made[:18] + b"\xff\xff\xff\xff" + made[22:])
    deep = b"[" * 4000
    with pytest.raises(WrongFile, match="head cannot be read"):
        opened(made[:18] + len(deep).to_bytes(4, "big") + deep)


def test_file_never_uses_a_nonce_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sealed, "MOST_CHUNKS", 3)

    with pytest.raises(WrongFile, match="too large"):
        sealed_of(TEXT)


def test_argon2id_is_that_of_rfc_9106() -> None:
    """RFC 9106, section 5.3; from memory, and the same in several programs' tests."""
    tag = ffi.new("uint8_t[]", 32)
    parts = [
        ffi.from_buffer(b) for b in (b"\1" * 32, b"\2" * 16, b"\3" * 8, b"\4" * 12)
    ]
    given = ffi.new(
        "argon2_context *",
        {
            "out": tag, "outlen": 32, "pwd": parts[0], "pwdlen": 32, "salt": parts[1],
            "saltlen": 16, "secret": parts[2], "secretlen": 8, "ad": parts[3],
            "adlen": 12, "t_cost": 3, "m_cost": 32, "lanes": 4, "threads": 4,
            "version": 0x13, "allocate_cbk": ffi.NULL, "free_cbk": ffi.NULL,
            "flags": lib.ARGON2_DEFAULT_FLAGS,
        },
    )  # fmt: skip

    assert core(given, Type.ID.value) == lib.ARGON2_OK
    assert bytes(tag).hex() == (
        "0d640df58d78766c08c037a34a8b53c9d01ef0452d75b65eb52520e96b01e659"
    )


def test_aes_gcm_is_that_of_its_specification() -> None:
    """McGrew and Viega's specification as submitted to NIST, test case 16.

    From memory, and the same in several programs' tests.
    """
    made = AESGCM(bytes.fromhex("feffe9928665731c6d6a8f9467308308" * 2)).encrypt(
        bytes.fromhex("cafebabefacedbaddecaf888"),
        bytes.fromhex(
            "d9313225f88406e5a55909c5aff5269a86a7a9531534f7da2e4c303d8a318a72"
            "1c3c0c95956809532fcf0e2449a6b525b16aedf5aa0de657ba637b39"
        ),
        bytes.fromhex("feedfacedeadbeeffeedfacedeadbeefabaddad2"),
    )

    assert made.hex() == (
        "522dc1f099567d07f47f37a32a84427d643a8cdcbfe5c0c97598a2bd2555d1aa"
        "8cb08e48590dbb3da7b08b1056828838c5f61e6393ba7a0abcc9f662"
        "76fc6ece0f4e1768cddf8853bb2d551b"
    )


@pytest.mark.parametrize("length", [0, 1, 63, 64, 65, 128, 200])
def test_any_part_is_read_as_from_the_text_itself(length: int) -> None:
    """Python's own file in memory says what each reading after a seek gives."""
    file = BytesIO(sealed_of(TEXT[:length]))
    head = read_head(file)
    there, here = (
        BytesIO(TEXT[:length]),
        BufferedReader(Unsealed(file, head, key_of(head, PASSPHRASE))),
    )
    for whence in (SEEK_SET, SEEK_END):
        for start in range(0, length + 1, 7):
            for many in (0, 1, 64, 70, -1):
                offset = start if whence == SEEK_SET else -start
                assert here.seek(offset, whence) == there.seek(offset, whence)
                assert here.read(many) == there.read(many)


def test_part_that_changed_after_it_was_looked_at_is_found() -> None:
    file = BytesIO(sealed_of(TEXT))
    head = read_head(file)
    reading = Unsealed(file, head, key_of(head, PASSPHRASE))
    file.seek(-1, SEEK_END)
    file.write(bytes([file.getvalue()[-1] ^ 1]))

    assert reading.read(CHUNK) == TEXT[:CHUNK]
    with pytest.raises(WrongFile, match="part 4 of it"):
        reading.read()
