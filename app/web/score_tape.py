"""A judged round drawn on the tape: which marks, in the score's own unit."""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from fractions import Fraction

from app.clinical.change import Change
from app.clinical.lead import sex_guessed
from app.clinical.measure import Cutoff, Measure, Norm, Span
from app.clinical.quantities import alike, convert, shown, words
from app.clinical.reading import Result
from app.clinical.readings import Reading
from app.clinical.scoring import Score
from app.web.dates import day_words
from app.web.judging import Earlier, Judged
from app.web.tape import Band, Notch, Pin, SmallTape, TapeView, small_tape, tape

ABOUT = {
    "falls": "falls",
    "function": "function",
    "help_needed": "needing help",
    "health_vs_disease": "patients v healthy",
    "percentile": "place in a sample",
    "death": "death or hospital stay",
    "protocol_limit": "protocol limit",
}
MOST_CUTOFFS = 3


def score_tape(judged: Judged) -> TapeView | None:
    """The picture of a judged round; None without a number."""
    result = judged.result
    if result is None or result.score.shown is None:
        return None
    unit = result.score.unit
    span = judged.measure.tape[unit]
    spread = _spread(result, unit)
    return tape(
        low=span.low,
        high=span.high,
        unit=unit if unit != "count" else "",
        better=judged.measure.better,
        today=result.score.shown,
        spread=spread,
        notches=_notches(result, unit),
        earlier=_pins(judged.earlier, unit),
        error=_error(result, unit),
        label=_label(result, span, unit),
    )


def _label(result: Result, span: Span, unit: str) -> str:
    assert result.score.shown is not None
    at = words(result.score.shown, unit)
    return f"{at} on a tape from {span.low} to {span.high} {unit}"


def in_score_unit(value: Decimal, unit: str, to: str) -> Decimal | None:
    if not alike(unit, to):
        return None
    return shown(convert(Fraction(value), unit, to), to)


def _usable(result: Result) -> Iterable[Reading]:
    for reading in result.readings:
        about_score = reading.row is not None and reading.row.fit.quantity == "score"
        if about_score and reading.matched and reading.confirmed:
            yield reading


def _spread(result: Result, unit: str) -> Band | None:
    """Mean and SD of the best-ranked healthy reference, one SD either way."""
    for reading in _usable(result):
        norm = reading.row
        if reading.z is None or not isinstance(norm, Norm) or sex_guessed(reading):
            continue
        assert norm.mean is not None
        assert norm.sd is not None
        low = in_score_unit(norm.mean - norm.sd, norm.unit, unit)
        high = in_score_unit(norm.mean + norm.sd, norm.unit, unit)
        if low is not None and high is not None:
            said = f"healthy, mean ± SD, {short_source(result, reading)}"
            return Band(low, high, said)
    return None


def _notches(result: Result, unit: str) -> list[Notch]:
    """The lead's limit, then other fitting cut-offs, then one average."""
    cutoffs: dict[Decimal, Notch] = {}
    averages: list[Notch] = []
    ordered = ([result.leading] if result.leading else []) + list(_usable(result))
    for reading in ordered:
        row, limit = reading.row, reading.threshold
        place = in_score_unit(limit, reading.unit, unit) if limit is not None else None
        if row is None or place is None:
            continue
        crossed = bool(reading.crossed)
        if isinstance(row, Cutoff) and not row.no_verdict:
            said = f"{ABOUT[row.outcome_type]}, {short_source(result, reading)}"
            cutoffs.setdefault(place, Notch(place, said, "cutoff", crossed))
        elif isinstance(row, Norm) and row.limit_kind == "average" and not averages:
            averages.append(Notch(place, "end of average", "average", crossed))
    return [*list(cutoffs.values())[:MOST_CUTOFFS], *averages]


def short_source(result: Result, reading: Reading) -> str:
    """The name of a reading's source on a picture."""
    assert reading.row is not None
    return result.measure.sources[reading.row.source].short


def _pins(earlier: Sequence[Earlier], unit: str) -> list[Pin]:
    pins = []
    for one in earlier:
        value = _value_in(one.score, unit)
        if value is not None:
            pins.append(Pin(value, day_words(one.on_date), one.comparable))
    return pins


def _value_in(score: Score, unit: str) -> Decimal | None:
    if score.value is None:
        return None
    return shown(convert(score.value, score.unit, unit), unit)


def _error(result: Result, unit: str) -> tuple[Decimal, Decimal] | None:
    """The widest confirmed error round the score the change was judged from."""
    change, size = result.change, error_size(result.change, unit)
    if change is None or change.difference is None or result.score.shown is None:
        return None
    before = result.score.shown - change.difference
    return None if size is None else (before - size, before + size)


def error_size(change: Change | None, unit: str) -> Decimal | None:
    """The widest confirmed error that a change was judged by, as it is shown."""
    if change is None or change.difference is None:
        return None
    sizes = [
        r.threshold
        for r in change.readings
        if r.matched and r.confirmed and not r.no_verdict and r.threshold is not None
        and r.kind == "change" and r.outcome_type is None
    ]  # fmt: skip
    if not sizes:
        return None
    return shown(max(sizes), unit)


def list_tape(
    measure: Measure, value: str | None, unit: str, earlier: Sequence[Decimal] = ()
) -> SmallTape | None:
    """The small strip of a list row; None without a number."""
    if value is None:
        return None
    span = measure.tape[unit]
    return small_tape(
        low=span.low, high=span.high, today=Decimal(value), earlier=earlier
    )
