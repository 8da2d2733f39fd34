"""A test's history of one patient: the tape with every earlier score, and a table."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from app.clinical.course import RESULTS
from app.clinical.measure import Measure
from app.clinical.quantities import UNIT_WORDS, convert, shown
from app.clinical.scores import Score as Made
from app.clinical.setup import HowDone, what_differs
from app.storage.scores import Score
from app.storage.trials import RoundTrials
from app.web.dates import day_words
from app.web.last_scores import value_words
from app.web.result_view import CHANGE_CHIP, Chip
from app.web.setup_form import setup_words
from app.web.tape import Notch, Pin, TapeView, tape


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
    earlier_episode: bool


@dataclass(frozen=True, slots=True)
class HistoryView:
    """Newest first; the tape compares all with the newest."""

    lines: tuple[HistoryLine, ...]
    tape: TapeView | None


@dataclass(frozen=True, slots=True)
class _History:
    """What the lines share: the test, its scores by round, and the latest result."""

    measure: Measure
    stored: Mapping[int, Score]
    made: Mapping[int, Made]
    newest: Made | None

    def differs(self, kept: RoundTrials) -> list[str]:
        """What keeps a round from being compared with the latest result."""
        made = self.made.get(kept.round.id)
        if self.newest is None or made is None or made.outcome not in RESULTS:
            return []
        return what_differs(self.measure, _how(self.newest), _how(made))


def history_view(
    measure: Measure,
    rounds: Sequence[RoundTrials],
    scores: Sequence[Score],
    made: Mapping[int, Made],
    here: Collection[int],
    goals: Callable[[str], Sequence[Notch]] = lambda _: (),
) -> HistoryView:
    """`rounds` and `scores` of one patient and this test, oldest first.

    `made` holds by round what its trials make; `here` are the visits of this episode.
    `goals` gives the targets to be marked, in a unit.
    """
    results = [
        made[r.round.id]
        for r in rounds
        if r.round.id in made and made[r.round.id].outcome in RESULTS
    ]
    newest = results[-1] if results else None
    history = _History(measure, {s.round_id: s for s in scores}, made, newest)
    lines = tuple(_line(history, kept, here) for kept in reversed(rounds))
    return HistoryView(lines, _tape(history, rounds, goals))


def _how(score: Made) -> HowDone:
    return HowDone(score.variant, score.facts)


def _line(history: _History, kept: RoundTrials, here: Collection[int]) -> HistoryLine:
    score = history.stored.get(kept.round.id)
    verdict = score.change_verdict if score else None
    return HistoryLine(
        round_id=kept.round.id,
        day=day_words(kept.on_date),
        value=value_words(score.outcome, score.value, score.unit)
        if score
        else "not finished",
        setup=setup_words(history.measure, kept.round.facts),
        says=score.lead_says if score else "",
        change=Chip(CHANGE_CHIP.get(verdict, "unsure"), verdict) if verdict else None,
        differs=tuple(history.differs(kept)),
        earlier_episode=kept.round.visit_id not in here,
    )


def _tape(
    history: _History,
    rounds: Sequence[RoundTrials],
    goals: Callable[[str], Sequence[Notch]],
) -> TapeView | None:
    stored, measure = history.stored, history.measure
    timed = [
        (kept, stored[kept.round.id])
        for kept in rounds
        if kept.round.id in stored and stored[kept.round.id].value is not None
    ]
    if not timed:
        return None
    last = timed[-1][1]
    unit = last.unit
    pins = [
        Pin(
            _value(score, unit),
            day_words(kept.on_date),
            not history.differs(kept),
        )
        for kept, score in timed[:-1]
    ]
    span = measure.tape[unit]
    return tape(
        low=span.low,
        high=span.high,
        unit=UNIT_WORDS[unit],
        better=measure.better,
        today=_value(last, unit),
        earlier=pins,
        notches=goals(unit),
        label=f"{len(timed)} scores, the latest {last.value} {UNIT_WORDS[unit]}",
    )


def _value(score: Score, unit: str) -> Decimal:
    assert score.value is not None
    return shown(convert(Fraction(score.value), score.unit, unit), unit)
