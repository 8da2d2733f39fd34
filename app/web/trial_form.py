"""What a phone sends of one trial -> a TrialBody, or a sentence beside a field."""

import json
import re
from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

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
from app.storage.trials import LONGEST_MS, TrialBody
from app.web.deps import Form

LONGEST_REASON = 500
MOST_SPLITS = 100
#: A phone's clock may be so far ahead, and a trial may wait so long on it, and still
#: say on which day it was taken. Common practice: nobody remembers longer.
AHEAD = timedelta(minutes=2)
OLDEST = timedelta(days=7)


#: In an answer: the id a trial or set was made under, so that the phone may let it go.
SAVED = "tapeline-saved"
#: The field that says somebody looked at an unlikely time and stands by it.
STAND_BY = "range_ok"


class FieldProblem(Exception):
    """One field cannot be used; the form comes back filled, this beside it."""

    def __init__(self, field: str, sentence: str, ask: str = "") -> None:
        super().__init__(sentence)
        self.errors = {field: sentence} | ({ask: sentence} if ask else {})


def trial_body(measure: Measure, form: Form) -> TrialBody:
    """Read the form of a trial; raise FieldProblem with the field's name."""
    outcome = form.text("outcome") or "completed"
    if not form.text("outcome") and "why" in form:
        raise FieldProblem("why", "Choose declined or not done, and say why.")
    if outcome not in OUTCOMES:
        raise FieldProblem("outcome", "Choose what happened.")
    stands_by = {STAND_BY: True} if form.text(STAND_BY) == "yes" else {}
    common: dict[str, Any] = {
        "outcome": outcome,
        "practice": form.text("practice") == "yes",
        "inputs": _inputs(measure, form),
        "splits_ms": _splits(form),
        "clocks": {**_clocks(form), **stands_by},
    }
    if outcome != "completed":
        # A time that ran when the trial was stopped is kept, but is no result.
        ran = form.text("raw_ms")
        if _is_ms(ran):
            common["clocks"] = {**common["clocks"], "stopped_at_ms": int(ran)}
        return TrialBody(**common, reason=_reason(form, outcome))
    if measure.kind == "composite":
        raise FieldProblem("outcome", "This test is made from others: do those.")
    if measure.timed:
        return TrialBody(**common, raw_ms=_milliseconds(measure, form))
    if measure.kind == "distance":
        return TrialBody(**common, **_distance(measure, form))
    return TrialBody(**common, count=_count(measure, form))


def taken_at(form: Form, now: datetime) -> datetime:
    """When the phone says that it happened, if that can be believed; else now."""
    start, sent = _clocks(form).get("start"), form.text("taken_at")
    wall: object = start.get("wall") if isinstance(start, dict) else None
    if wall is None and sent.isascii() and sent.isdigit() and len(sent) < 16:
        wall = int(sent)
    if isinstance(wall, bool) or not isinstance(wall, int | float):
        return now
    late = now.timestamp() - wall / 1000
    believed = -AHEAD.total_seconds() <= late <= OLDEST.total_seconds()
    return now - timedelta(seconds=max(0.0, late)) if believed else now


def _is_ms(text: str) -> bool:
    """Whole milliseconds that a trial can have; length first, since `int` is slow."""
    plain = text.isascii() and text.isdigit() and len(text) < 10
    return plain and int(text) <= LONGEST_MS


def _reason(form: Form, outcome: str) -> str:
    reason = form.text("reason") or form.text("why")
    if outcome == "unable" and reason not in UNABLE_REASONS:
        raise FieldProblem("reason", "Choose why, so that the result can be used.")
    if outcome in ("declined", "not_done") and not reason:
        raise FieldProblem("why", "Say why in a few words.")
    if len(reason) > LONGEST_REASON:
        raise FieldProblem("reason", f"At most {LONGEST_REASON} letters, please.")
    return reason


