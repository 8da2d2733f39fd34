"""What a phone sends of one set -> a SetBody, and a sentence beside each bad field.

A stop for safety is never refused: of its form what can be used is kept.
"""

import json
import re
from collections.abc import Iterable
from decimal import Decimal, InvalidOperation
from typing import Any, Final

from app.clinical.activity import NAMED_UNITS, Activity
from app.clinical.assistance import CUE_AMOUNTS, CUE_KINDS, LEVELS
from app.clinical.doing import HAND_SUPPORT, OUTCOMES
from app.clinical.make_safe import SYMPTOMS
from app.clinical.quantities import plain
from app.clinical.visiting import EFFORT_SCALES, NOT_DONE
from app.storage.activity_sets import LONGEST_LOG, LONGEST_NOTE, SetBody
from app.storage.trials import DISTANCE_UNITS, LONGEST_MS
from app.web.deps import Form

WHOLE: Final = (
    "reps", "steps", "steps_to_recover", "passes", "hazards", "calls", "correct",
    "errors",
)  # fmt: skip
#: Any of these makes a set one of which something is known.
COUNTED: Final = (*WHOLE, "time_ms", "distance", "effort")
SAID_IN: Final = {*WHOLE, "holds_s", "time_s", "distance", "unit", "effort"}
NOTHING: Final = "Nothing is counted yet: count it, or tick that it was done uncounted."
CLOSED: Final = {
    "hand_support": HAND_SUPPORT,
    "level": LEVELS,
    "cue_kind": CUE_KINDS,
    "cue_amount": CUE_AMOUNTS,
}
MOST_HOLDS: Final = 50


class _Reader:
    """The fields that can be used, and a sentence for each that cannot."""

    def __init__(self, form: Form) -> None:
        self.form = form
        self.said: dict[str, Any] = {}
        self.errors: dict[str, str] = {}

    def whole(self, name: str, low: int = 0, high: int = 9999) -> None:
        text = self.form.text(name)
        if not text:
            return
        if _digits(text, 4) and low <= int(text) <= high:
            self.said[name] = int(text)
        else:
            self.errors[name] = f"A whole number from {low} to {high}, please."

    def closed(self, name: str, words: Iterable[str]) -> None:
        text = self.form.text(name)
        if text in words:
            self.said[name] = text
        elif text:
            self.errors[name] = "Choose one of the list."

    def text(self, name: str, most: int) -> None:
        text = self.form.text(name)
        if len(text) > most:
            self.errors[name] = f"At most {most} letters, please."
        self.said[name] = text[:most]


def read_set(activity: Activity, form: Form) -> tuple[SetBody, dict[str, str]]:
    """What the form says, and what of it cannot be used, by the field's name."""
    read = _Reader(form)
    outcome = form.text("outcome") or "done"
    if outcome not in OUTCOMES:
        read.errors["outcome"] = "Choose what happened."
        outcome = "done"
    read.said["outcome"] = outcome
    if outcome == "not_done":
        read.closed("reason", NOT_DONE)
        if "reason" not in read.said:
            read.errors["reason"] = "Choose why it was not done."
    for name in WHOLE:
        read.whole(name)
    read.whole("helpers", 0, 4)
    for name, words in CLOSED.items():
        read.closed(name, words)
    for name in ("note", "override"):
        read.text(name, LONGEST_NOTE)
    _grade(activity, read)
    _times(read)
    _distance(read)
    _effort(read)
    _together(read)
    read.said["after_stop"] = form.text("after_stop") == "yes" or None
    if outcome == "done" and not (_counted(read) or _uncounted(form)):
        read.errors["uncounted"] = NOTHING
    body = SetBody(**read.said, log=_log(form.text("log")))
    return body, {} if outcome == "stopped" else read.errors


def _uncounted(form: Form) -> bool:
    return form.text("uncounted") == "yes"


def _counted(read: _Reader) -> bool:
    """Whether anything of a set was said; what cannot be used has its own sentence."""
    if read.errors.keys() & SAID_IN:
        return True
    named = any(read.said.get(name) is not None for name in COUNTED)
    return named or bool(read.said.get("holds_ms"))


