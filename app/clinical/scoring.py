"""Trials to one score by the test's own rule. A score is derived, never typed.

Only a completed trial has a number. `unable` is a result in its own right: never zero,
never blank. Voided and practice trials never count.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from typing import Final

from app.clinical.composing import OTHER_RULES
from app.clinical.measure import Measure, Variant
from app.clinical.phases import phase_seconds
from app.clinical.quantities import BadNumber, alike, convert, parse
from app.clinical.quantities import words as with_unit
from app.clinical.scores import NotScorable, Part, Score, TooFewTrials, Trial
from app.clinical.setup import facts_differ
from app.clinical.vocabulary import Outcome

__all__ = ["NotScorable", "Part", "Score", "TooFewTrials", "Trial"]

_WORST_FIRST: Final[tuple[Outcome, ...]] = (
    "stopped",
    "unable",
    "declined",
    "not_done",
)


class OutsideRange(BadNumber):
    """A number no trial of this test is likely to have; somebody may stand by it."""


def read_trial(measure: Measure, text: str) -> Trial:
    """A completed trial from what was typed; OutsideRange when it is not plausible."""
    trial = read_any_trial(measure, text)
    first = measure.trial_units[0]
    if not alike(trial.unit, first):
        return trial  # a speed said as such, not timed
    in_first = convert(_number(trial), trial.unit, first)
    if not measure.lowest <= in_first <= measure.highest:
        high = with_unit(measure.highest, first)
        raise OutsideRange(
            f"{with_unit(_value(trial), trial.unit)} is outside what a trial can be "
            f"({measure.lowest} to {high}). Check the number and the unit."
        )
    return trial


def read_any_trial(measure: Measure, text: str) -> Trial:
    """The same whatever its size, for what somebody has looked at and stands by."""
    value, unit = parse(text, measure.trial_units)
    return Trial("completed", value, unit)


def between_marks(measure: Measure, start: str, end: str, unit: str) -> Trial:
    """A distance read as two marks on the tape; the end must lie past the start."""
    marks = []
    for name, text in (("start", start), ("end", end)):
        try:
            at_zero = re.fullmatch(r"0(\.0{1,3})?", text.strip(), re.ASCII)
            marks.append(Decimal(0) if at_zero else parse(text, (unit,))[0])
        except BadNumber as fault:
            raise BadNumber(f"The {name} mark: {fault}") from fault
    if marks[1] <= marks[0]:
        raise BadNumber(
            f"The end mark ({marks[1]} {unit}) must lie past the start ({marks[0]} "
            f"{unit}). Read both marks again."
        )
    return read_trial(measure, f"{marks[1] - marks[0]}{unit}")


def score(
    measure: Measure,
    trials: Sequence[Trial],
    *,
    variant: str | None = None,
    facts: Mapping[str, str] | None = None,
    paired: Mapping[str, Score] | None = None,
    body: Mapping[str, Fraction] | None = None,
) -> Score:
    """Apply the variant's rule to the counted trials.

    Raise TooFewTrials while more are needed, NotScorable when there are too many.
    `paired` holds scores of other tests of the same day, by measure id; `body` the
    height in m and the mass in kg, for tests that compute with them.
    """
    rule = measure.variant(variant)
    counted = [t for t in trials if not t.voided and not t.practice]
    blank = Score(
        measure.id, "completed", rule.id, measure.units[0], trials=tuple(counted),
        facts=dict(facts or {}),
    )  # fmt: skip
    if rule.take in OTHER_RULES:
        made = OTHER_RULES[rule.take](measure, rule, blank, paired or {}, body or {})
        return made or _without_value(blank, 0, rule)
    return _of_like_trials(measure, rule, blank, paired or {})


def _of_like_trials(
    measure: Measure, rule: Variant, blank: Score, paired: Mapping[str, Score]
) -> Score:
    """A mean or a best of the counted trials."""
    facts = blank.facts
    done = [t for t in blank.trials if t.outcome == "completed"]
    if len(done) < rule.of:
        return _without_value(blank, len(done), rule)
    if len(done) > rule.of:
        raise NotScorable(
            f"{len(done)} trials for a rule that takes {rule.of} ({rule.label})."
            f"{_other_rules(measure, len(done))}"
        )
    unit = _unit(measure, done)
    values = [_in_unit(measure, t, unit, facts) for t in done]
    value = _take(rule, measure, values)
    made = replace(
        blank,
        unit=unit,
        value=value,
        beside=_beside(measure, rule, values),
        parts=_parts(measure, value, paired, facts)
        | _walked(measure, rule, done, facts)
        | _phases(measure, rule, done),
    )
    return by_zero_rule(measure, made)


def by_zero_rule(measure: Measure, score: Score) -> Score:
    """Scored 0 where the test's own rule says so; the count itself stands beside it."""
    rule = measure.zero
    if rule is None or score.value is None:
        return score
    by_setup = any(score.facts.get(k) in values for k, values in rule.when.items())
    if not by_setup and all(t.inputs.get(rule.input) != "yes" for t in score.trials):
        return score
    counted = {rule.quantity: Part(score.value, score.unit, rule.label)}
    parts = {**score.parts, **(counted if score.value else {})}
    return replace(score, value=Fraction(0), reason=rule.says, parts=parts)


