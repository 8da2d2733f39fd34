"""Screening pathways, branch by branch: what is met, what is missing, where it ends."""

from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import product
from typing import Any

import pytest

from app.catalogue.load import catalogue
from app.clinical.guide import Check
from app.clinical.pathway import Known, Need, Pathway, Step, Taken, Walk, walk
from app.clinical.person import Person
from app.clinical.screening import QUESTIONS, contradicted

PATHS = catalogue().pathways
UNITS = {"gait_speed": "m/s", "orthostatic_vitals": "mmHg"}
#: One fall, and none of the signs that make it severe.
PLAIN_FALL = {
    "falls_12_months": "one", "fall_injury": "no", "could_not_get_up": "no",
    "lost_consciousness": "no", "frailty": "no",
}  # fmt: skip
ALL_NO = {"falls_12_months": "none", "unsteady": "no", "worried": "no"}
CHECKS = [
    pytest.param(p, c, id=f"{p.id}: {c.what}") for p in PATHS.values() for c in p.checks
]


def taken(scores: Mapping[str, str]) -> dict[str, Taken]:
    """`measure` or `measure.part` to a number; `unable` for one that could not be."""
    made: dict[str, Taken] = {}
    for name, text in scores.items():
        measure, _, part = name.partition(".")
        unit = "mmHg" if part.startswith("dia") else UNITS.get(measure, "s")
        value = None if text == "unable" else Fraction(text)
        if part and value is not None:
            made[measure] = Taken(text, parts={part: (value, unit)})
        else:
            made[measure] = Taken(text, value, unit)
    return made


def walked(
    pathway: str,
    answers: Mapping[str, str] | None = None,
    scores: Mapping[str, str] | None = None,
    *,
    age: int | tuple[int, ...] = 80,
    setting: str | None = "community",
    conditions: tuple[str, ...] = (),
    also: Mapping[str, Taken] | None = None,
) -> Walk:
    ages = (age,) if isinstance(age, int) else age
    person = Person(ages, conditions=conditions, setting=setting)
    tests = taken(scores or {}) | dict(also or {})
    return walk(PATHS[pathway], Known(person, answers or {}, tests))


def step(found: Walk, rule: str) -> Step:
    return next(s for s in found.steps if s.rule.id == rule)


def missing(found: Walk) -> set[str]:
    return {need.key for need in found.missing}


@pytest.mark.parametrize(("pathway", "check"), CHECKS)
def test_worked_example_holds(pathway: Pathway, check: Check) -> None:
    given: Mapping[str, Any] = check.given
    found = walked(
        pathway.id, given["answers"], given.get("with", {}), age=given["age"]
    )

    assert found.level == check.expect["level"]
    if "findings" in check.expect:
        assert list(found.findings) == check.expect["findings"]


@pytest.mark.parametrize("setting", ["community", None], ids=["at home", "not said"])
@pytest.mark.parametrize(
    ("answers", "scores", "level"),
    [
        ({"falls_12_months": "none"}, {}, "low"),
        (ALL_NO, {}, "low"),
        (ALL_NO | {"unsteady": "yes"}, {}, ""),
        (ALL_NO | {"worried": "yes"}, {"gait_speed": "0.70"}, ""),
        ({"falls_12_months": "two_or_more"}, {"gait_speed": "1.20"}, "high"),
        (PLAIN_FALL | {"fall_injury": "treated"}, {}, "high"),
        (PLAIN_FALL | {"frailty": "yes"}, {}, "high"),
        (PLAIN_FALL | {"could_not_get_up": "yes"}, {}, "high"),
        (PLAIN_FALL | {"lost_consciousness": "yes"}, {}, "high"),
        (PLAIN_FALL | {"fall_injury": "untreated"}, {"gait_speed": "0.92"}, "low"),
        (PLAIN_FALL, {"gait_speed": "0.80"}, "intermediate"),
        (PLAIN_FALL, {"gait_speed": "0.81"}, "low"),
        (PLAIN_FALL, {"timed_up_and_go": "15.1"}, "intermediate"),
        (PLAIN_FALL, {"timed_up_and_go": "15.04"}, "low"),
        (PLAIN_FALL, {"gait_speed": "0.7", "timed_up_and_go": "9"}, "intermediate"),
        (PLAIN_FALL, {"gait_speed": "0.9", "timed_up_and_go": "16"}, ""),
        ({"falls_12_months": "none", "frailty": "yes"}, {}, "low"),
    ],
)
def test_world_2022_levels(
    answers: dict[str, str], scores: dict[str, str], level: str, setting: str | None
) -> None:
    assert walked("world2022", answers, scores, setting=setting).level == level


