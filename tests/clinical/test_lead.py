"""Which reading leads: worked choices, each with the reason for it.

The order (fits; own condition; falls or function; prospective or pooled; accuracy;
size; how known) is the program's own; the rows are the sources named.
"""

from typing import Any

import pytest

from tests.clinical.reading_for import of, result

CHOICES: list[tuple[str, str, str, dict[str, Any], str | None, str | None]] = [
    # name, test, score, person and set-up, source that leads (None: none), its limit
    ("older-woman", "five_times_sit_to_stand", "16.2",
     {"age": 74, "sex": "female"}, "buatois2008", "15.0"),
    ("older-man-of-92", "timed_up_and_go", "14",
     {"age": 92, "sex": "male", "setting": "community"}, "kojima2015", "12.6"),
    ("parkinson-stands", "five_times_sit_to_stand", "16.2",
     {"age": 74, "conditions": ["parkinson"]}, "duncan2011fts", "16.0"),
    ("parkinson-walk", "timed_up_and_go", "14",
     {"age": 68, "conditions": ["parkinson"]}, "nocera2013", "11.5"),
    ("stroke", "five_times_sit_to_stand", "16.2",
     {"age": 66, "conditions": ["stroke"]}, "beninato2009", "17.9"),
    ("vestibular-at-58", "timed_up_and_go", "14",
     {"age": 58, "conditions": ["vestibular"]}, "whitney2004tug", "11.1"),
    # At 58 only recalled rows speak of a vestibular disorder; a healthy norm leads.
    ("vestibular-at-58-stands", "five_times_sit_to_stand", "16.2",
     {"age": 58, "conditions": ["vestibular"]}, "bohannon2010fts", None),
    ("new-below-knee-amputation", "timed_up_and_go", "20",
     {"age": 58, "conditions": ["amputation"],
      "about": {"time_since": "first_months", "amputation_level": "below_knee"}},
     "dite2007", "19.0"),
    ("long-standing-amputation", "timed_up_and_go", "20",
     {"age": 58, "conditions": ["amputation"],
      "about": {"time_since": "established"}}, "sawers2020", "8.17"),
    # The 24 s limit was set as fast as is safe, with a rollator, fastest of three.
    ("hip-fracture-with-rollator", "timed_up_and_go", "25",
     {"age": 82, "conditions": ["hip_fracture"], "setting": "acute",
      "variant": "fastest_of_three", "pace": "fast", "device": "rollator"},
     "kristensen2007", "24.0"),
    # What fits are adjusted means with another aid: kept in sight, no verdict.
    (
        "hip-fracture-with-walker-at-usual-pace",
        "timed_up_and_go",
        "26",
        {
            "age": 82,
            "conditions": ["hip_fracture"],
            "setting": "acute",
            "device": "walker",
        },
        None,
        None,
    ),
    ("early-dementia", "timed_up_and_go", "14",
     {"age": 79, "conditions": ["cognitive_impairment"],
      "about": {"cognition": "mild_to_moderate"}}, "jrrd2014ci", None),
    # The only MS cut-off's own authors call it no use: their clinic's average leads.
    ("multiple-sclerosis", "timed_up_and_go", "14",
     {"age": 45, "conditions": ["ms"]}, "kalron2017", None),
    ("no-age-given", "timed_up_and_go", "14", {}, "kojima2015", "12.6"),
    ("age-by-year-only", "five_times_sit_to_stand", "13.0",
     {"age": (79, 80)}, "buatois2008", "15.0"),
    ("seat-too-high", "five_times_sit_to_stand", "16.2",
     {"age": 74, "sex": "female", "seat_height": "20in"}, None, None),
    ("flat-tape-squares", "four_square_step", "15.6",
     {"age": 76, "marker": "flat"}, None, None),
    ("arms-used", "five_times_sit_to_stand", "12",
     {"age": 74, "arms_used": "yes"}, None, None),
    ("two-sources-disagree", "five_times_sit_to_stand", "13.9",
     {"age": 74, "setting": "community"}, "buatois2008", "15.0"),
    ("reach-community", "functional_reach", "8in",
     {"age": 81, "sex": "male", "setting": "community"}, "duncan1992", "10"),
    ("reach-stroke", "functional_reach", "17cm",
     {"age": 66, "conditions": ["stroke"], "setting": "community"},
     "alenazi_stroke", "18.15"),
    ("unable", "five_times_sit_to_stand", "unable", {"age": 74}, "zhang2013", None),
    ("young-and-well", "four_square_step", "7", {"age": 45}, None, None),
    ("walk-of-10-ft-at-80", "gait_speed", "0.70m/s",
     {"age": 80, "setting": "community", "course": "10ft"}, "middleton2016", "0.76"),
    ("walk-of-10-ft-in-seconds", "gait_speed", "4.4s",
     {"age": 80, "setting": "community", "course": "10ft"}, "middleton2016", "0.76"),
    ("walk-of-4-m-at-80", "gait_speed", "0.75m/s",
     {"age": 80, "setting": "community", "course": "4m"}, "quach2011", "1.0"),
    ("very-fast-walker", "gait_speed", "1.35m/s",
     {"age": 72, "setting": "community", "course": "4m"}, "quach2011", "1.3"),
    ("fast-pace-has-its-own-limit", "gait_speed", "1.00m/s",
     {"age": 75, "pace": "fast", "course": "10ft"}, "middleton2016", "1.13"),
    # On a ward no community limit speaks; the average of geriatric inpatients does.
    ("walk-on-a-ward", "gait_speed", "0.40m/s",
     {"age": 82, "setting": "acute", "course": "10ft"}, "peel2013", "0.34"),
    ("walk-after-a-recent-stroke", "gait_speed", "0.35m/s",
     {"age": 66, "conditions": ["stroke"], "setting": "community",
      "about": {"time_since": "first_months"}}, "perry1995", "0.4"),
    ("walk-three-years-after-a-stroke", "gait_speed", "0.60m/s",
     {"age": 66, "conditions": ["stroke"], "setting": "community",
      "about": {"time_since": "established"}}, "vandeport2008", "0.66"),
    ("walk-parkinson-on", "gait_speed", "1.00m/s",
     {"age": 70, "conditions": ["parkinson"], "setting": "community",
      "medication": "on"}, "pd10mwt2018", "1.1"),
    # Off medication that limit is silent: the general one of older adults speaks.
    ("walk-parkinson-off", "gait_speed", "1.00m/s",
     {"age": 70, "conditions": ["parkinson"], "setting": "community", "course": "10ft",
      "medication": "off"}, "middleton2016", "0.76"),
    ("walk-days-after-a-hip-fracture", "gait_speed", "0.20m/s",
     {"age": 80, "conditions": ["hip_fracture"], "setting": "acute", "course": "10m",
      "about": {"time_since": "first_week"}}, "hollman2008hip", None),
    ("walk-with-a-hand-on", "gait_speed", "0.40m/s",
     {"age": 80, "course": "10ft", "assistance": "hands_on"}, None, None),
    ("young-man-with-a-run-up", "gait_speed", "1.40m/s",
     {"age": 45, "sex": "male", "course": "10m", "start": "dynamic"},
     "bohannonandrews2011", None),
    ("young-man-from-standing", "gait_speed", "1.40m/s",
     {"age": 45, "sex": "male", "course": "10ft", "start": "static"}, None, None),
    ("one-leg-at-75", "single_leg_stance", "4.0",
     {"age": 75, "setting": "community", "limit": "30"}, "vellas1997", "5.0"),
    # Only a recalled limit speaks of Parkinson disease; it never leads.
    ("one-leg-parkinson-at-55", "single_leg_stance", "8",
     {"age": 55, "conditions": ["parkinson"], "limit": "30"}, None, None),
    ("one-leg-eyes-closed-at-45", "single_leg_stance", "9",
     {"age": 45, "limit": "45", "eyes": "closed"}, "springer2007", None),
    ("one-leg-helped-up", "single_leg_stance", "4.0",
     {"age": 75, "limit": "30", "position_help": "yes"}, None, None),
    ("tandem-at-72", "tandem_stance", "8",
     {"age": 72, "setting": "outpatient"}, "tandem_aid2022", "10.0"),
    ("tandem-held-into-it", "tandem_stance", "8",
     {"age": 72, "setting": "outpatient", "position_help": "yes"}, None, None),
    ("turn-parkinson", "turn_360", "5.6",
     {"age": 68, "conditions": ["parkinson"]}, "soke2020pd", "5.46"),
    ("turn-ms-other-side", "turn_360", "3.7",
     {"age": 45, "conditions": ["ms"], "dominance": "non_dominant"},
     "soke2019ms", "3.75"),
    # Patients against healthy people, and a line of a scale: neither may lead.
    ("turn-stroke", "turn_360", "4.5",
     {"age": 66, "conditions": ["stroke"]}, None, None),
]  # fmt: skip


