"""Comparing two phones' clocks through a server.

All numbers are made by hand here, from the formulas that RFC 5905 names; no worked
example of it was read.
"""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.clinical.two_clocks import (
    DOUBTFUL_MS,
    DRIFT,
    Exchange,
    Offset,
    Ran,
    Stamp,
    aged,
    as_seen_on,
    best,
    between,
    offset,
)

ROWS = [
    ("the same clock, no delay", (0, 0, 0, 0), 0.0, 0.0),
    ("3.4 s ahead, 20 ms each way", (1000, 4420, 4420, 1040), 3400.0, 20.0),
    ("3.4 s behind, 20 ms each way", (5000, 1620, 1620, 5040), -3400.0, 20.0),
    ("all of the delay on the way there", (1000, 1060, 1060, 1060), 30.0, 30.0),
    ("all of the delay on the way back", (1000, 1000, 1000, 1060), -30.0, 30.0),
    ("the server's own 500 ms are no delay", (0, 10, 510, 520), 0.0, 10.0),
    ("a clock read backwards has no bound below 0", (0, 5, 12, 4), 6.5, 0.0),
]


@pytest.mark.parametrize(
    ("times", "ms", "bound"), [row[1:] for row in ROWS], ids=[row[0] for row in ROWS]
)
def test_offset_and_bound(
    times: tuple[float, float, float, float], ms: float, bound: float
) -> None:
    assert offset(Exchange(*times)) == Offset(ms, bound)


DELAY = st.floats(0, 5_000)
AHEAD = st.floats(-1e7, 1e7)


@given(AHEAD, DELAY, st.floats(0, 1_000), DELAY)
def test_error_is_never_beyond_the_bound(
    ahead: float, there: float, busy: float, back: float
) -> None:
    """However the delay is shared between the two ways."""
    t0 = 10_000.0
    t1 = t0 + there + ahead
    found = offset(Exchange(t0, t1, t1 + busy, t0 + there + busy + back))

    assert abs(found.ms - ahead) <= found.bound + 1e-6


@given(st.lists(st.tuples(DELAY, DELAY), min_size=2, max_size=2), st.floats(250, 6e5))
def test_time_between_two_phones_is_within_its_bound(
    ways: list[tuple[float, float]], ran: float
) -> None:
    """Start on one phone, stop on another whose clock is 3.4 s apart."""
    (there, back), (there2, back2) = ways
    start = _stamp("owner 1", 0.0, 50_000.0, there, back)
    stop = _stamp("helper 2", 3_400.0, 50_000.0 + ran, there2, back2)

    found = between(start, stop)

    assert found is not None
    assert found.bound is not None
    assert abs(found.ms - ran) <= found.bound + 1e-6
    assert not found.one_clock


def _stamp(
    phone: str, ahead: float, at: float, there: float, back: float, scale: float = 0.0
) -> Stamp:
    """A press at the server's `at`, an exchange at that moment beside it."""
    mono = at + ahead
    times = (mono, at + there, at + there, mono + there + back)
    return Stamp(phone, 7.0, mono, Exchange(*times, scale))


def test_one_phone_needs_no_second_clock() -> None:
    start = _stamp("helper 2", 3_400, 1_000, 900, 0)
    stop = _stamp("helper 2", 3_400, 13_300, 0, 900)

    assert between(start, stop) == Ran(12_300.0, 0.0, True)


def test_phone_that_slept_in_between_is_not_believed() -> None:
    """Its clock stood for 5 of 12.3 s; the server's tells."""
    start = _stamp("helper 2", 3_400, 1_000, 10, 10)
    stop = _stamp("helper 2", -1_600, 13_300, 10, 10)

    found = between(start, stop)

    assert found == Ran(12_300.0, None, False)
    assert found.doubtful


def test_one_phone_that_nothing_looked_after_may_have_slept() -> None:
    """Its clock may lose slept time; only an exchange at both ends would tell."""
    start = _stamp("helper 2", 3_400, 1_000, 10, 10)
    stop = _stamp("helper 2", 3_400, 13_300, 10, 10)
    elsewhere = _stamp("helper 2", 3_400, 13_300, 10, 10, scale=90_000)
    bare = [Stamp(s.phone, s.origin, s.mono) for s in (start, stop)]

    for pair in [(bare[0], stop), (start, bare[1]), tuple(bare), (start, elsewhere)]:
        found = between(*pair)
        assert found == Ran(12_300, None, True)
        assert found.doubtful


def test_another_start_of_the_server_is_no_common_clock() -> None:
    start = _stamp("owner 1", 0, 1_000, 10, 10, scale=0)
    stop = _stamp("helper 2", 0, 13_300, 10, 10, scale=90_000)

    found = between(start, stop)

    assert found is not None
    assert found.doubtful


@pytest.mark.parametrize(
    ("half", "doubtful"), [(49.9, False), (50.0, False), (50.1, True)]
)
def test_doubt_begins_above_the_limit(half: float, doubtful: bool) -> None:
    """The bounds of both phones add up; the limit itself is still believed."""
    start = _stamp("owner 1", 0, 1_000, half, half)
    stop = _stamp("helper 2", 3_400, 13_300, half, half)

    found = between(start, stop)

    assert found is not None
    assert found.bound == pytest.approx(2 * half)
    assert found.doubtful is doubtful
    assert DOUBTFUL_MS == 100


def test_press_without_an_exchange_has_no_time_on_another_phone() -> None:
    bare = Stamp("helper 2", 7, 4_400)
    start = _stamp("owner 1", 0, 1_000, 10, 10)

    assert between(start, bare) is None
    assert as_seen_on(bare, "owner 1", 7, start.exchange) is None


def test_press_is_seen_by_the_other_phones_clock() -> None:
    start = _stamp("helper 2", 3_400, 1_000, 10, 10)
    here = Exchange(990, 1_000, 1_000, 1_010)

    assert as_seen_on(start, "owner 1", 5, here) == (1_000.0, 20.0)
    assert as_seen_on(start, "helper 2", 7, here) == (4_400.0, 0.0)


def test_surest_exchange_and_how_it_ages() -> None:
    slow, fast = Exchange(0, 50, 50, 100), Exchange(200, 215, 215, 230)

    assert best([slow, fast]) is fast
    assert best([]) is None
    assert aged(fast, 215).bound == 15
    assert aged(fast, 10_230).bound == pytest.approx(15 + 10_000 * DRIFT)


def test_hundred_made_up_lines_stay_within_their_bounds() -> None:
    """Both phones' clocks drift by up to half the allowance; made by a fixed seed."""
    draw = random.Random(5905).uniform
    for _ in range(100):
        drifts = [1 + draw(-DRIFT / 2, DRIFT / 2) for _ in range(2)]
        ran, aheads = draw(300, 120_000), [draw(-1e5, 1e5) for _ in range(2)]
        stamps = []
        for name, at, ahead, rate in zip("ab", (0, ran), aheads, drifts, strict=True):
            asked, there, back = at - draw(0, 9_000), draw(0, 300), draw(0, 300)
            clock = [ahead + rate * t for t in (asked, asked + there + back, at)]
            times = (clock[0], asked + there, asked + there, clock[1])
            stamps.append(Stamp(name, 1, clock[2], Exchange(*times)))

        found = between(*stamps)

        assert found is not None
        assert found.bound is not None
        assert abs(found.ms - ran) <= found.bound + 0.2
