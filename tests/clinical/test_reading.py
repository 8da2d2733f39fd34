"""Edges, fit and words of readings."""

from decimal import Decimal
from fractions import Fraction

import pytest
from scipy import stats

from app.catalogue.load import catalogue
from app.clinical.cutoff_reading import read_cutoff
from app.clinical.fit import Match
from app.clinical.measure import Cutoff, Measure
from app.clinical.person import Person
from app.clinical.quantities import SHOWN_PLACES, printed_places
from app.clinical.reading import read
from app.clinical.scoring import Part, Score, read_trial, score
from app.clinical.vocabulary import CONDITIONS
from tests.clinical.reading_for import of, of_value, result

CUTOFFS = [
    pytest.param(m, c, id=f"{m.id}-{c.key}-{c.source}-{c.how.replace(' ', '_')}")
    for m in catalogue().measures.values()
    for c in m.cutoffs
]


@pytest.mark.parametrize(("measure", "row"), CUTOFFS)
def test_every_cutoff_falls_on_its_sources_side(measure: Measure, row: Cutoff) -> None:
    """Just below, at and just above every published limit, a step apart."""
    places = max(SHOWN_PLACES[row.unit], printed_places(row.value))
    step = Decimal(1).scaleb(-places)
    found = []
    for value in (row.value - step, row.value, row.value + step):
        score = _holding(measure, row, value)
        reading = read_cutoff(measure, row, score, Match())
        assert reading is not None
        found.append(reading.crossed)

    upward = row.direction.endswith("above")
    at = row.direction.startswith("at_or")
    assert found == ([False, at, True] if upward else [True, at, False])


def _holding(measure: Measure, row: Cutoff, value: Decimal) -> Score:
    """A score whose compared quantity is exactly `value` in the row's unit."""
    exact = Fraction(value)
    variant = row.fit.variant or measure.variants[0].id
    if row.fit.quantity == "score":
        return Score(measure.id, "completed", variant, row.unit, exact)
    part = Part(exact, row.unit, "quantity")
    return Score(
        measure.id, "completed", variant, "s", Fraction(10),
        parts={row.fit.quantity: part},
    )  # fmt: skip


@pytest.mark.parametrize(
    ("typed", "crossed"), [("25.3cm", True), ("25.4cm", False), ("10in", False),
                           ("9.9in", True)]
)  # fmt: skip
def test_ten_inches_is_the_parkinson_limit_in_both_units(
    typed: str, crossed: bool
) -> None:
    """Behrman 2002: below 25.4 cm, which is 10 in exactly."""
    found = result(
        "functional_reach", typed, conditions=["parkinson"], variant="mean_of_three"
    )

    assert [r.crossed for r in of(found, "behrman2002")] == [crossed]


def test_printed_value_is_the_compared_value() -> None:
    """Screen and verdict cannot contradict: Alexandre 2012, above 12.47 s."""
    for typed, crossed in (("12.474", False), ("12.476", True)):
        found = result("timed_up_and_go", typed, age=70, setting="community")
        (reading,) = of(found, "alexandre2012")

        assert reading.crossed is crossed
        assert str(reading.value) in reading.says


def test_z_and_percentile_match_the_reference_library() -> None:
    """Duncan 1990, women 70-87: 10.5 in, SD 3.5. scipy.stats.norm is the oracle."""
    found = result("functional_reach", "7in", age=75, sex="female")
    (reading,) = [r for r in of(found, "duncan1990") if r.matched]

    assert reading.z == Decimal("-1.00")
    assert reading.percentile == round(stats.norm.cdf(-1.0) * 100)


def test_slow_time_has_positive_z_and_low_place() -> None:
    """Pondal 2008, 76-80 years: 9.9 s, SD 3.0."""
    found = result("timed_up_and_go", "12.9", age=78, setting="community")
    reading = next(
        r for r in of(found, "pondal2008") if r.matched and r.z == Decimal("1.00")
    )

    assert reading.percentile == round(stats.norm.cdf(-1.0) * 100)


