"""Where somebody stands: known inputs, the least numbers, and each threshold's edge."""

from dataclasses import replace
from datetime import date, timedelta
from random import Random
from typing import Any

import pytest

from app.practice.attempt import Attempt
from app.practice.competence import (
    DEFAULT,
    LATEST,
    SCOPE,
    Check,
    Rule,
    missed_kinds,
    months_after,
    sign_off_state,
    standing,
)
from app.storage.competence import BOUNDS
from tests.make import NOW
from tests.practice.attempts import EDITION, MEASURE, attempt, good, run

FAULT = frozenset({"arms_used"})


def check(attempts: list[Attempt], key: str, rule: Rule = DEFAULT) -> Check:
    found = standing(attempts, MEASURE, EDITION, rule)
    return next(c for c in found.checks if c.key == key)


def test_known_delays_come_back() -> None:
    """Each difference once above and once below: mean 150, SD 100 x root(20/19)."""
    found = standing(run([50, 250] * 10), MEASURE, EDITION)

    assert found.limits is not None
    assert found.limits.bias.value == pytest.approx(150)
    assert found.limits.sd == pytest.approx(100 * (20 / 19) ** 0.5)
    assert found.limits.upper.value == pytest.approx(150 + 1.96 * found.limits.sd)
    assert found.stops is not None
    assert found.stops.bias.value == pytest.approx(150)
    assert found.starts is not None
    assert found.starts.bias.value == 0


def test_a_student_with_known_bias_and_spread() -> None:
    """+0.15 s and SD 0.10 s come back within four standard errors."""
    draw = Random(7)
    offs = [round(150 + 100 * (sum(draw.random() for _ in range(12)) - 6))
            for _ in range(40)]  # fmt: skip
    found = standing(run(offs), MEASURE, EDITION, replace(DEFAULT, least_trials=40))

    assert found.limits is not None
    assert found.limits.bias.value == pytest.approx(150, abs=4 * 100 / 40**0.5)
    assert found.limits.sd == pytest.approx(100, abs=4 * 100 / 78**0.5)


def test_all_good_is_reached() -> None:
    found = standing(good(), MEASURE, EDITION)

    assert found.reached
    assert found.missing == ()
    assert found.valid is not None
    assert found.valid.kappa.value == pytest.approx(1)
    assert found.seen.percent == 100


@pytest.mark.parametrize(("n", "met"), [(19, False), (20, True), (21, True)])
def test_trials_at_their_edge(n: int, met: bool) -> None:
    found = standing(good(n), MEASURE, EDITION)

    assert found.enough is met
    assert check(good(n), "trials").has == str(n)
    assert check(good(n), "bias").met is (True if met else None)


@pytest.mark.parametrize("n", [0, 1, 9])
def test_nothing_is_claimed_below_the_least(n: int) -> None:
    found = standing(good(n), MEASURE, EDITION)

    assert (found.limits, found.valid, found.faults) == (None, None, None)
    assert found.seen.percent is None
    assert {c.met for c in found.checks[1:]} == {None}
    assert "told from 20 on" in found.checks[1].has


@pytest.mark.parametrize(
    ("off", "met"),
    [(194, True), (200, True), (204, True), (205, False), (206, False), (-200, True),
     (-205, False)],
)  # fmt: skip
def test_bias_at_its_edge(off: int, met: bool) -> None:
    """As shown, to two decimals: 0.204 is shown as 0.20 and passes."""
    found = check(run([off] * 20), "bias")

    assert found.met is met
    assert found.asks == "within 0.20 s either way"


@pytest.mark.parametrize(("most", "met"), [(390, False), (400, True), (410, True)])
def test_limits_at_their_edge(most: int, met: bool) -> None:
    """-200 and 200 in turn: SD 205.2, limits -0.40 and 0.40 (402.2 ms as shown)."""
    rule = replace(DEFAULT, most_apart_ms=most)
    found = check(run([-200, 200] * 10), "limits", rule)

    assert found.has == "\u22120.40 to +0.40 s"
    assert found.met is met


@pytest.mark.parametrize(("seen", "met"), [(7, False), (8, True), (9, True)])
def test_share_of_faults_at_its_edge(seen: int, met: bool) -> None:
    given = [
        attempt(i + 1, faults_key=FAULT, faults_said=FAULT if i < seen else frozenset())
        for i in range(10)
    ]

    assert check(given, "seen").met is met
    assert check(given, "seen").has == f"{seen}0 % ({seen} of 10)"