@pytest.mark.parametrize(
    ("test", "score", "person", "source", "limit"),
    [pytest.param(*row[1:], id=row[0]) for row in CHOICES],
)
def test_the_stated_source_leads(
    test: str, score: str, person: dict[str, Any], source: str | None, limit: str | None
) -> None:
    found = result(test, score, **person)

    leading = found.leading
    assert (leading.row.source if leading and leading.row else None) == source
    if limit is not None:
        assert leading is not None
        assert str(leading.threshold) == limit


def test_no_lead_says_why() -> None:
    found = result("five_times_sit_to_stand", "16.2", age=74, seat_height="20in")

    assert "seat height 20 in" in found.no_lead_because
    assert not found.standard


def test_off_standard_but_easier_and_still_beyond_is_said_as_reasoning() -> None:
    found = result("five_times_sit_to_stand", "19", age=74, seat_height="20in")

    assert any("reasoning, not a published finding" in c for c in found.cautions)


def test_off_standard_and_better_reassures_nobody() -> None:
    found = result("five_times_sit_to_stand", "8", age=74, seat_height="20in")

    assert not any("still lies beyond" in c for c in found.cautions)
    assert any("reassures nobody" in c for c in found.cautions)


def test_setup_a_source_asks_for_is_no_fault() -> None:
    """Kristensen 2007 used a fast pace and a rollator: that set-up has its verdict."""
    found = result(
        "timed_up_and_go", "25", age=82, conditions=["hip_fracture"], setting="acute",
        variant="fastest_of_three", pace="fast", device="rollator",
    )  # fmt: skip

    assert not any("without a verdict" in c for c in found.cautions)
    assert any("used this set-up" in c for c in found.cautions)


