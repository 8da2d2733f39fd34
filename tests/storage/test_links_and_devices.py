"""Links that work once and PINs of one browser: what is kept, and for how long."""

from datetime import timedelta

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, select

from app.storage import devices, links, waits
from app.storage.database import read_session, write_session
from app.storage.devices import MOST_WRONG, Device, add_device, known_device, pair
from app.storage.errors import NotFound
from app.storage.links import LinkUsed, OneTimeLink, make_link, open_link, use_link
from app.storage.people import Person, start_sign_in
from tests.make import NOW, make_person

PIN = "739154"
DAY = timedelta(days=1)


def test_only_a_hash_of_the_link_is_kept(engine: Engine) -> None:
    with write_session(engine) as session:
        token = make_link(session, "setup", now=NOW)
        (kept,) = session.exec(select(OneTimeLink)).all()

    assert len(token) == 20
    pairing = f"https://{'h' * 25}:8766/pair/{'t' * links.TOKEN_LENGTHS['pair']}"
    assert len(pairing) == 60
    assert token not in str(kept.model_dump())


@pytest.mark.parametrize(
    ("after", "works"),
    [
        (timedelta(0), True),
        (DAY - timedelta(seconds=1), True),
        (DAY, False),
        (-timedelta(seconds=1), False),
    ],
)
def test_link_lasts_a_day(engine: Engine, after: timedelta, works: bool) -> None:
    with write_session(engine) as session:
        token = make_link(session, "setup", now=NOW)
    with read_session(engine) as session:
        if works:
            assert open_link(session, token, NOW + after).purpose == "setup"
        else:
            with pytest.raises(LinkUsed):
                open_link(session, token, NOW + after)


def test_link_works_once_and_only_the_newest_of_a_person(engine: Engine) -> None:
    with write_session(engine) as session:
        ann, bob = make_person(session, "ann"), make_person(session, "bob")
        old, new, other = (
            make_link(session, "passphrase", person=who, now=NOW)
            for who in (ann, ann, bob)
        )
        with pytest.raises(LinkUsed):
            open_link(session, old, NOW)
        use_link(session, open_link(session, new, NOW), NOW)
        with pytest.raises(LinkUsed):
            open_link(session, new, NOW)
        assert open_link(session, other, NOW).person_id == bob.id


@pytest.mark.parametrize("token", ["", "x", "x" * 32, "é" * 32])
def test_invented_token_opens_nothing(engine: Engine, token: str) -> None:
    with read_session(engine) as session, pytest.raises(LinkUsed):
        open_link(session, token, NOW)


def with_pin(session: Session, handle: str = "ann") -> tuple[Device, str]:
    person, pairing = make_person(session, handle), pair(PIN)
    add_device(session, person, pairing, old_key="", now=NOW)
    device = known_device(session, person, pairing.key)
    assert device is not None
    return device, pairing.key


def test_fifth_wrong_pin_ends_it(engine: Engine) -> None:
    with write_session(engine) as session:
        device, key = with_pin(session)
        has_pin = [
            devices.tried(session, device.id, right=False, now=NOW).has_pin
            for _ in range(MOST_WRONG)
        ]
        person = session.get_one(Person, device.person_id)

        assert has_pin == [True] * 4 + [False]
        assert known_device(session, person, key) is None
        assert devices.devices_of(session, person) == [device]


def test_right_pin_after_the_fifth_wrong_brings_nothing_back(engine: Engine) -> None:
    """Two tries at once: one was right, the other had just ended the PIN."""
    with write_session(engine) as session:
        device, _key = with_pin(session)
        for _ in range(MOST_WRONG):
            devices.tried(session, device.id, right=False, now=NOW)

        after = devices.tried(session, device.id, right=True, now=NOW)
        assert (after.has_pin, after.wrong) == (False, MOST_WRONG)


def test_key_of_another_person_s_phone_makes_a_phone_of_ones_own(
    engine: Engine,
) -> None:
    """Two who share a phone: each has a PIN of their own on it."""
    with write_session(engine) as session:
        device, key = with_pin(session)
        other, pairing = make_person(session, "bob"), pair("268495")
        own = add_device(session, other, pairing, old_key=key, now=NOW)

        assert own.id != device.id
        assert device.has_pin


def test_new_pin_on_a_browser_ends_the_old_one(engine: Engine) -> None:
    with write_session(engine) as session:
        person, first, second = make_person(session), pair(PIN), pair("268495")
        add_device(session, person, first, old_key="", now=NOW)
        add_device(session, person, second, old_key=first.key, now=NOW)

        assert known_device(session, person, first.key) is None
        assert len(devices.devices_of(session, person)) == 1


def test_device_of_somebody_else_is_not_theirs(engine: Engine) -> None:
    with write_session(engine) as session:
        device, key = with_pin(session)
        other = make_person(session, "bob")

        assert known_device(session, other, key) is None
        with pytest.raises(NotFound):
            devices.end_device(session, other, device.id, NOW)
        assert device.ended_at is None


@pytest.mark.parametrize(
    ("table", "change"),
    [
        ("one_time_link", "token_hash = 'abc'"),
        ("one_time_link", "purpose = 'party'"),
        ("one_time_link", "purpose = 'passphrase'"),
        ("one_time_link", "person_id = 1"),
        ("device", "key_hash = 'abc'"),
        ("device", f"wrong = {MOST_WRONG + 1}"),
        ("device", "wrong = -1"),
        ("device", "person_id = 999"),
        ("device", "name = ''"),
        ("device", f"name = '{'x' * 41}'"),
        ("sign_in", "device_id = 999"),
        ("guess_wait", "key_hash = 'ann'"),
        ("guess_wait", "wrong = 0"),
    ],
)
def test_database_refuses(engine: Engine, table: str, change: str) -> None:
    with write_session(engine) as session:
        device, _key = with_pin(session)
        start_sign_in(session, session.get_one(Person, device.person_id), NOW)
        links.make_link(session, "setup", now=NOW)
        waits.wrong(session, [waits.account("ann")], NOW)
    with pytest.raises(IntegrityError), write_session(engine) as session:
        session.connection().execute(text(f"UPDATE {table} SET {change}"))
