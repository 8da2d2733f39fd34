"""Waits after wrong guesses: they grow, stay, and touch nobody else."""

from datetime import timedelta

import pytest
from sqlalchemy import Engine

from app.storage import waits
from app.storage.database import read_session, write_session
from app.storage.waits import Key
from tests.make import NOW

ANN, BOB = waits.account("ann"), waits.account("bob")
PLACE = waits.address("192.0.2.7")
MINUTE = timedelta(minutes=1)


def guess(
    engine: Engine, *keys: Key, times: int = 1, after: timedelta = MINUTE
) -> None:
    with write_session(engine) as session:
        for _ in range(times):
            waits.wrong(session, keys, NOW + after)


def left(engine: Engine, *keys: Key, after: timedelta = MINUTE) -> float:
    with read_session(engine) as session:
        found = [waits.left(session, key, NOW + after) for key in keys]
        return max(found).total_seconds()


def test_waits_grow_to_a_quarter_of_an_hour(engine: Engine) -> None:
    seen = []
    for _ in range(16):
        guess(engine, ANN)
        seen.append(left(engine, ANN))

    assert seen[:8] == [0, 0, 0, 0, 5, 10, 20, 40]
    assert seen[-1] == 900
    assert seen == sorted(seen)


def test_wait_runs_out_and_the_next_is_longer(engine: Engine) -> None:
    guess(engine, ANN, times=6)

    assert left(engine, ANN, after=MINUTE + timedelta(seconds=4)) == 6
    assert left(engine, ANN, after=MINUTE + timedelta(seconds=10)) <= 0
    guess(engine, ANN, after=2 * MINUTE)
    assert left(engine, ANN, after=2 * MINUTE) == 20


def test_nobody_else_waits(engine: Engine) -> None:
    guess(engine, ANN, times=30)

    assert left(engine, ANN) == 900
    assert left(engine, BOB) == 0
    assert left(engine, waits.open_page("a token of Ann's")) == 0


def test_address_that_tries_everybody_waits_a_minute_at_most(engine: Engine) -> None:
    seen = []
    for number in range(26):
        guess(engine, waits.account(f"person{number}"), PLACE)
        seen.append(left(engine, BOB, PLACE))

    assert seen[:19] == [0] * 19
    assert seen[19:] == [5, 10, 20, 40, 60, 60, 60]


def test_ward_that_mistypes_all_day_never_waits(engine: Engine) -> None:
    """Many people behind one address, each now and then wrong."""
    for number in range(200):
        after = number * 2 * MINUTE
        guess(engine, waits.account(f"person{number}"), PLACE, after=after)

        assert left(engine, PLACE, after=after) == 0


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("2001:db8:1:2::1", "2001:db8:1:2:ffff::9", True),
        ("2001:db8:1:2::1", "2001:db8:1:3::1", False),
        ("::ffff:192.0.2.7", "192.0.2.7", True),
        ("192.0.2.7", "192.0.2.8", False),
        ("fe80::1%eth0", "fe80::1", True),
        ("testclient", "testclient", True),
        ("", "192.0.2.7", False),
    ],
)
def test_address_counts_by_network(one: str, other: str, same: bool) -> None:
    """A household has 2^64 long addresses to itself."""
    assert (waits.address(one) == waits.address(other)) is same


def test_right_one_frees_the_account_alone(engine: Engine) -> None:
    guess(engine, ANN, PLACE, times=60)
    with write_session(engine) as session:
        waits.right(session, ANN)

    assert left(engine, ANN) == 0
    assert left(engine, PLACE) == 60


def test_handle_counts_however_it_is_typed(engine: Engine) -> None:
    guess(engine, waits.account(" Ann "), times=5)

    assert left(engine, ANN) == 5


@pytest.mark.parametrize("back", [MINUTE, timedelta(days=30)])
def test_clock_set_back_neither_ends_nor_lengthens_a_wait(
    engine: Engine, back: timedelta
) -> None:
    guess(engine, ANN, times=7)
    at = MINUTE - back
    with write_session(engine) as session:
        assert waits.left(session, ANN, NOW + at).total_seconds() == 20
        assert waits.is_ahead(session, [ANN], NOW + at)
        waits.begin_again(session, [ANN], NOW + at)

    assert left(engine, ANN, after=at) == 20
    assert left(engine, ANN, after=at + timedelta(seconds=19)) == 1
    assert left(engine, ANN, after=at + timedelta(seconds=20)) == 0
    guess(engine, ANN, after=at + timedelta(seconds=20))
    assert left(engine, ANN, after=at + timedelta(seconds=20)) == 40


def test_a_quiet_day_forgets(engine: Engine) -> None:
    guess(engine, ANN, times=12)
    later = MINUTE + timedelta(days=1)
    assert left(engine, ANN, after=later) == 0
    guess(engine, ANN, after=later)

    assert left(engine, ANN, after=later) == 0
    with write_session(engine) as session:
        waits.forget_old(session, NOW + later + timedelta(days=2))
        assert not waits.is_counted(session, ANN)


def test_no_handle_is_kept(engine: Engine) -> None:
    guess(engine, ANN)
    with read_session(engine) as session:
        kept = session.connection().exec_driver_sql("SELECT key_hash FROM guess_wait")
        (stored,) = kept.one()

    assert "ann" not in stored
    assert len(stored) == 64