def _milliseconds(measure: Measure, form: Form) -> int:
    timed = form.text("raw_ms")
    if timed:
        if not _is_ms(timed):
            raise FieldProblem("typed", "The time did not arrive whole: type it.")
        text = str(Decimal(int(timed)) / 1000)
    else:
        text = form.text("typed")
    read = read_any_trial if form.text(STAND_BY) == "yes" else read_trial
    found = int(_value(_read(measure, text, "typed", read)) * 1000)
    if not 0 < found <= LONGEST_MS:
        raise FieldProblem("typed", "Ten hours are the most. Type seconds.")
    return found


def _read(
    measure: Measure,
    text: str,
    field: str,
    read: Callable[[Measure, str], Trial] = read_trial,
) -> Trial:
    try:
        return read(measure, text)
    except OutsideRange as fault:
        if field == "typed":
            raise FieldProblem(field, str(fault), STAND_BY) from fault
        raise FieldProblem(field, str(fault)) from fault
    except BadNumber as fault:
        raise FieldProblem(field, str(fault)) from fault


def _value(trial: Trial) -> Decimal:
    assert trial.value is not None
    return trial.value


def _distance(measure: Measure, form: Form) -> dict[str, Any]:
    unit = form.text("unit") or measure.units[0]
    if unit not in measure.units:
        raise FieldProblem("unit", "Choose inches or centimetres.")
    start, end = form.text("start_mark"), form.text("end_mark")
    typed = form.text("distance")
    if not start and not end:
        bare = typed.replace(".", "").isdigit()
        said = f"{typed} {unit}" if bare else typed
        trial = _read(measure, said, "distance")
        return {"raw_value": str(_value(trial)), "raw_unit": trial.unit}
    if typed:
        raise FieldProblem(
            "distance", "Give the distance or the two marks, not both: clear one."
        )
    try:
        trial = between_marks(measure, start, end, unit)
    except BadNumber as fault:
        raise FieldProblem("end_mark", str(fault)) from fault
    return {
        "raw_value": str(_value(trial)),
        "raw_unit": unit,
        "start_mark": _mark(start),
        "end_mark": _mark(end),
    }


def _mark(text: str) -> str:
    """The number of a mark, without the unit that may have been typed with it."""
    return re.sub(r"[^0-9.]", "", text, flags=re.ASCII)


def _count(measure: Measure, form: Form) -> int:
    return int(_value(_read(measure, form.text("count"), "count")))


def _inputs(measure: Measure, form: Form) -> dict[str, str]:
    found = {}
    done = (form.text("outcome") or "completed") == "completed"
    for wanted in measure.inputs:
        text = form.text(f"input-{wanted.key}")
        if wanted.needed and done and text not in (wanted.options or (text,)):
            raise FieldProblem(f"input-{wanted.key}", f"{wanted.label}: choose one.")
        if not text:
            continue
        if wanted.kind == "yes_no" or text in wanted.options:
            found[wanted.key] = text if wanted.options else "yes"
            continue
        if wanted.options:
            raise FieldProblem(f"input-{wanted.key}", f"{wanted.label}: choose one.")
        whole = text.isascii() and text.isdigit() and len(text) < 5
        if not whole and form.text("raw_ms"):
            continue  # a time that cannot be taken again never waits for a count
        if not whole or not wanted.low <= int(text) <= wanted.high:
            raise FieldProblem(
                f"input-{wanted.key}",
                f"{wanted.label}: a whole number from {wanted.low} to {wanted.high}.",
            )
        found[wanted.key] = text
    return found


def _splits(form: Form) -> list[int]:
    """Split times in ms. Bad ones are dropped: a split never costs the trial."""
    loaded = _json(form.text("splits_ms"))
    if not isinstance(loaded, list):
        return []
    whole = [s for s in loaded if type(s) is int and 0 < s <= LONGEST_MS]
    return sorted(whole)[:MOST_SPLITS]


def _clocks(form: Form) -> dict[str, Any]:
    text = form.text("clocks")
    loaded = _json(text) if len(text) < 20_000 else None
    return loaded if isinstance(loaded, dict) else {}


def _json(text: str) -> object:
    try:
        return json.loads(text, parse_constant=_no_number) if text else None
    except (ValueError, RecursionError):
        return None


def _no_number(word: str) -> None:
    """NaN and infinities are no JSON; PostgreSQL would refuse the row."""
    raise ValueError(word)
