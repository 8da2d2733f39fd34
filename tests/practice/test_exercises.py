"""Exercises of scoring: each has one key, and it is what the real functions say."""

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest

from app.catalogue.load import catalogue
from app.clinical.change import judge_change
from app.clinical.measure import Measure
from app.clinical.measure_line import measure_line
from app.clinical.reading import read
from app.clinical.scores import NotScorable, Score
from app.clinical.scoring import score
from app.clinical.setup import deviations, facts_differ
from app.practice.asking import NONE, Step, grade, knows, read_score
from app.practice.draws import Draws
from app.practice.exercises import Exercise, exercise, exercise_about, takes
from app.practice.line_step import RISK
from app.practice.reading_steps import CHANGES
from app.practice.rules import LEVELS, RULES, STEPS
from app.practice.scoring_case import setup_words

SHELF = catalogue()
TESTS = SHELF.measures
TAKEN = {m.id: m for m in SHELF.measures.values() if takes(m)}
SEEDS = range(20)
PRESSURE, BATTERY = "orthostatic_vitals", "short_physical_performance_battery"
#: Rules that few tests' exercises turn on.
RARE = {
    "zero_by_rule": "thirty_second_chair_stand",
    "change_sources_differ": "timed_up_and_go",
    "fall_rule": PRESSURE,
    **dict.fromkeys(
        (
            "points_by_table",
            "unable_part_zero",
            "part_counts",
            "part_other_way",
            "part_missing",
        ),
        BATTERY,
    ),
}


def of(measure: Measure, level: int) -> Iterator[Exercise]:
    for seed in SEEDS:
        yield exercise(measure, level, seed * 7919 + level, TESTS)


def right_answer(step: Step) -> str:
    if step.number is not None:
        return f"number:{step.number}"
    return ",".join(o.id for o in step.options if o.right) or NONE


def test_every_test_but_a_computed_power_has_exercises() -> None:
    assert set(TESTS) - set(TAKEN) == {"sit_to_stand_power"}


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("measure", TAKEN.values(), ids=lambda m: m.id)
def test_key_is_what_the_real_functions_say(measure: Measure, level: int) -> None:
    for made in of(measure, level):
        steps = {s.key: s for s in made.steps}
        case, rule = made.case, made.case.variant.id
        off = deviations(measure, case.facts)
        chosen = {o.id: o.right for o in steps["set_up"].options}
        assert chosen == {"a": not off, "b": bool(off)}
        try:
            now = score(measure, case.trials, variant=rule, facts=case.facts,
                        paired=case.paired)  # fmt: skip
        except NotScorable:
            assert list(steps) == ["trials", "score", "set_up"]
            assert right_answer(steps["score"]) == "few"
            continue
        assert list(steps) == list(STEPS)
        before = score(measure, case.before, variant=rule, facts=case.before_facts,
                       paired=case.before_paired)  # fmt: skip
        result = read(measure, now, case.person, before=before)
        assert steps["score"].number == now.shown
        if now.shown is None:
            assert right_answer(steps["score"]) == "unable"
        assert result.change is not None
        assert steps["change"].answer == (CHANGES[result.change.verdict][0],)
        line = measure_line(result, setup=setup_words(measure, case.facts))
        assert steps["line"].answer == (line.text,)
        _source_is(made, steps["source"])


def _source_is(made: Exercise, step: Step) -> None:
    assert made.result is not None
    lead = made.result.leading
    (right,) = [o for o in step.options if o.right]
    assert len(step.options) > 1
    if lead is None or lead.row is None:
        assert right.words == ("None of these may lead",)
    else:
        short = made.case.measure.sources[lead.row.source].short
        assert right.words[0].startswith(f"{short}: {lead.row.population}")


@pytest.mark.parametrize("measure", TAKEN.values(), ids=lambda m: m.id)
def test_trials_that_count_alone_make_the_same_result(measure: Measure) -> None:
    """What the key leaves out changes nothing; what it takes cannot be missed."""
    for level in LEVELS:
        for made in of(measure, level):
            if made.result is None:
                continue
            ids = {o.id for o in made.steps[0].options if o.right}
            if measure.components:
                _parts_alone_make_it(made, ids)
                continue
            kept = [t for n, t in enumerate(made.case.trials, 1) if str(n) in ids]
            rule, facts = made.case.variant.id, made.case.facts
            alone = score(measure, kept, variant=rule, facts=facts)

            assert ids
            assert (alone.outcome, alone.value) == (
                made.result.score.outcome,
                made.result.score.value,
            )
            assert not any(t.voided or t.practice for t in kept)


