"""Weak trials come back more often: by how far off, and by what was not seen."""

from collections import Counter
from typing import Any

import pytest

from app.practice.attempt import Beside
from app.practice.coming_back import (
    ALWAYS,
    LATEST,
    NEW,
    OFF,
    SEEN,
    next_trial,
    weakness,
    weight,
)
from app.practice.competence import DEFAULTS
from tests.practice.attempts import attempt

ARMS, HELP = frozenset({"arms_used"}), frozenset({"help_given"})
COUNTED = {"count": Beside(9_000, 11_000, "count")}
WORDS: dict[str, Any] = {"taken_ms": None, "way": "words"}


@pytest.mark.parametrize(
    ("said", "unit", "off", "seen", "why"),
    [
        ({"off": 500}, "s", 0, 0, ""),
        ({"off": 504}, "s", 0, 0, ""),
        ({"off": 510}, "s", 0.51, 0, "time 0.51 s longer than the key"),
        ({"off": -1000}, "s", 1, 0, "time 1.00 s shorter than the key"),
        ({"off": 9000}, "s", 1, 0, "time 9.00 s longer than the key"),
        ({"faults_key": ARMS}, "s", 0, 0.5, "1 missed"),
        ({"faults_said": ARMS}, "s", 0, 0.5, "1 said that was not there"),
        ({"valid_said": False}, "s", 0, 0.5, "decided otherwise"),
        ({"valid_said": None}, "s", 0, 0.5, "decided otherwise"),
        ({"faults_said": ARMS, "faults_key": HELP, "valid_said": False}, "s", 0, 1,
         "1 missed"),
        ({"off": 750, "faults_key": ARMS}, "s", 0.75, 0.5, "1 missed"),
        (COUNTED, "count", 1, 0, "count 2 less than the key"),
        (COUNTED | {"off": 9000}, "count", 1, 0, "count 2 less than the key"),
        ({"distance": Beside(8_000, 6_500, "in")}, "in", 0.75, 0, "1.50 in longer"),
        (WORDS, "s", 0, 0, ""),
        (WORDS | {"faults_key": ARMS}, "s", 0, 0.5, "1 missed"),
        ({"press": "missed"}, "s", 0, 0.5, "a stop was asked for and not pressed"),
        (WORDS | {"press": "not_asked"}, "s", 0, 0.5, "stopped without cause"),
        (WORDS | {"press": "too_early"}, "s", 0, 0.5, "before anything was to be seen"),
        (WORDS | {"press": "late"}, "s", 0, 0.5, "more than 5 s after a hand"),
        ({"press": "right"}, "s", 0, 0, ""),
        ({"press": "early"}, "s", 0, 0, ""),
    ],
)  # fmt: skip
def test_what_makes_one_weak(
    said: dict[str, Any], unit: str, off: float, seen: float, why: str
) -> None:
    found = weakness(attempt(1, **said), DEFAULTS[unit])

    assert found.off == pytest.approx(off)
    assert found.seen == seen
    assert found.any is bool(off or seen)
    assert why in "; ".join(found.why)
    assert bool(found.why) is found.any


def test_weights() -> None:
    """Time and faults add up; five good attempts heal; one never tried weighs more."""
    good = weakness(attempt(1), DEFAULTS["s"])
    late = weakness(attempt(1, off=5_000), DEFAULTS["s"])
    blind = weakness(attempt(1, faults_key=ARMS | HELP), DEFAULTS["s"])
    both = weakness(attempt(1, off=5_000, faults_key=ARMS | HELP), DEFAULTS["s"])

    assert weight([]) == ALWAYS + NEW
    assert weight([good]) == ALWAYS
    assert weight([late]) == ALWAYS + OFF
    assert weight([blind]) == ALWAYS + SEEN
    assert weight([both]) == ALWAYS + OFF + SEEN
    assert weight([good, late]) == ALWAYS + OFF / 2
    assert weight([both] * 9 + [good] * LATEST) == ALWAYS


def test_weak_ones_are_drawn_as_often_as_they_weigh() -> None:
    drawn = Counter(
        next_trial({"firm": 1.0, "late": 3.0, "both": 5.0}, n / 9_000)
        for n in range(9_000)
    )

    assert drawn == {"firm": 1_000, "late": 3_000, "both": 5_000}
