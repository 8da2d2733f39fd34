"""A score against a sample's scores: averages, limits, spread and place.

Only a healthy reference that is not skewed gives z and percentile. A confidence limit
of a mean is a limit of the average, never of normal.
"""

from dataclasses import dataclass
from decimal import Decimal
from statistics import NormalDist

from app.clinical.fit import Match
from app.clinical.kept import once_a_row
from app.clinical.measure import Measure, Norm
from app.clinical.quantities import (
    UNIT_WORDS,
    beyond,
    compared_places,
    rounded,
    words,
)
from app.clinical.readings import (
    Reading,
    Said,
    better_word,
    in_unit,
    quantity_note,
    quantity_of,
    worse_word,
)
from app.clinical.scoring import Score

#: Said of a mean whose sample has a long slow tail, and of other lopsided samples.
PULLED = " A few very slow people pull this average up."
UNEVEN = " That sample does not spread evenly around its average."
_STANDARD = NormalDist()


@dataclass(frozen=True, slots=True)
class _Print:
    """What is the same of a row whatever the score.

    `limit` is what may be crossed; a score is compared with `places` decimals.
    """

    limit: Decimal | None
    direction: str
    places: int
    numbers: str
    limit_words: str
    mean_words: str


def read_norm(measure: Measure, norm: Norm, score: Score, fit: Match) -> Reading | None:
    """What one norm row says; None when the score holds nothing comparable."""
    held = quantity_of(norm, score)
    if norm.share is not None:
        return _share(norm, score, fit) if held is not None else None
    row = _print(measure, norm)
    if held is None or row is None:
        return None
    said = in_unit(held, norm.unit, row.places)
    if said is None:
        return None
    value = said.value
    limit = row.limit
    crossed = None if limit is None else beyond(value, row.direction, limit)
    z, percentile = _place(measure, norm, value)
    says = _says(measure, norm, row, said, crossed, percentile, z)
    return Reading(
        kind="norm",
        says=says + quantity_note(norm, measure, score),
        row=norm,
        match=fit,
        detail=row.numbers,
        value=value,
        unit=norm.unit,
        crossed=crossed,
        threshold=limit,
        direction=row.direction if limit is not None else None,
        z=z,
        percentile=percentile,
    )


def _share(norm: Norm, score: Score, fit: Match) -> Reading:
    """How many of a sample managed it: says nothing of how good a score is."""
    percent = rounded((norm.share or Decimal(0)) * 100, 0)
    part = score.parts.get(norm.fit.quantity)
    what = f" the {part.label}" if part else ""
    says = f"Of 100 {norm.population}, {percent} held{what} for the whole time."
    return Reading(kind="norm", says=says, row=norm, match=fit, unit=norm.unit)


@once_a_row
def _print(measure: Measure, norm: Norm) -> _Print | None:
    """None for a row that prints nothing to compare with."""
    limit, direction = _limit(measure, norm)
    anchor = limit or norm.mean or next(iter(norm.percentiles.values()), None)
    if anchor is None:
        return None
    return _Print(
        limit,
        direction,
        compared_places(anchor, norm.unit),
        _numbers(norm),
        "" if limit is None else words(limit, norm.unit),
        "" if norm.mean is None else words(norm.mean, norm.unit),
    )


def _limit(measure: Measure, norm: Norm) -> tuple[Decimal | None, str]:
    lower = measure.better == "lower"
    direction = "above" if lower else "below"
    if norm.limit is not None:
        if norm.limit_kind == "fifth":
            direction = "at_or_above" if lower else "at_or_below"
        return norm.limit, direction
    if norm.ci95 is not None:
        return norm.ci95[1 if lower else 0], direction
    return None, direction


def _place(
    measure: Measure, norm: Norm, value: Decimal
) -> tuple[Decimal | None, int | None]:
    healthy = norm.fit.group == "healthy" and not norm.skewed
    if not healthy or norm.mean is None or not norm.sd:
        return None, None
    z = (value - norm.mean) / norm.sd
    worse = z if measure.better == "higher" else -z
    percent = rounded(_STANDARD.cdf(float(worse)) * 100, 0)
    return rounded(z, 2), min(99, max(1, int(percent)))


