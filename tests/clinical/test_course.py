"""A test over an episode: first, best, last, one judge of change, a direction."""

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from scipy.stats import theilslopes

from app.clinical.change import (
    NEWLY_ABLE,
    NEWLY_UNABLE,
    NOT_COMPARABLE,
    WITHIN,
    judge_change,
)
from app.clinical.course import Course, Kept, course, direction_words, maintained
from app.clinical.person import Person
from app.clinical.scoring import Score, Trial, score
from app.clinical.trend import Point, along, trend
from tests.clinical.reading_for import a_score, measure

MONDAY = date(2026, 3, 2)
STANDS, TUG, CHAIR = (
    "five_times_sit_to_stand", "timed_up_and_go", "thirty_second_chair_stand",
)  # fmt: skip
PARKINSON = Person((72,), "female", ("parkinson",), "community")


def of(measure_id: str, *values: str, **facts: str) -> list[Kept]:
    """One score a week; `unable` among them."""
    return [
        Kept(MONDAY + timedelta(weeks=n), made(measure_id, value, **facts))
        for n, value in enumerate(values)
    ]


def made(measure_id: str, value: str, **facts: str) -> Score:
    if value in ("unable", "stopped", "declined"):
        trial = Trial(value)  # type: ignore[arg-type]
        return score(measure(measure_id), [trial], facts=facts)
    return a_score(measure_id, value, **facts)


def the_course(
    measure_id: str, kept: Sequence[Kept], person: Person = PARKINSON
) -> Course:
    found = course(measure(measure_id), lambda _: person, kept)
    assert found is not None
    return found


def direction(measure_id: str, *values: str) -> str:
    m = measure(measure_id)
    return direction_words(m, the_course(measure_id, of(measure_id, *values)))


def test_first_best_and_last_have_their_days() -> None:
    found = the_course(STANDS, of(STANDS, "19.4", "15.0", "15.0", "16.2"))

    assert found.first.day == MONDAY
    assert found.best is not None
    assert (found.best.day, found.best.score.shown) == (
        MONDAY + timedelta(weeks=1),
        Decimal("15.0"),
    )
    assert found.last.score.shown == Decimal("16.2")


def test_best_of_a_count_is_the_most() -> None:
    found = the_course(CHAIR, of(CHAIR, "9", "12", "10"))

    assert found.best is not None
    assert found.best.score.shown == 12


def test_change_is_the_one_function_s_word() -> None:
    kept = of(STANDS, "19.4", "18.0", "14.6")
    found = the_course(STANDS, kept)

    expected = judge_change(measure(STANDS), PARKINSON, kept[2].score, kept[0].score)
    assert found.change == expected


def test_who_measured_is_told() -> None:
    m = measure(STANDS)
    kept = [
        Kept(MONDAY, a_score(STANDS, "19.4"), 1),
        Kept(MONDAY + timedelta(weeks=1), a_score(STANDS, "18.0"), 2),
    ]
    found = course(m, lambda _: PARKINSON, kept)

    assert found is not None
    assert found.change is not None
    assert "Another person measured the earlier score." in found.change.says


def test_other_set_ups_are_no_part_of_it() -> None:
    kept = [
        *of(TUG, "11.0", device="cane"),
        *of(TUG, "15.0", "14.0", device="none"),
    ]
    kept.sort(key=lambda k: (k.day, k.score.facts["device"]))
    found = the_course(TUG, kept)

    assert [k.score.shown for k in found.alike] == [Decimal("15.0"), Decimal("14.0")]
    [(other, differs)] = found.others
    assert other.score.shown == Decimal("11.0")
    assert "walking device" in differs[0]
    assert found.change is not None
    assert found.change.verdict != NOT_COMPARABLE
    assert found.best is not None
    assert found.best.score.shown == Decimal("14.0")


@pytest.mark.parametrize(
    ("values", "verdict"),
    [(("unable", "19.4"), NEWLY_ABLE), (("19.4", "unable"), NEWLY_UNABLE)],
)
def test_unable_has_a_place_and_never_a_number(
    values: tuple[str, str], verdict: str
) -> None:
    found = the_course(STANDS, of(STANDS, *values))

    assert found.change is not None
    assert found.change.verdict == verdict
    assert [p.value for p in found.points] == [Decimal("19.4")]
    assert len(found.alike) == 2


@pytest.mark.parametrize("values", [(), ("stopped",), ("declined", "stopped")])
def test_without_a_result_there_is_no_course(values: tuple[str, ...]) -> None:
    kept = of(STANDS, *values)

    assert course(measure(STANDS), lambda _: PARKINSON, kept) is None


