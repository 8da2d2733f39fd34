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
