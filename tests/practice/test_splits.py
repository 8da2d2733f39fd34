"""Marks of parts beside the key's: one left out makes no other one late."""

from itertools import combinations
from random import Random

import pytest

from app.practice.splits import beside_key, offs, parts_of
from tests.practice.attempts import attempt

KEY = (2_000, 5_000, 7_000, 11_000)


@pytest.mark.parametrize(
    ("said", "late"),
    [
        ((2_100, 4_900, 7_000, 11_250), (100, -100, 0, 250)),
        ((5_050, 7_100, 11_000), (None, 50, 100, 0)),
        ((2_050, 7_100, 11_000), (50, None, 100, 0)),
        ((10_900,), (None, None, None, -100)),
        ((), (None, None, None, None)),
        ((2_000, 3_100, 5_000, 7_000, 11_000), (0, 0, 0, 0)),
        ((9_000, 9_100, 9_200, 9_300), (7_000, 4_100, 2_200, -1_700)),
    ],
)
def test_each_part_is_early_or_late(
    said: tuple[int, ...], late: tuple[int | None, ...]
) -> None:
    assert offs(said, KEY) == late


def test_one_too_many_stands_where_it_was_made() -> None:
    assert beside_key((2_000, 3_100, 5_000), (2_010, 5_020)) == (
        (2_000, 2_010), (3_100, None), (5_000, 5_020),
    )  # fmt: skip


def test_no_other_order_lies_nearer() -> None:
    """Against every way of laying few marks beside many parts, 300 times."""
    chance = Random(5)
    for _ in range(300):
        key = sorted(chance.sample(range(20_000), chance.randint(1, 6)))
        said = sorted(chance.sample(range(20_000), chance.randint(0, len(key))))
        best = min(
            sum(abs(a - b) for a, b in zip(said, some, strict=True))
            for some in combinations(key, len(said))
        )
        found = [(a, b) for a, b in beside_key(said, key) if a is not None]

        assert [a for a, _ in found] == said
        assert sum(abs(a - b) for a, b in found if b is not None) == best


def test_parts_have_figures_from_ten_marks_on() -> None:
    """The second was left out of three of twelve: nine marks claim nothing."""
    given = [
        attempt(n, split_offs_ms=(50, None if n < 3 else 100 * (-1) ** n))
        for n in range(12)
    ]
    up, line = parts_of(given, ("up", "at the line"))

    assert (up.marked, line.marked) == (12, 9)
    assert up.limits is not None
    assert (up.limits.bias.value, up.limits.sd) == (50, 0)
    assert line.limits is None
    assert parts_of([attempt(1)], ("up",)) == ()
