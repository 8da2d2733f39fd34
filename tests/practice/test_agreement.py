"""Agreement against published tables and against reference libraries' answers."""

import json
from itertools import pairwise
from math import sqrt
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.practice.agreement import (
    LEAST_DECISIONS,
    LEAST_TRIALS,
    MDC95_OF_SEM,
    NotComparable,
    error_of,
    icc_agreement,
    icc_forms,
    kappa_of,
    kappa_of_table,
    limits_of_agreement,
    mean_squares,
)

#: Shrout PE, Fleiss JL. Psychol Bull 1979;86:420-428, Table 2 (data read in the manual
#: of a statistics package; the paper's answers from memory, and computed to 6 places).
SHROUT_FLEISS = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9],
                 [6, 2, 4, 7]]  # fmt: skip
#: Bland JM, Altman DG. Lancet 1986;1:307-310: peak flow in l/min, first readings.
LARGE = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423,
         427]  # fmt: skip
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350,
        451]  # fmt: skip
#: Cohen 1960 and 1968: shares of 200 decisions, rater 1 in rows.
COHEN = [[0.44, 0.07, 0.09], [0.05, 0.20, 0.05], [0.01, 0.03, 0.06]]
#: Answers of pingouin 0.7 and statsmodels 0.15 to seeded tables, kept as numbers since
#: both bring far more than this test needs.
ORACLE = json.loads((Path(__file__).parent / "oracle.json").read_text())


@pytest.mark.parametrize(
    ("form", "printed", "computed"),
    [
        ("1,1", 0.17, 0.165742), ("2,1", 0.29, 0.289764), ("3,1", 0.71, 0.714841),
        ("1,k", 0.44, 0.442797), ("2,k", 0.62, 0.620051), ("3,k", 0.91, 0.909316),
    ],
)  # fmt: skip
def test_shrout_and_fleiss(form: str, printed: float, computed: float) -> None:
    found = icc_forms(mean_squares(SHROUT_FLEISS))[form]

    assert round(found, 2) == printed
    assert found == pytest.approx(computed, abs=1e-6)


def test_shrout_and_fleiss_mean_squares() -> None:
    ms = mean_squares(SHROUT_FLEISS)

    assert [ms.between, ms.within, ms.raters_ms, ms.error] == pytest.approx(
        [11.241667, 6.263889, 32.486111, 1.019444], abs=1e-6
    )


def test_bland_and_altman_peak_flow() -> None:
    """Printed with 2 SD: -79.7 to 75.5; with 1.96 computed from the same data."""
    found = limits_of_agreement([a - b for a, b in zip(LARGE, MINI, strict=True)])

    assert found is not None
    assert found.n == 17
    assert round(found.bias.value, 1) == -2.1
    assert round(found.sd, 1) == 38.8
    assert [found.bias.low, found.bias.high] == pytest.approx(
        [-22.048838, 17.813544], abs=1e-6
    )
    assert [found.lower.value, found.upper.value] == pytest.approx(
        [-78.097302, 73.862007], abs=1e-6
    )
    half = found.upper.high - found.upper.value
    assert half / 2.119905 == pytest.approx(16.284612, abs=1e-4)  # the paper's 16.3


@pytest.mark.parametrize(
    ("weights", "kappa"),
    [
        ("", 0.491525),  # Cohen 1960 reports .492
        ([[0, 1, 3], [1, 0, 6], [3, 6, 0]], 0.347826),  # Cohen 1968 reports .348
        ([[0, 1, 4], [1, 0, 6], [2, 2, 0]], 0.353383),  # reported as .353
        ("linear", 0.473684),
        ("quadratic", 0.454545),
    ],
)
def test_cohens_tables(weights: str | list[list[float]], kappa: float) -> None:
    found = kappa_of_table(COHEN, 200, weights)

    assert found is not None
    assert found.kappa.value == pytest.approx(kappa, abs=1e-6)


def test_fleiss_cohen_everitt_table() -> None:
    """Fleiss JL, Cohen J, Everitt BS. Psychol Bull 1969;72:323-327, n 200."""
    table = [[n / 200 for n in row] for row in ([106, 10, 4], [22, 28, 10], [2, 12, 6])]
    apart = [[0, 1, 0.5556], [1, 0, 0.3333], [0.5556, 0.3333, 0]]

    plain, weighted = kappa_of_table(table, 200), kappa_of_table(table, 200, apart)
    assert plain is not None
    assert weighted is not None
    assert plain.kappa.value == pytest.approx(0.428571, abs=1e-6)
    assert weighted.kappa.value == pytest.approx(0.507070, abs=1e-6)


@pytest.mark.parametrize(
    ("table", "kappa"),
    [
        ([[20, 5], [10, 15]], 0.40),
        ([[45, 15], [25, 15]], 0.130435),  # the same share agreed as below
        ([[25, 35], [5, 35]], 0.259259),
    ],
)
def test_textbook_tables(table: list[list[int]], kappa: float) -> None:
    """Well-known textbook cases (computed)."""
    n = sum(map(sum, table))
    shares = [[cell / n for cell in row] for row in table]
    pairs = [(i, j) for i in (0, 1) for j in (0, 1) for _ in range(table[i][j])]

    found, counted = kappa_of_table(shares, n), kappa_of(pairs, [0, 1])
    assert found is not None
    assert counted is not None
    assert found.kappa.value == pytest.approx(kappa, abs=1e-6)
    assert counted.kappa.value == pytest.approx(kappa, abs=1e-6)


