"""Which rows of a test speak of a person in a set-up: worked out once, then kept.

Whom a row speaks of is told by the person, the set-up and the trial rule: many scores
of one person, on many pages, ask the same. What is kept is found by the test as an
object and by plain values, never by a person's record. Nothing is kept of a test with a
row that speaks of some numbers only.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Final, NamedTuple, TypeVar

from app.clinical.fit import Match, Matching
from app.clinical.kept import once_a_row
from app.clinical.measure import (
    Cutoff,
    ImportantChange,
    Measure,
    Norm,
    Reliability,
    Row,
    UnableRow,
)
from app.clinical.person import Person
from app.clinical.scores import Score
from app.clinical.setup import Deviation, assumed_setup

#: So many pairs of a test and a person in a set-up are remembered: 2 MB, measured.
KEPT: Final = 512

AnyRow = TypeVar("AnyRow", bound=Row)
#: Rows in the file's order, each with how it fits.
Rows = tuple[tuple[AnyRow, Match], ...]


@dataclass(frozen=True, slots=True)
class Sifted:
    """The rows of each table that fit or are near.

    `off`: how the set-up differs; `assumed`: what nobody stated of it. Rows of error
    and of important change are matched strictly.
    """

    off: tuple[Deviation, ...]
    assumed: tuple[str, ...]
    norms: Rows[Norm]
    cutoffs: Rows[Cutoff]
    unable: Rows[UnableRow]
    errors: Rows[Reliability]
    important: Rows[ImportantChange]


class Asked(NamedTuple):
    """All that tells which rows speak, beside the numbers: plain values, for a key."""

    ages: tuple[int, ...]
    sex: str | None
    conditions: tuple[str, ...]
    setting: str | None
    person_facts: tuple[tuple[str, str], ...]
    since: tuple[tuple[str, tuple[str, ...]], ...]
    variant: str
    beside: tuple[str, ...]
    setup: tuple[tuple[str, str], ...]


def sifted(measure: Measure, person: Person, score: Score) -> Sifted:
    """The rows of `measure` that speak of this score of this person."""
    if _by_numbers(measure):
        return sift(measure, person, score)
    return _kept(measure, _asked(person, score))


def sift(measure: Measure, person: Person, score: Score) -> Sifted:
    """The same, worked out anew."""
    held = Matching(measure, person, score)
    return Sifted(
        off=tuple(held.off),
        assumed=tuple(assumed_setup(measure, score.facts, person.conditions)),
        norms=_finest(_rows(held, measure.norms)),
        cutoffs=_rows(held, measure.cutoffs),
        unable=_rows(held, measure.unable),
        errors=_rows(held, measure.reliability, strict=True),
        important=_rows(held, measure.important_change, strict=True),
    )


@once_a_row
def _by_numbers(measure: Measure) -> bool:
    """Whether what a score holds decides if some row speaks of it."""
    tables: tuple[tuple[Row, ...], ...] = (
        measure.norms, measure.cutoffs, measure.unable, measure.reliability,
        measure.important_change,
    )  # fmt: skip
    return any(r.fit.when_any or r.fit.when_all for rows in tables for r in rows)


def _asked(person: Person, score: Score) -> Asked:
    return Asked(
        person.ages,
        person.sex,
        person.conditions,
        person.setting,
        tuple(person.facts.items()),
        tuple(person.since.items()),
        score.variant,
        tuple(score.beside),
        tuple(score.facts.items()),
    )


@lru_cache(maxsize=KEPT)
def _kept(measure: Measure, asked: Asked) -> Sifted:
    """Made from the key alone: what is kept cannot depend on anything else."""
    person = Person(
        asked.ages,
        asked.sex,
        asked.conditions,
        asked.setting,
        dict(asked.person_facts),
        dict(asked.since),
    )
    score = Score(
        measure.id,
        "completed",
        asked.variant,
        measure.units[0],
        beside=dict.fromkeys(asked.beside, Fraction(0)),
        facts=dict(asked.setup),
    )
    return sift(measure, person, score)


def _rows(
    held: Matching, rows: Iterable[AnyRow], *, strict: bool = False
) -> Rows[AnyRow]:
    fits = ((row, held.worth_showing(row.fit, strict=strict)) for row in rows)
    return tuple((row, fit) for row, fit in fits if fit is not None)


def _finest(rows: Rows[Norm]) -> Rows[Norm]:
    """Without whole samples of which the same source has said it for these ages."""
    finer = {r.source for r, fit in rows if fit.fits and not r.fit.whole_sample}
    return tuple(
        (row, fit)
        for row, fit in rows
        if not (row.fit.whole_sample and row.source in finer)
    )
