"""Precautions in force as the brief and the day pack say them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from app.clinical.precautions import PRECAUTIONS, Precaution
from app.storage.precautions import PrecautionOnEpisode
from app.web.dates import ago_words, day_words


@dataclass(frozen=True, slots=True)
class PrecautionLine:
    """A precaution in force."""

    what: Precaution
    note: str
    set_by: str
    since: str
    review: str


def _review_words(review_on: date | None, today: date) -> str:
    """A passed review lifts nothing, and asks to be done."""
    if review_on is None:
        return ""
    overdue = ": overdue, look at it again" if review_on < today else ""
    return f"{day_words(review_on, today)}{overdue}"


def precaution_lines(
    held: Sequence[PrecautionOnEpisode], today: date
) -> list[PrecautionLine]:
    """What holds today, orders before risks."""
    lines = [
        PrecautionLine(
            PRECAUTIONS[p.tag],
            p.note,
            p.set_by,
            ago_words(p.set_on, today),
            _review_words(p.review_on, today),
        )
        for p in held
    ]
    return sorted(lines, key=lambda line: line.what.kind != "order")
