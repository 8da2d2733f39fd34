"""A new patient as typed -> what storage takes, or sentences beside fields."""

import re
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final, Literal

from app.clinical.person import OLDEST, YOUNGEST, Onset
from app.clinical.precautions import PRECAUTIONS
from app.clinical.vocabulary import (
    CONDITIONS,
    PERSON_FACTS,
    SETTINGS,
    SEXES,
    SIDED,
    SIDES,
    SIZES,
)
from app.storage.patients import PatientDetails
from app.web.deps import Form

_ISO: Final = re.compile(r"(\d{4})-(\d{2})-(\d{2})", re.ASCII)
_NUMBER: Final = re.compile(r"\d{1,3}(?:\.\d{1,2})?", re.ASCII)
_YEAR: Final = re.compile(r"\d{4}", re.ASCII)


@dataclass(frozen=True, slots=True)
class NewPatient:
    """A patient, the episode that brings them here, and what holds in it."""

    details: PatientDetails
    reason: str
    setting: str
    plan: Literal["restore", "maintain"]
    precautions: tuple[str, ...]


class FormErrors(Exception):
    """Fields that cannot be used, by name, each with its sentence."""

    def __init__(self, errors: dict[str, str]) -> None:
        super().__init__(", ".join(errors))
        self.errors = errors


def new_patient(form: Form, today: date) -> NewPatient:
    """Read the form; raise FormErrors with every field that is wrong."""
    errors: dict[str, str] = {}
    details = _details(form, today, errors)
    care = _care(form, errors)
    tags = _several(form, "precaution", PRECAUTIONS, errors)
    if errors:
        raise FormErrors(errors)
    return NewPatient(details, care.reason, care.setting, care.plan, tags)


def patient_details(form: Form, today: date) -> PatientDetails:
    """Only what is said of the person; raise FormErrors."""
    errors: dict[str, str] = {}
    details = _details(form, today, errors)
    if errors:
        raise FormErrors(errors)
    return details


@dataclass(frozen=True, slots=True)
class Care:
    """What an episode is for, where, and to what end."""

    reason: str
    setting: str
    plan: Literal["restore", "maintain"]


def care(form: Form) -> Care:
    """Read an episode's fields; raise FormErrors."""
    errors: dict[str, str] = {}
    found = _care(form, errors)
    if errors:
        raise FormErrors(errors)
    return found


def _care(form: Form, errors: dict[str, str]) -> Care:
    reason = form.text("reason")
    if not 1 <= len(reason) <= 200:
        errors["reason"] = "Say in up to 200 letters what care is for."
    _choice(form, "setting", SETTINGS, errors)
    _choice(form, "plan", ("restore", "maintain"), errors)
    plan: Literal["restore", "maintain"] = (
        "maintain" if form.text("plan") == "maintain" else "restore"
    )
    return Care(reason, form.text("setting"), plan)


def _details(form: Form, today: date, errors: dict[str, str]) -> PatientDetails:
    label = form.text("label")
    if not 1 <= len(label) <= 80:
        errors["label"] = "Give a label of up to 80 letters; a made-up one will do."
    born, year = _birth(form, today, errors)
    _choice(form, "sex", SEXES, errors, optional=True)
    conditions = _several(form, "condition", CONDITIONS, errors)
    for name, most in (("full_name", 120), ("record_number", 40)):
        if len(form.text(name)) > most:
            errors[name] = f"At most {most} letters."
    return PatientDetails(
        label=label,
        birth_year=year,
        birth_date=born,
        sex=form.text("sex") or None,
        conditions={
            name: onset(form, f"since-{name}", today, errors)
            for name in sorted(conditions)
        },
        sides=_sides(form, conditions, errors),
        facts=_facts(form, errors),
        sizes=_sizes(form, errors),
        full_name=form.text("full_name"),
        record_number=form.text("record_number"),
    )


