"""Published examples from outside the catalogue, each with its source and its how.

The functions are held to the printed answer and, where it has one, to scipy.
"""

import math
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special, stats

from app.catalogue.load import catalogue
from app.clinical.accuracy import (
    likelihood_ratios,
    mdc_from_sem,
    post_test,
    two_by_two,
)
from app.clinical.change import REAL_GAIN, WITHIN, judge_change
from app.clinical.fit import Match
from app.clinical.measure import Fit, Measure, Norm, Reliability
from app.clinical.norm_reading import read_norm
from app.clinical.person import Person
from app.clinical.quantities import rounded
from app.clinical.scoring import Score
from app.clinical.trend import theil_sen

SHELF = catalogue().measures
REACH, WALK = SHELF["functional_reach"], SHELF["timed_up_and_go"]
WEIR = "Weir JP, J Strength Cond Res 2005;19(1):231-240"
BODY = "body-composition method study, jasn.asnjournals.org table, 72 patients"
JACOBSON = "Jacobson NS, Truax P, J Consult Clin Psychol 1991;59:12-19"
FERRITIN = "evidence-based-medicine textbook, ferritin 2 x 2"


def root(text: str) -> Decimal:
    return Decimal(text).sqrt()


class TestMeasurementError:
    """SEM, smallest real difference, minimal detectable change."""

    @pytest.mark.parametrize(
        ("sem", "level", "printed", "source", "how"),
        [
            # sqrt(1.64) x sqrt 2 x 1.96, printed 3.55.
            (root("1.64"), 95, "3.55", BODY, "full text"),
            # SD 4, ICC 0.91: SEM 4 x sqrt(0.09) = 1.2.
            (4 * root("0.09"), 95, "3.33", "formula", "computed"),
            (4 * root("0.09"), 90, "2.79", "formula", "computed"),
            # Both of Weir's sets: MS error 57.107143, so SEM 7.556927 and 20.95.
            (root("57.107143"), 95, "20.95", WEIR, "memory"),
        ],
    )
    def test_smallest_real_difference(
        self, sem: Decimal, level: int, printed: str, source: str, how: str
    ) -> None:
        found = mdc_from_sem(sem, level)
        z = stats.norm.ppf(0.5 + level / 200)

        assert rounded(found, 2) == Decimal(printed), (source, how)
        # 1.96 and 1.645 are what is printed; the quantiles differ in the fourth place.
        assert float(found) == pytest.approx(z * math.sqrt(2) * float(sem), rel=2e-4)

    def test_same_error_in_both_of_weirs_sets(self) -> None:
        """Data from memory: another ICC, the same error, so the same difference."""
        sets = [
            ([146, 148, 170, 90, 157, 156, 176, 205],
             [140, 152, 152, 99, 145, 153, 167, 218]),
            ([166, 168, 160, 150, 147, 146, 156, 155],
             [160, 172, 142, 159, 135, 143, 147, 168]),
        ]  # fmt: skip
        found = []
        for first, second in sets:
            steps = [Fraction(b - a) for a, b in zip(first, second, strict=True)]
            mean = sum(steps, Fraction(0)) / len(steps)
            squares = sum(((s - mean) * (s - mean) for s in steps), Fraction(0))
            error = squares / (len(steps) - 1) / 2
            sem = (Decimal(error.numerator) / error.denominator).sqrt()
            found.append(rounded(mdc_from_sem(sem), 2))

        assert found == [Decimal("20.95")] * 2


class TestLikelihood:
    """odds = p / (1 - p); after the test odds x ratio."""

    CASES = (
        # pre-test, sensitivity, specificity, LR+, LR-, after +, after -; computed
        ("0.50", "0.90", "0.80", 4.5, 0.125, 0.818182, 0.111111),
        ("0.10", "0.80", "0.90", 8.0, 0.222222, 0.470588, 0.024096),
        ("0.30", "0.85", "0.88", 7.083333, 0.170455, 0.752212, 0.068079),
        ("0.27", "0.31", "0.74", 1.192308, 0.932432, 0.306033, 0.256435),
    )

    @pytest.mark.parametrize("case", CASES, ids=lambda c: f"computed-{c[0]}-{c[1]}")
    def test_ratios_and_chances(
        self, case: tuple[str, str, str, *tuple[float, ...]]
    ) -> None:
        pre, sens, spec, *printed = case
        ratios = likelihood_ratios(Decimal(sens), Decimal(spec))
        after = [post_test(Decimal(pre), r) for r in ratios if r is not None]
        oracle = [
            special.expit(special.logit(float(pre)) + math.log(r)) for r in printed[:2]
        ]

        assert [float(r or 0) for r in ratios] == pytest.approx(printed[:2], abs=1e-6)
        assert [float(a) for a in after] == pytest.approx(printed[2:], abs=1e-6)
        assert [float(a) for a in after] == pytest.approx(oracle, abs=1e-6)

    def test_ferritin(self) -> None:
        """Counts from memory: TP 731, FN 78, FP 270, TN 1500; "LR+ 6, post-test 73 %"
        (evidence-based-medicine textbook)."""
        table = two_by_two(tp=731, fn=78, fp=270, tn=1500)
        sens, spec = (
            Decimal(v.numerator) / v.denominator
            for v in (table.sensitivity, table.specificity)
        )
        positive, negative = likelihood_ratios(sens, spec)
        assert positive is not None
        assert negative is not None
        share = Decimal(809) / 2579

        assert rounded(positive, 0) == 6, FERRITIN
        assert float(positive) == pytest.approx(5.923, abs=5e-4)
        assert float(negative) == pytest.approx(0.1138, abs=5e-5)
        assert rounded(post_test(share, positive) * 100, 0) == 73
        assert float(post_test(share, negative)) == pytest.approx(0.049430, abs=1e-6)
        assert float(post_test(share, positive)) == pytest.approx(float(table.ppv))


