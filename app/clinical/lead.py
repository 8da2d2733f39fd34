"""Which reading is shown first, and why: one stated order, no hidden weights."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.clinical.readings import Reading
from app.clinical.vocabulary import CONDITIONS, HOWS

_KNOWN = tuple(HOWS)


@dataclass(frozen=True, slots=True)
class Lead:
    """`index` into the readings it was chosen from."""

    index: int
    why: str


def may_lead(reading: Reading) -> bool:
    """Fits, was read somewhere, may be judged with, and is not a mere diagnosis line."""
    if not reading.matched or reading.kind not in ("norm", "cutoff"):
        return False
    if not reading.confirmed or getattr(reading.row, "no_verdict", False):
        return False
    # Someone who has the disease gains nothing from patients-against-healthy.
    return reading.outcome_type != "health_vs_disease"


def rank(reading: Reading) -> tuple[int, ...]:
    """Smaller is better; ties keep the file's order (sorts are stable)."""
    row = reading.row
    if row is None:
        return (9,)
    return (
        _condition_rank(row.fit.condition),
        0 if reading.outcome_type in ("falls", "function") else 1,
        0 if reading.design in ("prospective", "pooled") else 1,
        0 if reading.sensitivity is not None or reading.effect is not None else 1,
        1 if row.fit.whole_sample else 0,
        -(row.n or 0),
        _KNOWN.index(row.how),
    )


def _condition_rank(condition: str) -> int:
    if condition in CONDITIONS:
        return 0
    return 2 if condition == "none" else 1


def choose_lead(readings: Sequence[Reading]) -> Lead | None:
    """The best-ranked reading that may lead, or None."""
    best: tuple[tuple[int, ...], int] | None = None
    for index, reading in enumerate(readings):
        if may_lead(reading):
            candidate = (rank(reading), index)
            best = candidate if best is None else min(best, candidate)
    return None if best is None else Lead(best[1], _why(readings[best[1]]))


def _why(reading: Reading) -> str:
    row = reading.row
    assert row is not None
    whom = {
        0: f"measured in people with {CONDITIONS.get(row.fit.condition, '')}",
        1: "measured in older adults",
        2: "a healthy reference of that age",
    }[_condition_rank(row.fit.condition)]
    parts = [whom]
    if reading.outcome_type:
        parts.append(f"about {reading.outcome_type.replace('_', ' ')}")
    if reading.design in ("prospective", "pooled"):
        parts.append(
            "people followed forward in time"
            if reading.design == "prospective"
            else "pooled from several studies"
        )
    if reading.sensitivity is not None:
        parts.append("accuracy published")
    if row.n:
        parts.append(f"n = {row.n}")
    return "Leads because it fits: " + ", ".join(parts) + f"; {HOWS[row.how]}."