def since(form: Form, name: str, today: date, errors: dict[str, str]) -> date | None:
    """A day that may be left open, up to today."""
    text = form.text(name)
    if not text:
        return None
    found = _ISO.fullmatch(text)
    try:
        day = date(*(int(part) for part in found.groups())) if found else None
    except ValueError:
        day = None
    if day is None:
        errors[name] = f"{text!r} is no day of the calendar: year-month-day."
    elif not date(1900, 1, 1) <= day <= today:
        errors[name] = "That day has not come yet, or lies too far back."
    return day


def onset(form: Form, name: str, today: date, errors: dict[str, str]) -> Onset | None:
    """When something began: a day, a month or a year, or nothing."""
    text = form.text(name)
    if not text:
        return None
    try:
        began = Onset.read(text)
    except ValueError:
        errors[name] = f"{text!r}: write a year, year-month or year-month-day."
        return None
    if began.first > today:
        errors[name] = "That has not come yet. Check the year."
    return began


def _sides(
    form: Form, conditions: Collection[str], errors: dict[str, str]
) -> dict[str, str]:
    """The side of each chosen condition that has one."""
    said = {
        name: form.text(f"side-{name}")
        for name in sorted(conditions)
        if name in SIDED and form.text(f"side-{name}")
    }
    for name, side in said.items():
        if side not in SIDES:
            errors[f"side-{name}"] = "Choose a side."
    return said


def _sizes(form: Form, errors: dict[str, str]) -> dict[str, tuple[str, str]]:
    """Body measures as typed, each within what people measure."""
    found = {}
    for key, (label, units) in SIZES.items():
        text, unit = form.text(key), form.text(f"{key}_unit") or next(iter(units))
        if not text:
            continue
        low, high = units.get(unit, (1, 0))
        if not _NUMBER.fullmatch(text) or not low <= Decimal(text) <= high:
            errors[key] = f"{label}: from {low} to {high} {unit}, like {low}.5."
        else:
            found[key] = (text, unit)
    return found


def _birth(
    form: Form, today: date, errors: dict[str, str]
) -> tuple[date | None, int | None]:
    """A birth date or a birth year, not both; neither is allowed."""
    typed_date, typed_year = form.text("birth_date"), form.text("birth_year")
    if typed_date and typed_year:
        errors["birth_year"] = "Give the birth date or the year, not both."
        return None, None
    if typed_year:
        return None, _year(typed_year, today, errors)
    return (_date(typed_date, today, errors) if typed_date else None), None


def _year(text: str, today: date, errors: dict[str, str]) -> int | None:
    oldest, youngest = today.year - OLDEST, today.year - YOUNGEST
    if not _YEAR.fullmatch(text) or not oldest <= int(text) <= youngest:
        errors["birth_year"] = f"A year from {oldest} to {youngest}, like 1948."
        return None
    return int(text)


def _date(text: str, today: date, errors: dict[str, str]) -> date | None:
    found = _ISO.fullmatch(text)
    try:
        born = date(*(int(part) for part in found.groups())) if found else None
    except ValueError:
        born = None
    if born is None:
        errors["birth_date"] = f"{text!r} is no day of the calendar: year-month-day."
    elif born > today:
        errors["birth_date"] = "That day has not come yet. Check the year."
    elif not YOUNGEST <= today.year - born.year <= OLDEST:
        errors["birth_date"] = (
            f"The sources speak of people {YOUNGEST} to {OLDEST}. Check the year."
        )
    return born


def _choice(
    form: Form,
    name: str,
    allowed: Collection[str],
    errors: dict[str, str],
    *,
    optional: bool = False,
) -> None:
    value = form.text(name)
    if optional and not value:
        return
    if value not in allowed:
        errors[name] = "Choose one."


def _several(
    form: Form, name: str, allowed: Collection[str], errors: dict[str, str]
) -> tuple[str, ...]:
    values = tuple(dict.fromkeys(form.every(name)))
    if not set(values) <= set(allowed):
        errors[name] = "Choose from the list."
    return values


def _facts(form: Form, errors: dict[str, str]) -> dict[str, str]:
    facts = {}
    for key, words in PERSON_FACTS.items():
        value = form.text(key)
        if value and value not in words:
            errors[key] = "Choose one."
        elif value:
            facts[key] = value
    return facts
