"""Several raters on the same trials: each against the key, and all with each other."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from app.practice.agreement import (
    LEAST_TARGETS,
    LEAST_TRIALS,
    ErrorOfMeasuring,
    Interval,
    Kappa,
    NotComparable,
    error_of,
    icc_agreement,
    kappa_of,
)
from app.practice.attempt import Attempt
from app.practice.competence import first_tries

#: One showing that several people rated: its key is the same for all of them.
Target = tuple[str, int, int]


@dataclass(frozen=True, slots=True)
class PairKappa:
    """Two raters' decisions on trials both rated; None: too few, or nothing to tell.

    `undecided`: trials that one of them or both called neither valid nor void, which
    are no agreement and no disagreement, and in `valid` are left out.
    """

    one: int
    other: int
    trials: int
    undecided: int
    valid: Kappa | None
    faults: Kappa | None


@dataclass(frozen=True, slots=True)
class Together:
    """Raters who rated the same trials; figures None below the least.

    In thousandths of the unit that was asked for.
    """

    raters: tuple[int, ...]
    targets: int
    icc: Interval | None
    error: ErrorOfMeasuring | None
    why: str
    pairs: tuple[PairKappa, ...]


def together(attempts: Sequence[Attempt], unit: str = "s") -> Together:
    """From attempts of one test and one edition of the key.

    Results are compared in `unit`, among trials that have one; decisions in all.
    Whoever shares too few trials with the rest is left out, the one first without whom
    most trials are common to all; where that leaves too few, the two with most in
    common are compared.
    """
    by_rater = _tables(first_tries(attempts))
    said = {
        rater: {target: b.said for target, a in of.items() if (b := a.beside(unit))}
        for rater, of in by_rater.items()
    }
    chosen = _chosen(said)
    common = sorted(_common(said, chosen))
    pairs = tuple(
        _pair(by_rater, one, other) for one, other in combinations(sorted(by_rater), 2)
    )
    if len(chosen) < 2 or len(common) < LEAST_TARGETS:
        why = (
            f"Told from {LEAST_TARGETS} trials on that at least two people rated; "
            f"so far there are {len(common) if len(chosen) > 1 else 0}."
        )
        return Together(chosen, len(common), None, None, why, pairs)
    ratings = [[float(said[rater][target]) for rater in chosen] for target in common]
    try:
        icc = icc_agreement(ratings)
    except NotComparable as same:
        return Together(chosen, len(common), None, error_of(ratings), str(same), pairs)
    return Together(chosen, len(common), icc, error_of(ratings), "", pairs)


Tables = dict[int, dict[Target, Attempt]]
#: By rater, which showings they rated; whatever is kept of each.
Rated = Mapping[int, Mapping[Target, object]]


def _tables(attempts: Sequence[Attempt]) -> Tables:
    found: Tables = {}
    for each in attempts:
        target = (each.case, each.trial, each.seed)
        found.setdefault(each.person, {})[target] = each
    return found


def _common(by_rater: Rated, raters: Sequence[int]) -> set[Target]:
    each = [set(by_rater[rater]) for rater in raters]
    return set.intersection(*each) if each else set()


def _chosen(by_rater: Rated) -> tuple[int, ...]:
    left = sorted(by_rater)
    while len(left) > 2 and len(_common(by_rater, left)) < LEAST_TARGETS:
        without = [[r for r in left if r != out] for out in left]
        left = max(without, key=lambda rest: len(_common(by_rater, rest)))
    if len(left) == 2 and len(_common(by_rater, left)) < LEAST_TARGETS:
        # One at a time may have left out somebody of the pair that shares most.
        pairs = combinations(sorted(by_rater), 2)
        return max(pairs, key=lambda pair: len(_common(by_rater, pair)))
    return tuple(left)


def _pair(by_rater: Tables, one: int, other: int) -> PairKappa:
    both = sorted(_common(by_rater, (one, other)))
    rated = [(by_rater[one][t], by_rater[other][t]) for t in both]
    valid = [
        (a.valid_said, b.valid_said)
        for a, b in rated
        if a.valid_said is not None and b.valid_said is not None
    ]
    said = sorted({k for a, b in rated for k in a.faults_said | b.faults_said})
    faults = [(k in a.faults_said, k in b.faults_said) for a, b in rated for k in said]
    return PairKappa(
        one, other, len(both), len(both) - len(valid), _kappa(valid),
        _kappa(faults) if len(both) >= LEAST_TRIALS else None,
    )  # fmt: skip


def _kappa(pairs: Sequence[tuple[bool, bool]]) -> Kappa | None:
    try:
        return kappa_of(pairs, (True, False))
    except NotComparable:
        return None
