"""How well raters agree with a key, and with each other: figures with their intervals.

Plain numbers in, frozen figures out. Below the least number of trials nothing is
claimed: the functions answer None. Quantiles come from scipy, which is loaded only when
somebody asks, since it is large.

Sources: Bland JM, Altman DG. Lancet 1986;1:307-310 (limits of agreement). Shrout PE,
Fleiss JL. Psychol Bull 1979;86:420-428 (the six forms of the ICC). McGraw KO, Wong SP.
Psychol Methods 1996;1:30-46 (their intervals; from memory). Cohen J. Educ Psychol
Meas 1960;20:37-46 and Psychol Bull 1968;70:213-220 (kappa, weighted; from memory).
Fleiss JL, Cohen J, Everitt BS. Psychol Bull 1969;72:323-327 (its standard error; from
memory). De Vet HCW, Terwee CB, Knol DL, Bouter LM. J Clin Epidemiol 2006;59:1033-1039
(the SEM of agreement; from memory).
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import fmean, stdev
from typing import Final

#: So few differences, targets or decisions say nothing yet (common practice, ours).
LEAST_TRIALS: Final = 10
LEAST_TARGETS: Final = 10
LEAST_DECISIONS: Final = 20
#: Two-sided 95 %, exact; and as the papers on limits and on MDC print it.
Z: Final = 1.959963984540054
PRINTED_Z: Final = 1.96
#: MDC95 = this times the SEM.
MDC95_OF_SEM: Final = PRINTED_Z * sqrt(2)


class NotComparable(ValueError):
    """The ratings make no table; the message says what is wrong."""


@dataclass(frozen=True, slots=True)
class Interval:
    """A figure with its 95 % interval.

    Where nothing differs a formula gives an interval of no width, which claims too
    much: then `told` is False, and none is to be shown.
    """

    value: float
    low: float
    high: float

    @property
    def told(self) -> bool:
        return self.low < self.high


@dataclass(frozen=True, slots=True)
class Limits:
    """Differences from the key: their mean, spread, and where 95 in 100 lie.

    All in the unit of the differences. `bias`, `lower` and `upper` with intervals.
    """

    n: int
    bias: Interval
    sd: float
    lower: Interval
    upper: Interval


def limits_of_agreement(
    differences: Sequence[float], *, least: int = LEAST_TRIALS
) -> Limits | None:
    """Bland and Altman's bias and limits, mean -/+ 1.96 SD; None below `least`.

    The standard error of a limit is the root of 3 s2/n, as in the paper. Where all
    differences are the same there is no spread, so that no interval is `told`.

    >>> limits_of_agreement([0.1, 0.2, 0.3]) is None
    True
    """
    n = len(differences)
    if n < max(least, 2):
        return None
    mean, sd = fmean(differences), stdev(differences)
    t = _t(n - 1)
    bias = _around(mean, t * sd / sqrt(n))
    edge = t * sqrt(3 * sd * sd / n)
    return Limits(
        n,
        bias,
        sd,
        _around(mean - PRINTED_Z * sd, edge),
        _around(mean + PRINTED_Z * sd, edge),
    )


def _around(value: float, half: float) -> Interval:
    return Interval(value, value - half, value + half)


def _t(df: float) -> float:
    from scipy import stats

    return float(stats.t.ppf(0.975, df))


def _f(share: float, df1: float, df2: float) -> float:
    from scipy import stats

    return float(stats.f.ppf(share, df1, df2))


@dataclass(frozen=True, slots=True)
class MeanSquares:
    """A two-way table without repeats: people, raters, and what is left over."""

    targets: int
    raters: int
    between: float  # people (BMS)
    within: float  # inside people, raters and rest together (WMS)
    raters_ms: float  # raters (JMS)
    error: float  # the rest (EMS)


def mean_squares(ratings: Sequence[Sequence[float]]) -> MeanSquares:
    """From one row for each target, one column for each rater.

    Raises:
        NotComparable: fewer than two rows or columns, or rows of unlike length.
    """
    n, k = len(ratings), len(ratings[0]) if ratings else 0
    if n < 2 or k < 2 or any(len(row) != k for row in ratings):
        raise NotComparable("Every rater needs to have rated the same trials.")
    grand = fmean(value for row in ratings for value in row)
    rows = [fmean(row) for row in ratings]
    columns = [fmean(column) for column in zip(*ratings, strict=True)]
    between = k * sum((m - grand) ** 2 for m in rows)
    raters = n * sum((m - grand) ** 2 for m in columns)
    total = sum((value - grand) ** 2 for row in ratings for value in row)
    rest = total - between - raters
    return MeanSquares(
        n, k, between / (n - 1), (total - between) / (n * (k - 1)),
        raters / (k - 1), max(rest, 0.0) / ((n - 1) * (k - 1)),
    )  # fmt: skip


def icc_forms(ms: MeanSquares) -> Mapping[str, float]:
    """Shrout and Fleiss's six: `1,1` `2,1` `3,1` of one rating, `1,k` ... of the mean.

    Raises:
        NotComparable: nothing varies, so no share of it can be told.
    """
    n, k, b, w = ms.targets, ms.raters, ms.between, ms.within
    j, e = ms.raters_ms, ms.error
    if b == 0 and w == 0:
        raise NotComparable("All ratings are the same number: nothing to tell apart.")
    mean_two = b + (j - e) / n
    return {
        "1,1": (b - w) / (b + (k - 1) * w),
        "2,1": (b - e) / (b + (k - 1) * e + k * (j - e) / n),
        "3,1": (b - e) / (b + (k - 1) * e),
        "1,k": (b - w) / b if b else float("-inf"),
        "2,k": (b - e) / mean_two if mean_two else float("-inf"),
        "3,k": (b - e) / b if b else float("-inf"),
    }


def icc_agreement(
    ratings: Sequence[Sequence[float]], *, least: int = LEAST_TARGETS
) -> Interval | None:
    """ICC(2,1), absolute agreement of single ratings, with its 95 % interval.

    The two-way form in which both people and raters are samples. None below `least`
    targets. Of raters who always agree no interval is `told`.

    Raises:
        NotComparable: as `mean_squares` and `icc_forms`.
    """
    ms = mean_squares(ratings)
    if ms.targets < least:
        return None
    value = icc_forms(ms)["2,1"]
    n, k, b, j, e = ms.targets, ms.raters, ms.between, ms.raters_ms, ms.error
    if all(min(row) == max(row) for row in ratings):
        return Interval(1.0, 1.0, 1.0)
    ratio = j / e if e else float("inf")
    freedom = _freedom(n, k, value, ratio)
    up, down = _f(0.975, n - 1, freedom), _f(0.975, freedom, n - 1)
    rest = k * j + (k * n - k - n) * e
    low = n * (b - up * e) / (up * rest + n * b)
    high = n * (down * b - e) / (rest + n * down * b)
    return Interval(value, low, high)


def _freedom(n: int, k: int, icc: float, ratio: float) -> float:
    """Satterthwaite's degrees of freedom for the interval of ICC(2,1)."""
    if ratio == float("inf"):
        return float(k - 1)
    rest = n * (1 + (k - 1) * icc) - k * icc
    top = (k - 1) * (n - 1) * (k * icc * ratio + rest) ** 2
    return top / ((n - 1) * k**2 * icc**2 * ratio**2 + rest**2)


