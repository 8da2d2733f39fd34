"""Passphrases and sign-ins."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from argon2 import PasswordHasher
from sqlalchemy import Engine
from sqlmodel import Session, select

from app.storage import people
from app.storage.database import read_session, write_session
from app.storage.errors import HandleTaken
from app.storage.people import Person, SignIn
from tests.make import NOW, PASSPHRASE, make_person, passphrase_hash
from tests.storage.conftest import Ward

MINUTE = timedelta(minutes=1)
HOUR = timedelta(hours=1)


def who(ward: Ward, handle: str, passphrase: str) -> str | None:
    with read_session(ward.engine) as session:
        person = people.check_passphrase(session, handle, passphrase)
        return person.handle if person else None


@pytest.fixture
def token(ward: Ward) -> str:
    with write_session(ward.engine) as session:
        return people.start_sign_in(session, ward.therapist, NOW)


def holder(ward: Ward, token: str, after: timedelta = MINUTE) -> str | None:
    with read_session(ward.engine) as session:
        person = people.signed_in(session, token, NOW + after)
        return person.handle if person else None


def only_sign_in(session: Session) -> SignIn:
    return session.exec(select(SignIn)).one()


def test_site_knows_whether_it_has_people(engine: Engine) -> None:
    with write_session(engine) as session:
        before = people.any_people(session)
        make_person(session)
        after = people.any_people(session)

    assert (before, after) == (False, True)


def test_passphrase_is_kept_as_an_argon2id_hash() -> None:
    kept = passphrase_hash()

    assert kept.startswith("$argon2id$")
    assert PASSPHRASE not in kept


def test_same_passphrase_is_never_hashed_alike() -> None:
    assert people.hash_passphrase(PASSPHRASE) != passphrase_hash()


@pytest.mark.parametrize("handle", ["therapist", "Therapist", " THERAPIST "])
def test_right_passphrase_finds_the_person(ward: Ward, handle: str) -> None:
    assert who(ward, handle, PASSPHRASE) == "therapist"


@pytest.mark.parametrize(
    ("handle", "passphrase"),
    [
        ("therapist", "four tired horses rest "),
        ("therapist", PASSPHRASE.upper()),
        ("therapist", ""),
        ("nobody", PASSPHRASE),
        ("", ""),
    ],
)
def test_anything_else_finds_nobody(ward: Ward, handle: str, passphrase: str) -> None:
    assert who(ward, handle, passphrase) is None


def test_accent_counts_the_same_however_it_was_typed(engine: Engine) -> None:
    composed, combining = "caf\u00e9 at noon", "cafe\u0301 at noon"
    with write_session(engine) as session:
        person = make_person(session)
        person.passphrase_hash = people.hash_passphrase(composed)

    with read_session(engine) as session:
        assert people.check_passphrase(session, "therapist", combining)


def test_someone_who_left_cannot_sign_in(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        session.get_one(Person, ward.therapist.id).active = False

    assert who(ward, "therapist", PASSPHRASE) is None


@pytest.mark.parametrize("handle", ["therapist", "nobody"])
def test_unknown_handle_costs_as_much_as_a_known_one(
    ward: Ward, handle: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One hash of the same cost is checked either way."""
    checked: list[str] = []
    verify = PasswordHasher.verify

    def counted(hasher: PasswordHasher, kept: str, typed: str) -> bool:
        checked.append(kept.rsplit("$", 2)[0])
        return verify(hasher, kept, typed)

    monkeypatch.setattr(PasswordHasher, "verify", counted)
    who(ward, handle, "wrong")

    assert checked == [passphrase_hash().rsplit("$", 2)[0]]


def test_handle_is_taken_whatever_its_case(ward: Ward) -> None:
    with write_session(ward.engine) as session, pytest.raises(HandleTaken):
        make_person(session, "Therapist")


def test_token_belongs_to_who_signed_in(ward: Ward, token: str) -> None:
    assert holder(ward, token) == "therapist"


def test_token_itself_is_not_stored(ward: Ward, token: str) -> None:
    with read_session(ward.engine) as session:
        kept = only_sign_in(session).token_hash

    assert len(token) >= 43
    assert token not in kept


def test_two_sign_ins_have_two_tokens(ward: Ward, token: str) -> None:
    with write_session(ward.engine) as session:
        other = people.start_sign_in(session, ward.therapist, NOW)

    assert other != token
    assert holder(ward, other) == holder(ward, token) == "therapist"


