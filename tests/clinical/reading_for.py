"""Short ways to write a score and a person in the clinical tests."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

from app.catalogue.load import catalogue
from app.clinical.measure import Measure
from app.clinical.person import Person
from app.clinical.reading import Result, read
from app.clinical.readings import Reading
from app.clinical.scoring import Score, Trial, score
from app.clinical.setup import read_facts
from app.commands.score_inputs import single


def measure(measure_id: str) -> Measure:
    return catalogue().measures[measure_id]


def a_score(
    measure_id: str, text: str, variant: str | None = None, **facts: str
) -> Score:
    """A score of that value, as if its trials had given it."""
    m = measure(measure_id)
    made = single(m, text, read_facts(m, facts))
    return replace(made, variant=m.variant(variant).id, trials=())


def of_value(measure_id: str, value: Decimal) -> Score:
    """A score of that value in its first unit, whatever its trials look like."""
    m = measure(measure_id)
    rule, unit = m.variants[0].id, m.units[0]
    return Score(m.id, "completed", rule, unit, Fraction(value))


def result(
    measure_id: str,
    text: str,
    *,
    age: int | Sequence[int] = (),
    sex: str | None = None,
    conditions: Sequence[str] = (),
    setting: str | None = None,
    about: Mapping[str, str] | None = None,
    since: Mapping[str, tuple[str, ...]] | None = None,
    before: Score | None = None,
    variant: str | None = None,
    pretest: str | None = None,
    **facts: str,
) -> Result:
    m = measure(measure_id)
    now = (
        score(m, [Trial("unable")], facts=read_facts(m, facts))
        if text == "unable"
        else a_score(measure_id, text, variant, **facts)
    )
    ages = (age,) if isinstance(age, int) else tuple(age)
    person = Person(
        ages, sex, tuple(conditions), setting, dict(about or {}), dict(since or {})
    )
    chance = None if pretest is None else Decimal(pretest)
    return read(m, now, person, before=before, pretest=chance)


def of(found: Result, source: str) -> list[Reading]:
    return [r for r in found.readings if r.row and r.row.source == source]