@dataclass(frozen=True, slots=True)
class ErrorOfMeasuring:
    """The error of one rating and the least real change, in the ratings' unit."""

    n: int
    sem: float
    mdc95: float


def error_of(
    ratings: Sequence[Sequence[float]], *, least: int = LEAST_TARGETS
) -> ErrorOfMeasuring | None:
    """The SEM of agreement; MDC95 is 1.96 x root 2 x SEM.

    The root of the variance between raters and the rest together: as in ICC(2,1), a
    constant difference between raters is error. A variance that comes out negative is
    taken for none.

    Raises:
        NotComparable: as `mean_squares`.
    """
    ms = mean_squares(ratings)
    if ms.targets < least:
        return None
    raters = max(ms.raters_ms - ms.error, 0.0) / ms.targets
    sem = sqrt(raters + ms.error)
    return ErrorOfMeasuring(ms.targets, sem, MDC95_OF_SEM * sem)


@dataclass(frozen=True, slots=True)
class Kappa:
    """Agreement on decisions beyond chance, with the plain share that agreed."""

    n: int
    kappa: Interval
    observed: float
    by_chance: float


def kappa_of(
    pairs: Sequence[tuple[Hashable, Hashable]],
    order: Sequence[Hashable],
    *,
    weights: str | Sequence[Sequence[float]] = "",
    least: int = LEAST_DECISIONS,
) -> Kappa | None:
    """Cohen's kappa of two raters' decisions; None below `least`.

    `order` names the answers. `weights`: empty for unweighted; `linear` or `quadratic`
    where the answers are ordered; or a table of disagreement, 0 on its diagonal.

    Raises:
        NotComparable: both gave one and the same answer throughout, so chance alone
            explains all of it, or an answer is not in `order`.
    """
    if len(pairs) < least or not pairs:
        return None
    if any(a not in order or b not in order for a, b in pairs):
        raise NotComparable("An answer is none of those that can be given.")
    places = {answer: i for i, answer in enumerate(order)}
    size, n = len(order), len(pairs)
    table = [[0.0] * size for _ in order]
    for one, other in pairs:
        table[places[one]][places[other]] += 1 / n
    found = kappa_of_table(table, n, weights)
    if found is None:
        raise NotComparable("Both always gave the same one answer: chance explains it.")
    return found


