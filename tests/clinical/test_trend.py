"""The Theil-Sen slope against scipy, examples by hand, and what it must not say."""

import random
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from scipy.stats import theilslopes

from app.clinical.trend import Point, reaches, theil_sen, trend

MONDAY = date(2026, 3, 2)


def weekly(*values: str) -> list[Point]:
    return [
        Point(MONDAY + timedelta(weeks=n), Decimal(value))
        for n, value in enumerate(values)
    ]


@pytest.mark.parametrize(
    ("x", "y", "slope", "low", "high"),
    [
        # Environmental-statistics text, data from memory; pairwise slopes by hand.
        ([1, 2, 3, 4], [10, 15, 14, 20], Fraction(35, 12), -1, 6),
        # Worked example at instantools.site (secondary); limits computed with scipy.
        ([1, 2, 3, 4, 5, 6], [2, 3, 5, 4, 6, 8], 1, Fraction(1, 2), 2),
    ],
)
def test_worked_examples(
    x: list[int], y: list[int], slope: Fraction, low: Fraction, high: Fraction
) -> None:
    assert theil_sen([*map(Fraction, x)], [*map(Fraction, y)]) == (slope, low, high)


def test_one_outlier_does_not_carry_the_slope() -> None:
    """Least squares would say 10 (computed)."""
    slope, _, _ = theil_sen(
        [*map(Fraction, range(5))], [*map(Fraction, (1, 2, 3, 4, 50))]
    )

    assert slope == 1


@pytest.mark.parametrize("seed", range(40))
def test_slope_and_interval_are_those_of_scipy(seed: int) -> None:
    """scipy.stats.theilslopes, with ties in both."""
    rng = random.Random(seed)
    n = rng.randrange(4, 15)
    x = [rng.randrange(0, 12) for _ in range(n - 1)] + [20]
    y = [rng.randrange(0, 15) for _ in range(n)]

    ours = theil_sen([*map(Fraction, x)], [*map(Fraction, y)])

    theirs = theilslopes(y, x, alpha=0.95)
    expected = (theirs.slope, theirs.low_slope, theirs.high_slope)
    assert [float(v) for v in ours] == pytest.approx(expected)


def test_three_scores_have_no_trend() -> None:
    assert trend(weekly("16", "15", "14")) is None


def test_scores_of_one_day_have_no_trend() -> None:
    assert trend([Point(MONDAY, Decimal(v)) for v in ("16", "15", "14", "13")]) is None


def test_falling_times_reach_a_goal_between_two_days() -> None:
    points = weekly("20", "19", "17.8", "17", "16.1", "15")
    found = trend(points)

    assert found is not None
    assert not found.flat
    said = reaches(found, points[-1], Decimal("12"))
    assert said is not None
    early, late = said
    assert points[-1].day < early
    assert late is not None
    assert early <= late


@pytest.mark.parametrize("goal", ["15", "30"])
def test_no_date_for_a_goal_that_is_met_or_lies_the_other_way(goal: str) -> None:
    points = weekly("20", "19", "17.8", "17", "16.1", "15")
    found = trend(points)

    assert found is not None
    assert reaches(found, points[-1], Decimal(goal)) is None


def test_no_date_when_the_interval_spans_zero() -> None:
    points = weekly("16", "18", "15", "17")
    found = trend(points)

    assert found is not None
    assert found.flat
    assert reaches(found, points[-1], Decimal("12")) is None
