"""Where a number comes from: every source of a test, its rows, how each is known."""

from collections import Counter
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from app.catalogue.load import all_rows
from app.clinical.measure import (
    Cutoff,
    ImportantChange,
    Measure,
    Norm,
    Reliability,
    Row,
    UnableRow,
)
from app.clinical.source import Source
from app.clinical.vocabulary import HOWS
from app.web.deps import SignedIn, SiteDep, page
from app.web.row_words import row_words, whom
from app.web.setup_form import named
from app.web.shelf import measure_or_not_found

router = APIRouter()
KINDS = {
    Norm: "Averages and norms", Cutoff: "Limits", UnableRow: "Unable",
    Reliability: "Error of repeating", ImportantChange: "Change that mattered",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class RowLine:
    """One published row: its kind, numbers, people and how it is known."""

    kind: str
    says: str
    whom: str
    population: str
    n: int | None
    how: str
    confirmed: bool
    judges: bool
    note: str


@dataclass(frozen=True, slots=True)
class SourceLine:
    """A source and what of it is used here."""

    source: Source
    rows: tuple[RowLine, ...]
    notes: tuple[str, ...]
    unconfirmed: int


@router.get("/measures/{measure_id}/sources")
def show(
    request: Request, _me: SignedIn, site: SiteDep, measure_id: str
) -> HTMLResponse:
    """Nobody's data: the same for everyone who is signed in."""
    measure = measure_or_not_found(site.catalogue, measure_id)
    lines = source_lines(measure)
    rows = all_rows(measure)
    return page(
        request,
        "measures/sources.html",
        measure=measure,
        lines=lines,
        counts=_counts(rows),
        edition=site.catalogue.edition,
    )


def _counts(rows: tuple[Row, ...]) -> list[tuple[str, int]]:
    """How many rows are known in which way, the best known first."""
    found: Counter[str] = Counter(row.how for row in rows)
    return [(words, found[how]) for how, words in HOWS.items() if found[how]]


def source_lines(measure: Measure) -> list[SourceLine]:
    """Sources that judge first, then by name; each with all its rows."""
    by_source: dict[str, list[Row]] = {key: [] for key in measure.sources}
    for row in all_rows(measure):
        by_source[row.source].append(row)
    lines = [_line(measure, key, rows) for key, rows in by_source.items()]
    return sorted(lines, key=lambda line: (not line.rows, line.source.short.lower()))


def _line(measure: Measure, key: str, rows: list[Row]) -> SourceLine:
    notes = [
        f"{p.item.capitalize()}: {p.text}" + " (unconfirmed)" * (p.how == "memory")
        for p in measure.protocol
        if p.source == key
    ]
    return SourceLine(
        source=measure.sources[key],
        rows=tuple(_row(measure, row) for row in rows),
        notes=tuple(notes),
        unconfirmed=sum(1 for row in rows if row.how == "memory"),
    )


def _row(measure: Measure, row: Row) -> RowLine:
    return RowLine(
        kind=KINDS[type(row)],
        says=row_words(row),
        whom=whom(measure, row.fit),
        population=row.population,
        n=row.n,
        how=HOWS[row.how],
        confirmed=row.how != "memory",
        judges=not getattr(row, "no_verdict", False) and row.how != "memory",
        note=named(row.note, measure.sources),
    )