def test_disagreeing_sources_are_named() -> None:
    found = result("five_times_sit_to_stand", "13.9", age=74, setting="community")

    said = next(c for c in found.cautions if c.startswith("Sources disagree"))
    assert "Lusardi 2017" in said


@pytest.mark.parametrize("condition", ["parkinson", "stroke", "vestibular", "ms"])
def test_unconfirmed_rows_never_lead(condition: str) -> None:
    for test, score in (("timed_up_and_go", "14"), ("five_times_sit_to_stand", "16")):
        found = result(test, score, age=58, conditions=[condition])

        assert found.leading is None or found.leading.confirmed


def test_patients_against_healthy_never_leads_for_a_patient() -> None:
    found = result("four_square_step", "13", age=66, conditions=["stroke"])

    assert any(r.outcome_type == "health_vs_disease" for r in found.readings)
    assert found.leading is None or found.leading.outcome_type != "health_vs_disease"


def test_condition_changes_what_fits() -> None:
    """One time, four kinds of person: the fitting sources differ."""
    fitting = [
        _fitting(conditions)
        for conditions in ([], ["parkinson"], ["vestibular"], ["stroke"])
    ]

    assert all(a != b for i, a in enumerate(fitting) for b in fitting[i + 1 :])


def test_both_year_ages_are_shown_at_a_bands_edge() -> None:
    """Bohannon 2006: 12.6 s at 70-79, 14.8 s at 80-89; by year either may apply."""
    found = result("five_times_sit_to_stand", "13.0", age=(79, 80))

    bands = {
        str(r.threshold): r.match.assumed
        for r in of(found, "bohannon2006fts")
        if r.matched
    }
    assert bands == {"12.6": ("if still 79",), "14.8": ("if already 80",)}


def test_consensus_line_never_leads() -> None:
    """EWGSOP2's 15 s is a line for probable sarcopenia: shown, and no diagnosis."""
    found = result(
        "five_times_sit_to_stand", "14", age=76, setting="acute",
        conditions=["hip_fracture"],
    )  # fmt: skip
    lines = [r for r in found.readings if r.outcome_type == "protocol_limit"]

    assert lines
    assert found.leading is None or found.leading.outcome_type != "protocol_limit"
    assert all("is above" not in r.says or r.crossed for r in lines)


def test_average_of_fallers_reassures_nobody() -> None:
    """Shumway-Cook 2000: 22.2 s in people who had fallen; 12.4 s is no comfort."""
    unknown = result("timed_up_and_go", "12.4", age=83)
    never = result("timed_up_and_go", "12.4", age=83, about={"fall_history": "none"})

    groups = [
        r.row.fit.group for r in never.readings if r.matched and r.row is not None
    ]
    leads = [f.leading.row for f in (unknown, never) if f.leading]
    assert "fallers" not in groups
    assert all(row is not None and row.fit.group != "fallers" for row in leads)


def test_row_without_verdict_takes_no_side() -> None:
    """Thrane 2007 in women: no better than chance, so no part of a disagreement."""
    found = result("timed_up_and_go", "12.4", age=83, sex="female", setting="community")

    said = " ".join(found.cautions)
    assert "Thrane" not in said
    assert all(not r.near_edge for r in of(found, "thrane2007") if r.no_verdict)


def test_lead_that_rests_on_a_guess_asks_for_the_fact() -> None:
    """Amputation new or long-standing: 19 s (Dite 2007) or 8.17 s (Sawers 2020)."""
    unsaid = result("timed_up_and_go", "10", age=62, conditions=["amputation"])
    said = result(
        "timed_up_and_go", "10", age=62, conditions=["amputation"],
        about={"time_since": "established"},
    )  # fmt: skip

    assert any("needs the opposite" in c for c in unsaid.cautions)
    assert not any("needs the opposite" in c for c in said.cautions)


def _fitting(conditions: list[str]) -> set[str]:
    found = result(
        "five_times_sit_to_stand", "16.2", age=74, sex="female", conditions=conditions
    )
    return {r.row.key for r in found.readings if r.row and r.matched}


def test_a_very_fast_walk_is_never_only_reassured() -> None:
    """Quach 2011: falls rise again from 1.3 m/s, outdoors. Also said over 10 ft."""
    for course, fits in (("4m", True), ("10ft", False)):
        found = result("gait_speed", "1.35m/s", age=75, course=course)
        (fast,) = of(found, "quach2011")

        assert fast.crossed
        assert fast.matched is fits
        assert "outdoors" in fast.says
        said = " ".join((*(r.says for r in found.readings), *found.cautions)).lower()
        assert "low risk" not in said
