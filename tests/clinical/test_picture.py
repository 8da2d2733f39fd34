"""The answers of one visit side by side: like with like, and nothing added up."""

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

import pytest

from app.catalogue.load import catalogue
from app.clinical.person import Person
from app.clinical.picture import (
    DOMAINS,
    NO_CLEARANCE,
    Done,
    Picture,
    names_of,
    picture_of,
    repeated,
)
from app.clinical.reading import read
from app.clinical.scoring import Trial, score
from app.clinical.setup import read_facts
from tests.clinical.reading_for import measure, result

SEVENTY = {"age": 75, "sex": "female", "setting": "community"}
SHORT = {
    "timed_up_and_go": "Timed Up and Go",
    "five_times_sit_to_stand": "Five-times stands",
    "four_square_step": "Four square step",
    "functional_reach": "Functional reach",
    "gait_speed": "Gait speed",
    "single_leg_stance": "One-leg stance",
}


def done(measure_id: str, text: str, **facts: str) -> Done:
    """A test of a woman of 75 who lives in the community."""
    found = result(measure_id, text, **SEVENTY, **facts)  # type: ignore[arg-type]
    return Done(measure(measure_id).short, measure(measure_id), found)


def sided(measure_id: str, *, falls: str = "", function: str = "") -> Done:
    """A test whose limits about an outcome all lie on one side: `in`, `out` or both.

    Its readings are those of a real score with the side set, so that a table can ask
    for every mixture whatever the catalogue holds.
    """
    one = done("timed_up_and_go", "13.6", pace="usual")
    assert one.result is not None
    wanted = {"falls": falls, "function": function}
    base = next(
        r
        for r in one.result.readings
        if r.kind == "cutoff"
        and r.matched
        and r.confirmed
        and not r.no_verdict
        and r.outcome_type == "falls"
    )
    readings = [
        replace(base, outcome_type=about, crossed=side == "in", near_edge=False)
        for about, sides in wanted.items()
        for side in sides.split()
    ]
    made = replace(one.result, readings=tuple(readings))
    return Done(SHORT[measure_id], measure(measure_id), made)


def seen(*tests: Done, **facts: str) -> Picture:
    return picture_of(tests, Person((75,), "female", (), "community", facts))


def says(found: Picture, about: str) -> str:
    return next((a.says for a in found.agreements if a.outcome_type == about), "")


TUG, FIVE, STEP, REACH = list(SHORT)[:4]


@pytest.mark.parametrize(
    ("sides", "expected"),
    [
        ({TUG: "in", FIVE: "in", STEP: "in", REACH: "out"},
         "Falls: 3 of 4 results lie beyond their limits (Timed Up and Go, Five-times "
         "stands and Four square step); 1 does not (Functional reach)."),
        ({TUG: "in", FIVE: "out", STEP: "out"},
         "Falls: 1 of 3 results lies beyond its limit (Timed Up and Go); 2 do not "
         "(Five-times stands and Four square step)."),
        ({TUG: "in", FIVE: "in"},
         "Falls: both results lie beyond their limits: Timed Up and Go and Five-times "
         "stands."),
        ({TUG: "out", FIVE: "out"},
         "Falls: neither result lies beyond its limit: Timed Up and Go and Five-times "
         "stands."),
        ({TUG: "in", FIVE: "in", STEP: "in"},
         "Falls: all 3 results lie beyond their limits: Timed Up and Go, Five-times "
         "stands and Four square step."),
        ({TUG: "out", FIVE: "out", STEP: "out"},
         "Falls: none of 3 results lies beyond its limit: Timed Up and Go, Five-times "
         "stands and Four square step."),
        ({TUG: "in"},
         "Falls: one result speaks of it, beyond its limit: Timed Up and Go."),
        ({TUG: "out"},
         "Falls: one result speaks of it, not beyond its limit: Timed Up and Go."),
        ({TUG: "in out"},
         "Falls: no clear answer. Sources disagree within Timed Up and Go, which takes "
         "no side here."),
        ({TUG: "in out", FIVE: "in", STEP: "in"},
         "Falls: both results lie beyond their limits: Five-times stands and Four "
         "square step. Sources disagree within Timed Up and Go, which takes no side "
         "here."),
        ({TUG: "in in", FIVE: "out out"},
         "Falls: 1 of 2 results lies beyond its limit (Timed Up and Go); 1 does not "
         "(Five-times stands)."),
        ({}, ""),
    ],
)  # fmt: skip
def test_answers_about_falls(sides: dict[str, str], expected: str) -> None:
    found = seen(*(sided(test, falls=side) for test, side in sides.items()))

    assert says(found, "falls") == expected