def is_zero_by_rule(measure: Measure, score: Score) -> bool:
    """Whether the rule made it 0, not that nothing was done."""
    return measure.zero is not None and score.reason == measure.zero.says


def _value(trial: Trial) -> Decimal:
    if trial.value is None:
        raise NotScorable("A completed trial has no number.")
    return trial.value


def _number(trial: Trial) -> Fraction:
    return Fraction(_value(trial))


def _unit(measure: Measure, done: Sequence[Trial]) -> str:
    """The unit the last trial was entered in; a time over a course makes m/s."""
    unit = done[-1].unit
    return unit if unit in measure.units else measure.units[0]


def _in_unit(
    measure: Measure, trial: Trial, unit: str, facts: Mapping[str, str]
) -> Fraction:
    """The trial's number in the score's unit; a time becomes the course's speed."""
    number = _number(trial)
    if measure.kind != "speed" or trial.unit != "s":
        return convert(number, trial.unit, unit)
    metres = measure.course.get(facts.get("course", ""))
    if metres is None:
        raise NotScorable(
            "Say how long the course was: without it a time is no speed. "
            f"It can be {', '.join(measure.course)}."
        )
    return convert(Fraction(metres) / number, "m/s", unit)


def _walked(
    measure: Measure, rule: Variant, done: Sequence[Trial], facts: Mapping[str, str]
) -> dict[str, Part]:
    """How long the course took: some limits are times over one course, no speeds."""
    metres = measure.course.get(facts.get("course", ""))
    if measure.kind != "speed" or metres is None:
        return {}
    seconds = [
        _number(t)
        if t.unit == "s"
        else Fraction(metres) / convert(_number(t), t.unit, "m/s")
        for t in done[-rule.last :]
    ]
    mean = sum(seconds, Fraction(0)) / len(seconds)
    taken = min(seconds) if rule.take == "best" else mean
    return {"course_seconds": Part(taken, "s", "time over the course")}


def _phases(measure: Measure, rule: Variant, done: Sequence[Trial]) -> dict[str, Part]:
    """Its parts where every moment was marked, over the trials the score is made of."""
    taken = list(done[-rule.last :])
    if rule.take == "best":
        best = min if measure.better == "lower" else max
        taken = [best(taken, key=_number)]
    found = phase_seconds(measure.phases, measure.splits, [t.splits for t in taken])
    labels = {phase.quantity: phase.label for phase in measure.phases}
    return {name: Part(value, "s", labels[name]) for name, value in found.items()}


def _take(rule: Variant, measure: Measure, values: Sequence[Fraction]) -> Fraction:
    last = values[-rule.last :]
    if rule.take == "mean":
        return sum(last, Fraction(0)) / len(last)
    return min(last) if measure.better == "lower" else max(last)


def _beside(
    measure: Measure, rule: Variant, values: Sequence[Fraction]
) -> dict[str, Fraction]:
    return {
        v.id: _take(v, measure, values)
        for v in measure.variants
        if v.id != rule.id and v.of == len(values) and v.of > 1
    }


def _without_value(blank: Score, done: int, rule: Variant) -> Score:
    """The worst of what else happened; more trials are needed when nothing did."""
    outcomes = {t.outcome for t in blank.trials}
    for outcome in _WORST_FIRST:
        if outcome in outcomes:
            reason = next(t.reason for t in blank.trials if t.outcome == outcome)
            return replace(blank, outcome=outcome, reason=reason)
    raise TooFewTrials(done, rule.of, rule.label)


def _other_rules(measure: Measure, count: int) -> str:
    fitting = [v.id for v in measure.variants if v.of == count]
    return f" For {count} trials use the variant {' or '.join(fitting)}." * bool(
        fitting
    )


def _parts(
    measure: Measure,
    value: Fraction,
    paired: Mapping[str, Score],
    facts: Mapping[str, str],
) -> dict[str, Part]:
    """Quantities made with the paired test, if that was done in the same set-up."""
    parts: dict[str, Part] = {}
    for pair in measure.pairs:
        other = paired.get(pair.measure)
        if other is None or other.value is None:
            continue
        mine, theirs = (
            {k: v for k, v in kept.items() if k in pair.same}
            for kept in (facts, other.facts)
        )
        if facts_differ(measure, mine, theirs):
            continue
        rule = difference if pair.rule == "difference" else dual_task_effect
        made = rule(other.value, value)
        parts[pair.quantity] = Part(made, pair.unit, pair.label)
    return parts


def difference(single: Fraction, dual: Fraction) -> Fraction:
    """Time with the second task minus plain time, seconds; positive = slower.

    Source of use: Lundin-Olsson 1998 (key lundinolsson1998).
    """
    return dual - single


def dual_task_effect(
    single: Fraction, dual: Fraction, *, better: str = "lower"
) -> Fraction:
    """Dual-task effect in percent; NEGATIVE means worse with two tasks.

    Time (lower is better): -(dual - single) / single x 100. Rates and scores
    (higher is better): (dual - single) / single x 100. Source: plummer2015.
    """
    change = (dual - single) / single * 100
    return -change if better == "lower" else change
