"""The latest score of each test, with its small tape: for the brief and the list."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from app.catalogue.load import Catalogue
from app.clinical.quantities import convert, shown
from app.clinical.quantities import words as with_unit
from app.clinical.vocabulary import OUTCOMES
from app.storage.scores import Score
from app.web.dates import day_words
from app.web.result_view import CHANGE_CHIP, Chip
from app.web.score_tape import list_tape
from app.web.tape import SmallTape


@dataclass(frozen=True, slots=True)
class ScoreLine:
    """One test's latest score in a list."""

    measure_id: str
    name: str
    short: str
    value: str
    day: str
    tape: SmallTape | None
    change: Chip | None
    round_id: int


def latest_by_test(
    shelf: Catalogue, scores: Iterable[Score], today: date
) -> list[ScoreLine]:
    """Newest test first. `scores` come oldest first, as `scores_of` gives them."""
    by_measure: dict[str, list[Score]] = {}
    for score in scores:
        if score.measure not in shelf.measures:
            continue  # a test that left the catalogue keeps its rows, not its place
        by_measure.setdefault(score.measure, []).append(score)
    lines = [_line(shelf, kept, today) for kept in by_measure.values()]
    lines.sort(key=lambda pair: pair[0], reverse=True)
    return [line for _, line in lines]


def _line(shelf: Catalogue, kept: list[Score], today: date) -> tuple[date, ScoreLine]:
    last, measure = kept[-1], shelf.measures[kept[-1].measure]
    earlier = [v for v in (_in_unit(s, last.unit) for s in kept[:-1]) if v is not None]
    verdict = last.change_verdict
    line = ScoreLine(
        measure_id=measure.id,
        name=measure.name,
        short=measure.short,
        value=value_words(last.outcome, last.value, last.unit),
        day=day_words(last.on_date, today),
        tape=list_tape(measure, last.value, last.unit, earlier),
        change=Chip(CHANGE_CHIP.get(verdict, "unsure"), verdict) if verdict else None,
        round_id=last.round_id,
    )
    return last.on_date, line


def _in_unit(score: Score, unit: str) -> Decimal | None:
    if score.value is None:
        return None
    return shown(convert(Fraction(score.value), score.unit, unit), unit)


def value_words(outcome: str, value: str | None, unit: str) -> str:
    """`16.2 s`, or the outcome in words."""
    return OUTCOMES[outcome] if value is None else with_unit(Decimal(value), unit)
