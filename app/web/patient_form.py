"""A new patient as typed -> what storage takes, or sentences beside fields."""

import re
import secrets
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from app.clinical.person import OLDEST, YOUNGEST
from app.clinical.precautions import PRECAUTIONS
from app.clinical.vocabulary import CONDITIONS, PERSON_FACTS, SETTINGS, SEXES
from app.storage.patients import PatientDetails
from app.web.deps import Form

#: Made-up labels, so that no name is ever needed: a colour or stone, and an animal.
_FIRST: Final = (
    "Amber", "Ash", "Birch", "Chalk", "Clover", "Cobalt", "Copper", "Coral", "Dune",
    "Ember", "Fern", "Flint", "Hazel", "Indigo", "Ivory", "Jade", "Linen", "Maple",
    "Moss", "Ochre", "Opal", "Pearl", "Plum", "Quartz", "Rust", "Sage", "Slate",
    "Teal", "Umber", "Willow",
)  # fmt: skip
_SECOND: Final = (
    "Badger", "Beaver", "Curlew", "Dipper", "Dunnock", "Egret", "Falcon", "Finch",
    "Gannet", "Grebe", "Hare", "Heron", "Ibex", "Kestrel", "Lapwing", "Lynx",
    "Marten", "Newt", "Osprey", "Otter", "Pipit", "Plover", "Raven", "Shrew",
    "Stoat", "Swift", "Tern", "Thrush", "Vole", "Wren",
)  # fmt: skip
_ISO: Final = re.compile(r"(\d{4})-(\d{2})-(\d{2})", re.ASCII)
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


def made_up_label() -> str:
    return f"{secrets.choice(_FIRST)} {secrets.choice(_SECOND)}"


def new_patient(form: Form, today: date) -> NewPatient:
    """Read the form; raise FormErrors with every field that is wrong."""
    errors: dict[str, str] = {}
    label, reason = form.text("label"), form.text("reason")
    if not 1 <= len(label) <= 80:
        errors["label"] = "Give a label of up to 80 letters; a made-up one will do."
    if not 1 <= len(reason) <= 200:
        errors["reason"] = "Say in up to 200 letters what care is for."
    born, year = _birth(form, today, errors)
    _choice(form, "sex", SEXES, errors, optional=True)
    _choice(form, "setting", SETTINGS, errors)
    _choice(form, "plan", ("restore", "maintain"), errors)
    conditions = _several(form, "condition", CONDITIONS, errors)
    tags = _several(form, "precaution", PRECAUTIONS, errors)
    facts = _facts(form, errors)
    if errors:
        raise FormErrors(errors)
    details = PatientDetails(
        label=label,
        birth_year=year,
        birth_date=born,
        sex=form.text("sex") or None,
        conditions=dict.fromkeys(sorted(conditions)),
        facts=facts,
    )
    plan: Literal["restore", "maintain"] = (
        "maintain" if form.text("plan") == "maintain" else "restore"
    )
    return NewPatient(details, reason, form.text("setting"), plan, tags)


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
