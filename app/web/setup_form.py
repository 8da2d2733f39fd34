"""The set-up of a test on a form: asked, remembered from last time, and read back."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final

from app.clinical.measure import Fact, Measure
from app.clinical.setup import BadFact, asked, fact_words, length, read_facts
from app.clinical.source import Source
from app.storage.trials import RoundTrials, Trial
from app.web.deps import Form

_OPPOSITE: Final = {"right": "left", "left": "right"}
#: Facts that say what the tested side is to the person.
_FOLLOWS: Final = frozenset(
    {"dominance", "toward", "leg_side", "weak_side", "rear_kind"}
)


@dataclass(frozen=True, slots=True)
class FactField:
    """One fact as the form shows it. A length has its number and unit apart."""

    fact: Fact
    value: str
    unit: str
    help: str


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


@dataclass(frozen=True, slots=True)
class OtherSide:
    """The fact that names the side, and the side that was not tested, in words."""

    key: str
    words: str


def other_side(measure: Measure, facts: Mapping[str, str]) -> OtherSide | None:
    """Each side is a result of its own: what is left to do after this one."""
    for fact in measure.facts:
        value = facts.get(fact.key, "")
        if fact.main and value in _OPPOSITE and set(fact.options) == set(_OPPOSITE):
            return OtherSide(fact.key, fact.options[_OPPOSITE[value]])
    return None


def swapped(measure: Measure, facts: Mapping[str, str], key: str) -> dict[str, str]:
    """The same set-up on the other side; what follows from the side is turned, too."""
    side = other_side(measure, facts)
    if side is None or side.key != key:
        return dict(facts)
    turned = {**facts, key: _OPPOSITE[facts[key]]}
    for name in _FOLLOWS.intersection(turned):
        fact = measure.fact(name)
        left = [v for v in fact.options if v != turned[name]] if fact else []
        del turned[name]
        if len(left) == 1:  # of three nobody knows which
            turned[name] = left[0]
    return turned


def setup_words(measure: Measure, facts: Mapping[str, str]) -> str:
    """The facts that were stated, in one line, without what is as it usually is."""
    said = [
        fact_words(fact, facts[fact.key])
        for fact in measure.facts
        if fact.key in facts and (fact.main or facts[fact.key] != fact.default)
    ]
    if not said and from_elsewhere(measure):
        return ""  # it is that of the parts or of the readings
    return " · ".join(said) or "no set-up was noted"


def fact_fields(
    measure: Measure, conditions: Sequence[str], typed: Form, before: Mapping[str, str]
) -> list[FactField]:
    """What to ask of this person; typed values win over remembered ones."""
    fields = []
    elsewhere = from_elsewhere(measure)
    for fact in asked(measure, conditions):
        if fact.key in elsewhere:
            continue
        value = typed.text(f"fact-{fact.key}") or before.get(fact.key, "")
        unit = typed.text(f"unit-{fact.key}")
        if fact.kind == "length" and " " in value:
            number, kept = length(value)
            value, unit = str(number), unit or kept
        help = named(fact.help, measure.sources)
        fields.append(FactField(fact, value, unit or "in", help))
    return fields


def from_elsewhere(measure: Measure) -> set[str]:
    """Facts that come with the parts or the readings: asking them would ask twice."""
    carried = {key for part in measure.components for key in part.carries}
    if measure.formula == "relative_power":
        carried.add("made_from")
    return carried | ({"start", "reached"} if measure.kind == "pressure" else set())


def named(text: str, sources: Mapping[str, Source]) -> str:
    """A note with sources as people cite them: `barry2014` becomes `Barry 2014`."""
    if not sources:
        return text
    return _any_of(tuple(sources)).sub(lambda m: sources[m[0]].short, text)


@cache  # one for each test: a round names sources in all its readings
def _any_of(keys: tuple[str, ...]) -> re.Pattern[str]:
    longest_first = "|".join(sorted(map(re.escape, keys), key=len, reverse=True))
    return re.compile(rf"\b({longest_first})\b")


def lacking(measure: Measure, facts: Mapping[str, str]) -> dict[str, str]:
    """Errors for what the score cannot do without and nobody has said."""
    return {
        f"fact-{fact.key}": f"{fact.label}: say which, for the score."
        for fact in measure.facts
        if fact.needed and not facts.get(fact.key)
    }


def facts_from(measure: Measure, form: Form) -> tuple[dict[str, str], dict[str, str]]:
    """(facts, errors by field name) of a posted set-up. Untouched facts stay out."""
    facts: dict[str, str] = {}
    errors: dict[str, str] = {}
    for fact in measure.facts:
        value = form.text(f"fact-{fact.key}")
        if not value:
            continue
        if fact.kind == "length":
            value = f"{value} {form.text(f'unit-{fact.key}') or 'in'}"
        try:
            facts |= read_facts(measure, {fact.key: value})
        except BadFact as fault:
            errors[f"fact-{fact.key}"] = str(fault).replace(fact.key, fact.label, 1)
    return facts, lacking(measure, facts) | errors
