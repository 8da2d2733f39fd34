"""An exercise in scoring: a case, what the real functions make of it, and its steps.

The key of every step comes from `scoring.score`, `setup.deviations`, `reading.read`
and `measure_line`; no rule is written a second time here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from app.clinical.measure import Measure
from app.clinical.reading import Result, read
from app.clinical.scores import NotScorable, Score
from app.clinical.scoring import score
from app.practice.asking import Step
from app.practice.battery_case import battery_case, makes
from app.practice.draws import Draws
from app.practice.exercise_steps import (
    score_of,
    score_step,
    set_up_step,
    trials_step,
)
from app.practice.line_step import line_step
from app.practice.pressure_case import pressure_case
from app.practice.reading_steps import change_step, source_step
from app.practice.rules import LEVELS
from app.practice.scoring_case import ScoringCase, make_case, takes

__all__ = ["Exercise", "edition", "exercise", "exercise_about", "takes"]

#: Raised whenever the same seed would make another exercise.
GENERATOR: Final = 1
#: What a test without parts needs of the others.
NO_SHELF: Final[Mapping[str, Measure]] = MappingProxyType({})
#: How many seeds are tried for an exercise that asks for one rule.
TRIES: Final = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Exercise:
    """`result` and `earlier` are what the real functions say; None with too few."""

    case: ScoringCase
    level: int
    seed: int
    result: Result | None
    earlier: Score
    steps: tuple[Step, ...]

    @property
    def rules(self) -> frozenset[str]:
        """Every rule that an answer to one of its steps may meet or miss."""
        return frozenset(rule for step in self.steps for rule in step.rules)

    def step(self, key: str) -> Step | None:
        return next((s for s in self.steps if s.key == key), None)


def edition(catalogue: str) -> str:
    """What a key rests on: the catalogue, and how exercises are made."""
    return f"{catalogue}.{GENERATOR}"


def exercise(
    measure: Measure, level: int, seed: int, shelf: Mapping[str, Measure] = NO_SHELF
) -> Exercise:
    """The exercise of a seed; the same everywhere for one edition.

    `shelf`: all tests by id, among them the parts of a battery.
    """
    if level not in LEVELS or not takes(measure):
        raise ValueError(f"no exercise of {measure.id} at level {level}")
    case = _case(measure, level, seed, shelf)
    draws = Draws(seed + 1)
    earlier = score(
        measure, case.before, variant=case.variant.id, facts=case.before_facts,
        paired=case.before_paired,
    )  # fmt: skip
    try:
        now = score_of(case)
    except NotScorable as lack:
        steps = (trials_step(case), score_step(case, None, lack), set_up_step(case))
        return Exercise(
            case=case, level=level, seed=seed, result=None, earlier=earlier, steps=steps
        )
    result = read(measure, now, case.person, before=earlier)
    made = (
        trials_step(case),
        score_step(case, now, None),
        set_up_step(case),
        source_step(case, result, draws),
        change_step(case, result, earlier, level),
        line_step(case, result, earlier, draws),
    )
    return Exercise(
        case=case, level=level, seed=seed, result=result, earlier=earlier, steps=made
    )


def _case(
    measure: Measure, level: int, seed: int, shelf: Mapping[str, Measure]
) -> ScoringCase:
    if measure.kind == "pressure":
        return pressure_case(measure, level, seed)
    if not measure.components:
        return make_case(measure, level, seed)
    if not makes(measure, shelf):
        raise ValueError(f"the parts of {measure.id} cannot be drawn")
    return battery_case(measure, level, seed, shelf)


def exercise_about(
    rule: str, measures: Sequence[Measure], level: int, seed: int,
    shelf: Mapping[str, Measure] = NO_SHELF,
) -> Exercise:  # fmt: skip
    """An exercise that turns on a rule, from the first of some seeds that has it.

    Where none has, the first of them: a rule that these tests never meet stops nobody.
    """
    first = None
    for more in range(TRIES):
        measure = Draws(seed + more).one(measures)
        made = exercise(measure, level, seed + more, shelf)
        if rule in made.rules:
            return made
        first = first or made
    assert first is not None
    return first
