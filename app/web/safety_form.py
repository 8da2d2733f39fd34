"""What a phone sends after a stop -> answers by name, and sentences beside fields.

A field that cannot be used never costs the others: they are kept all the same.
"""

import re
from datetime import datetime, time, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from app.clinical.make_safe import (
    LONGEST_CALLED,
    LONGEST_NOTE,
    POSITIONS,
    SYMPTOMS,
    VITALS,
    WHATS,
    YES_NO,
)
from app.storage.safety import PRESSURES
from app.web.deps import Form

CLOCK = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])")
_LISTS: Final = {
    "what": WHATS,
    "head_strike": YES_NO,
    "blood_thinner": YES_NO,
    "position": POSITIONS,
}
_TEXTS: Final = {"called": LONGEST_CALLED, "note": LONGEST_NOTE}
#: Fields that are typed, so that they can be wrong.
TYPED: Final = ("called_at", *_TEXTS, *VITALS)


def read_answers(
    form: Form, stopped_at: datetime, zone: ZoneInfo
) -> tuple[dict[str, Any], dict[str, str]]:
    """(answers, errors by field name). What was not asked stays out of both."""
    said: dict[str, Any] = {}
    errors: dict[str, str] = {}
    for name, words in _LISTS.items():
        if form.text(name) in words:
            said[name] = form.text(name)
    if form.text("asked") == "details":
        said["symptoms"] = frozenset(form.every("symptom")) & SYMPTOMS.keys()
        _read_texts(form, said, errors)
        _read_called_at(form, stopped_at, zone, said, errors)
        _read_vitals(form, said, errors)
    return said, errors


def _read_texts(form: Form, said: dict[str, Any], errors: dict[str, str]) -> None:
    for name, longest in _TEXTS.items():
        text = form.text(name)
        if len(text) > longest:
            errors[name] = f"At most {longest} letters, please."
        else:
            said[name] = text


def _read_called_at(
    form: Form,
    stopped_at: datetime,
    zone: ZoneInfo,
    said: dict[str, Any],
    errors: dict[str, str],
) -> None:
    typed = form.text("called_at")
    clock = CLOCK.fullmatch(typed)
    if clock:
        at = time(int(clock[1]), int(clock[2]))
        said["called_at"] = nearest(at, stopped_at, zone)
    elif typed:
        errors["called_at"] = "A time of day as hours and minutes, such as 14:05."
    else:
        said["called_at"] = None


def nearest(clock: time, to: datetime, zone: ZoneInfo) -> datetime:
    """The instant at which a clock there showed this, nearest to the stop.

    A call just after midnight belongs to a stop just before it.
    """
    day = to.astimezone(zone).date()
    days = (day - timedelta(days=1), day, day + timedelta(days=1))
    instants = (datetime.combine(d, clock, tzinfo=zone) for d in days)
    return min(instants, key=lambda instant: abs(instant - to))


def _read_vitals(form: Form, said: dict[str, Any], errors: dict[str, str]) -> None:
    for name, vital in VITALS.items():
        typed = form.text(name)
        if not typed:
            said[name] = None
        elif _is_whole(typed) and vital.low <= int(typed) <= vital.high:
            said[name] = int(typed)
        else:
            errors[name] = (
                f"A whole number from {vital.low} to {vital.high} {vital.unit}."
            )
    upper, lower = (said.get(name) for name in PRESSURES)
    if upper is not None and lower is not None and lower >= upper:
        errors["diastolic"] = "The lower pressure must be below the upper one."
    if errors.keys() & set(PRESSURES):
        for name in PRESSURES:
            said.pop(name, None)


def _is_whole(typed: str) -> bool:
    return typed.isascii() and typed.isdigit() and len(typed) < 4
