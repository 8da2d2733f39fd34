"""What a clock says is owed: a test due again, when no order forbids it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from app.catalogue.load import Catalogue
from app.clinical.measure import Measure
from app.clinical.precautions import Clearance, clearance
from app.storage.caseload import LastScore


@dataclass(frozen=True, slots=True)
class Due:
    """A test that was done before and is due again on `day`."""

    measure: Measure
    last: LastScore
    day: date


def clearance_of(measure: Measure, tags: Iterable[str]) -> Clearance:
    """Whether the precautions in force let this test be done."""
    return clearance(measure.must_not, measure.caution, tags)


def due_tests(
    shelf: Catalogue,
    last: Iterable[LastScore],
    tags: Iterable[str],
    today: date,
    every: int | None,
) -> list[Due]:
    """Tests due today or overdue, the longest overdue first; blocked ones never.

    `every`: see `Measure.due_after`.
    """
    in_force = tuple(tags)
    found = []
    for score in last:
        measure = shelf.measures.get(score.measure)
        if measure is None or score.outcome in ("declined", "not_done"):
            continue
        day = measure.due_after(score.on_date, every)
        if day is None or day > today:
            continue
        if clearance_of(measure, in_force).allowed:
            found.append(Due(measure, score, day))
    return sorted(found, key=lambda d: (d.day, d.measure.name))
