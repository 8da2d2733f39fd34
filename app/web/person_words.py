"""A patient in a few words, the same on the list and on the brief."""

from collections.abc import Iterable
from datetime import date

from app.clinical.person import Onset, ages_on
from app.clinical.vocabulary import CONDITIONS, PERSON_FACTS, SEXES, SIDES
from app.storage.patients import PatientDetails


def age_words(born: date | None, year: int | None, sex: str | None, day: date) -> str:
    """`74, woman`; by birth year alone `74 or 75, woman`."""
    ages = " or ".join(str(a) for a in ages_on(day, born=born, year=year))
    return ", ".join(p for p in (ages, SEXES.get(sex or "", "")) if p) or "age unknown"


def condition_words(conditions: Iterable[str]) -> str:
    return ", ".join(CONDITIONS[c] for c in conditions)


def about_words(details: PatientDetails) -> str:
    """Conditions and the facts that readings depend on."""
    conditions = (
        " ".join(p for p in (CONDITIONS[name], condition_more(details, name)) if p)
        for name in details.conditions
    )
    facts = (
        f"{key.replace('_', ' ')}: {PERSON_FACTS[key][value]}"
        for key, value in details.facts.items()
        if key != "time_since" or None in details.conditions.values()
    )
    return ", ".join((*conditions, *facts))


def condition_more(details: PatientDetails, name: str) -> str:
    """`(left, since Nov 2025)`, as far as it is known."""
    side, onset = details.sides.get(name), details.conditions[name]
    said = (SIDES[side] if side else "", f"since {onset_words(onset)}" if onset else "")
    told = ", ".join(part for part in said if part)
    return f"({told})" if told else ""


def onset_words(onset: Onset) -> str:
    """`3 Nov 2025`, `Nov 2025` or `2025`."""
    day = f"{onset.day} " if onset.day else ""
    month = f"{onset.first:%b} " if onset.month else ""
    return f"{day}{month}{onset.year}"
