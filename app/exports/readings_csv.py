"""readings.csv: one row for each reading of each score, as the one reading function
made it. Derived, so nothing reads it back: the trials make it again.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from app.clinical.reading import Result
from app.clinical.readings import Reading
from app.exports.caseload_csv import INVENTED
from app.exports.csv_cells import escaped, join, written

READING_COLUMNS: Final = (
    "label", "date", "round", "measure", "variant", "outcome", "score", "score_unit",
    "reading", "leads", "kind", "value", "unit", "says", "threshold", "direction",
    "crossed", "verdict", "source", "how", "matched", "differs", "assumed", "edition",
    "invented",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class ReadRound:
    """A round that made a score, with its number among those of its label."""

    label: str
    on: date
    number: int
    result: Result
    edition: str
    invented: bool = False


def readings_csv(rounds: Iterator[ReadRound]) -> Iterator[str]:
    cells = (each for told in rounds for each in reading_cells(told))
    return written(READING_COLUMNS, cells)


def reading_cells(told: ReadRound) -> Iterator[dict[str, str]]:
    result, score = told.result, told.result.score
    whose = {
        "label": told.label,
        "date": told.on.isoformat(),
        "round": str(told.number),
        "measure": score.measure,
        "variant": score.variant,
        "outcome": score.outcome,
        "score": _text(score.shown),
        "score_unit": score.unit,
        "edition": told.edition,
        "invented": INVENTED if told.invented else "",
    }
    for place, reading in enumerate(result.readings):
        leads = result.lead is not None and result.lead.index == place
        yield {**whose, "reading": str(place + 1), "leads": _yes(leads),
               **_cells(reading)}  # fmt: skip


def _cells(reading: Reading) -> dict[str, str]:
    row = reading.row
    return {
        "kind": reading.kind,
        "value": _text(reading.value),
        "unit": reading.unit,
        "says": reading.says,
        "threshold": _text(reading.threshold),
        "direction": reading.direction or "",
        "crossed": _yes(reading.crossed),
        "verdict": reading.verdict or "",
        "source": row.source if row else "",
        "how": row.how if row else "",
        "matched": _yes(reading.matched),
        "differs": join(map(escaped, reading.match.differs), ";"),
        "assumed": join(map(escaped, reading.match.assumed), ";"),
    }


def _text(value: Decimal | None) -> str:
    return "" if value is None else str(value)


def _yes(said: bool | None) -> str:
    """Empty where nothing was judged: that is no no."""
    return "" if said is None else "yes" if said else "no"
