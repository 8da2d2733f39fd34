"""Trials of a file as storage keeps them, marked as imported."""

from decimal import Decimal
from typing import Any

from app.exports.caseload_csv import ScoreRow, TrialCell
from app.storage.past_rounds import PastRound, PastTrial, marks_of_import
from app.storage.trials import DISTANCE_UNITS, TrialBody
from app.web.trial_form import STAND_BY


def past_round(uid: str, row: ScoreRow) -> PastRound:
    return PastRound(
        uid=uid,
        on=row.on,
        measure=row.measure,
        variant=row.variant,
        facts=dict(row.facts),
        trials=tuple(
            PastTrial(trial_body(trial, row.by), trial.voided) for trial in row.trials
        ),
    )


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
