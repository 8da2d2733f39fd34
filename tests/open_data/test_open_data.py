"""Open data of real people, where somebody has them: counts, and what our limits do.

The folder is named by TAPELINE_OPEN_DATA; without it everything here is skipped. No row
is copied into this repository, and none of these samples is a norm.
"""

import csv
import os
from collections.abc import Callable, Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from scipy import stats

from app.catalogue.load import catalogue
from app.clinical.cutoff_reading import read_cutoff
from app.clinical.fit import Match, match
from app.clinical.measure import Cutoff, Measure
from app.clinical.person import Person
from app.clinical.scoring import Score
from app.clinical.trend import theil_sen

VARIABLE = "TAPELINE_OPEN_DATA"
NAMED = os.environ.get(VARIABLE, "")  # before the tests clear the site's settings
SHELF = catalogue().measures
#: measure and the column of its score
SCORED = {"timed_up_and_go": "tug_s", "gait_speed": "gait_speed_usual_m_s"}
#: Fewer people than this say nothing of a share.
FEWEST = 20
Rows = list[dict[str, str]]
Property = Callable[[str, object], None]


def rows_of(name: str) -> Rows:
    if not NAMED:
        pytest.skip(f"{VARIABLE} names no folder with the open data")
    path = Path(NAMED) / name
    if not path.is_file():
        pytest.skip(f"{VARIABLE}: no {name} there")
    with path.open(newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture
def walkers() -> Rows:
    return rows_of("parkinson_tug_gait_speed.csv")


@pytest.fixture
def balancers() -> Rows:
    return rows_of("balance_falls_concern.csv")


@pytest.fixture
def sitters() -> Rows:
    return rows_of("ansur2_seat_reach_dimensions.csv")


def numbers(rows: Rows, column: str, **where: str) -> list[float]:
    return [
        float(row[column])
        for row in rows
        if row[column] and all(row[k] == v for k, v in where.items())
    ]


def told(values: Sequence[float]) -> tuple[int, float, float]:
    return len(values), float(stats.tmean(values)), float(stats.tstd(values))


@pytest.mark.parametrize(
    ("column", "group", "printed"),
    [
        ("tug_s", "control", (63, 9.293, 1.592)),
        ("tug_s", "parkinson", (90, 12.056, 3.962)),
        ("gait_speed_usual_m_s", "control", (73, 1.2407, 0.1608)),
        ("gait_speed_usual_m_s", "parkinson", (92, 1.0338, 0.2068)),
    ],
)
def test_walkers_are_those_described(
    walkers: Rows, column: str, group: str, printed: tuple[int, float, float]
) -> None:
    found = told(numbers(walkers, column, group=group))

    assert found == pytest.approx(printed, abs=5e-4)


@pytest.mark.parametrize(
    ("limit", "true", "false"),
    [("10", 71, 46), ("11.5", 37, 56), ("12", 32, 57), ("13.5", 20, 63)],
)
def test_our_comparison_counts_as_described(
    walkers: Rows, limit: str, true: int, false: int
) -> None:
    """At or above a limit: 90 with Parkinson disease, 63 controls.

    The description counts unrounded times, which have two decimals: so does a limit
    printed with two. At the tenth that is shown, who rounds up to it is there too.
    """
    groups = _by_group(walkers, "tug_s")
    measure = SHELF["timed_up_and_go"]
    row = measure.cutoffs[0]
    hundredths, shown = (
        {
            group: sum(_crossed(measure, cut, r["tug_s"]) for r in people)
            for group, people in groups.items()
        }
        for cut in (_with(row, Decimal(limit) + Decimal("0.00")), _with(row, limit))
    )
    rounds_up = {
        group: sum(
            Decimal(limit) - Decimal("0.05") <= Decimal(r["tug_s"]) < Decimal(limit)
            for r in people
        )
        for group, people in groups.items()
    }

    assert hundredths == {"parkinson": true, "control": 63 - false}
    assert shown == {g: hundredths[g] + rounds_up[g] for g in groups}


def test_rank_measures_are_as_described(walkers: Rows) -> None:
    both = [r for r in walkers if r["tug_s"] and r["gait_speed_usual_m_s"]]
    tug = [float(r["tug_s"]) for r in both]
    speed = [float(r["gait_speed_usual_m_s"]) for r in both]
    ill = numbers(walkers, "tug_s", group="parkinson")
    well = numbers(walkers, "tug_s", group="control")
    u = stats.mannwhitneyu(ill, well).statistic

    assert len(both) == 152
    assert stats.pearsonr(tug, speed).statistic == pytest.approx(-0.7641, abs=5e-5)
    assert stats.spearmanr(tug, speed).statistic == pytest.approx(-0.6844, abs=5e-5)
    assert u == 4548
    assert u / len(ill) / len(well) == pytest.approx(0.8021, abs=5e-5)
    welch = stats.ttest_ind(ill, well, equal_var=False)
    assert (welch.statistic, welch.df) == pytest.approx((5.9645, 125.22), abs=5e-3)


def test_our_slope_is_the_described_one(walkers: Rows) -> None:
    """Theil-Sen of TUG on speed: -8.1689 s per m/s, -9.5376 to -6.8403 (scipy)."""
    both = [r for r in walkers if r["tug_s"] and r["gait_speed_usual_m_s"]]
    found = theil_sen(
        [Fraction(r["gait_speed_usual_m_s"]) for r in both],
        [Fraction(r["tug_s"]) for r in both],
    )

    expected = (-8.1689, -9.5376, -6.8403)
    assert [float(v) for v in found] == pytest.approx(expected, abs=5e-5)


def test_balance_scores_are_those_described(balancers: Rows) -> None:
    young = told(numbers(balancers, "mini_bestest_total", age_group="young"))
    old = told(numbers(balancers, "mini_bestest_total", age_group="old"))
    ages = numbers(balancers, "age_y")
    totals = numbers(balancers, "mini_bestest_total")
    fallers = [
        float(r["mini_bestest_total"])
        for r in balancers
        if r["age_group"] == "old" and int(float(r["falls_12m"] or 0)) >= 1
    ]

    assert young == pytest.approx((87, 23.529, 3.354), abs=5e-4)
    assert old == pytest.approx((76, 18.237, 3.973), abs=5e-4)
    assert stats.spearmanr(ages, totals).statistic == pytest.approx(-0.6307, abs=5e-5)
    assert told(fallers) == pytest.approx((19, 17.421, 5.263), abs=5e-4)


@pytest.mark.parametrize(
    ("sex", "n", "mean", "sd", "ratio"),
    [("female", 1986, 38.82, 2.36, 0.2383), ("male", 4082, 42.98, 2.48, 0.2446)],
)
def test_seat_heights_are_those_described(
    sitters: Rows, sex: str, n: int, mean: float, sd: float, ratio: float
) -> None:
    theirs = [r for r in sitters if r["sex"] == sex]
    heights = numbers(theirs, "popliteal_height_cm")
    shares = [float(r["popliteal_height_cm"]) / float(r["stature_cm"]) for r in theirs]

    assert told(heights) == pytest.approx((n, mean, sd), abs=5e-3)
    assert stats.tmean(shares) == pytest.approx(ratio, abs=5e-5)


@pytest.mark.parametrize("measure", SCORED)
def test_more_people_with_parkinson_lie_beyond_each_fitting_limit(
    walkers: Rows, measure: str, record_property: Property
) -> None:
    """Each limit that fits somebody of the sample, and whom it lies beyond.

    A limit of people with Parkinson disease fits no control: there the controls' share
    is of all of them, only to compare. Diagnosis, not falls: no fall limit's accuracy.
    """
    m, column = SHELF[measure], SCORED[measure]
    groups = _by_group(walkers, column)
    wrong, seen = [], 0
    for row in m.cutoffs:
        if row.fit.quantity != "score":
            continue
        counted = {g: _beyond(m, row, people, column) for g, people in groups.items()}
        (ill_fit, _), (well_fit, well_all) = (
            counted[g] for g in ("parkinson", "control")
        )
        if len(ill_fit) < FEWEST:
            continue
        well, whom = (
            (well_fit, "fit") if len(well_fit) >= FEWEST else (well_all, "all controls")
        )
        shares = [sum(v) / len(v) for v in (ill_fit, well)]
        seen += 1
        line = (
            f"{measure} {row.direction} {row.value} {row.unit} ({row.source}): "
            f"Parkinson {sum(ill_fit)}/{len(ill_fit)} = {shares[0]:.3f}, control "
            f"{sum(well)}/{len(well)} = {shares[1]:.3f} ({whom})"
        )
        print(line)
        record_property("open data", line)
        worse = row.direction.endswith("above") == (m.better == "lower")
        if (shares[0] < shares[1]) if worse else (shares[0] > shares[1]):
            wrong.append(line)

    assert seen >= 3
    assert not wrong


def _with(row: Cutoff, value: Decimal | str) -> Cutoff:
    return replace(row, value=Decimal(value), direction="at_or_above", ladder=None)


def _by_group(rows: Rows, column: str) -> dict[str, Rows]:
    return {
        group: [r for r in rows if r["group"] == group and r[column]]
        for group in ("parkinson", "control")
    }


def _score(m: Measure, text: str) -> Score:
    """Trial rule and course are not stated in the data: the first rule is assumed."""
    return Score(m.id, "completed", m.variants[0].id, m.units[0], Fraction(text))


def _crossed(m: Measure, row: Cutoff, text: str) -> bool:
    made = read_cutoff(m, row, _score(m, text), Match())
    assert made is not None
    return bool(made.crossed)


def _person(row: dict[str, str]) -> Person:
    ill = ("parkinson",) if row["group"] == "parkinson" else ()
    age = (int(float(row["age_y"])),) if row["age_y"] else ()
    return Person(age, row["sex"], ill, "community")


def _beyond(
    m: Measure, row: Cutoff, people: Rows, column: str
) -> tuple[list[bool], list[bool]]:
    """Whether the limit is crossed, for whom it fits and for everybody."""
    every = [(_crossed(m, row, r[column]), r) for r in people]
    fitting = [
        crossed
        for crossed, r in every
        if match(m, row.fit, _person(r), _score(m, r[column])).fits
    ]
    return fitting, [crossed for crossed, _ in every]
