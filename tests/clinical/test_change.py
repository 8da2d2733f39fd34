"""Change between two scores: error, headline, comparability."""

from typing import Any

import pytest

from app.clinical.change import Change
from app.clinical.scoring import Trial, score
from tests.clinical.reading_for import a_score, measure, result


def change(test: str, before: str, now: str, **person: Any) -> Change:
    facts = person.pop("before_facts", {})
    first = a_score(test, before, **facts)
    found = result(test, now, before=first, **person).change
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("now", "verdict"),
    [
        ("17.4", "within measurement error"),  # exactly 2.5 s is not beyond 2.5 s
        ("17.3", "real gain"),
        ("22.4", "within measurement error"),
        ("22.5", "real loss"),
    ],
)
def test_real_only_strictly_beyond_the_error(now: str, verdict: str) -> None:
    """Goldberg 2012: MDC95 2.5 s in older women."""
    found = change("five_times_sit_to_stand", "19.9", now, age=74, sex="female")

    assert found.verdict == verdict


def test_difference_is_of_the_shown_values() -> None:
    found = change("five_times_sit_to_stand", "19.94", "17.36", age=74, sex="female")

    assert str(found.difference) == "-2.5"
    assert found.verdict == "within measurement error"


@pytest.mark.parametrize(
    ("now", "verdict"),
    [("18.0", "within measurement error"), ("15.0", "sources disagree"),
     ("9.9", "real gain")],
)  # fmt: skip
def test_headline_needs_every_confirmed_error(now: str, verdict: str) -> None:
    """Stroke: Alghadir 2018 3.2 s and Hiengkaew 2012 8 s; Flansbjer is recalled."""
    found = change("timed_up_and_go", "20", now, age=66, conditions=["stroke"])

    assert found.verdict == verdict


@pytest.mark.parametrize(
    ("now", "real"), [("15.5", False), ("15.3", True), ("26.1", False), ("26.3", True)]
)
def test_lopsided_error_widens_towards_slower(now: str, real: bool) -> None:
    """Nilsagard 2007, MS, quick but safe pace: -23 % or +31 % of 20.0 s."""
    found = change(
        "timed_up_and_go", "20", now, age=45, conditions=["ms"], pace="fast",
        before_facts={"pace": "fast"},
    )  # fmt: skip
    verdicts = {r.row.source: r.verdict for r in found.readings if r.row}

    assert (verdicts["nilsagard2007"] in ("real gain", "real loss")) is real


def test_no_published_error_cannot_be_told() -> None:
    found = change("timed_up_and_go", "20", "12", age=58, conditions=["vestibular"])

    assert found.verdict == "cannot be told"
    assert "No confirmed measurement error is published" in found.says


def test_recalled_error_alone_gives_no_headline() -> None:
    """Functional reach in Parkinson disease: both errors are recalled, not read."""
    found = change("functional_reach", "20cm", "35cm", age=70, conditions=["parkinson"])

    assert found.verdict == "cannot be told"
    assert any(not r.confirmed for r in found.readings)


@pytest.mark.parametrize(
    ("key", "then", "now"),
    [("seat_height", "17in", "19in"), ("stop", "seated", "standing"),
     ("device", "none", "cane")],
)  # fmt: skip
def test_other_setup_is_not_comparable(key: str, then: str, now: str) -> None:
    found = change(
        "five_times_sit_to_stand", "20", "12", age=74, before_facts={key: then},
        **{key: now},
    )  # fmt: skip

    assert found.verdict == "not comparable"
    assert len(found.differs) == 1


def test_one_seat_in_two_units_is_the_same_seat() -> None:
    found = change(
        "five_times_sit_to_stand", "20", "12", age=74, sex="female",
        before_facts={"seat_height": "17.5in"}, seat_height="44.5cm",
    )  # fmt: skip

    assert found.verdict == "real gain"


def test_off_standard_setup_still_judges_change() -> None:
    found = change(
        "five_times_sit_to_stand", "20", "12", age=74, sex="female",
        before_facts={"seat_height": "20in"}, seat_height="20in",
    )  # fmt: skip

    assert found.verdict == "real gain"


def test_error_of_well_people_does_not_judge_a_patient() -> None:
    """Goldberg 2012 measured older women; it says nothing of vestibular patients."""
    found = change(
        "five_times_sit_to_stand", "20", "17", age=74, sex="female",
        conditions=["vestibular"],
    )  # fmt: skip

    assert found.verdict == "cannot be told"