def _says(
    measure: Measure,
    norm: Norm,
    row: _Print,
    said: Said,
    crossed: bool | None,
    percentile: int | None,
    z: Decimal | None,
) -> str:
    value, here, who = said.value, said.words, norm.population
    if norm.no_verdict:
        numbers = f"{row.numbers} {UNIT_WORDS[norm.unit]}".strip()
        return f"{here}; {who}: {numbers}. Not used for a verdict: see the note."
    if row.limit is not None:
        return _limit_says(measure, norm, here, row.limit_words, crossed)
    if norm.mean is not None and not (norm.skewed and norm.percentiles):
        mean, side = row.mean_words, _side(measure, value, norm.mean)
        text = f"{here} is {side} the average of {who} ({mean})."
        if percentile is not None and z is not None and z != 0:
            text = (
                f"{here} is {abs(rounded(z, 1))} SD {side} the average of {who} "
                f"({mean}); of 100 such people {_of_100(percentile)} would do worse."
            )
        return text + (PULLED if measure.better == "lower" else UNEVEN) * norm.skewed
    return _half_says(measure, norm, said) or f"{here}; in {who}, {_percentiles(norm)}."


def _half_says(measure: Measure, norm: Norm, said: Said) -> str:
    """Against the middle half of a sample, where both its ends are printed."""
    low, high = norm.percentiles.get(25), norm.percentiles.get(75)
    if low is None or high is None or 50 in norm.percentiles:
        return ""
    if low <= said.value <= high:
        side = "within"
    else:
        lower = measure.better == "lower"
        word = worse_word if (said.value < low) != lower else better_word
        side = f"{word(measure)} than"
    half = f"{low} to {words(high, norm.unit)}"
    return f"{said.words} is {side} the middle half of {norm.population} ({half})."


def _limit_says(
    measure: Measure, norm: Norm, here: str, at: str, crossed: bool | None
) -> str:
    who, slow = norm.population, worse_word(measure)
    if norm.limit_kind == "normal":
        side = "beyond" if crossed else "within"
        return f"{here} is {side} the limit of normal given for {who} ({at})."
    if norm.limit_kind == "fifth":
        among = "among" if crossed else "not among"
        return f"{here} is {among} the slowest fifth of {who}, which starts at {at}."
    tail = (
        f"{at} is the far end of that average's confidence interval, not a limit of "
        "normal."
    )
    if crossed:
        return f"{slow.capitalize()} than the average of {who}: {here}. {tail}"
    return f"Not {slow} than the average of {who}: {here}. {tail}"


def _of_100(percentile: int) -> str:
    """Beyond the ends a share of a hundred is not known to a whole number."""
    ends = {1: "fewer than 2", 99: "more than 98"}
    return ends.get(percentile, f"about {percentile}")


def _side(measure: Measure, value: Decimal, mean: Decimal) -> str:
    if value == mean:
        return "at"
    worse = (value > mean) == (measure.better == "lower")
    return f"{worse_word(measure) if worse else better_word(measure)} than"


@once_a_row
def _percentiles(norm: Norm) -> str:
    names = {50: "the median was"}
    return ", ".join(
        f"{names.get(p, f'the {p}th percentile was')} {words(v, norm.unit)}"
        for p, v in norm.percentiles.items()
    )


def _numbers(norm: Norm) -> str:
    parts = []
    if norm.mean is not None:
        parts.append(f"mean {norm.mean}")
    if norm.sd is not None:
        parts.append(f"SD {norm.sd}")
    if norm.ci95 is not None:
        parts.append(f"95 % CI of the mean {norm.ci95[0]} to {norm.ci95[1]}")
    if norm.percentiles:
        parts.append(_percentiles(norm))
    return ", ".join(parts)
