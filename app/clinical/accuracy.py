"""Diagnostic accuracy and measurement error: the textbook formulas, exactly.

MDC = z x sqrt(2) x SEM with z = 1.96 (95 %) or 1.645 (90 %). LR+ = sens / (1 - spec),
LR- = (1 - sens) / spec. A sensitivity or specificity of 1 gives no ratio for a sample.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

Z = {95: Decimal("1.96"), 90: Decimal("1.645")}
SQRT2 = Decimal(2).sqrt()


@dataclass(frozen=True, slots=True)
class TwoByTwo:
    """Shares of one 2 x 2 table of counts, each between 0 and 1."""

    sensitivity: Fraction
    specificity: Fraction
    ppv: Fraction
    npv: Fraction


def two_by_two(*, tp: int, fn: int, fp: int, tn: int) -> TwoByTwo:
    """Counts of true/false positives and negatives; every margin must be above zero."""
    return TwoByTwo(
        Fraction(tp, tp + fn),
        Fraction(tn, tn + fp),
        Fraction(tp, tp + fp),
        Fraction(tn, tn + fn),
    )


def likelihood_ratios(
    sensitivity: Decimal, specificity: Decimal
) -> tuple[Decimal | None, Decimal | None]:
    """(LR+, LR-); None where the sample leaves no denominator."""
    positive = None if specificity == 1 else sensitivity / (1 - specificity)
    negative = None if specificity == 0 else (1 - sensitivity) / specificity
    return positive, negative


def post_test(pretest: Decimal, ratio: Decimal) -> Decimal:
    """Probability after the test by the odds form of Bayes' rule, both 0..1."""
    odds = pretest / (1 - pretest) * ratio
    return odds / (1 + odds)


def mdc_from_sem(sem: Decimal, level: int = 95) -> Decimal:
    """Minimal detectable change at 95 or 90 %, in the SEM's unit."""
    return Z[level] * SQRT2 * sem


def mean_from_percent(mdc: Decimal, percent: Decimal) -> Decimal:
    """The sample mean implied by an MDC and the same MDC in percent of the mean."""
    return mdc / percent * 100


def lopsided_limits(
    baseline: Decimal, gain_percent: Decimal, loss_percent: Decimal
) -> tuple[Decimal, Decimal]:
    """Limits of a time whose error is multiplicative: (real gain at, real loss at)."""
    return (
        baseline * (100 - gain_percent) / 100,
        baseline * (100 + loss_percent) / 100,
    )


def shares(total: Decimal, parts: list[Decimal]) -> list[Decimal]:
    """Each part in percent of the total, then the remainder's share."""
    rest = total - sum(parts)
    return [p / total * 100 for p in (*parts, rest)]


def extra_walk(speed_m_per_s: Decimal) -> tuple[Decimal, Decimal]:
    """10 ft against 3 m, out and back: (seconds longer, ratio of the distances)."""
    metres = 2 * (Decimal("3.048") - 3)
    return metres / speed_m_per_s, Decimal("3.048") / 3
