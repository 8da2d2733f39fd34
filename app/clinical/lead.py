"""Which reading is shown first, and why: one stated order, no hidden weights."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from app.clinical.kept import once_a_row
from app.clinical.measure import Norm, Row
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
    if reading.row is not None and not _row_may_lead(reading.row):
        return False
    # Someone who has the disease gains nothing from patients-against-healthy, and a
    # consensus line would read as the diagnosis it belongs to. Odds of dying are no
    # headline for a bedside: nothing there can be acted on by them alone.
    return reading.outcome_type not in ("health_vs_disease", "protocol_limit", "death")


@once_a_row
def _row_may_lead(row: Row) -> bool:
    if row.how == "memory" or getattr(row, "no_verdict", False):
        return False
    if row.fit.group in ("fallers", "nonfallers"):
        return False  # an average of fallers would reassure who is faster than it
    # How many of a sample managed it judges no score.
    return getattr(row, "share", None) is None


def rank(reading: Reading) -> tuple[int, ...]:
    """Smaller is better; ties keep the file's order (sorts are stable)."""
    row = reading.row
    if row is None:
        return (9,)
    whom, wide, size, known = _row_rank(row)
    return (
        whom,
        0 if reading.outcome_type in ("falls", "function") else 1,
        0 if reading.design in ("prospective", "pooled") else 1,
        0 if reading.sensitivity is not None or reading.effect is not None else 1,
        wide,
        int(sex_guessed(reading)),
        size,
        known,
    )


@once_a_row
def _row_rank(row: Row) -> tuple[int, int, int, int]:
    """Of whom a row speaks, how widely, of how many, and how that is known."""
    return _whom_rank(row), int(_wide(row)), -(row.n or 0), _KNOWN.index(row.how)


def _whom_rank(row: Row) -> int:
    """Own condition, general older adults, healthy norm, then other general samples."""
    if row.fit.condition in CONDITIONS:
        return 0
    if row.fit.condition != "none":
        return 1
    return 2 if row.fit.group == "healthy" else 3


def _wide(row: Row) -> bool:
    """Norms over a whole sample or at ages nobody stated stand behind age bands."""
    no_ages = row.fit.age_min is None and row.fit.age_max is None
    return row.fit.whole_sample or (isinstance(row, Norm) and no_ages)


def sex_guessed(reading: Reading) -> bool:
    """A row that fits only "if a man" must not lead over one that fits anyone."""
    assumed = reading.match.assumed
    return "if a woman" in assumed or "if a man" in assumed


def in_order(readings: Iterable[Reading]) -> list[Reading]:
    """The best-ranked that may lead first, then others that fit, then the rest."""
    return sorted(readings, key=lambda r: (not r.matched, not may_lead(r), rank(r)))


def choose_lead(ordered: Sequence[Reading]) -> Lead | None:
    """The first of readings in order, or None when that may not lead."""
    if not ordered or not may_lead(ordered[0]):
        return None
    return Lead(0, _why(ordered[0]))


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
