"""What a reader would ask about a goal; it refuses nothing.

The checks are those of ordinary goal writing (common practice). Whether a target lies
beyond measurement error is asked of the one judge of change, never decided here.
"""

import re
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Final

from app.clinical.assistance import LEVELS
from app.clinical.change import (
    DISAGREE,
    UNTOLD,
    WITHIN,
    Change,
    error_readings,
    judge_change,
)
from app.clinical.days import full_day
from app.clinical.goals import (
    Baseline,
    Goal,
    LevelSeen,
    Target,
    baseline_short,
    start_value,
    target_short,
)
from app.clinical.measure import Measure
from app.clinical.person import Person
from app.clinical.quantities import alike, shown
from app.clinical.readings import Reading
from app.clinical.scores import Score

#: What a task of the day is about, as words of somebody's own would name it.
_ABOUT: Final = MappingProxyType(
    {
        group: re.compile(rf"\b({said})")
        for group, said in {
            "toilet": "toilet|commode",
            "dress": "dress|trouser|shirt|sock|shoe|put on",
            "wash": r"bathe|bath\b|shower|wash|tub\b",
            "groom": "groom|shave|teeth|hair",
            "eat": "eat|feed|meal",
            "bed": "bed",
            "chair": "chair",
            "car": r"car\b",
            "walk": "walk",
            "stairs": "stair|step up",
            "kitchen": "kitchen|cook|kettle",
            "medication": "medic|pill|tablet",
        }.items()
    }
)
_GROUPS: Final = MappingProxyType(
    {
        "toileting": "toilet", "transfer_toilet": "toilet", "dressing_upper": "dress",
        "dressing_lower": "dress", "bathing": "wash", "transfer_tub": "wash",
        "grooming": "groom", "eating": "eat", "bed_mobility": "bed",
        "transfer_bed": "bed", "transfer_chair": "chair", "transfer_car": "car",
        "walk_bathroom": "walk", "stairs": "stairs", "kitchen": "kitchen",
        "medication": "medication",
    }
)  # fmt: skip
_JOINS: Final = re.compile(r"[;,/&+]|\band\b|\bthen\b|\bplus\b|\bas well as\b")


@dataclass(frozen=True, slots=True)
class Doubt:
    """What a reader would ask. `readings` are the published errors it rests on."""

    key: str
    says: str
    readings: tuple[Reading, ...] = ()


def change_to(
    measure: Measure, person: Person, baseline: Baseline | None, target: Target
) -> Change | None:
    """The step from the start to the target, read like any other change.

    The target stands as a score in the start's own set-up. None without two numbers.
    """
    if baseline is None or baseline.score is None or target.value is None:
        return None
    was = baseline.score
    if (
        was.value is None
        or was.measure != measure.id
        or not alike(was.unit, target.unit)
    ):
        return None
    reached = Score(
        was.measure, "completed", was.variant, target.unit, Fraction(target.value),
        facts=was.facts,
    )  # fmt: skip
    return judge_change(measure, person, reached, was)


def side_of_start(
    goal: Goal, baseline: Baseline | None, measure: Measure | None
) -> int | None:
    """1: the target is better than the start; 0: as good; -1: worse; None: untold."""
    target = goal.target
    if baseline is None:
        return None
    if target.kind == "level":
        return _level_side(target.level, baseline.level)
    if target.kind == "times":
        seen = baseline.times
        if seen is None or target.times is None or target.out_of != seen.out_of:
            return None
        return _sign(target.times - seen.times)
    value = start_value(baseline, target.unit)
    if value is None or target.value is None or measure is None:
        return None
    step = shown(target.value, target.unit) - value
    return _sign(-step if measure.better == "lower" else step)


def _level_side(level: str, seen: LevelSeen | None) -> int | None:
    order = list(LEVELS)
    return None if seen is None else _sign(order.index(seen.level) - order.index(level))