def with_sem(m: Measure, sem: Decimal) -> Measure:
    """The test with one error row: that SEM, for anybody."""
    row = Reliability(
        key="reliability 1", source="example", how="computed", population="the example",
        fit=Fit(), kind="test_retest", unit=m.units[0], sem=sem,
    )  # fmt: skip
    return replace(m, reliability=(row,))


def timed(text: str) -> Score:
    return Score(WALK.id, "completed", "single", "s", Fraction(text))


class TestReliableChange:
    """Jacobson & Truax 1991, inputs and published value from memory."""

    SEM = Decimal("7.5") * root("0.20")  # SD 7.5, r .80; SE 3.354102

    def test_published_index(self) -> None:
        """47.5 then 32.5: -3.16 (printed), reliable since beyond 1.96."""
        difference = root("2") * self.SEM
        index = Decimal("-15") / difference

        assert rounded(self.SEM, 6) == Decimal("3.354102"), JACOBSON
        assert rounded(index, 2) == Decimal("-3.16")
        assert float(mdc_from_sem(self.SEM)) == pytest.approx(9.297096, abs=1e-6)

    @pytest.mark.parametrize(
        ("after", "verdict"),
        [("32.5", REAL_GAIN), ("38.1", REAL_GAIN), ("38.2", WITHIN), ("47.5", WITHIN)],
    )
    def test_change_is_judged_by_it(self, after: str, verdict: str) -> None:
        """9.30 is what measuring alone explains: 9.3 within, 9.4 beyond."""
        measure = with_sem(WALK, self.SEM)
        found = judge_change(measure, Person(), timed(after), timed("47.5"))

        assert found.verdict == verdict

    @given(st.decimals("0.01", "500", places=2), st.decimals("0.05", "50", places=2))
    def test_index_beyond_1_96_is_change_beyond_mdc95(
        self, step: Decimal, sem: Decimal
    ) -> None:
        """The two are one rule: step / (sqrt 2 x SEM) against 1.96."""
        index = step / (Decimal(2).sqrt() * sem)

        assert (index > Decimal("1.96")) == (step > mdc_from_sem(sem))


class TestPlaceInASample:
    """z to percentile: standard normal table, computed with scipy."""

    TABLE = (
        ("-3", 0.1350), ("-2", 2.2750), ("-1.96", 2.4998), ("-1.645", 4.9985),
        ("-1", 15.8655), ("-0.6745", 24.9997), ("0", 50), ("0.6745", 75.0003),
        ("1", 84.1345), ("1.2816", 90.0008), ("1.645", 95.0015), ("1.96", 97.5002),
        ("2", 97.7250), ("2.3263", 98.9999), ("2.5758", 99.5000), ("3", 99.8650),
    )  # fmt: skip

    @pytest.mark.parametrize(("z", "percent"), TABLE)
    @pytest.mark.parametrize("measure", [REACH, WALK], ids=["higher", "lower"])
    def test_place_is_that_of_the_table(
        self, measure: Measure, z: str, percent: float
    ) -> None:
        unit = measure.units[0]
        norm = Norm(
            key="norm 1", source="example", how="computed", population="the example",
            fit=Fit(condition="none", group="healthy"), unit=unit,
            mean=Decimal("50.000000"), sd=Decimal(10),
        )  # fmt: skip
        value = 50 + 10 * Fraction(z)
        rule = measure.variants[0].id
        score = Score(measure.id, "completed", rule, unit, value)
        made = read_norm(measure, norm, score, Match())
        assert made is not None
        better = percent if measure.better == "higher" else 100 - percent

        assert stats.norm.cdf(float(z)) * 100 == pytest.approx(percent, abs=5e-5)
        assert made.z == rounded(Fraction(z), 2)
        # Whole people of 100, and never 0 or 100 of them.
        assert made.percentile is not None
        assert made.percentile == min(99, max(1, round(better)))

    def test_two_deviations_of_the_open_walkers(self) -> None:
        """Controls of an open data set: mean 9.293 s, SD 1.592; 12.477 s is z = 2.0."""
        norm = Norm(
            key="norm 1", source="example", how="computed", population="the example",
            fit=Fit(condition="none", group="healthy"), unit="s",
            mean=Decimal("9.293"), sd=Decimal("1.592"),
        )  # fmt: skip
        made = read_norm(WALK, norm, timed("12.477"), Match())
        assert made is not None

        assert made.z == Decimal("2.00")
        assert made.percentile == 2


class TestSlopes:
    """Theil-Sen: the median of all slopes; more in test_trend.py."""

    def test_given_slopes_have_the_printed_median(self) -> None:
        """statisticshowto.com (secondary): these ten slopes have the median 756.5.

        One point at 0 and ten at 1: pairs at one place are no slope, so these are all.
        """
        slopes = [-340, 130, 496, 561, 713, 800, 851, 952, 1184, 1327]
        x = [Fraction(n) for n in [0] + [1] * len(slopes)]
        y = [Fraction(n) for n in [0, *slopes]]

        assert theil_sen(x, y)[0] == Fraction("756.5")
        assert stats.theilslopes(
            [float(v) for v in y], [float(v) for v in x]
        ).slope == pytest.approx(756.5)
