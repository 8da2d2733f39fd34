"""Weak rules come back more often, every rule comes back, levels follow the answers."""

import pytest
from hypothesis import given
from hypothesis import strategies as some

from app.practice.rules import (
    ALWAYS,
    LEVELS,
    NEW,
    RULES,
    STEPS,
    WEAK,
    next_level,
    next_rule,
    weights,
)
from app.storage import exercises

HISTORY = some.lists(some.tuples(some.sampled_from(sorted(RULES)), some.booleans()))
RULE = some.sampled_from(sorted(RULES))


def test_storage_knows_the_same_steps() -> None:
    assert exercises.STEPS == STEPS
    assert {r.step for r in RULES.values()} == set(STEPS)


@given(HISTORY)
def test_every_rule_keeps_a_weight(history: list[tuple[str, bool]]) -> None:
    weighed = weights(history)

    assert set(weighed) == set(RULES)
    assert all(ALWAYS <= w <= ALWAYS + WEAK for w in weighed.values())


@given(HISTORY, RULE)
def test_missing_a_rule_never_makes_it_rarer_than_meeting_it(
    history: list[tuple[str, bool]], rule: str
) -> None:
    missed, met = weights([*history, (rule, False)]), weights([*history, (rule, True)])

    assert missed[rule] > met[rule]
    assert {k: w for k, w in missed.items() if k != rule} == {
        k: w for k, w in met.items() if k != rule
    }


@given(HISTORY, RULE)
def test_five_right_answers_heal_a_rule(
    history: list[tuple[str, bool]], rule: str
) -> None:
    assert weights([*history, *[(rule, True)] * 5])[rule] == ALWAYS


def test_weak_rule_is_drawn_five_times_as_often_as_a_firm_one() -> None:
    history = [(r, r != "void_trial") for r in RULES for _ in range(5)]
    draws = [next_rule(history, n / 10_000) for n in range(10_000)]

    weak, firm = draws.count("void_trial"), draws.count("rounding")

    assert weak / firm == pytest.approx((ALWAYS + WEAK) / ALWAYS, rel=0.02)


@given(HISTORY, some.floats(0, 1, exclude_max=True), some.sampled_from(LEVELS))
def test_next_rule_is_one_of_the_level(
    history: list[tuple[str, bool]], chance: float, level: int
) -> None:
    assert RULES[next_rule(history, chance, level)].level <= level


def test_rule_never_asked_weighs_more_than_one_that_is_firm() -> None:
    weighed = weights([("rounding", True)])

    assert weighed["void_trial"] == ALWAYS + NEW
    assert weighed["rounding"] == ALWAYS


@pytest.mark.parametrize(
    ("done", "level"),
    [
        ([], 1),
        ([(1, 6, 6)], 1),
        ([(1, 6, 6), (1, 5, 6)], 2),
        ([(1, 6, 6), (1, 4, 6)], 1),
        ([(2, 6, 6), (3, 6, 6)], 3),
        ([(3, 6, 6), (3, 2, 6)], 2),
        ([(3, 3, 6)], 3),
        ([(1, 0, 3)], 1),
        ([(4, 6, 6), (4, 3, 3)], 4),
    ],
)
def test_level_follows_the_latest(done: list[tuple[int, int, int]], level: int) -> None:
    assert next_level(done) == level