@pytest.mark.parametrize("setting", ["institution", "acute", "inpatient"])
def test_world_2022_in_care_is_high_without_scoring(setting: str) -> None:
    found = walked("world2022", ALL_NO, setting=setting)

    assert found.level == "high"
    assert found.by
    assert found.by.rule.id == "in_care"
    assert step(found, "no_fall").state == "not_met"


def test_unsaid_setting_is_assumed_and_told() -> None:
    found = walked("world2022", ALL_NO, setting=None)

    assert found.by
    assert found.by.assumed == ("In hospital, or living in a care home",)


@pytest.mark.parametrize(
    ("answers", "scores", "wanted"),
    [
        ({}, {}, {"falls_12_months"}),
        (PLAIN_FALL, {}, {"gait_speed", "timed_up_and_go"}),
        ({"falls_12_months": "one"}, {"gait_speed": "0.7"},
         {"fall_injury", "could_not_get_up", "lost_consciousness", "frailty"}),
    ],
    ids=["nothing said", "no walk measured", "severity not said"],
)  # fmt: skip
def test_world_2022_says_what_is_missing(
    answers: dict[str, str], scores: dict[str, str], wanted: set[str]
) -> None:
    found = walked("world2022", answers, scores)

    assert found.level == ""
    assert wanted <= missing(found)


def test_unable_walk_is_no_slow_walk_and_no_missing_one() -> None:
    """The rules that were read have no line for a test that could not be done."""
    found = walked("world2022", PLAIN_FALL, {"gait_speed": "unable"})

    assert found.level == ""
    assert Need("unable", "gait_speed") in found.missing


def test_level_of_a_recalled_rule_is_unconfirmed() -> None:
    assert walked("world2022", PLAIN_FALL, {"gait_speed": "0.7"}).unconfirmed
    assert not walked("world2022", PLAIN_FALL, {"timed_up_and_go": "16"}).unconfirmed
    assert not walked("cdc", ALL_NO).unconfirmed


def test_condition_that_raises_risk_is_a_finding_beside_the_level() -> None:
    found = walked("world2022", ALL_NO, conditions=("parkinson",))

    assert (found.level, found.findings) == ("low", ("adapt",))
    assert walked("world2022", ALL_NO).findings == ()


@pytest.mark.parametrize(
    ("answers", "level"),
    [
        (ALL_NO, "not_at_risk"),
        (ALL_NO | {"unsteady": "yes"}, "at_risk"),
        (ALL_NO | {"worried": "yes"}, "at_risk"),
        ({"falls_12_months": "one"}, "at_risk"),
        ({"self_check": "4"}, "at_risk"),
        (ALL_NO | {"self_check": "4"}, "at_risk"),
        (ALL_NO | {"self_check": "3"}, "not_at_risk"),
        ({"self_check": "3"}, ""),
        ({"self_check": "3", "falls_12_months": "none"}, "not_at_risk"),
        ({"self_check": "3", "falls_12_months": "one"}, "at_risk"),
        ({"self_check": "3", "falls_12_months": "none", "worried": "yes"}, "at_risk"),
        ({"falls_12_months": "none", "unsteady": "no"}, ""),
        ({}, ""),
    ],
)
def test_cdc_levels(answers: dict[str, str], level: str) -> None:
    assert walked("cdc", answers).level == level