def test_only_answers_about_one_outcome_are_set_against_each_other() -> None:
    found = seen(
        sided(TUG, falls="in"), sided(FIVE, function="out"), sided(STEP, falls="in")
    )

    assert [a.outcome_type for a in found.agreements] == ["falls", "function"]
    assert "both results" in says(found, "falls")
    assert "Five-times stands" not in says(found, "falls")
    assert says(found, "function").endswith("not beyond its limit: Five-times stands.")


def test_real_scores_take_the_side_of_their_published_limits() -> None:
    """Four square step over 15 s (Dite 2002) and a reach under 6 in: beyond."""
    found = seen(done(STEP, "22.0"), done(REACH, "4in"))

    [falls] = [a for a in found.agreements if a.outcome_type == "falls"]
    assert set(falls.beyond) == {"Four square step", "Functional reach"}
    assert falls.others == ()


@pytest.mark.parametrize(
    ("patient_versus_healthy", "kinds"),
    [("health_vs_disease", []), ("protocol_limit", []), ("percentile", []),
     ("death", []), ("falls", ["falls"])],
)  # fmt: skip
def test_diagnosis_lines_and_places_in_a_sample_are_no_answers(
    patient_versus_healthy: str, kinds: list[str]
) -> None:
    one = sided(TUG, falls="in")
    assert one.result is not None
    readings = tuple(
        replace(r, outcome_type=patient_versus_healthy) for r in one.result.readings
    )
    found = seen(replace(one, result=replace(one.result, readings=readings)))

    assert [a.outcome_type for a in found.agreements] == kinds


def test_what_is_close_to_a_limit_is_named() -> None:
    one = sided(TUG, falls="in")
    assert one.result is not None
    readings = tuple(replace(r, near_edge=True) for r in one.result.readings)
    found = seen(
        replace(one, result=replace(one.result, readings=readings)),
        sided(FIVE, falls="in"),
    )

    said = "could fall either side another day: Timed Up and Go."
    assert says(found, "falls").endswith(said)


def test_what_could_not_be_read_says_why_unable_first() -> None:
    found = seen(
        done(TUG, "13.0", assistance="hands_on"),
        Done("Full turn", measure("turn_360"), None, "1 of 2 counted trials."),
        done(FIVE, "unable"),
        done(REACH, "9in"),
    )

    assert [u.name for u in found.unread] == [
        "Five-times stands",
        "Timed Up and Go",
        "Full turn",
    ]
    unable, off, begun = found.unread
    assert unable.why.startswith("Unable.")
    assert off.why.startswith("Not the published set-up")
    assert begun.why == "Not finished. 1 of 2 counted trials."


def test_unable_takes_no_side_about_limits() -> None:
    unable = done(FIVE, "unable")
    found = seen(unable)

    assert found.agreements == ()
    assert found.unread[0].outcome == "unable"


def test_a_crossed_line_of_a_rule_is_said_though_none_leads() -> None:
    """A fall of 30 mmHg lies beyond the consensus line, which never leads."""
    crossed, within = (seen(of_pressure(drop)).unread[0] for drop in (30, 5))

    assert "30 mmHg is at or above 20 mmHg" in crossed.why
    assert "mmHg" not in within.why
    assert seen(of_pressure(30)).agreements == ()