@pytest.mark.parametrize("condition", list(CONDITIONS))
def test_only_healthy_rows_give_a_place(condition: str) -> None:
    for test, text in (("timed_up_and_go", "20"), ("four_square_step", "14")):
        for reading in result(test, text, age=70, conditions=[condition]).readings:
            if reading.z is not None:
                assert reading.row is not None
                assert reading.row.fit.group == "healthy"


def test_disease_rows_need_the_disease() -> None:
    found = result("five_times_sit_to_stand", "16.2", age=74)

    assert not [r for r in found.readings if r.row and r.matched
                and r.row.fit.condition in CONDITIONS]  # fmt: skip


def test_limit_of_an_average_is_not_called_normal() -> None:
    """Bohannon 2006: 12.6 s is the far confidence limit of the mean at 70-79."""
    found = result("five_times_sit_to_stand", "13.0", age=75)
    (reading,) = [r for r in of(found, "bohannon2006fts") if r.matched]

    assert reading.crossed
    assert "not a limit of normal" in reading.says


def test_near_a_limit_says_it_could_fall_either_side() -> None:
    near = result("timed_up_and_go", "12.7", age=74, setting="community")
    far = result("timed_up_and_go", "14.9", age=74, setting="community")

    assert [r.near_edge for r in of(near, "kojima2015")] == [True]
    assert [r.near_edge for r in of(far, "kojima2015")] == [False]


def test_not_beyond_a_fall_limit_clears_nobody() -> None:
    found = result("timed_up_and_go", "9", age=74, setting="community")
    (reading,) = of(found, "kojima2015")

    assert "does not clear a person who has fallen" in reading.says


def test_nothing_says_at_risk_or_safe() -> None:
    person = Person((74,), None, ("stroke",))
    for test in catalogue().measures.values():
        usual = test.tape[test.units[0]]
        for value in (usual.low, (usual.low + usual.high) / 2, usual.high):
            found = read(test, of_value(test.id, value), person)
            said = " ".join((*(r.says for r in found.readings), *found.cautions))

            assert "is at risk" not in said
            assert "is safe" not in said


@pytest.mark.parametrize(
    ("inches", "odds"), [("6.0", "4.02"), ("8.0", "2.00"), ("10.0", None)]
)
def test_only_the_rung_reached_is_said(inches: str, odds: str | None) -> None:
    """Duncan 1992: up to 6 in 4.02, over 6 and below 10 in 2.00, 10 in none."""
    found = result("functional_reach", f"{inches}in", age=75, sex="male")
    ladder = [r for r in of(found, "duncan1992") if r.kind == "cutoff"]

    said = [str(r.effect.value) if r.effect else None for r in ladder]
    assert said == [odds]


def test_unable_has_readings_of_its_own() -> None:
    """Zhang 2013: being unable, odds ratio 24.7 of new difficulty."""
    found = result("five_times_sit_to_stand", "unable", age=74)

    assert found.score.value is None
    said = [str(r.effect.value) for r in of(found, "zhang2013") if r.effect]
    assert "24.7" in said


def test_open_top_has_no_hidden_end_and_a_closed_one_holds() -> None:
    """Buatois 2008 is 65 and over; Bohannon's last band ends at 89."""
    old = result("five_times_sit_to_stand", "16", age=95)

    assert [r.matched for r in of(old, "buatois2008")] == [True]
    assert not [r for r in of(old, "bohannon2006fts") if r.matched]


def test_young_adult_gets_no_older_adult_limit() -> None:
    found = result("timed_up_and_go", "14", age=40)

    assert not [r for r in found.readings if r.matched and r.kind == "cutoff"]


def test_unstated_facts_are_listed_as_assumed() -> None:
    found = result("five_times_sit_to_stand", "16", age=74)

    assert "seat height: seat 17 to 18 in (43 to 46 cm)" in found.assumed
    assert "if living in the community" in found.assumed


def test_inpatient_is_not_read_by_community_limits() -> None:
    found = result("timed_up_and_go", "14", age=74, setting="inpatient")

    assert not [r for r in of(found, "kojima2015") if r.matched]