def test_share_of_nine_faults_says_nothing() -> None:
    given = [attempt(i + 1, faults_key=FAULT) for i in range(9)]

    assert check(given, "seen").met is None
    assert check(given, "seen").has == "9 faults so far; told from 10 on"


@pytest.mark.parametrize(("wrong", "met"), [(3, True), (4, True), (5, False)])
def test_kappa_at_its_edge(wrong: int, met: bool) -> None:
    """20 decisions, half of them void; w wrong of each kind alike: kappa 1 - w/10."""
    given = [
        attempt(i + 1, valid_key=i < 10, valid_said=(i < 10) != (i % 10 < half))
        for i, half in ((i, (wrong + 1) // 2 if i < 10 else wrong // 2)
                        for i in range(20))
    ]  # fmt: skip
    found = check(given, "valid")

    assert found.has.startswith(f"0.{10 - wrong}0 ")
    assert found.met is met


def test_a_key_with_one_answer_tells_no_kappa() -> None:
    found = standing(run([0] * 20), MEASURE, EDITION)

    assert (found.valid, found.faults) == (None, None)
    assert "both answers" in check(run([0] * 20), "valid").has


def test_all_alike_claims_no_interval() -> None:
    assert check(good(), "valid").has == (
        "1.00 (all 20 decisions alike; no interval can be given)"
    )


def test_what_was_not_decided_is_never_right() -> None:
    decided = good()
    open_ones = [replace(a, valid_said=None) if i < 10 else a
                 for i, a in enumerate(decided)]  # fmt: skip

    assert check(decided, "valid").met is True
    assert check(open_ones, "valid").met is False


def test_robot_that_ignores_arms_is_told_so() -> None:
    given = [replace(a, faults_said=frozenset()) for a in good(30)]
    found = standing(given, MEASURE, EDITION)

    assert missed_kinds(given) == (("arms_used", 15, 15),)
    assert check(given, "seen").met is False
    assert not found.reached


def test_second_try_of_a_showing_does_not_count() -> None:
    again = replace(attempt(1, off=0), id=99, at=NOW + timedelta(days=1))
    found = standing([*run([300] * 20), again], MEASURE, EDITION)

    assert found.n == 20
    assert found.limits is not None
    assert found.limits.bias.value == pytest.approx(300)
    assert 99 not in found.judged


def test_only_the_latest_are_judged() -> None:
    """Who has learned is not held to how they began."""
    found = standing(run([900] * 20 + [0] * LATEST), MEASURE, EDITION)

    assert (found.n, found.taken) == (LATEST, LATEST + 20)
    assert found.limits is not None
    assert found.limits.bias.value == 0


@pytest.mark.parametrize("other", [{"edition": "edition-2"}, {"measure": "gait_speed"}])
def test_other_editions_and_tests_do_not_count(other: dict[str, Any]) -> None:
    assert standing([replace(a, **other) for a in good()], MEASURE, EDITION).n == 0


@pytest.mark.parametrize(
    ("edition", "until", "withdrawn", "state"),
    [
        ("e", date(2026, 3, 2), False, "holds"),
        ("e", None, False, "holds"),
        ("e", date(2026, 3, 1), False, "expired"),
        ("older", date(2026, 3, 3), False, "earlier"),
        ("older", date(2026, 3, 1), False, "expired"),
        ("e", date(2026, 3, 3), True, "withdrawn"),
    ],
)
def test_state_of_a_sign_off(
    edition: str, until: date | None, withdrawn: bool, state: str
) -> None:
    assert sign_off_state(edition, "e", until, withdrawn, date(2026, 3, 2)) == state


@pytest.mark.parametrize(
    ("day", "months", "then"),
    [
        (date(2026, 1, 31), 1, date(2026, 2, 28)),
        (date(2027, 8, 31), 6, date(2028, 2, 29)),
        (date(2026, 3, 2), 12, date(2027, 3, 2)),
        (date(2026, 12, 15), 1, date(2027, 1, 15)),
    ],
)
def test_months_after(day: date, months: int, then: date) -> None:
    assert months_after(day, months) == then


def test_defaults_lie_inside_what_may_be_set() -> None:
    for name, (low, high) in BOUNDS.items():
        assert low <= getattr(DEFAULT, name) <= high
    assert set(BOUNDS) == set(Rule.__dataclass_fields__)


def test_scope_sends_handling_elsewhere() -> None:
    assert "Timing and scoring only" in SCOPE
    assert "signed off in person" in SCOPE