def of_pressure(drop: int) -> Done:
    m = measure("orthostatic_vitals")
    readings = [
        Trial("completed", Decimal(value), "mmHg", inputs={"when": when})
        for when, value in (
            ("lying", 140),
            ("standing_1", 140),
            ("standing_3", 140 - drop),
        )
    ]
    woman = Person((75,), "female", (), "community")
    return Done(m.short, m, read(m, score(m, readings), woman))


def test_the_later_of_two_alike_counts() -> None:
    tests = [done(STEP, "22.0"), done(STEP, "9.0")]
    found = seen(*tests)

    assert [repeated(t, tests) for t in tests] == [True, False]
    [falls] = [a for a in found.agreements if a.outcome_type == "falls"]
    assert falls.beyond == ()
    assert falls.others == ("Four square step",)


def test_another_set_up_of_one_test_stands_beside_it() -> None:
    m = measure(TUG)
    setups = [read_facts(m, {"device": d, "pace": "usual"}) for d in ("none", "cane")]
    names = names_of([(m, facts) for facts in setups])

    assert names == [
        "Timed Up and Go (walking device: none)",
        "Timed Up and Go (walking device: cane)",
    ]
    tests = [done(TUG, "12.0", device="none"), done(TUG, "12.0", device="cane")]
    assert not any(repeated(t, tests) for t in tests)
    assert any("was done in 2 set-ups" in said for said in seen(*tests).apart)
    assert not any("set-ups" in said for said in seen(tests[0]).apart)


def test_an_unfinished_repeat_stands_for_nothing() -> None:
    tests = [done(STEP, "22.0"), Done("Four square step", measure(STEP), None, "0")]

    assert not repeated(tests[0], tests)


def test_a_test_made_with_another_is_no_second_opinion() -> None:
    battery = replace(
        sided(TUG, function="in"),
        name="Performance battery",
        measure=measure("short_physical_performance_battery"),
    )
    walk = replace(
        sided(TUG, function="in"), name="Gait speed", measure=measure("gait_speed")
    )

    assert any(
        "Performance battery is computed with Gait speed" in said
        for said in seen(battery, walk).apart
    )
    assert not any("computed with" in said for said in seen(walk).apart)


def test_read_beside_an_average_is_no_answer_about_falls() -> None:
    one = done("single_leg_stance", "12")
    assert one.result is not None
    norms = tuple(r for r in one.result.readings if r.kind == "norm" and r.matched)
    only = replace(one.result, readings=norms)
    assert only.lead is not None
    only = replace(only, lead=replace(only.lead, index=0))
    found = seen(replace(one, result=only))

    assert found.agreements == ()
    assert "average or a place in a sample only: One-leg stance" in found.apart[0]


@pytest.mark.parametrize(
    ("history", "ends"),
    [
        ({}, NO_CLEARANCE),
        ({"fall_history": "none"}, NO_CLEARANCE),
        ({"fall_history": "one"}, "Here: one fall in the last 12 months."),
        ({"fall_history": "two_or_more"},
         "Here: two or more falls in the last 12 months."),
    ],
)  # fmt: skip
def test_nothing_clears_who_has_fallen(history: dict[str, str], ends: str) -> None:
    said = seen(sided(TUG, falls="out"), **history).cannot_say

    assert any(line.startswith(NO_CLEARANCE) and line.endswith(ends) for line in said)


@pytest.mark.parametrize("tests", [(), ("in",), ("in", "out", "in")])
def test_what_they_cannot_say_is_always_said(tests: Sequence[str]) -> None:
    ids = list(SHORT)
    found = seen(*(sided(ids[n], falls=side) for n, side in enumerate(tests)))

    said = " ".join(found.cannot_say)
    assert "no sum of these answers is a score" in said
    assert "Nor are chances multiplied" in said
    assert "It is no diagnosis" in said


def test_every_domain_of_the_catalogue_has_its_place() -> None:
    assert {m.domain for m in catalogue().measures.values()} == set(DOMAINS)
