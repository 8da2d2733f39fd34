"""The set-up of a test on a form: asked, remembered from last time, and read back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.clinical.measure import Fact, Measure
from app.clinical.setup import BadFact, asked, fact_words, length, read_facts
from app.storage.trials import RoundTrials, Trial
from app.web.deps import Form


@dataclass(frozen=True, slots=True)
class FactField:
    """One fact as the form shows it. A length has its number and unit apart."""

    fact: Fact
    value: str
    unit: str


@dataclass(frozen=True, slots=True)
class Remembered:
    """The set-up of the latest round of a test, and how it reads."""

    variant: str
    facts: Mapping[str, str]
    words: str


def remembered(measure: Measure, rounds: Sequence[RoundTrials]) -> Remembered | None:
    """The latest set-up that test was tried in; None when it never was."""
    tried = (kept for kept in rounds if any(map(_tried, kept.trials)))
    mine = [kept.round for kept in tried if kept.round.measure == measure.id]
    if not mine:
        return None
    last = mine[-1]
    return Remembered(last.variant, last.facts, setup_words(measure, last.facts))


def _tried(trial: Trial) -> bool:
    return trial.voided_at is None and trial.outcome in (
        "completed",
        "unable",
        "stopped",
    )


def setup_words(measure: Measure, facts: Mapping[str, str]) -> str:
    """The facts that were stated, in one line, without what is as it usually is."""
    said = [
        fact_words(fact, facts[fact.key])
        for fact in measure.facts
        if fact.key in facts and (fact.main or facts[fact.key] != fact.default)
    ]
    return " · ".join(said) or "no set-up was noted"


def fact_fields(
    measure: Measure, conditions: Sequence[str], typed: Form, before: Mapping[str, str]
) -> list[FactField]:
    """What to ask of this person; typed values win over remembered ones."""
    fields = []
    for fact in asked(measure, conditions):
        value = typed.text(f"fact-{fact.key}") or before.get(fact.key, "")
        unit = typed.text(f"unit-{fact.key}")
        if fact.kind == "length" and " " in value:
            number, kept = length(value)
            value, unit = str(number), unit or kept
        fields.append(FactField(fact, value, unit or "in"))
    return fields


def facts_from(measure: Measure, form: Form) -> tuple[dict[str, str], dict[str, str]]:
    """(facts, errors by field name) of a posted set-up. Untouched facts stay out."""
    facts: dict[str, str] = {}
    errors: dict[str, str] = {}
    for fact in measure.facts:
        value = form.text(f"fact-{fact.key}")
        if not value and fact.needed:
            errors[f"fact-{fact.key}"] = f"{fact.label}: say which, for the score."
        if not value:
            continue
        if fact.kind == "length":
            value = f"{value} {form.text(f'unit-{fact.key}') or 'in'}"
        try:
            facts |= read_facts(measure, {fact.key: value})
        except BadFact as fault:
            errors[f"fact-{fact.key}"] = str(fault).replace(fact.key, fact.label, 1)
    return facts, errors
