"""A test's history of one patient: the tape with every earlier score, and a table."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from app.clinical.measure import Measure
from app.clinical.quantities import convert, shown
from app.clinical.setup import HowDone, what_differs
from app.storage.scores import Score
from app.storage.trials import RoundTrials
from app.web.dates import day_words
from app.web.last_scores import value_words
from app.web.result_view import CHANGE_CHIP, Chip
from app.web.setup_form import setup_words
from app.web.tape import Pin, TapeView, tape


@dataclass(frozen=True, slots=True)
class HistoryLine:
    """One round: its score or what became of it."""

    round_id: int
    day: str
    value: str
    setup: str
    says: str
    change: Chip | None
    differs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HistoryView:
    """Newest first; the tape compares all with the newest."""

    lines: tuple[HistoryLine, ...]
    tape: TapeView | None


def history_view(
    measure: Measure, rounds: Sequence[RoundTrials], scores: Sequence[Score]
) -> HistoryView:
    """`rounds` and `scores` of one patient and this test, oldest first."""
    by_round = {s.round_id: s for s in scores}
    newest = next((r for r in reversed(rounds) if r.round.id in by_round), None)
    lines = [_line(measure, kept, by_round.get(kept.round.id), newest)
             for kept in reversed(rounds)]  # fmt: skip
    return HistoryView(tuple(lines), _tape(measure, rounds, by_round))


def _differs(
    measure: Measure, kept: RoundTrials, newest: RoundTrials | None
) -> list[str]:
    if newest is None:
        return []
    return what_differs(measure, how_done(measure, newest), how_done(measure, kept))


def how_done(measure: Measure, kept: RoundTrials) -> HowDone:
    variant = measure.variant(kept.round.variant or None).id
    return HowDone(variant, kept.round.facts)


def _line(
    measure: Measure,
    kept: RoundTrials,
    score: Score | None,
    newest: RoundTrials | None,
) -> HistoryLine:
    verdict = score.change_verdict if score else None
    return HistoryLine(
        round_id=kept.round.id,
        day=day_words(kept.on_date),
        value=value_words(score.outcome, score.value, score.unit)
        if score
        else "not finished",
        setup=setup_words(measure, kept.round.facts),
        says=score.lead_says if score else "",
        change=Chip(CHANGE_CHIP.get(verdict, "unsure"), verdict) if verdict else None,
        differs=tuple(_differs(measure, kept, newest)),
    )


def _tape(
    measure: Measure, rounds: Sequence[RoundTrials], by_round: dict[int, Score]
) -> TapeView | None:
    timed = [
        (kept, by_round[kept.round.id])
        for kept in rounds
        if kept.round.id in by_round and by_round[kept.round.id].value is not None
    ]
    if not timed:
        return None
    newest, last = timed[-1]
    unit = last.unit
    pins = [
        Pin(
            _value(score, unit),
            day_words(kept.on_date),
            not _differs(measure, kept, newest),
        )
        for kept, score in timed[:-1]
    ]
    span = measure.tape[unit]
    return tape(
        low=span.low,
        high=span.high,
        unit=unit,
        better=measure.better,
        today=_value(last, unit),
        earlier=pins,
        label=f"{len(timed)} scores, the latest {last.value} {unit}",
    )


def _value(score: Score, unit: str) -> Decimal:
    assert score.value is not None
    return shown(convert(Fraction(score.value), score.unit, unit), unit)