def test_unable_to_completed_is_newly_able() -> None:
    m = measure("five_times_sit_to_stand")
    unable = score(m, [Trial("unable")])

    gained = result(m.id, "20", before=unable).change
    lost = result(m.id, "unable", before=a_score(m.id, "20")).change

    assert gained is not None
    assert lost is not None
    assert (gained.verdict, lost.verdict) == ("newly able", "newly unable")


def test_rows_without_verdict_are_shown_and_not_counted() -> None:
    """Suttanon's printed MDC lacks the square root of 2; Blankevoort: do not judge."""
    found = change(
        "five_times_sit_to_stand", "20", "16.9", age=79,
        conditions=["cognitive_impairment"], about={"cognition": "alzheimer"},
    )  # fmt: skip
    not_judged = [r for r in found.readings if r.verdict == "not judged"]

    assert not_judged
    assert found.verdict == "cannot be told"


def test_important_change_is_told_beside_it() -> None:
    """Meretta 2006, vestibular only: an improvement of 2.3 s."""
    found = change(
        "five_times_sit_to_stand", "20", "17", age=60, conditions=["vestibular"]
    )
    said = [r for r in found.readings if r.row and r.row.source == "meretta2006"]

    assert [r.verdict for r in said] == ["important"]


@pytest.mark.parametrize(
    ("then", "now"),
    [
        ({"device": "walker"}, {}),
        ({}, {"device": "walker"}),
        ({}, {"assistance": "hands_on"}),
        ({}, {"seat_height": "22in"}),
        ({}, {"pace": "fast"}),
    ],
)
def test_one_sided_fact_counts_against_the_usual_setup(
    then: dict[str, str], now: dict[str, str]
) -> None:
    """What nobody stated was as it usually is: a walker then is no cane-free now."""
    found = change("timed_up_and_go", "25", "12", age=74, before_facts=then, **now)

    assert found.verdict == "not comparable"
    assert len(found.differs) == 1


def test_usual_setup_stated_once_is_comparable() -> None:
    found = change(
        "five_times_sit_to_stand", "20", "12", age=74, sex="female",
        seat_height="17.5in", device="none",
    )  # fmt: skip

    assert found.verdict == "real gain"


def test_newly_able_in_an_easier_setup_is_not_said() -> None:
    m = measure("five_times_sit_to_stand")
    unable = score(m, [Trial("unable")])
    found = result(m.id, "20", before=unable, arms_used="yes").change

    assert found is not None
    assert found.verdict == "not comparable"
    assert "arms used" in found.says


def test_printed_limit_is_the_limit_judged_by() -> None:
    """Nordin 2006: 35 % of 9.7 s is 3.395 s, printed 3.40: 3.4 s is not beyond it."""
    found = change("timed_up_and_go", "9.7", "6.3", age=85, setting="institution")
    said = [r for r in found.readings if r.row and r.row.source == "nordin2006"]

    assert [r.crossed for r in said] == [False]


@pytest.mark.parametrize(
    ("before", "error"),
    [("0.39m/s", "0.10"), ("0.40m/s", "0.15"), ("0.80m/s", "0.15"), ("0.81m/s", "0.18"),
     ("1.28ft/s", "0.33"), ("1.32ft/s", "0.49")],
)  # fmt: skip
def test_error_by_first_speed_whatever_its_unit(before: str, error: str) -> None:
    """Lewek 2019, chronic stroke, m/s: 0.10 below 0.4, 0.15 to 0.8, 0.18 above."""
    unit = before.lstrip("0123456789.")
    found = change("gait_speed", before, f"2.0{unit}", age=66, conditions=["stroke"])

    fitting = [
        r for r in found.readings if r.row and r.row.source == "lewek2019" and r.matched
    ]
    assert [str(r.threshold) for r in fitting] == [error]


@pytest.mark.parametrize(
    ("test", "before", "now"),
    [
        ("gait_speed", {"start": "static"}, {"start": "dynamic"}),
        ("gait_speed", {"course": "4m"}, {"course": "10m"}),
        ("gait_speed", {"pace": "usual"}, {"pace": "fast"}),
        ("gait_speed", {}, {"run_out": "no"}),
        ("single_leg_stance", {"limit": "30"}, {"limit": "45"}),
        ("single_leg_stance", {"leg": "left"}, {"leg": "right"}),
        ("tandem_stance", {"rear_foot": "left"}, {"rear_foot": "right"}),
        ("turn_360", {"direction": "left"}, {"direction": "right"}),
    ],
)
def test_another_way_or_side_is_no_change(
    test: str, before: dict[str, str], now: dict[str, str]
) -> None:
    unit = "m/s" if test == "gait_speed" else "s"
    found = change(test, f"1.0{unit}", f"1.5{unit}", age=74, before_facts=before, **now)

    assert found.verdict == "not comparable"