def test_two_scores_of_one_day_are_no_change() -> None:
    kept = [Kept(MONDAY, a_score(STANDS, v)) for v in ("19.4", "16.2")]

    assert the_course(STANDS, kept).change is None


def test_distances_are_told_in_the_last_unit() -> None:
    reach = "functional_reach"
    found = the_course(reach, of(reach, "10in", "26cm"))

    assert found.unit == "cm"
    assert [p.value for p in found.points] == [Decimal("25.4"), Decimal("26.0")]


def test_direction_is_the_slope_with_its_interval() -> None:
    """Slope and limits as scipy.stats.theilslopes gives them."""
    values = ("20.0", "19.6", "18.9", "18.8", "18.2", "17.9")
    theirs = theilslopes([float(v) for v in values], range(6))

    said = direction(STANDS, *values)
    least, most = f"{-theirs.high_slope:.1f}", f"{-theirs.low_slope:.1f}"
    assert said == (
        f"{-theirs.slope:.1f} s a week faster, {least} to {most}; six scores over 5 "
        "weeks."
    )


@pytest.mark.parametrize(
    ("measure_id", "values", "says"),
    [
        # Slopes by hand: all pairs of a straight line have its one slope.
        (CHAIR, ("8", "9", "10", "11", "12"), "1.0 stands a week more, 1.0 to 1.0"),
        (TUG, ("12", "13", "14", "15", "16"), "1.0 s a week slower, 1.0 to 1.0"),
        ("gait_speed", ("0.90 m/s", "0.88 m/s", "0.86 m/s", "0.84 m/s", "0.82 m/s"),
         "0.02 m/s a week slower, 0.02 to 0.02"),
        ("functional_reach", ("9in", "9.5in", "10in", "10.5in", "11in"),
         "0.5 in a week farther, 0.5 to 0.5"),
    ],
)  # fmt: skip
def test_direction_in_the_test_s_own_words(
    measure_id: str, values: tuple[str, ...], says: str
) -> None:
    assert direction(measure_id, *values).startswith(f"{says}; five scores over ")


@pytest.mark.parametrize(
    ("values", "says"),
    [
        (("16.0",), "A direction takes four comparable scores; there is one."),
        (("unable",), "A direction takes four comparable scores; there is none."),
        (("16", "15", "14"), "A direction takes four comparable scores; there are "
         "three."),
        (("16", "18", "15", "17"), "No direction can be told: four scores over 3 "
         "weeks, anywhere from 3.0 s a week faster to 2.0 s a week slower."),
        (("16", "16", "16", "16"), "No direction can be told: four scores over 3 "
         "weeks, all alike."),
    ],
)  # fmt: skip
def test_what_cannot_be_told_is_said(values: tuple[str, ...], says: str) -> None:
    assert direction(STANDS, *values) == says


def test_four_scores_give_a_rough_interval() -> None:
    """Two of the 24 orders of four errors all run one way: 22/24 = 92 %."""
    assert "about 92 %, not 95" in direction(STANDS, "20", "19", "18", "17.5")
    assert "92" not in direction(STANDS, "20", "19", "18", "17.5", "17")


def test_a_small_slope_is_not_said_as_nothing() -> None:
    said = direction(TUG, *(f"12.{n // 3}" for n in range(18)))

    assert said.startswith("0.03 s a week slower")


def test_scores_of_one_day_have_no_direction() -> None:
    kept = [Kept(MONDAY, a_score(STANDS, v)) for v in ("20", "19", "18", "17")]
    said = direction_words(measure(STANDS), the_course(STANDS, kept))

    assert said == "All of them are of one day: no direction can be told."


def test_the_line_is_that_of_scipy() -> None:
    values = [20.0, 19.6, 18.9, 18.8, 18.2, 17.9]
    points = [
        Point(MONDAY + timedelta(weeks=n), Decimal(str(v)))
        for n, v in enumerate(values)
    ]
    found = trend(points)
    assert found is not None

    begins, ends = along(points, found)
    theirs = theilslopes(values, range(6), method="joint")
    assert float(begins) == pytest.approx(theirs.intercept)
    assert float(ends) == pytest.approx(theirs.intercept + 5 * theirs.slope)
    assert ends - begins == 5 * Fraction(found.per_week)


def test_no_change_is_good_only_where_the_plan_is_to_maintain() -> None:
    within = the_course(STANDS, of(STANDS, "16.0", "16.1")).change
    beyond = the_course(STANDS, of(STANDS, "12.0", "29.0")).change
    assert within is not None
    assert within.verdict == WITHIN

    assert "good result" in maintained("maintain", within)
    assert maintained("restore", within) == ""
    assert maintained("maintain", beyond) == ""
    assert maintained("maintain", None) == ""