def test_foam_and_dual_task_rows_stay_apart() -> None:
    """Mathurapongsakul 2018 was done on foam, Baker 2026 with a spoken task."""
    plain = result("four_square_step", "14", age=76, setting="community")
    foam = result("four_square_step", "14", age=76, setting="community", surface="foam")

    assert not [r for r in of(plain, "mathurapongsakul2018") if r.matched]
    assert [r.matched for r in of(foam, "mathurapongsakul2018")] == [True]
    assert not [r for r in of(plain, "baker2026") if r.matched]


def test_walker_user_is_not_placed_among_healthy_walkers() -> None:
    found = result("timed_up_and_go", "25", age=82, device="walker")

    assert not [r for r in found.readings if r.matched and r.z is not None]


def test_chance_moves_by_the_likelihood_ratio() -> None:
    """Kojima 2015: .305/.895; from 30 %, LR+ 2.90 gives 55 %."""
    found = result("timed_up_and_go", "14", age=74, pretest="0.30")
    (chance,) = [r for r in found.readings if r.kind == "chance"]

    assert (chance.pre, chance.post) == (Decimal("0.300"), Decimal("0.555"))


def test_skewed_sample_is_read_by_its_median() -> None:
    """JRRD 2014, dementia: mean 13.35 s but median 11.58 s; 12.5 s is no fast time."""
    found = result(
        "timed_up_and_go", "12.5", age=80, conditions=["cognitive_impairment"]
    )
    (reading,) = of(found, "jrrd2014ci")

    assert "faster than the average" not in reading.says
    assert "the median was 11.58 s" in reading.says


def test_finer_row_of_one_source_silences_its_whole_sample() -> None:
    """Bohannon 2006 has an all-ages row beside its decades: only the decade speaks."""
    found = result("timed_up_and_go", "10.0", age=75)

    assert [str(r.threshold) for r in of(found, "bohannon2006tug") if r.matched] == [
        "10.2"
    ]


def test_a_mean_of_zero_difference_reads_well() -> None:
    found = result("functional_reach", "10.5in", age=75, sex="female")
    reading = next(r for r in of(found, "duncan1990") if r.matched)

    assert "is at the average of" in reading.says


@pytest.mark.parametrize(("limit", "fits"), [("10", False), ("30", True)])
def test_hold_cut_short_is_not_read_by_what_it_cannot_tell(
    limit: str, fits: bool
) -> None:
    """Jacobs 2006, at or below 10 s: a hold stopped at 10 s could be anything above."""
    found = result(
        "single_leg_stance", "10", conditions=["parkinson"], age=70, limit=limit
    )

    assert [r.matched for r in of(found, "jacobs2006")] == [fits]


def test_hold_that_is_cut_at_its_limit_gives_no_place() -> None:
    """Springer 2007: many young people reach the 45 s where the clock ends."""
    found = result("single_leg_stance", "30", age=30, sex="female", limit="45")
    rows = [r for r in of(found, "springer2007") if r.matched]

    assert rows
    assert all(r.z is None and r.percentile is None for r in rows)
    assert not [r for r in rows if "slow people" in r.says]


def test_first_fracture_limit_matches_nobody() -> None:
    """Chui 2012: who had a hip fracture already is no key, so no one is read by it."""
    for conditions in ([], ["hip_fracture"]):
        found = result(
            "gait_speed", "0.5m/s", age=80, sex="female", conditions=conditions
        )

        assert not [r for r in of(found, "chui2012") if r.matched]


def test_time_over_the_course_needs_that_course() -> None:
    """Goldman 2013: 6 s over 25 ft, fast; 6 s over 10 ft is another walk."""
    test = catalogue().measures["gait_speed"]
    for course, fits in (("25ft", True), ("10ft", False)):
        made = score(
            test,
            [read_trial(test, t) for t in ("6.2s", "6.4s")],
            facts={"course": course, "pace": "fast"},
        )
        found = read(test, made, Person((45,), None, ("ms",), None, {}))

        assert [r.matched for r in of(found, "goldman2013")] == [fits]
