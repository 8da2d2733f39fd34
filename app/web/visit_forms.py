"""What is typed in a visit -> rows, or sentences beside fields."""

import re
from collections.abc import Collection
from typing import Any, Final

from app.clinical.assistance import CUE_AMOUNTS, CUE_KINDS, FEDERAL, LEVELS
from app.clinical.visiting import (
    ARMS,
    CARRIERS,
    DEVICES,
    EFFORT_SCALES,
    FLOW_TENTHS,
    LIMITED,
    MINUTES,
    NOT_DONE,
    OPEN_FLOW,
    POSITIONS,
    SET_UPS,
    TASKS,
    VITALS,
    Limit,
)
from app.web.deps import Form

_WHOLE: Final = re.compile(r"\d{1,3}", re.ASCII)
_LITRES: Final = re.compile(r"(\d{1,2})(?:[.,](\d))?", re.ASCII)
_DEGREES: Final = re.compile(r"(\d\d)(?:[.,](\d))?", re.ASCII)
Errors = dict[str, str]


def whole(
    form: Form, name: str, low: int, high: int, label: str, errors: Errors
) -> int | None:
    text = form.text(name)
    if not text:
        return None
    if not _WHOLE.fullmatch(text) or not low <= int(text) <= high:
        errors[name] = f"{label}: a whole number from {low} to {high}."
        return None
    return int(text)


def _one(form: Form, name: str, allowed: Collection[str], errors: Errors) -> str | None:
    text = form.text(name)
    if text and text not in allowed:
        errors[name] = "Choose one."
    return text or None


def _words(form: Form, name: str, most: int, errors: Errors) -> str:
    text = form.text(name)
    if len(text) > most:
        errors[name] = f"At most {most} letters; these are {len(text)}."
    return text


def symptoms(form: Form, errors: Errors) -> dict[str, Any]:
    said = {
        "agreed": _one(form, "agreed", ("yes", "declined"), errors),
        "pain": whole(form, "pain", 0, 10, "Pain", errors),
        "dizzy": _one(form, "dizzy", ("yes", "no"), errors),
        "fell": _one(form, "fell", ("yes", "no"), errors),
        "slept": _one(form, "slept", ("well", "badly"), errors),
        "words": _words(form, "words", 300, errors),
    }
    if not errors and all(value in (None, "") for value in said.values()):
        errors["agreed"] = "Answer at least one."
    return said


def vitals(form: Form, errors: Errors) -> dict[str, Any]:
    said: dict[str, Any] = {
        name: whole(form, name, v.low, v.high, v.label, errors)
        for name, v in VITALS.items()
    }
    if (said["systolic"] is None) != (said["diastolic"] is None):
        errors.setdefault("diastolic", "Both pressures, or neither.")
    elif said["systolic"] is not None and said["diastolic"] >= said["systolic"]:
        errors["diastolic"] = "The second pressure is the lower one."
    said["position"] = form.text("position")
    if said["position"] not in POSITIONS:
        errors["position"] = "In which position? A pressure without it says nothing."
    said["arm"] = _one(form, "arm", ARMS, errors)
    said |= _oxygen(form, errors)
    said["effort_scale"] = _one(form, "effort_scale", EFFORT_SCALES, errors)
    low, high = EFFORT_SCALES.get(said["effort_scale"] or "0-10", (0, 10))
    said["effort"] = whole(form, "effort", low, high, "Effort", errors)
    if said["effort"] is None:
        said["effort_scale"] = None
    elif said["effort_scale"] is None:
        errors["effort"] = "Effort on which scale?"
    said["temperature_tenths"] = _temperature(form, errors)
    numbers = (*VITALS, "effort", "temperature_tenths")
    if not errors and all(said[name] is None for name in numbers):
        errors["systolic"] = "Enter at least one number."
    return said


def _oxygen(form: Form, errors: Errors) -> dict[str, Any]:
    """What was breathed, and at which flow where that says anything."""
    carrier, text = _one(form, "carrier", CARRIERS, errors), form.text("flow")
    found = _LITRES.fullmatch(text)
    tenths = int(found[1]) * 10 + int(found[2] or 0) if found else 0
    low, high = FLOW_TENTHS
    if text and not low <= tenths <= high:
        errors["flow"] = "Flow: 0.1 to 60 litres a minute."
    elif text and carrier is None:
        errors.setdefault("carrier", "By what does it flow?")
    elif text and carrier == "room_air":
        errors["flow"] = "Room air has no flow: leave it empty, or choose by what."
    elif not text and carrier not in (None, *OPEN_FLOW):
        errors["flow"] = "How many litres a minute?"
    return {"carrier": carrier, "flow_tenths": tenths or None}


def _temperature(form: Form, errors: Errors) -> int | None:
    text = form.text("temperature")
    if not text:
        return None
    found = _DEGREES.fullmatch(text)
    tenths = int(found[1]) * 10 + int(found[2] or 0) if found else 0
    if not 300 <= tenths <= 440:
        errors["temperature"] = "Temperature: 30.0 to 44.0 °C."
        return None
    return tenths


def task(form: Form, errors: Errors) -> dict[str, Any]:
    said: dict[str, Any] = {
        "task": form.text("task"),
        "level": _one(form, "level", LEVELS, errors),
        "not_done": _one(form, "not_done", NOT_DONE, errors),
        "share": whole(form, "share", 0, 100, "Patient's share", errors),
        "helpers": whole(form, "helpers", 0, 4, "Helpers", errors) or 0,
        "cue_kind": _one(form, "cue_kind", CUE_KINDS, errors),
        "cue_amount": _one(form, "cue_amount", CUE_AMOUNTS, errors),
        "federal": _one(form, "federal", FEDERAL, errors),
        "device_kind": _one(form, "device_kind", DEVICES, errors),
        "set_up_kind": _one(form, "set_up_kind", SET_UPS, errors),
        "device": _words(form, "device", 80, errors),
        "set_up": _words(form, "set_up", 200, errors),
        "note": _words(form, "note", 300, errors),
    }
    if said["task"] not in TASKS:
        errors["task"] = "Choose the task."
    for name, what in (("device", "Which device?"), ("set_up", "Which set-up?")):
        if said[f"{name}_kind"] == "other" and not said[name]:
            errors.setdefault(name, what)
    if (said["level"] is None) == (said["not_done"] is None):
        errors.setdefault("level", "Either how much help, or why it was not done.")
    share, level = said["share"], said["level"]
    band = LEVELS[level].share if level in LEVELS else None
    if share is not None and not errors:
        if band is None:
            errors["share"] = "This level has no share: leave it empty."
        elif not band[0] <= share <= band[1]:
            errors["share"] = (
                f"{LEVELS[level].words.capitalize()}: {LEVELS[level].means}."
            )
    if said["not_done"] is not None:
        said |= {"helpers": 0, "cue_kind": None, "cue_amount": None}
    return said


def minutes(form: Form, errors: Errors) -> dict[str, int]:
    return {
        name: whole(form, f"{name}_minutes", 0, 600, words.capitalize(), errors) or 0
        for name, words in MINUTES.items()
    }


def limits(form: Form, errors: Errors) -> dict[str, Limit]:
    """For each vital sign what the order says; both empty: nothing."""
    found = {}
    for name in LIMITED:
        vital = VITALS[name]
        low = whole(form, f"{name}_low", 0, 300, f"{vital.label}, lowest", errors)
        high = whole(form, f"{name}_high", 0, 300, f"{vital.label}, highest", errors)
        if low is not None and high is not None and low >= high:
            errors[f"{name}_high"] = "The highest must be above the lowest."
        found[name] = Limit(low, high)
    return found
