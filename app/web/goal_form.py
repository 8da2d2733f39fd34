"""A goal as it is typed -> what storage takes, or sentences beside fields.

A goal begins at something that was measured here: its start brings the kind, the unit
and the number to begin at, so that only the target is left to say.
"""

import re
from collections.abc import Collection, Mapping
from dataclasses import asdict
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

from app.clinical.assistance import CUE_AMOUNTS, CUE_KINDS, LEVELS
from app.clinical.goals import NO_CUES, PLACES, SURFACES, TERMS, WHO
from app.clinical.measure import Measure
from app.clinical.quantities import BadNumber, convert, parse, shown, words
from app.clinical.visiting import DEVICES, TASKS
from app.storage.goal_rows import (
    LONGEST_PHRASE,
    LONGEST_SO_THAT,
    MOST_TRIALS,
    GoalBody,
)
from app.web.deps import Form
from app.web.goal_starts import Start, key_of

Errors = dict[str, str]
#: A short-term goal lies a week to a month ahead: the date offered is four weeks on.
USUAL: Final = timedelta(days=28)
FURTHEST: Final = timedelta(days=730)
_ISO: Final = re.compile(r"(\d{4})-(\d{2})-(\d{2})", re.ASCII)
_WHOLE: Final = re.compile(r"\d{1,2}", re.ASCII)
#: Answers from closed lists, each of which may stay open.
LISTS: Final[Mapping[str, Collection[str]]] = {
    "task": TASKS,
    "place": PLACES,
    "surface": SURFACES,
    "device": DEVICES,
    "cue_kind": (NO_CUES, *CUE_KINDS),
    "cue_amount": CUE_AMOUNTS,
    "help": LEVELS,
}
#: What one tap adds to the target, by unit; one of anything else.
STEPS: Final = {
    "s": "0.5", "in": "0.5", "m/s": "0.05", "ft/s": "0.1", "bpm/mmHg": "0.05",
    "W/kg": "0.1", "W": "5",
}  # fmt: skip


def read_goal(
    form: Form, start: Start | None, today: date, errors: Errors
) -> GoalBody | None:
    """The goal a form says; None, with sentences in `errors`, while it is not whole."""
    said: dict[str, Any] = {
        name: _one(form, name, allowed, errors) for name, allowed in LISTS.items()
    }
    said |= {
        "who": _chosen(form, "who", WHO, errors),
        "term": _chosen(form, "term", TERMS, errors),
        "phrase": _text(form, "phrase", LONGEST_PHRASE, errors),
        "so_that": _text(form, "so_that", LONGEST_SO_THAT, errors),
        "by_date": _day(form, today, errors),
        "parent_id": _parent(form, errors),
    }
    said |= read_trials(form, errors)
    said |= _how_well(form, start, errors)
    said |= start.base if start else _own_start(form, said, today, errors)
    if not (said["task"] or said["phrase"] or said["kind"] == "score"):
        errors["task"] = "Choose the task, or say it in your own words."
    return None if errors else GoalBody(**said)


def _one(form: Form, name: str, allowed: Collection[str], errors: Errors) -> str | None:
    text = form.text(name)
    if text and text not in allowed:
        errors[name] = "Choose one."
    return text or None


def _chosen(form: Form, name: str, allowed: Collection[str], errors: Errors) -> str:
    text = form.text(name)
    if text not in allowed:
        errors[name] = "Choose one."
    return text


def _text(form: Form, name: str, most: int, errors: Errors) -> str:
    text = form.text(name)
    if len(text) > most:
        errors[name] = f"At most {most} letters; these are {len(text)}."
    return text


def _day(form: Form, today: date, errors: Errors) -> date:
    """A date that has passed is only asked about: it may be written down late."""
    found = _ISO.fullmatch(form.text("by_date"))
    try:
        day = date(*(int(part) for part in found.groups())) if found else None
    except ValueError:
        day = None
    if day is None:
        errors["by_date"] = "By when? Write year-month-day."
    elif abs(day - today) > FURTHEST:
        errors["by_date"] = "That is more than two years away. Check the year."
    return day or today


def _parent(form: Form, errors: Errors) -> int | None:
    text = form.text("parent")
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        errors["parent"] = "Choose one."
        return None
    if form.text("term") != "short":
        errors["parent"] = "Only a short-term goal leads to a long-term one."
    return int(text)