def kappa_of_table(
    table: Sequence[Sequence[float]],
    n: int,
    weights: str | Sequence[Sequence[float]] = "",
) -> Kappa | None:
    """Of a table of shares that add up to 1; None where chance explains all of it."""
    size = range(len(table))
    apart = _disagreement(len(table), weights)
    most = max(apart[i][j] for i in size for j in size)
    alike = [[1 - apart[i][j] / most for j in size] for i in size]
    rows = [sum(table[i]) for i in size]
    columns = [sum(table[i][j] for i in size) for j in size]
    seen = sum(alike[i][j] * table[i][j] for i in size for j in size)
    chance = sum(alike[i][j] * rows[i] * columns[j] for i in size for j in size)
    if chance > 1 - 1e-12:
        return None
    value = (seen - chance) / (1 - chance)
    half = Z * _error_of_kappa(table, alike, rows, columns, value, chance, n)
    plain = sum(table[i][i] for i in size)
    return Kappa(n, _around(value, half), plain, chance)


def _disagreement(
    size: int, weights: str | Sequence[Sequence[float]]
) -> Sequence[Sequence[float]]:
    if not isinstance(weights, str):
        return weights
    power = {"": 0, "linear": 1, "quadratic": 2}[weights]
    return [
        [float(abs(i - j) ** power) if i != j else 0.0 for j in range(size)]
        for i in range(size)
    ]


def _error_of_kappa(
    table: Sequence[Sequence[float]],
    alike: Sequence[Sequence[float]],
    rows: Sequence[float],
    columns: Sequence[float],
    kappa: float,
    chance: float,
    n: int,
) -> float:
    """The standard error when kappa is not taken to be 0 (Fleiss, Cohen, Everitt)."""
    size = range(len(table))
    by_row = [sum(columns[j] * alike[i][j] for j in size) for i in size]
    by_column = [sum(rows[i] * alike[i][j] for i in size) for j in size]
    spread = sum(
        table[i][j] * (alike[i][j] - (by_row[i] + by_column[j]) * (1 - kappa)) ** 2
        for i in size
        for j in size
    )
    left = (kappa - chance * (1 - kappa)) ** 2
    return sqrt(max(spread - left, 0.0) / n) / (1 - chance)