def test_hurt_without_a_fall_is_a_contradiction_that_settles_nothing() -> None:
    answers = ALL_NO | {"fall_injury": "treated"}

    assert walked("world2022", answers).level == ""
    assert "falls_12_months" in missing(walked("world2022", answers))
    assert walked("cdc_three_level", answers, {"timed_up_and_go": "9"}).level == ""


def test_cdc_missing_answers_are_named() -> None:
    found = walked("cdc", {"falls_12_months": "none", "unsteady": "no"})

    assert {"worried", "self_check"} <= missing(found)
    assert "falls_12_months" not in missing(found)


FALLEN = {"falls_12_months": "one"}


@pytest.mark.parametrize(
    ("scores", "state"),
    [
        ({"timed_up_and_go": "12.0"}, "met"),
        ({"timed_up_and_go": "11.9"}, "open"),
        ({"four_stage_balance.tandem": "9.99"}, "met"),
        ({"four_stage_balance.tandem": "10"}, "open"),
        ({}, "open"),
    ],
)
def test_cdc_gait_step(scores: dict[str, str], state: str) -> None:
    """12 s and over; a tandem stance is compared to the hundredth of a second."""
    assert step(walked("cdc", FALLEN, scores), "gait").state == state


@pytest.mark.parametrize(
    ("beyond", "state"), [(True, "met"), (False, "not_met"), (None, "open")]
)
def test_cdc_chair_stands_by_the_row_that_fits(beyond: bool | None, state: str) -> None:
    rows = {} if beyond is None else {"steadi2017": beyond}
    stands = {"thirty_second_chair_stand": Taken("9", Fraction(9), "count", {}, rows)}
    scores = {"timed_up_and_go": "9", "four_stage_balance.tandem": "10"}
    found = walked("cdc", FALLEN, scores, also=stands)

    assert step(found, "gait").state == state
    assert (Need("person", "row") in found.missing) == (beyond is None)


@pytest.mark.parametrize(
    ("answers", "scores", "state"),
    [
        ({}, {"orthostatic_vitals": "20"}, "met"),
        ({"dizzy_on_standing": "no"}, {"orthostatic_vitals": "19"}, "open"),
        ({"dizzy_on_standing": "yes"}, {}, "met"),
        ({}, {"orthostatic_vitals.diastolic_drop": "10"}, "met"),
    ],
)
def test_cdc_pressure_step(
    answers: dict[str, str], scores: dict[str, str], state: str
) -> None:
    assert step(walked("cdc", FALLEN | answers, scores), "pressure").state == state


def test_cdc_without_risk_asks_for_no_test() -> None:
    found = walked("cdc", ALL_NO)

    assert step(found, "gait").state == "not_met"
    assert missing(found) == set()


def test_not_at_risk_is_not_no_risk() -> None:
    said = [r.text for r in walked("cdc", ALL_NO).remarks]

    assert any(t.startswith("Not at risk is not no risk: 41.3 %") for t in said)
    at_risk = [r.text for r in walked("cdc", FALLEN).remarks]
    assert not any(t.startswith("Not at risk") for t in at_risk)


@pytest.mark.parametrize(
    ("age", "setting", "state"),
    [
        (65, "community", "met"),
        (64, "community", "not_met"),
        ((64, 65), "community", "open"),
        ((), "community", "open"),
        (80, "acute", "not_met"),
        (80, None, "open"),
    ],
)
def test_cdc_is_for_older_people_at_home(
    age: int | tuple[int, ...], setting: str | None, state: str
) -> None:
    found = walked("cdc", age=age, setting=setting)

    assert step(found, "whom").state == state