def _number(form: Form, name: str, low: int, errors: Errors) -> int | None:
    text = form.text(name)
    if not text:
        return None
    if not _WHOLE.fullmatch(text) or not low <= int(text) <= MOST_TRIALS:
        errors[name] = f"A whole number from {low} to {MOST_TRIALS}."
        return None
    return int(text)


def read_trials(form: Form, errors: Errors, low: int = 1) -> dict[str, int | None]:
    """`4 of 5`, or neither."""
    times = _number(form, "times", low, errors)
    out_of = _number(form, "out_of", 1, errors)
    if "times" not in errors and "out_of" not in errors:
        if (times is None) != (out_of is None):
            errors["times"] = "Both numbers, such as 4 of 5, or neither."
        elif times is not None and out_of is not None and times > out_of:
            errors["times"] = "The first number is not above the second."
    return {"times": times, "out_of": out_of}


def _how_well(form: Form, start: Start | None, errors: Errors) -> dict[str, Any]:
    kind = start.kind if start else form.text("kind")
    empty = {"target_value": None, "target_unit": None, "target_level": None}
    if kind == "score" and start is not None and start.measure is not None:
        return {"kind": kind, **empty, **_value(form, start, start.measure, errors)}
    if kind == "level":
        level = form.text("level")
        if level not in LEVELS:
            errors["level"] = "How much help is the aim?"
        if form.text("help"):
            errors["help"] = "The help is the aim itself: leave this open."
        return {"kind": kind, **empty, "target_level": level}
    if kind == "times":
        if not form.text("times"):
            errors["times"] = "How often should it work, such as 4 of 5?"
        return {"kind": kind, **empty}
    errors["kind"] = "Choose by what it is judged."
    return {"kind": kind, **empty}


def _value(
    form: Form, start: Start, measure: Measure, errors: Errors
) -> dict[str, str]:
    """The target in the start's unit, or another of its kind typed behind it."""
    units = (start.unit, *(u for u in measure.units if u != start.unit))
    try:
        value, unit = parse(form.text("target"), units)
    except BadNumber as bad:
        errors["target"] = str(bad)
        return {}
    wrong = _impossible(measure, value, unit)
    if wrong:
        errors["target"] = wrong
    return {"target_value": str(shown(value, unit)), "target_unit": unit}


def _impossible(measure: Measure, value: Decimal, unit: str) -> str:
    """Why no score of this test is like that; empty for a target that can be.

    A speed's own limits are those of its times, so twice its tape stands for them.
    """
    said = words(value, unit)
    if measure.kind in ("time", "distance", "count", "composite"):
        first = measure.units[0]
        if measure.lowest <= convert(Fraction(value), unit, first) <= measure.highest:
            return ""
        span = f"{measure.lowest} to {words(measure.highest, first)}"
        return f"{said} is no result of this test: {span}."
    if value <= 2 * measure.tape[unit].high:
        return ""
    return f"{said} is no result of this test. Check the number."


def _own_start(
    form: Form, said: Mapping[str, Any], today: date, errors: Errors
) -> dict[str, Any]:
    """How often it works now, when that is what the goal is about."""
    base = _number(form, "base_times", 0, errors) if said["kind"] == "times" else None
    if base is None or said["out_of"] is None:
        return {}
    if base > said["out_of"]:
        errors["base_times"] = f"Out of {said['out_of']}: not more than that."
    says = f"{base} of {said['out_of']}"
    return {"base_times": base, "base_on": today, "base_says": says}


def typed_as(body: GoalBody) -> Form:
    """A stored goal as its form would have sent it."""
    names = {"target_value": "target", "target_level": "level", "parent_id": "parent"}
    pairs = [
        (names.get(name, name), str(value))
        for name, value in asdict(body).items()
        if value is not None and not name.startswith(("base_round", "base_task"))
    ]
    return Form([*pairs, ("start", key_of(body))])


def first_form(start: Start | None, plan_end: date | None, today: date) -> Form:
    """A new goal before anything is said: four weeks, or less where the plan ends."""
    by = today + USUAL
    if plan_end is not None and today <= plan_end < by:
        by = plan_end
    return Form(
        [
            ("start", start.key if start else ""),
            ("kind", start.kind if start else "times"),
            ("who", "patient"),
            ("term", "short"),
            ("task", start.task if start else ""),
            ("by_date", by.isoformat()),
        ]
    )
