"""trials.csv: one row for each trial as it happened, of the same rounds as scores.csv.

`round` numbers the rounds of a label in order; readings.csv counts alike. A round comes
back whole from its rows: `trials_reading`.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from app.exports.caseload_csv import INVENTED, ScoreRow, TrialCell, time_cell
from app.exports.csv_cells import escaped, join, written

TRIAL_COLUMNS: Final = (
    "label", "date", "round", "trial", "measure", "variant", "facts", "practice",
    "outcome", "reason", "value", "unit", "start_mark", "end_mark", "inputs", "splits",
    "unusual", "voided", "void_reason", "by", "invented",
)  # fmt: skip
YES: Final = "yes"


@dataclass(frozen=True, slots=True)
class NumberedRound:
    """A round with its number among those of its label."""

    number: int
    row: ScoreRow


def trials_csv(rounds: Iterator[NumberedRound]) -> Iterator[str]:
    cells = (each for told in rounds for each in trial_cells(told))
    return written(TRIAL_COLUMNS, cells)


def trial_cells(told: NumberedRound) -> Iterator[dict[str, str]]:
    row = told.row
    for place, trial in enumerate(row.trials, 1):
        yield {
            "label": row.label,
            "date": row.on.isoformat(),
            "round": str(told.number),
            "trial": str(place),
            "measure": row.measure,
            "variant": row.variant,
            "facts": pairs_cell(row.facts),
            **_trial(trial),
            "by": row.by,
            "invented": INVENTED if row.invented else "",
        }


def pairs_cell(pairs: Mapping[str, str]) -> str:
    """`device=cane; seat_height=17.5 in`."""
    return join((f"{key}={escaped(pairs[key])}" for key in sorted(pairs)), ";")


def _trial(trial: TrialCell) -> dict[str, str]:
    start, end = trial.marks or ("", "")
    return {
        "practice": YES if trial.practice else "",
        "outcome": trial.outcome,
        "reason": trial.reason,
        "value": trial.value,
        "unit": trial.unit,
        "start_mark": start,
        "end_mark": end,
        "inputs": pairs_cell(trial.inputs),
        "splits": " ".join(map(time_cell, trial.splits_ms)),
        "unusual": YES if trial.unusual else "",
        "voided": YES if trial.voided else "",
        "void_reason": trial.voided,
    }