@pytest.mark.parametrize(
    ("answers", "scores", "level"),
    [
        (ALL_NO, {}, "low"),
        (FALLEN | {"fall_injury": "no"}, {"timed_up_and_go": "11.9"}, "low"),
        (FALLEN | {"fall_injury": "no"}, {"timed_up_and_go": "12"}, "moderate"),
        (ALL_NO | {"worried": "yes"}, {"timed_up_and_go": "12"}, "moderate"),
        (FALLEN | {"fall_injury": "untreated"}, {"timed_up_and_go": "12"}, "high"),
        ({"falls_12_months": "two_or_more"}, {"timed_up_and_go": "12"}, "high"),
        ({"falls_12_months": "two_or_more"}, {"timed_up_and_go": "9"}, "low"),
        ({"falls_12_months": "two_or_more"}, {}, ""),
        (FALLEN, {"timed_up_and_go": "12"}, ""),
    ],
)
def test_cdc_three_levels(
    answers: dict[str, str], scores: dict[str, str], level: str
) -> None:
    assert walked("cdc_three_level", answers, scores).level == level


def test_editions_are_never_mixed() -> None:
    assert set(PATHS["cdc"].names) & set(PATHS["cdc_three_level"].names) == set()
    assert PATHS["cdc"].edition != PATHS["cdc_three_level"].edition


@pytest.mark.parametrize(
    ("age", "answers", "asked", "closer"),
    [
        (65, {"falls_12_months": "two_or_more"}, "met", "met"),
        (65, {"fall_injury": "untreated"}, "met", "met"),
        (65, {"frailty": "yes"}, "met", "met"),
        (65, {"gait_or_balance_problem": "yes"}, "met", "met"),
        (65, {"falls_12_months": "one"}, "met", "open"),
        (65, {"falls_12_months": "none", "frailty": "no",
              "gait_or_balance_problem": "no"}, "met", "not_met"),
        (64, {"risk_factor": "yes", "frailty": "yes"}, "met", "met"),
        (64, {"risk_factor": "no", "frailty": "yes"}, "not_met", "not_met"),
        (64, {"frailty": "yes"}, "open", "open"),
        (49, {"risk_factor": "yes", "frailty": "yes"}, "not_met", "not_met"),
    ],
)  # fmt: skip
def test_nice_2025_finds_and_never_counts(
    age: int, answers: dict[str, str], asked: str, closer: str
) -> None:
    found = walked("nice2025", answers, age=age)

    assert (step(found, "ask").state, step(found, "closer").state) == (asked, closer)
    assert found.level == ""
    assert not found.pathway.percent
    assert found.pathway.accuracy == ()


def _everything(pathway: Pathway) -> Iterator[tuple[dict[str, str], dict[str, str]]]:
    """Every mix of answers, each of them also missing, with quick and slow tests."""
    values: list[list[str | None]] = []
    for key in pathway.questions:
        options = list(QUESTIONS[key].options) or ["3", "4"]
        values.append([None, *options])
    tests: list[dict[str, str]] = [
        {}, {"timed_up_and_go": "9", "gait_speed": "1.2"}, {"timed_up_and_go": "16"},
        {"gait_speed": "0.7"},
    ]  # fmt: skip
    for mix in product(*values):
        said = zip(pathway.questions, mix, strict=True)
        answers = {k: v for k, v in said if v is not None}
        if answers.get("unsteady") != answers.get("worried"):
            continue  # the two play the same part everywhere
        for scores in tests:
            yield answers, scores


@pytest.mark.parametrize("pathway", PATHS.values(), ids=lambda p: p.id)
def test_no_answers_reach_two_levels(pathway: Pathway) -> None:
    for answers, scores in _everything(pathway):
        found = walked(pathway.id, answers, scores)
        met = {s.rule.level for s in found.steps if s.state == "met"} - {""}
        assert len(met) <= 1, (answers, scores, met)


@pytest.mark.parametrize("pathway", ["cdc", "cdc_three_level"])
def test_more_answers_never_lower_what_was_reached(pathway: str) -> None:
    """A level stands on what is known: an answer that was missing cannot undo it."""
    for answers, scores in _everything(PATHS[pathway]):
        level = walked(pathway, answers, scores).level
        gaps = [k for k in PATHS[pathway].questions if k not in answers]
        if not level or level == "not_at_risk":  # that may still be asked on
            continue
        for key, value in ((k, v) for k in gaps for v in QUESTIONS[k].options):
            more = answers | {key: value}
            if not contradicted(more):
                assert walked(pathway, more, scores).level == level, (more, scores)