@pytest.mark.parametrize("wrong", ["", "guess", "\u00e9", "0" * 64])
def test_other_token_belongs_to_nobody(ward: Ward, token: str, wrong: str) -> None:
    assert token != wrong
    assert holder(ward, wrong) is None


@pytest.mark.parametrize(
    ("after", "expected"),
    [
        (12 * HOUR - timedelta(seconds=1), "therapist"),
        (12 * HOUR, None),
        (13 * HOUR, None),
    ],
    ids=["just before", "at twelve hours", "past it"],
)
def test_sign_in_lasts_twelve_hours(
    ward: Ward, token: str, after: timedelta, expected: str | None
) -> None:
    assert holder(ward, token, after) == expected


def end(session: Session, token: str) -> None:
    people.end_sign_in(session, token, NOW)


def leave(session: Session, _token: str) -> None:
    person = session.exec(select(Person).where(Person.handle == "therapist")).one()
    person.active = False


@pytest.mark.parametrize("deed", [end, leave])
def test_ended_sign_in_belongs_to_nobody(
    ward: Ward, token: str, deed: Callable[[Session, str], None]
) -> None:
    with write_session(ward.engine) as session:
        deed(session, token)

    assert holder(ward, token) is None


def test_ending_one_sign_in_leaves_the_others(ward: Ward, token: str) -> None:
    with write_session(ward.engine) as session:
        other = people.start_sign_in(session, ward.therapist, NOW)
        people.end_sign_in(session, token, NOW)

    assert holder(ward, other) == "therapist"


def test_ending_an_unknown_sign_in_does_nothing(ward: Ward, token: str) -> None:
    with write_session(ward.engine) as session:
        people.end_sign_in(session, "unknown", NOW)

    assert holder(ward, token) == "therapist"


@pytest.mark.parametrize(
    ("after", "written"),
    [(timedelta(seconds=59), False), (MINUTE, True)],
    ids=["within a minute", "a minute later"],
)
def test_last_seen_is_written_once_a_minute(
    ward: Ward, token: str, after: timedelta, written: bool
) -> None:
    with write_session(ward.engine) as session:
        people.seen(session, token, NOW + after)

    expected = NOW + after if written else NOW
    with read_session(ward.engine) as session:
        person = session.get_one(Person, ward.therapist.id)
        assert only_sign_in(session).last_seen_at == expected
        assert person.last_seen_at == expected


def locked(ward: Ward, after: timedelta, idle: timedelta | None = 5 * MINUTE) -> bool:
    with read_session(ward.engine) as session:
        return people.is_locked(only_sign_in(session), NOW + after, idle)


@pytest.mark.parametrize(
    ("after", "expected"),
    [
        (5 * MINUTE, False),
        (6 * MINUTE - timedelta(seconds=1), False),
        (6 * MINUTE, True),
    ],
    ids=["at the limit", "in the minute granted", "after it"],
)
@pytest.mark.usefixtures("token")
def test_idle_sign_in_is_locked(ward: Ward, after: timedelta, expected: bool) -> None:
    assert locked(ward, after) is expected
    assert not locked(ward, after, idle=None)


def test_lock_holds_until_it_is_unlocked(ward: Ward, token: str) -> None:
    with write_session(ward.engine) as session:
        people.lock(session, token, NOW)
    at_once = locked(ward, timedelta(0), idle=None)
    with write_session(ward.engine) as session:
        people.unlock(session, token, NOW + HOUR)

    assert at_once
    assert not locked(ward, HOUR + MINUTE)
    assert holder(ward, token, HOUR + MINUTE) == "therapist"


def test_ended_sign_in_is_not_unlocked(ward: Ward, token: str) -> None:
    with write_session(ward.engine) as session:
        people.lock(session, token, NOW)
        people.end_sign_in(session, token, NOW)
        people.unlock(session, token, NOW)

    assert locked(ward, MINUTE)
    assert holder(ward, token) is None


@pytest.mark.parametrize(
    ("after", "expected"),
    [(7 * 24 * HOUR - MINUTE, "therapist"), (7 * 24 * HOUR, None)],
    ids=["within a week", "after it"],
)
def test_ended_sign_in_is_remembered_for_a_week(
    ward: Ward, token: str, after: timedelta, expected: str | None
) -> None:
    with write_session(ward.engine) as session:
        people.end_sign_in(session, token, NOW)
        person = people.was_signed_in(session, token, NOW + after)

    assert (person.handle if person else None) == expected


def test_someone_who_left_is_not_remembered(ward: Ward, token: str) -> None:
    with write_session(ward.engine) as session:
        leave(session, token)
        session.flush()

        assert people.was_signed_in(session, token, NOW) is None