@pytest.mark.parametrize(
    ("first", "second", "icc"),
    [
        ((146, 148, 170, 90, 157, 156, 176, 205),
         (140, 152, 152, 99, 145, 153, 167, 218), 0.949975),
        ((166, 168, 160, 150, 147, 146, 156, 155),
         (160, 172, 142, 159, 135, 143, 147, 168), 0.552749),
    ],
)  # fmt: skip
def test_same_error_with_another_icc(
    first: tuple[int, ...], second: tuple[int, ...], icc: float
) -> None:
    """Weir JP. J Strength Cond Res 2005;19:231-240 (data from memory; computed).

    The SEM there is of consistency, the root of the error alone. Here the two
    columns do not differ beyond error, so that the SEM of agreement is the same.
    """
    ms = mean_squares(list(zip(first, second, strict=True)))
    found = error_of(list(zip(first, second, strict=True)), least=2)

    assert icc_forms(ms)["2,1"] == pytest.approx(icc, abs=1e-6)
    assert [sqrt(ms.error), MDC95_OF_SEM * sqrt(ms.error)] == pytest.approx(
        [7.556927, 20.946732], abs=1e-5
    )
    assert found is not None
    assert ms.raters_ms < ms.error
    assert found.sem == pytest.approx(sqrt(ms.error))


def test_a_constant_difference_between_raters_is_error() -> None:
    """Always 1.00 s apart: the SD within a trial is the root of 1/2, so MDC95 1.96 s.

    Bland JM, Altman DG. BMJ 1996;313:744 (from memory): the SD within of two readings
    is the root of the mean of d2/2.
    """
    found = error_of([[n, n + 1.0] for n in range(12)])

    assert found is not None
    assert [found.sem, found.mdc95] == pytest.approx([sqrt(0.5), 1.96])


def test_sem_of_agreement_is_the_spread_within_trials() -> None:
    """The one-way mean square within people that Shrout and Fleiss print: 6.26."""
    found = error_of(SHROUT_FLEISS, least=2)

    assert found is not None
    assert round(found.sem**2, 2) == 6.26


def test_variance_of_raters_as_published() -> None:
    """72 people, 2 methods, mean squares 379.76 and 1.64: 5.25 between the methods.

    Table of a paper on body water in J Am Soc Nephrol (read, without its year): the
    two variances are printed 5.25 and 1.64. Ratings are made that have those squares.
    """
    apart, rest = sqrt(379.76 / 36), sqrt(2 * 1.64 * 71 / 72)
    table = [[n - (d := apart + (rest if n % 2 else -rest)) / 2, n + d / 2]
             for n in range(72)]  # fmt: skip
    ms, found = mean_squares(table), error_of(table)

    assert [round(ms.raters_ms, 2), round(ms.error, 2)] == [379.76, 1.64]
    assert found is not None
    assert round(found.sem**2, 2) == round(5.25 + 1.64, 2)


def test_perfect_agreement_claims_no_interval() -> None:
    alike, apart = (
        icc_agreement([[n / 7] * 3 for n in range(12)]),
        icc_agreement([[n, n + n % 2] for n in range(12)]),
    )
    same, spread = limits_of_agreement([20.0] * 12), limits_of_agreement([20, 30] * 6)

    assert alike is not None
    assert (alike.value, alike.told) == (1.0, False)
    assert apart is not None
    assert apart.told
    assert same is not None
    assert [same.bias.told, same.lower.told, same.upper.told] == [False] * 3
    assert spread is not None
    assert spread.bias.told


@pytest.mark.parametrize("case", ORACLE["icc"])
def test_icc_as_the_reference_library(case: dict[str, list[list[float]]]) -> None:
    found = icc_agreement(case["ratings"], least=2)

    assert found is not None
    # The library prints its intervals with two decimals, its values with all.
    assert found.value == pytest.approx(case["icc"], abs=1e-6)
    assert [found.low, found.high] == pytest.approx(case["interval"], abs=0.005001)


@pytest.mark.parametrize("case", ORACLE["kappa"])
def test_kappa_as_the_reference_library(case: dict[str, list[list[int]]]) -> None:
    n = sum(map(sum, case["table"]))
    shares = [[cell / n for cell in row] for row in case["table"]]
    for weights in ("", "linear", "quadratic"):
        found = kappa_of_table(shares, n, weights)
        assert found is not None
        said = [found.kappa.value, found.kappa.low, found.kappa.high]
        assert said == pytest.approx(case[weights or "none"], abs=1e-6)


def test_nothing_is_claimed_of_few() -> None:
    assert limits_of_agreement([0.1] * (LEAST_TRIALS - 1)) is None
    assert limits_of_agreement([0.1] * LEAST_TRIALS) is not None
    assert icc_agreement([[1, 2]] * 9) is None
    assert error_of([[1, 2], [2, 1]]) is None
    assert kappa_of([(0, 1)] * (LEAST_DECISIONS - 1), [0, 1]) is None


def test_what_cannot_be_compared_is_said() -> None:
    with pytest.raises(NotComparable, match="same trials"):
        mean_squares([[1, 2], [1]])
    with pytest.raises(NotComparable, match="same number"):
        icc_agreement([[5, 5]] * 12)
    with pytest.raises(NotComparable, match="chance"):
        kappa_of([(0, 0)] * 30, [0, 1])
    with pytest.raises(NotComparable, match="none of those"):
        kappa_of([(0, 7)] * 30, [0, 1])


@given(
    st.lists(
        st.tuples(*[st.integers(0, 400)] * 3), min_size=10, max_size=20, unique=True
    )
)
def test_icc_lies_in_its_interval_and_knows_no_order(
    ratings: list[tuple[int, int, int]],
) -> None:
    found = icc_agreement(ratings)
    turned = icc_agreement([row[::-1] for row in ratings][::-1])

    assert found is not None
    assert turned is not None
    assert all(a <= b + 1e-9 for a, b in pairwise([found.low, found.value, found.high]))
    assert turned.value == pytest.approx(found.value, abs=1e-9)
