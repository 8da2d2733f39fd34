"""Two scores of one person: within measurement error, real, or not to be told.

Only comparable scores are judged. A headline of real change needs the difference of the
shown values to lie strictly beyond every confirmed error that fits the person.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from app.clinical.accuracy import lopsided_limits, mdc_from_sem
from app.clinical.fit import Match
from app.clinical.kept import once_a_row
from app.clinical.measure import ImportantChange, Measure, Reliability
from app.clinical.person import Person
from app.clinical.quantities import SHOWN_PLACES, convert, rounded, shown, words
from app.clinical.readings import Reading, better_word, worse_word
from app.clinical.scoring import Score, is_zero_by_rule
from app.clinical.setup import HowDone, what_differs
from app.clinical.sifting import Sifted, sifted

REAL_GAIN, REAL_LOSS = "real gain", "real loss"
WITHIN = "within measurement error"
DISAGREE = "sources disagree"
UNTOLD = "cannot be told"
NEWLY_ABLE, NEWLY_UNABLE = "newly able", "newly unable"
NOT_COMPARABLE = "not comparable"
NOT_JUDGED = "not judged"


@dataclass(frozen=True, slots=True)
class Change:
    """The headline: `difference` is now minus before, of the shown values."""

    verdict: str
    says: str
    difference: Decimal | None = None
    unit: str = ""
    differs: tuple[str, ...] = ()
    readings: tuple[Reading, ...] = ()


def judge_change(
    measure: Measure,
    person: Person,
    now: Score,
    before: Score,
    *,
    other_rater: bool = False,
) -> Change:
    """Judge `now` against an earlier score of the same person."""
    rows = sifted(measure, person, now)
    return change_by(rows, measure, now, before, other_rater=other_rater)


def change_by(
    rows: Sifted, measure: Measure, now: Score, before: Score, *, other_rater: bool
) -> Change:
    """The same by rows that are sifted already."""
    differs = what_differs(
        measure,
        HowDone(now.variant, now.facts),
        HowDone(before.variant, before.facts),
    )
    if now.value is None or before.value is None:
        return _ability(now, before, differs)
    if differs:
        says = "Not comparable with the earlier score: " + "; ".join(differs) + "."
        return Change(NOT_COMPARABLE, says, differs=tuple(differs))
    if is_zero_by_rule(measure, now) and is_zero_by_rule(measure, before):
        return Change(UNTOLD, _both_zero(measure, now, before))
    was = shown(convert(before.value, before.unit, now.unit), now.unit)
    step = shown(now.value, now.unit) - was
    readings = [_judge(measure, now, row, fit, was, step) for row, fit in rows.errors]
    kept = [r for r in readings if r is not None]
    kept += _important(rows, now.unit, was, step)
    verdict = _headline(measure, kept, step)
    says = _says(measure, verdict, was, step, now.unit, kept)
    if other_rater:
        says += " Another person measured the earlier score."
    return Change(verdict, says, step, now.unit, (), tuple(kept))


def _ability(now: Score, before: Score, differs: list[str]) -> Change:
    results = {now.outcome, before.outcome} == {"completed", "unable"}
    if results and differs:
        says = f"{before.outcome}, then {now.outcome}, in another set-up: "
        says = f"{says.capitalize()}{'; '.join(differs)}."
        return Change(NOT_COMPARABLE, says, differs=tuple(differs))
    if before.outcome == "unable" and now.outcome == "completed":
        return Change(NEWLY_ABLE, "Newly able: the earlier attempt was unable.")
    if before.outcome == "completed" and now.outcome == "unable":
        return Change(NEWLY_UNABLE, "Newly unable: find out why.")
    both = f"{before.outcome.replace('_', ' ')}, then {now.outcome.replace('_', ' ')}"
    return Change(UNTOLD, f"No two numbers to compare ({both}).")


def _both_zero(measure: Measure, now: Score, before: Score) -> str:
    """Two scores that one rule made 0 hide what was counted: that is said instead."""
    rule = measure.zero
    assert rule is not None
    parts = [s.parts.get(rule.quantity) for s in (before, now)]
    counts = [words(shown(p.value, p.unit), p.unit) for p in parts if p is not None]
    text = "Change cannot be told: both scores are 0 by rule."
    if len(counts) < len(parts):
        return text
    return (
        f"{text} {rule.label}: {' then '.join(counts)}; no error of repeating is "
        "published for it."
    )


def _judge(
    measure: Measure,
    now: Score,
    row: Reliability,
    found: Match,
    was: Decimal,
    step: Decimal,
) -> Reading | None:
    """One error row's word; None for rows without an error or far from the person."""
    if not _tells_error(row):
        return None
    fit = _baseline(row, was, now.unit, found)
    if not fit.fits and not fit.near:
        return None
    low, high, how = _limits_of_share(row, was) or _limits(row, now.unit)
    crossed = step < low or step > high
    verdict = NOT_JUDGED if row.no_verdict else _direction(measure, step, crossed)
    limit = low if step < 0 else high
    size = words(abs(limit.normalize()) + 0, now.unit)
    return Reading(
        kind="change",
        says=_row_says(row, verdict, step, now.unit, size, how),
        row=row,
        match=fit,
        value=step,
        unit=now.unit,
        crossed=None if row.no_verdict else crossed,
        threshold=abs(limit),
        direction="above",
        verdict=verdict,
    )


