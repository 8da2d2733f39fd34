"""Which reading is shown first, and why: one stated order, no hidden weights."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.clinical.measure import Row
from app.clinical.readings import Reading
from app.clinical.vocabulary import CONDITIONS, HOWS

_KNOWN = tuple(HOWS)


@dataclass(frozen=True, slots=True)
class Lead:
    """`index` into the readings it was chosen from."""

    index: int
    why: str


def may_lead(reading: Reading) -> bool:
    """Fits, was read somewhere, may be judged with, and is no diagnosis line."""
    if not reading.matched or reading.kind not in ("norm", "cutoff"):
        return False
    if not reading.confirmed or reading.no_verdict:
        return False
    if reading.row is not None and reading.row.fit.group in ("fallers", "nonfallers"):
        return False  # an average of fallers would reassure who is faster than it
    if getattr(reading.row, "share", None) is not None:
        return False  # how many of a sample managed it judges no score
    # Someone who has the disease gains nothing from patients-against-healthy, and a
    # consensus line would read as the diagnosis it belongs to. Odds of dying are no
    # headline for a bedside: nothing there can be acted on by them alone.
    return reading.outcome_type not in ("health_vs_disease", "protocol_limit", "death")


def rank(reading: Reading) -> tuple[int, ...]:
    """Smaller is better; ties keep the file's order (sorts are stable)."""
    row = reading.row
    if row is None:
        return (9,)
    return (
        _whom_rank(row),
        0 if reading.outcome_type in ("falls", "function") else 1,
        0 if reading.design in ("prospective", "pooled") else 1,
        0 if reading.sensitivity is not None or reading.effect is not None else 1,
        int(_wide(reading, row)),
        int(sex_guessed(reading)),
        -(row.n or 0),
        _KNOWN.index(row.how),
    )


def _whom_rank(row: Row) -> int:
    """Own condition, general older adults, healthy norm, then other general samples."""
    if row.fit.condition in CONDITIONS:
        return 0
    if row.fit.condition != "none":
        return 1
    return 2 if row.fit.group == "healthy" else 3


def _wide(reading: Reading, row: Row) -> bool:
    """Norms over a whole sample or at ages nobody stated stand behind age bands."""
    no_ages = row.fit.age_min is None and row.fit.age_max is None
    return row.fit.whole_sample or (reading.kind == "norm" and no_ages)


def sex_guessed(reading: Reading) -> bool:
    """A row that fits only "if a man" must not lead over one that fits anyone."""
    return any(a in reading.match.assumed for a in ("if a woman", "if a man"))


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
    whom = (
        f"measured in people with {CONDITIONS.get(row.fit.condition, '')}",
        "measured in older adults",
        "a healthy reference of that age",
        "a general sample of that age",
    )[_whom_rank(row)]
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
