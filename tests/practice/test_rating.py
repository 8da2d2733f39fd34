"""Several raters on the same trials: who is in, and figures known beforehand."""

from dataclasses import replace

import pytest

from app.practice.agreement import error_of, icc_agreement
from app.practice.attempt import Attempt, Beside
from app.practice.rating import together
from tests.practice.attempts import attempt

OFFS = {1: 0, 2: 100, 3: -50}


def rated(person: int, numbers: range, wobble: int = 0) -> list[Attempt]:
    return [
        attempt(
            n, person=person, off=OFFS[person] + wobble * (n % 3 - 1) * person,
            seed=n,
        )
        for n in numbers
    ]  # fmt: skip


def test_figures_are_those_of_the_common_table() -> None:
    given = [a for p in OFFS for a in rated(p, range(1, 13), wobble=30)]
    found = together(given)
    table = [[float(a.taken_ms or 0) for a in given if a.seed == n]
             for n in range(1, 13)]  # fmt: skip

    assert (found.raters, found.targets, found.why) == ((1, 2, 3), 12, "")
    assert found.icc == icc_agreement(table)
    assert found.error == error_of(table)


@pytest.mark.parametrize("n", [9, 10])
def test_nothing_is_claimed_below_ten_common_trials(n: int) -> None:
    found = together([a for p in (1, 2) for a in rated(p, range(n), wobble=30)])

    assert (found.icc is not None) is (n == 10)
    assert (found.error is not None) is (n == 10)
    assert ("so far there are 9" in found.why) is (n == 9)


@pytest.mark.parametrize("unit", ["count", "in"])
def test_counts_and_distances_are_compared_in_their_unit(unit: str) -> None:
    """Counts of 8 to 14, one of them read one too many by the second rater."""
    field = {"count": "count", "in": "distance"}[unit]

    def of(person: int, extra: int) -> list[Attempt]:
        made = []
        for n in range(1, 13):
            key = 8_000 + n % 7 * 1_000
            said = key + (extra if n == 12 else 0)
            made.append(attempt(n, person=person, seed=n, taken_ms=None,
                                **{field: Beside(said, key, unit)}))  # fmt: skip
        return made

    given = of(1, 0) + of(2, 1_000)
    found = together(given, unit)
    table = [[b.said for a in given if a.seed == n and (b := a.beside(unit))]
             for n in range(1, 13)]  # fmt: skip

    assert found.icc == icc_agreement(table)
    assert found.icc is not None
    assert 0.9 < found.icc.value < 1
    assert found.error == error_of(table)
    assert together(given).icc is None
    assert together(given).pairs[0].trials == 12


def test_one_rater_is_no_team() -> None:
    found = together(rated(1, range(30)))

    assert found.icc is None
    assert "so far there are 0" in found.why
    assert found.pairs == ()


def test_who_shares_too_little_is_left_out() -> None:
    given = rated(1, range(20)) + rated(2, range(20)) + rated(3, range(15, 20))
    found = together(given)

    assert (found.raters, found.targets) == ((1, 2), 20)
    assert [(p.one, p.other, p.trials) for p in found.pairs] == [
        (1, 2, 20), (1, 3, 5), (2, 3, 5),
    ]  # fmt: skip


def test_two_who_share_enough_are_compared_whoever_shares_more_with_the_rest() -> None:
    """A and B share 10; C, D and E share 9 others: one left out at a time loses A."""
    seen_by = {1: range(10), 2: range(10), 3: range(10, 19), 4: range(10, 19),
               5: range(10, 19)}  # fmt: skip
    given = [attempt(n, person=p, off=30 * (n % 3) * p, seed=n)
             for p, seen in seen_by.items() for n in seen]  # fmt: skip
    found = together(given)

    assert (found.raters, found.targets, found.why) == ((1, 2), 10, "")
    assert found.icc is not None


def test_what_nobody_decided_is_no_agreement() -> None:
    """Of 30 trials 6 undecided by both and 4 by one: 20 pairs are left, half alike."""

    def of(person: int) -> list[Attempt]:
        def said(n: int) -> bool | None:
            if n < 6 or (n < 10 and person == 2):
                return None
            return n % 2 == 0 if person == 1 else n % 4 < 2

        return [replace(a, valid_said=said(a.seed)) for a in run_of(person)]

    def run_of(person: int) -> list[Attempt]:
        return [attempt(n, person=person, seed=n) for n in range(30)]

    (pair,) = together(of(1) + of(2)).pairs

    assert (pair.trials, pair.undecided) == (30, 10)
    assert pair.valid is not None
    assert pair.valid.n == 20
    assert pair.valid.observed == pytest.approx(0.5)


@pytest.mark.parametrize("n", [4, 9, 10])
def test_few_trials_make_no_kappa_of_faults(n: int) -> None:
    """Five kinds of fault in each trial make 20 decisions of four trials."""
    kinds = ["arms_used", "early_start", "help_given", "steps_off", "not_upright"]
    given = [
        replace(attempt(i, person=person, seed=i),
                faults_said=frozenset(kinds[: (i + person) % 6]))
        for person in (1, 2) for i in range(n)
    ]  # fmt: skip
    (pair,) = together(given).pairs

    assert (pair.faults is not None) is (n == 10)


def test_two_raters_decide_alike_or_not() -> None:
    fault = frozenset({"arms_used"})
    one = [
        replace(a, valid_said=a.seed % 2 == 0,
                faults_said=fault if a.seed % 2 else frozenset())
        for a in rated(1, range(20))
    ]  # fmt: skip
    other = [replace(a, person=2, id=a.id + 100) for a in one]
    against = [replace(a, valid_said=not a.valid_said) for a in other]

    (alike,), (apart,) = together(one + other).pairs, together(one + against).pairs
    assert alike.valid is not None
    assert alike.valid.kappa.value == pytest.approx(1)
    assert alike.faults is not None
    assert apart.valid is not None
    assert apart.valid.kappa.value == pytest.approx(-1)


def test_same_seed_of_another_case_is_another_trial() -> None:
    other = [replace(a, case="stroke") for a in rated(2, range(20))]

    assert together(rated(1, range(20)) + other).targets == 0
