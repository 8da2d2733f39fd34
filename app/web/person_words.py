"""A patient in a few words, the same on the list and on the brief."""

from collections.abc import Iterable
from datetime import date

from app.clinical.person import ages_on
from app.clinical.vocabulary import CONDITIONS, PERSON_FACTS, SEXES
from app.storage.patients import PatientDetails


def age_words(born: date | None, year: int | None, sex: str | None, day: date) -> str:
    """`74, woman`; by birth year alone `74 or 75, woman`."""
    ages = " or ".join(str(a) for a in ages_on(day, born=born, year=year))
    return ", ".join(p for p in (ages, SEXES.get(sex or "", "")) if p) or "age unknown"


def condition_words(conditions: Iterable[str]) -> str:
    return ", ".join(CONDITIONS[c] for c in conditions)


def about_words(details: PatientDetails) -> str:
    """Conditions and the facts that readings depend on."""
    facts = (
        f"{key.replace('_', ' ')}: {PERSON_FACTS[key][value]}"
        for key, value in details.facts.items()
    )
    return ", ".join((*(CONDITIONS[c] for c in details.conditions), *facts))
