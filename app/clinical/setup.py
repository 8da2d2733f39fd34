"""Set-up facts of a trial: reading them, what is off standard, what is assumed."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from app.clinical.kept import once_a_row
from app.clinical.measure import Fact, Measure
from app.clinical.quantities import convert, rounded
from app.clinical.tape_error import FACT as TAPE
from app.clinical.tape_error import LEAST, MOST

_LENGTH = re.compile(r"(\d{1,3}(?:\.\d{1,2})?) ?(in|cm)", re.ASCII)
_PLAIN = re.compile(r"\d{1,3}(?:\.\d{1,2})?", re.ASCII)


#: No seat or other length of a set-up lies outside these (common practice).
SHORTEST_CM, LONGEST_CM = 10, 110


class BadFact(ValueError):
    """A set-up fact is unknown or its value is; the message lists what may be said."""


@dataclass(frozen=True, slots=True)
class Deviation:
    """One fact off the published set-up. `easier` when that makes the test easier."""

    key: str
    says: str
    easier: bool


def read_facts(measure: Measure, given: Mapping[str, str]) -> dict[str, str]:
    """Check each fact against the measure and write it in one form (`20 in`)."""
    return {key: _read(measure, key, value.strip()) for key, value in given.items()}


def _read(measure: Measure, key: str, value: str) -> str:
    fact = measure.fact(key)
    if fact is None:
        known = ", ".join(f.key for f in measure.facts)
        raise BadFact(f"{measure.id} has no set-up fact {key!r}. It has: {known}.")
    if fact.kind == "choice":
        if value not in fact.options:
            raise BadFact(f"{key}: {value!r} is not one of {', '.join(fact.options)}.")
        return value
    if fact.kind == "number":
        if not _PLAIN.fullmatch(value):
            raise BadFact(f"{key}: {value!r} is not a plain number.")
        if key == TAPE and not LEAST <= Fraction(value) <= MOST:
            raise BadFact(f"{key}: {value} in are not ten feet. Check the tape again.")
        return value
    found = _LENGTH.fullmatch(value)
    if found is None or Decimal(found[1]) == 0:
        raise BadFact(f"{key}: write a length with its unit, like 17.5in or 44cm.")
    in_cm = convert(Fraction(found[1]), found[2], "cm")
    if not SHORTEST_CM <= in_cm <= LONGEST_CM:
        raise BadFact(f"{key}: {found[0]} cannot be. Check the number and the unit.")
    return f"{found[1]} {found[2]}"


def length(text: str) -> tuple[Decimal, str]:
    """`20 in` -> (20, in)."""
    number, unit = text.split(" ")
    return Decimal(number), unit


def fact_words(fact: Fact, value: str) -> str:
    """`seat height 20 in`, `walking device: cane`."""
    mark = ":" if fact.options else ""
    return f"{inline(fact)}{mark} {fact.options.get(value, value)}"


@once_a_row
def any_of_words(fact: Fact, values: tuple[str, ...]) -> str:
    """`walking device: cane or walker`."""
    first, *others = values
    more = (fact.options.get(v, v) for v in others)
    return " or ".join((fact_words(fact, first), *more))


def inline(fact: Fact) -> str:
    """The fact's label inside a sentence; a name in it keeps its capital."""
    return fact.label[:1].lower() + fact.label[1:]


def asked(measure: Measure, conditions: Sequence[str]) -> list[Fact]:
    """The facts worth asking for a person with these conditions."""
    return [
        f
        for f in measure.facts
        if not f.when_condition or set(f.when_condition) & set(conditions)
    ]


def deviations(measure: Measure, facts: Mapping[str, str]) -> list[Deviation]:
    """Every stated fact that is off the published set-up."""
    found = []
    for key, value in facts.items():
        fact = measure.fact(key)
        if fact is None:
            continue
        easier = _off(fact, value)
        if easier is not None:
            says = f"{fact_words(fact, value)}; published set-up: {fact.standard_says}"
            found.append(Deviation(key, says, easier))
    return found


def _off(fact: Fact, value: str) -> bool | None:
    """None when on standard, else whether it makes the test easier."""
    if fact.standard:
        return None if value in fact.standard else value in fact.easier
    if not fact.spans:
        return None
    number, unit = length(value)
    span = fact.spans.get(unit)
    exact = Fraction(number)
    if span is None:
        unit, span = next(iter(fact.spans.items()))
        exact = convert(exact, length(value)[1], unit)
    if span.low <= exact <= span.high:
        return None
    return ("over" if exact > span.high else "under") in fact.easier


def assumed_setup(
    measure: Measure, facts: Mapping[str, str], conditions: Sequence[str]
) -> list[str]:
    """Standards that nobody stated and the readings take for granted."""
    return [
        f"{inline(f)}: {f.standard_says}"
        for f in asked(measure, conditions)
        if f.standard_says and f.key not in facts
    ]


@dataclass(frozen=True, slots=True)
class HowDone:
    """What must match for two scores to be compared: trial rule and set-up facts."""

    variant: str
    facts: Mapping[str, str]


def what_differs(measure: Measure, now: HowDone, before: HowDone) -> list[str]:
    """Why two scores of one test are not comparable; empty when they are.

    A fact that one of them does not state is taken as it usually is.
    """
    found = facts_differ(measure, now.facts, before.facts)
    if now.variant != before.variant:
        a, b = measure.variant(before.variant), measure.variant(now.variant)
        found.append(f"trial rule: {a.label} then, {b.label} now")
    return found


def facts_differ(
    measure: Measure, now: Mapping[str, str], before: Mapping[str, str]
) -> list[str]:
    """Facts that must match and do not. What is not stated is as it usually is."""
    found = []
    for fact in measure.facts:
        a, b = before.get(fact.key), now.get(fact.key)
        if not fact.for_change or (a is None and b is None):
            continue
        if not _alike(fact, a, b):
            was, now_is = _told(fact, a), _told(fact, b)
            found.append(f"{inline(fact)}: {was} then, {now_is} now")
    return found


def _told(fact: Fact, value: str | None) -> str:
    return "not stated" if value is None else fact.options.get(value, value)


def _alike(fact: Fact, a: str | None, b: str | None) -> bool:
    if a is not None and b is not None:
        return _same(fact, a, b)
    stated = a if a is not None else b
    assert stated is not None
    usual = fact.standard or ((fact.default,) if fact.default else ())
    if usual:
        return stated in usual
    # A length is as usual inside its span; a fact without a usual value says nothing.
    return _off(fact, stated) is None


def _same(fact: Fact, a: str, b: str) -> bool:
    if fact.kind != "length":
        return a == b
    (x, unit), (y, other) = length(a), length(b)
    # Two readings of one seat may be in two units: alike to a tenth is the same seat.
    return rounded(Fraction(x), 1) == rounded(convert(Fraction(y), other, unit), 1)
