"""Which rows of a test may speak of a person in a set-up: worked out once, then kept.

Whom a row speaks of is told by the person, the set-up and the trial rule, seldom by the
number: many scores of one person, on many pages, ask the same. What is kept is found by
the test as an object and by plain values, never by a person's record.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Final, NamedTuple, TypeVar

from app.clinical.fit import Match, Matching
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

#: Tests of so many people are remembered.
KEPT: Final = 512

AnyRow = TypeVar("AnyRow", bound=Row)
#: Rows in the file's order, each with how it fits; None: the score's numbers decide.
Rows = tuple[tuple[AnyRow, Match | None], ...]


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


@dataclass(frozen=True, slots=True)
class Sifted:
    """Rows that may speak. `off`: how the set-up differs; `assumed`: what of it is."""

    off: tuple[Deviation, ...]
    assumed: tuple[str, ...]
    norms: Rows[Norm]
    cutoffs: Rows[Cutoff]
    unable: Rows[UnableRow]
    errors: Rows[Reliability]
    important: Rows[ImportantChange]


class Sifting:
    """One score of one person before the rows of its test."""

    def __init__(self, measure: Measure, person: Person, score: Score) -> None:
        self.measure, self.person, self.score = measure, person, score
        self._found = _sifted(measure, _asked(person, score))
        self.off, self.assumed = self._found.off, self._found.assumed

    def norms(self) -> Iterator[tuple[Norm, Match]]:
        return self._settled(self._found.norms)

    def cutoffs(self) -> Iterator[tuple[Cutoff, Match]]:
        return self._settled(self._found.cutoffs)

    def unable(self) -> Iterator[tuple[UnableRow, Match]]:
        return self._settled(self._found.unable)

    def errors(self) -> Iterator[tuple[Reliability, Match]]:
        """Rows on repeating the test, which are matched strictly."""
        return self._settled(self._found.errors, strict=True)

    def important(self) -> Iterator[tuple[ImportantChange, Match]]:
        return self._settled(self._found.important, strict=True)

    def _settled(
        self, rows: Rows[AnyRow], *, strict: bool = False
    ) -> Iterator[tuple[AnyRow, Match]]:
        for row, kept in rows:
            fit = kept or self._by_numbers(row, strict)
            if fit is not None:
                yield row, fit

    def _by_numbers(self, row: Row, strict: bool) -> Match | None:
        held = Matching(self.measure, self.person, self.score)
        return held.worth_showing(row.fit, strict=strict)


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
def _sifted(measure: Measure, asked: Asked) -> Sifted:
    facts, since = dict(asked.person_facts), dict(asked.since)
    person = Person(
        asked.ages, asked.sex, asked.conditions, asked.setting, facts, since
    )
    beside = dict.fromkeys(asked.beside, Fraction(0))
    setup = dict(asked.setup)
    blank = Score(
        measure.id, "completed", asked.variant, "", beside=beside, facts=setup
    )
    held = Matching(measure, person, blank)
    return Sifted(
        off=tuple(held.off),
        assumed=tuple(assumed_setup(measure, setup, person.conditions)),
        norms=_rows(held, measure.norms),
        cutoffs=_rows(held, measure.cutoffs),
        unable=_rows(held, measure.unable),
        errors=_rows(held, measure.reliability, strict=True),
        important=_rows(held, measure.important_change, strict=True),
    )


def _rows(
    held: Matching, rows: Iterable[AnyRow], *, strict: bool = False
) -> Rows[AnyRow]:
    found: list[tuple[AnyRow, Match | None]] = []
    for row in rows:
        if row.fit.when_any or row.fit.when_all:
            found.append((row, None))
        elif (fit := held.worth_showing(row.fit, strict=strict)) is not None:
            found.append((row, fit))
    return tuple(found)
