"""Textbook formulas against worked examples of the literature."""

from decimal import Decimal

import pytest
from scipy import stats

from app.clinical.accuracy import (
    Z,
    likelihood_ratios,
    mdc_from_sem,
    post_test,
    two_by_two,
)
from app.clinical.quantities import rounded


def test_z_values_are_the_normal_quantiles() -> None:
    """scipy.stats.norm is the oracle."""
    assert abs(float(Z[95]) - stats.norm.ppf(0.975)) < 0.001
    assert abs(float(Z[90]) - stats.norm.ppf(0.95)) < 0.001


def test_mdc_follows_from_the_sem() -> None:
    """Goldberg 2012: SEM 0.9 s, MDC95 2.5 s; Faleide 2015: SEM 2.71 s, MDC95 7.5 s."""
    assert rounded(mdc_from_sem(Decimal("0.9")), 1) == Decimal("2.5")
    assert rounded(mdc_from_sem(Decimal("2.71")), 1) == Decimal("7.5")


def test_perfect_specificity_gives_no_ratio() -> None:
    assert likelihood_ratios(Decimal("0.8"), Decimal(1))[0] is None
    assert likelihood_ratios(Decimal("0.8"), Decimal(0))[1] is None


def test_post_test_agrees_with_counts() -> None:
    """Kojima 2015 at 12.6 s: PPV from the table equals Bayes at the sample's rate."""
    table = two_by_two(tp=18, fn=41, fp=21, tn=179)
    sens, spec = (Decimal(x.numerator) / x.denominator for x in
                  (table.sensitivity, table.specificity))  # fmt: skip
    positive, _ = likelihood_ratios(sens, spec)
    assert positive is not None

    post = post_test(Decimal(59) / 259, positive)

    assert float(post) == pytest.approx(float(table.ppv), abs=1e-9)
