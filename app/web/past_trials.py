"""A trial of a file as storage keeps it, marked as imported."""

from decimal import Decimal
from typing import Any

from app.exports.caseload_csv import TrialCell
from app.storage.past_rounds import marks_of_import
from app.storage.trials import DISTANCE_UNITS, TrialBody
from app.web.trial_form import STAND_BY


def trial_body(told: TrialCell, by: str) -> TrialBody:
    stood_by = {STAND_BY: True} if told.unusual else {}
    return TrialBody(
        outcome=told.outcome,
        reason=told.reason,
        practice=told.practice,
        inputs=dict(told.inputs),
        splits_ms=list(told.splits_ms),
        clocks={**marks_of_import(by), **stood_by},
        **_number(told),
    )


def _number(told: TrialCell) -> dict[str, Any]:
    if told.outcome != "completed":
        return {}
    if told.unit == "s":
        return {"raw_ms": int(Decimal(told.value) * 1000)}
    if told.unit not in DISTANCE_UNITS:  # stands, or the mmHg of a cuff
        return {"count": int(told.value)}
    start, end = told.marks or (None, None)
    return {
        "raw_value": told.value,
        "raw_unit": told.unit,
        "start_mark": start,
        "end_mark": end,
    }