@once_a_row
def _tells_error(row: Reliability) -> bool:
    """Whether it says by how much two scores of one person differ by themselves."""
    sizes = (row.sem, row.mdc95, row.mdc90, row.mdc_percent, row.gain_percent)
    printed = row.limits is not None or any(s is not None for s in sizes)
    return printed and row.kind == "test_retest" and row.fit.quantity == "score"


def _baseline(
    row: Reliability | ImportantChange, was: Decimal, unit: str, fit: Match
) -> Match:
    """A size known only for some first scores; those are in the row's own unit."""
    low, high = row.baseline_min, row.baseline_max
    if low is None and high is None:
        return fit
    was = rounded(_in(was, unit, row.unit), SHOWN_PLACES[row.unit])
    if (low is None or was >= low) and (high is None or was <= high):
        return fit
    says = f"measured at first scores of {low or 'any'} to {high or 'any'} {row.unit}"
    return Match((*fit.differs, says), fit.assumed, fit.near and fit.fits)


#: Lowest and highest difference that measuring alone explains, and how that is known.
Limits = tuple[Decimal, Decimal, str]


def _limits_of_share(row: Reliability, was: Decimal) -> Limits | None:
    """Those of a row that tells them in percent of the first score; None for others."""
    if row.gain_percent is not None and row.loss_percent is not None:
        gain_at, loss_at = lopsided_limits(was, row.gain_percent, row.loss_percent)
        how = "lopsided, in percent of the first score"
        return _to_print(gain_at - was, loss_at - was, how)
    if row.mdc_percent is None or row.limits is not None:
        return None
    size = was * row.mdc_percent / 100
    return _to_print(-size, size, f"{row.mdc_percent} % of the first score")


@once_a_row
def _limits(row: Reliability, unit: str) -> Limits:
    """Those that are the same after every first score."""
    if row.limits is not None:
        low, high = (_in(v, row.unit, unit) for v in row.limits)
        return _to_print(low, high, "limits of agreement")
    level = "95 %" if row.level_stated else "confidence level not stated"
    if row.mdc95 is not None:
        size, how = row.mdc95, f"minimal detectable change, {level}"
    elif row.mdc90 is not None:
        size, how = row.mdc90, "minimal detectable change, 90 %"
    else:
        size = mdc_from_sem(row.sem or Decimal(0))
        how = f"computed: 1.96 x square root of 2 x SEM {row.sem}"
    size = _in(size, row.unit, unit)
    return _to_print(-size, size, how)


