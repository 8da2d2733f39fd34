"""Conditions on what a score holds: a row or a caution speaks only where they are met.

Fewer words than a programming language on purpose: a limit on one quantity, and lists
of them of which any or all must hold.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from app.clinical.quantities import beyond, compared, words
from app.clinical.scores import Score
from app.clinical.vocabulary import How

DIRECTION_WORDS = {
    "above": "above",
    "at_or_above": "at or above",
    "below": "below",
    "at_or_below": "at or below",
}


@dataclass(frozen=True, slots=True)
class Clause:
    """A limit on one quantity of a score, `score` for the score itself."""

    quantity: str
    direction: str
    value: Decimal
    unit: str

    def met(self, score: Score) -> bool | None:
        """Whether the score lies on that side; None when it was not measured."""
        held, unit = score.value, score.unit
        if self.quantity != "score":
            part = score.parts.get(self.quantity)
            held, unit = (part.value, part.unit) if part else (None, unit)
        if held is None or unit != self.unit:
            return None
        value = compared(held, unit, self.value, unit)
        return beyond(value, self.direction, self.value)

    @property
    def says(self) -> str:
        """`the diastolic drop is below 10 mmHg`."""
        what = self.quantity.replace("_", " ")
        limit = f"{DIRECTION_WORDS[self.direction]} {words(self.value, self.unit)}"
        return f"the {what} is {limit}"


def any_met(clauses: Sequence[Clause], score: Score) -> bool:
    """Whether one of them holds; what was not measured does not."""
    return any(clause.met(score) for clause in clauses)


def unmet(clauses: Sequence[Clause], score: Score) -> list[Clause]:
    """Those that do not hold, of what was measured."""
    return [clause for clause in clauses if clause.met(score) is False]


def unknown(clauses: Sequence[Clause], score: Score) -> list[Clause]:
    """Those on a quantity that was not measured."""
    return [clause for clause in clauses if clause.met(score) is None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """A sentence said beside every score of which one of its conditions is true.

    `facts`: set-up facts as stated; `inputs`: what was noted beside a counted trial;
    `any_of`: limits.
    """

    says: str
    how: How
    source: str
    facts: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    inputs: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    any_of: tuple[Clause, ...] = ()

    def speaks(self, score: Score) -> bool:
        by_fact = any(score.facts.get(k) in wanted for k, wanted in self.facts.items())
        noted = [trial.inputs for trial in score.trials]
        by_input = any(
            beside.get(k) in wanted
            for beside in noted
            for k, wanted in self.inputs.items()
        )
        return by_fact or by_input or any_met(self.any_of, score)