def _parts_alone_make_it(made: Exercise, ids: set[str]) -> None:
    """All parts are taken where there is a total, and each of them is needed."""
    case, parts = made.case, [c.measure for c in made.case.measure.components]
    assert made.result is not None
    assert ids == {str(n) for n, _ in enumerate(parts, 1)}
    for part in parts:
        rest = {k: v for k, v in case.paired.items() if k != part}
        with pytest.raises(NotScorable, match="Still missing"):
            score(case.measure, (), facts=case.facts, paired=rest)


@pytest.mark.parametrize("measure", TAKEN.values(), ids=lambda m: m.id)
def test_wrong_lines_differ_in_their_one_thing(measure: Measure) -> None:
    for level in LEVELS:
        for made in of(measure, level):
            step = made.step("line")
            if step is None or made.result is None:
                continue
            true = next(o for o in step.options if o.right)
            wrong = [o for o in step.options if not o.right]
            assert len({o.words for o in step.options}) == 3
            assert len({o.rule for o in wrong}) == 2
            assert "at risk" not in " ".join(true.words)
            for option in wrong:
                _wrong_in_one_thing(made, true.words, option.words, option.rule)


def _wrong_in_one_thing(
    made: Exercise, true: tuple[str, ...], said: tuple[str, ...], rule: str
) -> None:
    differ = [(a, b) for a, b in zip(true, said, strict=True) if a != b]
    ((was, told),) = differ  # one part of the line
    if rule == "line_risk_words":
        assert told == f"{was} {RISK}"
    elif rule == "line_set_up":
        assert was == true[0]
    elif rule == "line_direction":
        pairs = zip(was.split(), told.split(), strict=True)
        turned = {(a.strip(".,:;"), b.strip(".,:;")) for a, b in pairs if a != b}
        assert turned
        assert all(a != b for a, b in turned)
        assert was == true[-1]
    else:
        assert rule == "line_compares"
        assert facts_differ(made.case.measure, made.case.facts, made.case.before_facts)
        assert was.startswith("Not comparable")


def test_turned_line_names_the_opposite_verdict() -> None:
    """A real gain is told as a real loss, and never as itself."""
    seen = 0
    for made in of(TAKEN["timed_up_and_go"], 1):
        step = made.step("line")
        assert step is not None
        for option in step.options:
            change = made.result.change if made.result else None
            if option.right or option.rule != "line_direction" or change is None:
                continue
            seen += 1
            faster = " faster" in change.says
            assert (" slower" if faster else " faster") in option.words[-1]
            assert (" faster" if faster else " slower") not in option.words[-1]

    assert seen


def test_same_seed_makes_the_same_exercise() -> None:
    measure = TAKEN["four_square_step"]

    assert (
        exercise(measure, 4, 99, TESTS).steps == exercise(measure, 4, 99, TESTS).steps
    )
    assert (
        exercise(measure, 4, 99, TESTS).steps != exercise(measure, 4, 100, TESTS).steps
    )


def test_draws_are_the_same_everywhere() -> None:
    """Written down once: another row would make every kept seed another exercise."""
    draws = Draws(2026)

    assert [draws.whole(1, 6) for _ in range(8)] == [1, 4, 4, 6, 1, 2, 4, 4]
    assert sorted(draws.mixed("abcdef")) == list("abcdef")


@pytest.mark.parametrize("level", LEVELS)
def test_only_the_right_answer_is_right(level: int) -> None:
    for measure in TAKEN.values():
        made = exercise(measure, level, 11, TESTS)
        for step in made.steps:
            assert knows(step, right_answer(step).partition(":")[0])
            assert grade(step, right_answer(step)).right
            if step.kind == "one":
                others = [o.id for o in step.options if not o.right]
                assert not any(grade(step, said).right for said in others)
            for found in (grade(step, o.id if step.kind != "score" else "few")
                          for o in step.options):  # fmt: skip
                assert found.rule in RULES


def counted(number: str, exact: str) -> Step:
    made = exercise(TAKEN["timed_up_and_go"], 1, 3, TESTS).steps[1]
    assert made.number is not None

    return replace(
        made, number=Decimal(number), exact=Fraction(exact), rule="mean_rule"
    )


@pytest.mark.parametrize(
    ("said", "right", "rule"),
    [
        ("18.5", True, "mean_rule"),
        ("18.50", True, "mean_rule"),
        ("18.4", False, "rounding"),
        ("18.45", False, "rounding"),
        ("18.6", False, "mean_rule"),
        ("17.0", False, "mean_rule"),
    ],
)
def test_half_is_rounded_up_and_other_numbers_are_other_mistakes(
    said: str, right: bool, rule: str
) -> None:
    step = counted("18.5", "18.45")

    found = grade(step, read_score(step, "number", said))

    assert (found.right, found.rule) == (right, rule)