def _sign(number: Decimal | int) -> int:
    return (number > 0) - (number < 0)


def warnings(
    goal: Goal,
    baseline: Baseline | None,
    errors: Change | None,
    plan_end: date | None,
    today: date,
    *,
    plan: str = "restore",
    measure: Measure | None = None,
) -> tuple[Doubt, ...]:
    """Everything a reader would ask, in the order of the sentence.

    `errors` is the step to the target as `change_to` reads it. A date on the plan's
    last day is inside it; a date of today has not passed. As good as the start is
    enough in a plan to maintain.
    """
    side = side_of_start(goal, baseline, measure)
    found = [
        *_about_task(goal),
        *_about_date(goal.by, plan_end, today),
        *_about_start(goal, baseline, side, plan, measure),
    ]
    if side == 1 and goal.target.kind == "score":
        found += _about_error(errors)
    return tuple(found)


def _about_task(goal: Goal) -> list[Doubt]:
    if not goal.task and not goal.so_that:
        return [Doubt(
            "no_function",
            "No task of the day and no reason is named: a number alone is no function.",
        )]  # fmt: skip
    if several_tasks(goal.task, goal.phrase):
        return [Doubt("several_tasks", "More than one task: make one goal of each.")]
    return []


def several_tasks(task: str, phrase: str) -> bool:
    """Whether own words name two tasks, or another than the one chosen.

    >>> several_tasks("", "rise from the toilet and sit with control")
    False
    >>> several_tasks("", "dress and shower")
    True
    """
    named = [_named(part) for part in _JOINS.split(phrase.lower())]
    if phrase and task in _GROUPS:
        named.append({_GROUPS[task]})
    named = [groups for groups in named if groups]
    return any(not one & other for one in named for other in named)


def _named(part: str) -> set[str]:
    return {group for group, said in _ABOUT.items() if said.search(part)}


def _about_date(by: date | None, plan_end: date | None, today: date) -> list[Doubt]:
    if by is None:
        return [Doubt("no_date", "No date: say by when.")]
    if by < today:
        return [Doubt("past", "The date has passed.")]
    if plan_end is not None and by > plan_end:
        says = f"The date lies beyond the plan, which ends on {full_day(plan_end)}."
        return [Doubt("beyond_plan", says)]
    return []


def _about_start(
    goal: Goal,
    baseline: Baseline | None,
    side: int | None,
    plan: str,
    measure: Measure | None,
) -> list[Doubt]:
    if side is None:
        unable = baseline is not None and baseline.score is not None
        unable = unable and baseline_short(baseline, goal.target.unit) == "unable"
        says = "No start in the same unit: nobody can see the way gained."
        if unable:
            says = "At the start it could not be done: there is no number to start at."
        return [Doubt("no_baseline", says)]
    if side == 1 or (side == 0 and plan == "maintain"):
        return []
    start = baseline_short(baseline, goal.target.unit)
    target = target_short(goal.target, measure)
    worse = "is worse than" if side < 0 else "is no better than"
    return [Doubt("not_better", f"The target, {target}, {worse} the start: {start}.")]


def _about_error(errors: Change | None) -> list[Doubt]:
    if errors is None:
        return []
    judged = tuple(error_readings(errors.readings))
    if errors.verdict == WITHIN:
        says = (
            "The target lies within measurement error: reaching it would not show a "
            "real change."
        )
        return [Doubt("within_error", says, judged)]
    if errors.verdict == DISAGREE:
        beyond = sum(1 for r in judged if r.crossed)
        says = (
            f"Sources disagree: the target lies beyond the measurement error of "
            f"{beyond} of {len(judged)} that fit."
        )
        return [Doubt("errors_disagree", says, judged)]
    if errors.verdict == UNTOLD:
        says = (
            "No confirmed measurement error is published for such a person: whether "
            "reaching the target is a real change cannot be told."
        )
        return [Doubt("error_unknown", says)]
    return []