def _digits(text: str, most: int) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= most


def _decimal(text: str) -> Decimal | None:
    """A plain number, a comma read as its point; None for anything else."""
    text = text.replace(",", ".")
    if not re.fullmatch(r"-?[0-9]{1,6}(\.[0-9]{1,3})?", text, re.ASCII):
        return None
    try:
        return Decimal(text)
    except InvalidOperation:
        return None


def read_grade(activity: Activity, text: str) -> Decimal | None:
    """A grade that this activity has, or None."""
    value = _decimal(text)
    grade = activity.grade
    if value is None or not grade.within(value):
        return None
    named = grade.unit in NAMED_UNITS
    return None if named and value != int(value) else value


def _grade(activity: Activity, read: _Reader) -> None:
    text = read.form.text("grade")
    if not text:
        return
    value = read_grade(activity, text)
    if value is None:
        ends = sorted((activity.grade.easiest, activity.grade.hardest))
        low, high = map(plain, ends)
        read.errors["grade"] = f"From {low} to {high}, please."
    else:
        read.said["grade"] = plain(value)


def _times(read: _Reader) -> None:
    """In whole milliseconds from the phone's clock, or typed in seconds."""
    form = read.form
    holds = _all_ms(form.text("holds_ms"), form.text("holds_s"))
    if holds is None or len(holds) > MOST_HOLDS:
        read.errors["holds_s"] = "Seconds of each hold, such as 10, 12.5."
    else:
        read.said["holds_ms"] = holds
    times = _all_ms(form.text("time_ms"), form.text("time_s"))
    if times is None or len(times) > 1:
        read.errors["time_s"] = "Seconds, such as 42.5."
    elif times:
        read.said["time_ms"] = times[0]


def _all_ms(sent: str, typed: str) -> list[int] | None:
    """Of what the phone sent, else of what was typed; None when it is no time."""
    found = []
    for part in re.split(r"[,;]\s*|\s+", sent or typed):
        if not part:
            continue
        if sent:
            ms = int(part) if _digits(part, 9) else -1
        else:
            seconds = _decimal(part)
            ms = -1 if seconds is None else int(seconds * 1000)
        if not 0 <= ms <= LONGEST_MS:
            return None
        found.append(ms)
    return found


def _distance(read: _Reader) -> None:
    text = read.form.text("distance")
    if not text:
        return
    value = _decimal(text)
    unit = read.form.text("unit") or "in"
    if value is None or value < 0:
        read.errors["distance"] = "A number such as 9.5, please."
    elif unit not in DISTANCE_UNITS:
        read.errors["unit"] = "Choose inches or centimetres."
    else:
        read.said |= {"distance": text.replace(",", "."), "distance_unit": unit}


def _effort(read: _Reader) -> None:
    scale = read.form.text("effort_scale") or "0-10"
    if not read.form.text("effort"):
        return
    if scale not in EFFORT_SCALES:
        read.errors["effort_scale"] = "Choose one of the scales."
        return
    read.whole("effort", *EFFORT_SCALES[scale])
    if "effort" in read.said:
        read.said["effort_scale"] = scale


def _together(read: _Reader) -> None:
    """Symptoms count before "no symptom"; right answers are of the calls."""
    found = tuple(sorted({s for s in read.form.every("symptom") if s in SYMPTOMS}))
    read.said["symptoms"] = found
    read.said["no_symptom"] = not found and read.form.text("no_symptom") == "yes"
    correct = read.said.get("correct")
    if correct is not None and correct > read.said.get("calls", -1):
        del read.said["correct"]
        read.errors["correct"] = "At most as many as there were calls."


def _log(text: str) -> dict[str, Any]:
    """What a caller called; a bad one is dropped: it never costs the set."""
    if not 0 < len(text) <= LONGEST_LOG:
        return {}
    try:
        loaded = json.loads(text, parse_constant=_no_number)
    except (ValueError, RecursionError):
        return {}
    return loaded if isinstance(loaded, dict) else {}


def _no_number(word: str) -> None:
    """NaN and infinities are no JSON; PostgreSQL would refuse the row."""
    raise ValueError(word)
