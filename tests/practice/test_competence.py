"""Where somebody stands: known inputs, the least numbers, and each threshold's edge."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from itertools import permutations
from random import Random
from typing import Any

import pytest

from app.practice.agreement import kappa_of
from app.practice.attempt import Attempt, Beside
from app.practice.competence import (
    DEFAULT,
    DEFAULTS,
    LATEST,
    SCOPE,
    Check,
    Rule,
    missed_kinds,
    months_after,
    sign_off_state,
    standing,
)
from app.practice.scale import SCALES
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


@pytest.mark.parametrize("n", [4, 9, 10])
def test_few_trials_make_no_kappa_of_faults(n: int) -> None:
    """Five kinds of fault in each trial make 20 decisions of four trials."""
    kinds = ["arms_used", "early_start", "help_given", "steps_off", "not_upright"]
    given = [
        attempt(i, faults_key=frozenset(kinds[: i % 6]),
                faults_said=frozenset(kinds[: (i + 1) % 6]))
        for i in range(1, n + 1)
    ]  # fmt: skip
    found = standing(given, MEASURE, EDITION)

    assert (found.faults is not None) is (n == 10)
    assert (f"{n} trials so far; told from 10 on" in check(given, "faults").has) is (
        n < 10
    )


@pytest.mark.parametrize(("off", "met"), [(30, True), (600, False)])
def test_differences_without_spread_have_no_limits(off: int, met: bool) -> None:
    found = check(run([off] * 20), "limits")

    assert found.has == f"all 20 were +0.{off // 10:02} s; no limits can be given"
    assert found.met is met


def test_more_are_judged_where_more_are_asked_for() -> None:
    rule = replace(DEFAULT, least_trials=60)

    assert (DEFAULT.latest, rule.latest) == (40, 60)
    assert standing(run([0] * 70), MEASURE, EDITION, rule).n == 60


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
    rule = replace(DEFAULT, most_apart=most)
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


@pytest.mark.parametrize("unit", SCALES)
def test_defaults_lie_inside_what_may_be_set(unit: str) -> None:
    for name, (low, high) in BOUNDS.items():
        assert low <= getattr(DEFAULTS[unit], name) <= high
    assert set(BOUNDS) | {"unit"} == set(Rule.__dataclass_fields__)
    assert DEFAULTS[unit].unit == unit


COUNT, INCH = "within 0.25 either way", "within 0.25 in either way"


def counted(offs: Sequence[int], unit: str, **said: Any) -> list[Attempt]:
    """Results of that unit, off by so many thousandths; their times are all off."""
    field = {"count": "count", "in": "distance"}[unit]
    return [
        attempt(i + 1, off=9_000, **{field: Beside(9_000 + off, 9_000, unit)}, **said)
        for i, off in enumerate(offs)
    ]


@pytest.mark.parametrize(
    ("unit", "offs", "bias", "limits", "has", "asks"),
    [
        ("count", [0] * 20, True, True, "0.00", COUNT),
        ("count", [0] * 16 + [1000] * 4, True, True, "+0.20", COUNT),
        ("count", [0] * 15 + [1000] * 5, True, False, "+0.25", COUNT),
        ("count", [0] * 14 + [1000] * 6, False, False, "+0.30", COUNT),
        ("count", [-1000, 1000] * 10, True, False, "0.00", COUNT),
        ("in", [250] * 20, True, True, "+0.25 in", INCH),
        ("in", [-260] * 20, False, True, "\u22120.26 in", INCH),
        ("in", [-500, 500] * 10, True, False, "0.00 in", INCH),
    ],
)  # fmt: skip
def test_counts_and_distances_at_their_thresholds(
    unit: str, offs: list[int], bias: bool, limits: bool, has: str, asks: str
) -> None:
    """Each in its own unit; -1 and 1 in turn: SD 1.03, limits beyond 2."""
    rule = DEFAULTS[unit]
    found = check(counted(offs, unit), "bias", rule)

    assert (found.met, found.has, found.asks) == (bias, has, asks)
    assert check(counted(offs, unit), "limits", rule).met is limits
    assert standing(counted(offs, unit), MEASURE, EDITION, rule).exact == offs.count(0)


def test_words_are_judged_for_all_but_timing() -> None:
    """Ten watched and ten read: faults and decisions of twenty, times of ten."""
    fault = {"faults_key": FAULT, "faults_said": FAULT}
    read = [
        attempt(n, taken_ms=None, start_off_ms=None, stop_off_ms=None, way="words",
                valid_key=False, valid_said=False, **fault)
        for n in range(11, 21)
    ]  # fmt: skip
    found = standing([*run([100] * 10), *read], MEASURE, EDITION)
    by_key = {c.key: c for c in found.checks}

    assert (found.n, found.decided, found.in_words) == (10, 20, 10)
    assert found.limits is not None
    assert found.limits.n == 10
    assert found.limits.bias.value == pytest.approx(100)
    assert by_key["trials"].has == "10 timed, and 10 with faults and decision alone"
    assert (by_key["trials"].met, by_key["seen"].met) == (False, True)
    assert found.valid is not None
    assert found.valid.n == 20
    assert len(found.judged) == 20
    assert standing(read, MEASURE, EDITION).limits is None

    counts = counted([0] * 20, "count", taken_ms=None, way="words")
    assert check(counts, "trials", DEFAULTS["count"]).met is True


def test_decisions_have_no_order() -> None:
    """Every kappa here is unweighted: the order of its answers changes nothing."""
    given = [
        attempt(
            i + 1,
            valid_key=i % 2 == 0,
            valid_said=None if i % 5 == 0 else (i % 2 == 0) != (i % 7 == 0),
        )
        for i in range(30)
    ]
    pairs = [(a.valid_said, a.valid_key) for a in given]
    told = {
        round(kappa.kappa.value, 9)
        for order in permutations((True, False, None))
        if (kappa := kappa_of(pairs, order))
    }
    graded = {
        round(kappa.kappa.value, 9)
        for order in permutations((True, False, None))
        if (kappa := kappa_of(pairs, order, weights="linear"))
    }
    found = standing(given, MEASURE, EDITION).valid

    assert found is not None
    assert told == {round(found.kappa.value, 9)}
    assert len(graded) > 1


def test_scope_sends_handling_elsewhere() -> None:
    assert "Timing and scoring only" in SCOPE
    assert "signed off in person" in SCOPE
