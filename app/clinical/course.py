"""How one test went over an episode: first, best, last, the change, the direction.

Only scores comparable with the latest result make the course; the others are kept with
what differs. An attempt that was unable has its place in it and never a number.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Final

from app.clinical.change import WITHIN, Change, judge_change
from app.clinical.measure import Measure
from app.clinical.person import Person
from app.clinical.quantities import SHOWN_PLACES, convert, rounded, shown, words
from app.clinical.readings import better_word, worse_word
from app.clinical.scores import Score
from app.clinical.setup import HowDone, what_differs
from app.clinical.trend import FEWEST, Point, Trend, trend

RESULTS: Final = ("completed", "unable")
MAINTAINED: Final = (
    "The plan is to maintain: no change beyond the error is a good result here."
)
_NUMBERS: Final = (
    "", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
    "ten", "eleven", "twelve",
)  # fmt: skip
#: Sen's interval of four scores is the whole range of their slopes. It misses the true
#: slope whenever all four err in one order: 2 of 4! = 24 ways (computed).
_ROUGH: Final = "Of four scores the interval is a rough one: about 92 %, not 95."


@dataclass(frozen=True, slots=True)
class Kept:
    """A score of the episode, its day, and the number of who measured it."""

    day: date
    score: Score
    rater: int | None = None


@dataclass(frozen=True, slots=True)
class Course:
    """`alike`: results comparable with the last, oldest first; `points`: their values.

    `unit` is that of the last number. `change` is None without two days to compare.
    """

    alike: tuple[Kept, ...]
    others: tuple[tuple[Kept, tuple[str, ...]], ...]
    unit: str
    points: tuple[Point, ...]
    best: Kept | None
    change: Change | None
    trend: Trend | None

    @property
    def first(self) -> Kept:
        return self.alike[0]

    @property
    def last(self) -> Kept:
        return self.alike[-1]


def course(
    measure: Measure, person_on: Callable[[date], Person], kept: Sequence[Kept]
) -> Course | None:
    """The course of an episode's scores, oldest first; None without any result."""
    found = course_without_slope(measure, person_on, kept)
    return replace(found, trend=trend(found.points)) if found else None


def course_without_slope(
    measure: Measure, person_on: Callable[[date], Person], kept: Sequence[Kept]
) -> Course | None:
    """The same without its direction, which takes long over hundreds of scores."""
    results = [k for k in kept if k.score.outcome in RESULTS]
    if not results:
        return None
    last = results[-1]
    told = [(k, tuple(_differs(measure, last.score, k.score))) for k in results]
    alike = tuple(k for k, differs in told if not differs)
    numbers = [k.score for k in alike if k.score.value is not None]
    unit = numbers[-1].unit if numbers else measure.units[0]
    points = tuple(
        Point(k.day, value)
        for k in alike
        if (value := value_in(k.score, unit)) is not None
    )
    return Course(
        alike=alike,
        others=tuple((k, differs) for k, differs in told if differs),
        unit=unit,
        points=points,
        best=_best(measure, alike),
        change=_change(measure, person_on, alike[0], last),
        trend=None,
    )


def value_in(score: Score, unit: str) -> Decimal | None:
    """The score as it is shown in `unit`; None for one without a number."""
    if score.value is None:
        return None
    return shown(convert(score.value, score.unit, unit), unit)


def _differs(measure: Measure, last: Score, score: Score) -> list[str]:
    return what_differs(
        measure, HowDone(last.variant, last.facts), HowDone(score.variant, score.facts)
    )


def _best(measure: Measure, alike: Sequence[Kept]) -> Kept | None:
    """The one that first reached it."""
    best: Kept | None = None
    for kept in alike:
        value = value_in(kept.score, measure.units[0])
        held = value_in(best.score, measure.units[0]) if best else None
        if value is None:
            continue
        lower = measure.better == "lower"
        if held is None or (value < held if lower else value > held):
            best = kept
    return best


def _change(
    measure: Measure, person_on: Callable[[date], Person], first: Kept, last: Kept
) -> Change | None:
    """Rounds of one day are no change."""
    if first.day == last.day:
        return None
    return judge_change(
        measure,
        person_on(last.day),
        last.score,
        first.score,
        other_rater=first.rater != last.rater,
    )


def maintained(plan: str, change: Change | None) -> str:
    """What no change means under a plan to maintain; empty under any other."""
    good = plan == "maintain" and change is not None and change.verdict == WITHIN
    return MAINTAINED if good else ""


def direction_words(measure: Measure, found: Course) -> str:
    """Which way the scores run, in words; that nothing can be told is said, too."""
    if found.trend is None:
        return _untold(found.points)
    over = f"{_scores(len(found.points))} {_over(found.points)}"
    places = _places(found)
    if found.trend.flat:
        span = _flat_ends(measure, found, places)
        return f"No direction can be told: {over}, {span}."
    size = _step(measure, found.trend.per_week, found.unit, places)
    ends = (found.trend.low, found.trend.high)
    least, most = sorted(rounded(abs(end), places) for end in ends)
    side = _side(measure, found.trend.per_week)
    says = f"{size} a week {side}, {least} to {most}; {over}."
    return f"{says} {_ROUGH}" if found.trend.n == FEWEST else says


def _untold(points: Sequence[Point]) -> str:
    if len(points) >= FEWEST:
        return "All of them are of one day: no direction can be told."
    there = ("is none", "is one", "are two", "are three")[len(points)]
    return f"A direction takes four comparable scores; there {there}."


def _flat_ends(measure: Measure, found: Course, places: int) -> str:
    """`anywhere from 0.3 s a week faster to 0.2 s slower`."""
    assert found.trend is not None
    low, high = found.trend.low, found.trend.high
    if low == high == 0:
        return "all alike"
    said = []
    for slope in (low, high):
        side = f" {_side(measure, slope)}" if slope else ""
        said.append(f"{_step(measure, slope, found.unit, places)} a week{side}")
    return f"anywhere from {said[0]} to {said[1]}"


def _side(measure: Measure, slope: Fraction) -> str:
    better = (slope < 0) == (measure.better == "lower")
    return better_word(measure) if better else worse_word(measure)


def _step(measure: Measure, slope: Fraction, unit: str, places: int) -> str:
    size = rounded(abs(slope), places)
    return f"{words(size, unit)} {measure.noun(size)}".strip()


def _places(found: Course) -> int:
    """At least the score's own decimals, and enough that no slope is shown as 0."""
    assert found.trend is not None
    usual = max(1, SHOWN_PLACES[found.unit])
    slopes = (found.trend.per_week, found.trend.low, found.trend.high)
    for places in (usual, usual + 1):
        if all(rounded(slope, places) for slope in slopes if slope):
            return places
    return usual + 2


def _scores(count: int) -> str:
    number = _NUMBERS[count] if count < len(_NUMBERS) else str(count)
    return f"{number} scores"


def _over(points: Sequence[Point]) -> str:
    days = points[-1].day - points[0].day
    weeks = rounded(Fraction(days.days, 7), 0)
    return f"over {weeks} weeks" if days.days >= 14 else f"over {days.days} days"
