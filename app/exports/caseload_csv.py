"""The two files of a caseload, patients.csv and scores.csv: their rows and columns.

A row of patients.csv is one stretch of care of one patient; a row of scores.csv is the
trials of one test on one day. A cell that holds several things parts them by `;`, and
what belongs to one of them by `|`. Reading them back: `caseload_reading`.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Final, Literal

from app.clinical.person import Onset
from app.exports.csv_cells import escaped, join, written

PATIENT_COLUMNS: Final = (
    "label", "birth_year", "birth_date", "sex", "conditions", "facts", "reason",
    "setting", "plan", "opened_on", "closed_on", "precautions", "sizes", "full_name",
    "record_number", "end_reason", "order_on", "plan_on", "prior_self_care",
    "prior_mobility", "lives_with", "invented",
)  # fmt: skip
SCORE_COLUMNS: Final = (
    "label", "date", "measure", "variant", "trials", "outcome", "reason", "facts",
    "by", "invented",
)  # fmt: skip
#: Patients of a demo say so in every row, so that no real site takes them for its own.
INVENTED: Final = "yes"


@dataclass(frozen=True, slots=True)
class PrecautionCell:
    """An order or a risk; without `set_on` it holds since the care began."""

    tag: str
    set_on: date | None = None
    review_on: date | None = None
    ended_on: date | None = None
    set_by: str = ""
    note: str = ""
    why_ended: str = ""


@dataclass(frozen=True, slots=True)
class CareCells:
    """One stretch of care."""

    reason: str
    setting: str
    plan: Literal["restore", "maintain"]
    opened_on: date
    closed_on: date | None = None
    precautions: tuple[PrecautionCell, ...] = ()
    end_reason: str = ""
    order_on: date | None = None
    plan_on: date | None = None
    prior_self_care: str = ""
    prior_mobility: str = ""
    lives_with: str = ""


@dataclass(frozen=True, slots=True)
class PatientRow:
    """Who it is and what is known of them; `care` is None when there was none."""

    label: str
    birth_year: int | None = None
    birth_date: date | None = None
    sex: str | None = None
    conditions: Mapping[str, Onset | None] = field(default_factory=dict)
    sides: Mapping[str, str] = field(default_factory=dict)
    facts: Mapping[str, str] = field(default_factory=dict)
    care: CareCells | None = None
    invented: bool = False
    sizes: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    full_name: str = ""
    record_number: str = ""


@dataclass(frozen=True, slots=True)
class TrialCell:
    """One trial. `value` is as typed, and given only when it was completed.

    `unusual`: outside what such a trial usually is, and somebody stood by it.
    """

    outcome: str = "completed"
    reason: str = ""
    value: str = ""
    unit: str = ""
    marks: tuple[str, str] | None = None
    practice: bool = False
    unusual: bool = False
    inputs: Mapping[str, str] = field(default_factory=dict)
    splits_ms: tuple[int, ...] = ()
    voided: str = ""


@dataclass(frozen=True, slots=True)
class ScoreRow:
    """The trials of one test on one day under one set-up, and by whom they were done.

    `by` is a name as it was known where they were done; nobody here need have it.
    """

    label: str
    on: date
    measure: str
    variant: str = ""
    trials: tuple[TrialCell, ...] = ()
    facts: Mapping[str, str] = field(default_factory=dict)
    by: str = ""
    invented: bool = False


def patients_csv(rows: Iterator[PatientRow]) -> Iterator[str]:
    return written(PATIENT_COLUMNS, map(patient_cells, rows))


def scores_csv(rows: Iterator[ScoreRow]) -> Iterator[str]:
    return written(SCORE_COLUMNS, map(score_cells, rows))


def patient_cells(row: PatientRow) -> dict[str, str]:
    cells = {
        "label": row.label,
        "birth_year": str(row.birth_year or ""),
        "birth_date": _day(row.birth_date),
        "sex": row.sex or "",
        "conditions": join(
            (
                _condition(name, onset, row.sides.get(name, ""))
                for name, onset in sorted(row.conditions.items())
            ),
            ";",
        ),
        "facts": _facts(row.facts),
        "sizes": join(
            (f"{k}={' '.join(row.sizes[k])}" for k in sorted(row.sizes)), ";"
        ),
        "full_name": row.full_name,
        "record_number": row.record_number,
        "invented": INVENTED if row.invented else "",
    }
    return cells | (_care_cells(row.care) if row.care else {})


def _day(day: date | None) -> str:
    return day.isoformat() if day else ""


def _condition(name: str, onset: Onset | None, side: str) -> str:
    parts = (name, f"since {onset}" if onset else "", f"side {side}" if side else "")
    return join([part for part in parts if part], "|")


def _facts(facts: Mapping[str, str]) -> str:
    return join((f"{key}={escaped(facts[key])}" for key in sorted(facts)), ";")


def _care_cells(care: CareCells) -> dict[str, str]:
    return {
        "reason": care.reason,
        "setting": care.setting,
        "plan": care.plan,
        "opened_on": _day(care.opened_on),
        "closed_on": _day(care.closed_on),
        "end_reason": care.end_reason,
        "order_on": _day(care.order_on),
        "plan_on": _day(care.plan_on),
        "prior_self_care": care.prior_self_care,
        "prior_mobility": care.prior_mobility,
        "lives_with": care.lives_with,
        "precautions": join(map(_precaution, care.precautions), ";"),
    }


def _precaution(told: PrecautionCell) -> str:
    said = {
        "set": _day(told.set_on),
        "review": _day(told.review_on),
        "ended": _day(told.ended_on),
        "by": escaped(told.set_by),
        "note": escaped(told.note),
        "why": escaped(told.why_ended),
    }
    return join([told.tag, *(f"{k} {v}" for k, v in said.items() if v.strip())], "|")


def score_cells(row: ScoreRow) -> dict[str, str]:
    return {
        "label": row.label,
        "date": _day(row.on),
        "measure": row.measure,
        "variant": row.variant,
        **_trial_cells(row.trials),
        "facts": _facts(row.facts),
        "by": row.by,
        "invented": INVENTED if row.invented else "",
    }


def _trial_cells(trials: tuple[TrialCell, ...]) -> dict[str, str]:
    """An outcome without a number has columns of its own, when it is all there is."""
    first = trials[0] if trials else TrialCell()
    if trials == (TrialCell(first.outcome, first.reason),) and not first.value:
        return {"trials": "", "outcome": first.outcome, "reason": first.reason}
    all_done = all(trial.outcome == "completed" for trial in trials)
    told = join(map(_trial, trials), ";")
    return {"trials": told, "outcome": "completed" if all_done else "", "reason": ""}


def _trial(told: TrialCell) -> str:
    done = told.outcome == "completed"
    parts = [f"{told.value} {told.unit}".strip() if done else told.outcome]
    if told.reason:
        parts.append(f"reason {escaped(told.reason)}")
    if told.marks:
        parts.append(f"from {told.marks[0]} to {told.marks[1]}")
    parts += [f"input {key}={told.inputs[key]}" for key in sorted(told.inputs)]
    if told.splits_ms:
        parts.append("splits " + " ".join(_seconds(ms) for ms in told.splits_ms))
    if told.practice:
        parts.append("practice")
    if told.unusual:
        parts.append("unusual")
    if told.voided:
        parts.append(f"voided {escaped(told.voided)}")
    return join(parts, "|")


def _seconds(ms: int) -> str:
    """`16.24` of 16240: exact, without zeros at the end."""
    whole, part = divmod(ms, 1000)
    return f"{whole}.{part:03}".rstrip("0").rstrip(".")


def time_cell(ms: int) -> str:
    return _seconds(ms)