def test_right_answer_meets_the_rule_that_was_wanted() -> None:
    made = exercise(TAKEN["five_times_sit_to_stand"], 2, 5, TESTS)
    step = made.step("source")
    assert step is not None
    wanted = next(o.rule for o in step.options if o.rule != step.rule)

    assert grade(step, right_answer(step), wanted).rule == wanted
    assert grade(step, right_answer(step), "practice_trial").rule == step.rule


@pytest.mark.parametrize("rule", RULES)
def test_every_rule_is_met_at_its_level(rule: str) -> None:
    level = max(RULES[rule].level, 2)
    tests = [TAKEN[RARE[rule]]] if rule in RARE else list(TAKEN.values())
    met = [exercise_about(rule, tests, level, seed, TESTS) for seed in (1, 5000, 90000)]

    assert any(rule in made.rules for made in met)


def test_compared_anyway_line_is_no_verdict_of_the_real_comparison() -> None:
    made = exercise_about("line_compares", list(TAKEN.values()), 3, 40, TESTS)
    assert made.result is not None

    real = judge_change(
        made.case.measure, made.case.person, made.result.score, made.earlier
    )

    assert real.verdict == "not comparable"


@pytest.mark.parametrize("level", LEVELS)
def test_a_fall_is_to_the_lowest_of_one_and_three_minutes(level: int) -> None:
    """Worked out anew from what is told of each reading, never from the score."""
    for made in of(TAKEN[PRESSURE], level):
        if made.result is None or made.result.score.value is None:
            continue
        counted = [t.trial for t in made.case.tried if not t.trial.voided]
        told = [t.told for t in made.case.tried if not t.trial.voided]
        upright = [t.value for t in counted
                   if t.inputs["when"] in ("standing_1", "standing_3")]  # fmt: skip
        first = counted[0].value
        assert first is not None
        lowest = min(v for v in upright if v is not None)

        assert made.step("score").number == first - lowest  # type: ignore[union-attr]
        assert (
            f"From {first} in the first reading to {lowest}," in made.steps[1].because
        )
        assert all(
            f"{t.value}/" in words for t, words in zip(counted, told, strict=True)
        )
        assert made.steps[1].rule == "fall_rule"


#: What is drawn of a battery, its points as the published bands give them by hand.
POINTS = {
    "walk_3m": ((Decimal("3.62"), 4), (Decimal("4.65"), 3), (Decimal("6.52"), 2)),
    "walk_4m": ((Decimal("4.81"), 4), (Decimal("6.20"), 3), (Decimal("8.70"), 2)),
    "chair": ((Decimal("11.19"), 4), (Decimal("13.69"), 3), (Decimal("16.69"), 2)),
}


def by_hand(table: str, part: Score) -> int:
    """The faster of its trials, looked up; unable is worth nothing."""
    if part.outcome == "unable":
        return 0
    best = min(t.value for t in part.trials if t.value is not None)
    return next((points for most, points in POINTS[table] if best <= most), 1)


@pytest.mark.parametrize("level", LEVELS)
def test_a_total_is_the_sum_of_its_parts_by_hand(level: int) -> None:
    """From the times that are told: walk and chair by tables typed here."""
    seen = 0
    for made in of(TAKEN[BATTERY], level):
        if made.result is None or made.result.score.value is None:
            continue
        parts = made.result.score.parts
        hand = {
            "walk": by_hand(f"walk_{made.case.facts['course']}",
                            made.case.paired["gait_speed"]),
            "chair": by_hand("chair", made.case.paired["five_times_sit_to_stand"]),
        }  # fmt: skip
        seen += 1

        assert {k: int(parts[k].value) for k in hand} == hand
        total = sum(p.value for p in parts.values())
        assert made.step("score").number == total  # type: ignore[union-attr]
        assert f"= {total}." in made.steps[1].because
        assert any(f"walk {made.case.facts['course']}" in line
                   for line in made.steps[1].shown)  # fmt: skip
    assert seen > 5


def test_a_part_that_is_lacking_leaves_the_total_open() -> None:
    lacking = {"part_other_way": 0, "part_missing": 0}
    for seed in range(60):
        made = exercise(TAKEN[BATTERY], 4, seed, TESTS)
        wrong = [o for o in made.steps[0].options if not o.right]
        assert bool(wrong) is (made.result is None)
        for option in wrong:
            lacking[option.rule] += 1
        if wrong:
            assert right_answer(made.steps[1]) == "few"
            assert "no total" in made.steps[1].answer[0]

    assert min(lacking.values()) > 2
