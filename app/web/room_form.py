"""What is typed of a room -> a row's values, or sentences beside fields."""

from collections.abc import Mapping
from typing import Any

from app.clinical.dimensions import (
    PHASES,
    ROOMS,
    UNITS,
    Length,
    Thing,
    parse_length,
    plain,
)
from app.clinical.quantities import BadNumber
from app.clinical.room_changes import CHANGES, WHO
from app.storage.room_measurements import LONGEST
from app.web.deps import Form

Errors = dict[str, str]


def measure(form: Form, errors: Errors, things: Mapping[str, Thing]) -> dict[str, str]:
    """One measured thing; a value is kept as typed, a fraction as its decimal."""
    thing = things.get(form.text("thing"))
    if thing is None or thing.kind == "slope":
        errors["thing"] = "Choose what was measured."
    length = _length(form, errors, thing)
    said = {
        "room": form.text("room"),
        "thing": form.text("thing"),
        "value": plain(length.value) if length else "",
        "unit": length.unit if length else "",
        "phase": form.text("phase") or "before",
        "note": form.text("note"),
    }
    _closed(said, errors, room=ROOMS, phase=PHASES)
    _short(said["note"], "note", errors)
    return said


def _length(form: Form, errors: Errors, thing: Thing | None) -> Length | None:
    unit = form.text("unit") or UNITS[0]
    try:
        return parse_length(form.text("value"), unit, thing.kind if thing else "size")
    except BadNumber as fault:
        errors["value"] = str(fault)
        return None


def change(form: Form, errors: Errors) -> dict[str, Any]:
    """One thing to change. Which measurement it comes from is looked up elsewhere."""
    said = {name: form.text(name) for name in ("room", "change", "who", "words")}
    _closed(said, errors, room=ROOMS, change=CHANGES, who=WHO)
    if said["change"] == "other" and not said["words"]:
        errors["words"] = "Say in a few words what is to be changed."
    _short(said["words"], "words", errors)
    return said


def _closed(said: dict[str, str], errors: Errors, **lists: Mapping[str, str]) -> None:
    for name, words in lists.items():
        if said[name] not in words:
            errors[name] = "Choose one."


def _short(text: str, name: str, errors: Errors) -> None:
    if len(text) > LONGEST:
        errors[name] = f"At most {LONGEST} letters; these are {len(text)}."
