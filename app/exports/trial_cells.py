"""The trials of a row of scores.csv, read back by the test's own rules."""

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

from app.clinical.measure import Measure
from app.clinical.quantities import BadNumber
from app.clinical.scoring import (
    OutsideRange,
    Trial,
    between_marks,
    read_any_trial,
    read_trial,
)
from app.clinical.vocabulary import OUTCOMES, UNABLE_REASONS
from app.exports.caseload_csv import TrialCell
from app.exports.csv_cells import split, unescaped

#: Common practice: no row holds more, and no trial is longer than ten hours.
MOST_TRIALS: Final = 50
MOST_SPLITS: Final = 100
LONGEST_MS: Final = 36_000_000
LONGEST_REASON: Final = 500
_MARKS: Final = re.compile(r"from (\d[\d.]*) to (\d[\d.]*)", re.ASCII)
_SPLIT: Final = re.compile(r"\d{1,5}(\.\d{1,3})?", re.ASCII)


class BadTrial(ValueError):
    """A trial that cannot be read; the message says what to write."""

    def __init__(self, says: str, column: str = "trials") -> None:
        super().__init__(says)
        self.column = column


def trials_of(measure: Measure, cells: Mapping[str, str]) -> tuple[TrialCell, ...]:
    """The trials in order; raise BadTrial."""
    outcome, reason = cells["outcome"], cells["reason"]
    if outcome and outcome not in OUTCOMES:
        raise BadTrial(f"{outcome!r} is not one of {', '.join(OUTCOMES)}.", "outcome")
    parts = split(cells["trials"], ";")
    if not parts:
        if outcome in ("", "completed"):
            raise BadTrial("Give the trials, or an outcome without a number.")
        return (_checked(TrialCell(outcome, reason)),)
    if outcome not in ("", "completed") or reason:
        raise BadTrial("Give trials or an outcome with its reason, not both.")
    if len(parts) > MOST_TRIALS:
        raise BadTrial(f"At most {MOST_TRIALS} trials in a row.")
    return tuple(_trial(measure, part) for part in parts)


def _trial(measure: Measure, text: str) -> TrialCell:
    first, *more = split(text, "|")
    said = _said(more)
    inputs = dict(_input(measure, told) for told in said.get("input", ()))
    common: dict[str, Any] = {
        "inputs": inputs,
        "splits_ms": _splits(said.get("splits", [""])[0]),
        "practice": "practice" in said,
        "voided": _words(said, "voided"),
    }
    if first in OUTCOMES and first != "completed":
        if "from" in said or "unusual" in said:
            raise BadTrial(f"{first!r} has no number, so nothing of it can be said.")
        return _checked(TrialCell(first, _words(said, "reason"), **common))
    if "reason" in said:
        raise BadTrial(f"{text!r}: a trial with a number has no reason.")
    return _number(measure, first, said, common)


def _said(parts: list[str]) -> dict[str, list[str]]:
    """What follows a trial, by its first word."""
    said: dict[str, list[str]] = {}
    for part in parts:
        word, _, rest = part.partition(" ")
        known = ("reason", "from", "input", "splits", "practice", "unusual", "voided")
        if word not in known or (word in said and word != "input"):
            raise BadTrial(f"{part!r} is not understood. It begins {', '.join(known)}.")
        said.setdefault(word, []).append(part if word == "from" else rest.strip())
    return said


def _words(said: Mapping[str, list[str]], key: str) -> str:
    if key not in said:
        return ""
    words = unescaped(said[key][0])
    if not 1 <= len(words) <= LONGEST_REASON:
        raise BadTrial(f"{key}: say why, in at most {LONGEST_REASON} letters.")
    return words


def _checked(trial: TrialCell) -> TrialCell:
    """An outcome without a number says why, where the bedside asks for it too."""
    if len(trial.reason) > LONGEST_REASON:
        raise BadTrial(f"At most {LONGEST_REASON} letters.", "reason")
    if trial.outcome == "unable" and trial.reason not in ("", *UNABLE_REASONS):
        allowed = ", ".join(UNABLE_REASONS)
        raise BadTrial(f"{trial.reason!r} is not one of {allowed}.", "reason")
    return trial


def _number(
    measure: Measure,
    text: str,
    said: Mapping[str, list[str]],
    common: Mapping[str, Any],
) -> TrialCell:
    try:
        trial, unusual = _likely_or_stood_by(measure, text, "unusual" in said)
    except BadNumber as fault:
        raise BadTrial(str(fault)) from fault
    assert trial.value is not None
    if trial.unit == "s" and not 0 < trial.value * 1000 <= LONGEST_MS:
        raise BadTrial("Ten hours are the most.")
    if trial.unit in ("m/s", "ft/s"):
        raise BadTrial("Write the seconds that were timed; the course makes the speed.")
    if trial.unit == "count" and trial.value > 9999:
        raise BadTrial("9999 is the most.")
    return TrialCell(
        value=_plain(trial),
        unit="" if trial.unit == "count" else trial.unit,
        marks=_marks(measure, said["from"][0], trial) if "from" in said else None,
        unusual=unusual,
        **common,
    )


def _likely_or_stood_by(
    measure: Measure, text: str, stood_by: bool
) -> tuple[Trial, bool]:
    """The trial, and whether it is outside what such a trial usually is."""
    try:
        return read_trial(measure, text), False
    except OutsideRange as fault:
        if stood_by:
            return read_any_trial(measure, text), True
        raise BadTrial(f"{fault} If it is right, write {text} | unusual.") from fault


def _plain(trial: Trial) -> str:
    """A time without zeros at its end, as it is kept in ms; a distance as typed."""
    text = str(trial.value)
    if trial.unit == "s" and "." in text:
        text = text.rstrip("0").rstrip(".")
    return text


def _marks(measure: Measure, text: str, trial: Trial) -> tuple[str, str]:
    found = _MARKS.fullmatch(text)
    if found is None or measure.kind != "distance":
        raise BadTrial(f"{text!r}: two marks are written from 3.5 to 13.")
    try:
        between = between_marks(measure, found[1], found[2], trial.unit)
    except OutsideRange:
        between = Trial("completed", Decimal(found[2]) - Decimal(found[1]), trial.unit)
    except BadNumber as fault:
        raise BadTrial(str(fault)) from fault
    if between.value != trial.value:
        raise BadTrial(f"{text!r} is {between.value} apart, not {trial.value}.")
    return found[1], found[2]


def _input(measure: Measure, text: str) -> tuple[str, str]:
    key, _, value = (part.strip() for part in text.partition("="))
    wanted = next((each for each in measure.inputs if each.key == key), None)
    if wanted is None:
        raise BadTrial(f"{measure.id} has no input {key!r}.")
    if wanted.kind == "yes_no":
        good = value == "yes"
    elif wanted.options:
        good = value in wanted.options
    else:
        whole = value.isascii() and value.isdigit() and len(value) < 5
        good = whole and wanted.low <= int(value) <= wanted.high
    if not good:
        raise BadTrial(f"{key}: {value!r} cannot be.")
    return key, value


def _splits(text: str) -> tuple[int, ...]:
    words = text.split()
    if len(words) > MOST_SPLITS or not all(map(_SPLIT.fullmatch, words)):
        raise BadTrial("splits: rising seconds like 4.1 9.3.")
    found = tuple(int(Decimal(word) * 1000) for word in words)
    if list(found) != sorted(found) or any(ms == 0 for ms in found):
        raise BadTrial("splits: rising seconds like 4.1 9.3.")
    return found