def _to_print(low: Decimal, high: Decimal, how: str) -> Limits:
    """Rounded once, before comparing: the limit printed is the limit judged by."""
    return rounded(low, 2), rounded(high, 2), how


def _in(value: Decimal, unit: str, to: str) -> Decimal:
    if unit == to:
        return value
    exact = convert(Fraction(value), unit, to)
    return Decimal(exact.numerator) / Decimal(exact.denominator)


def _direction(measure: Measure, step: Decimal, crossed: bool) -> str:
    if not crossed:
        return WITHIN
    better = (step < 0) == (measure.better == "lower")
    return REAL_GAIN if better else REAL_LOSS


def _row_says(
    row: Reliability, verdict: str, step: Decimal, unit: str, size: str, how: str
) -> str:
    here = words(abs(step), unit)
    when = f", retested {row.interval}" if row.interval else ""
    text = {
        NOT_JUDGED: f"Not used for a verdict: {row.note}",
        WITHIN: f"{here} of change lies within the {size} that measuring alone can "
        f"explain in {row.population} ({how}{when}).",
    }.get(
        verdict,
        f"{here} of change is more than the {size} that measuring alone can explain "
        f"in {row.population} ({how}{when}).",
    )
    if row.same_session and verdict in (REAL_GAIN, REAL_LOSS):
        text += (
            " Both tests of that study were in one session: weeks apart varies more."
        )
    return text


def _important(rows: Sifted, unit: str, was: Decimal, step: Decimal) -> list[Reading]:
    found = []
    for row, near in rows.important:
        fit = _baseline(row, was, unit, near)
        if fit.fits or fit.near:
            found.append(_important_reading(row, fit, unit, step))
    return found


def _important_reading(
    row: ImportantChange, fit: Match, unit: str, step: Decimal
) -> Reading:
    size = _in(row.value, row.unit, unit)
    toward = step if row.direction == "increase" else -step
    reached = toward >= size
    side = "reaches" if reached else "does not reach"
    says = (
        f"The change {side} {words(row.value, row.unit)}, important in "
        f"{row.population} ({row.anchor})."
    )
    if row.no_verdict:
        says = f"Not used for a verdict: {row.note}"
    return Reading(
        kind="change",
        says=says,
        row=row,
        match=fit,
        value=step,
        unit=unit,
        crossed=None if row.no_verdict else reached,
        threshold=rounded(size, 2),
        direction="at_or_above",
        outcome_type="function",
        verdict=NOT_JUDGED
        if row.no_verdict
        else ("important" if reached else "not important"),
    )


def error_readings(readings: Sequence[Reading]) -> list[Reading]:
    """The confirmed error rows that fit: what a headline may rest on."""
    return [
        r
        for r in readings
        if isinstance(r.row, Reliability)
        and r.matched
        and r.confirmed
        and r.verdict != NOT_JUDGED
    ]


def _headline(measure: Measure, readings: Sequence[Reading], step: Decimal) -> str:
    judged = error_readings(readings)
    if not judged:
        return UNTOLD
    outside = [r for r in judged if r.crossed]
    if not outside:
        return WITHIN
    return _direction(measure, step, True) if len(outside) == len(judged) else DISAGREE


def _says(
    measure: Measure,
    verdict: str,
    was: Decimal,
    step: Decimal,
    unit: str,
    readings: Sequence[Reading],
) -> str:
    side = (step < 0) == (measure.better == "lower")
    word = better_word(measure) if side else worse_word(measure)
    moved = f"{words(abs(step), unit)} {word}" if step else "no difference"
    judged = error_readings(readings)
    if verdict == UNTOLD:
        return (
            f"Change since {words(was, unit)} cannot be told: {moved}. No confirmed "
            "measurement error is published for such a person."
        )
    text = f"{verdict.capitalize()} since {words(was, unit)}: {moved}."
    if verdict == DISAGREE:
        beyond = sum(1 for r in judged if r.crossed)
        return f"{text} Beyond the error of {beyond} of {len(judged)} fitting sources."
    return text
