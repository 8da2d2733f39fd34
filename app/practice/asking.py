"""A step of an exercise: what is asked, what may be answered, and how that is graded.

The key of a step is put in by whoever makes it; nothing here knows a clinical rule.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from app.clinical.quantities import parse

NONE = "none"
#: What a result can be, each with its words. Always all of them are offered.
MADE = {
    "number": "a number",
    "unable": "unable: a result without a number",
    "few": "no score yet: more trials are needed",
}
#: Of a battery.
NO_TOTAL = {"few": "no total: a part is missing or was done another way"}


@dataclass(frozen=True, slots=True)
class Option:
    """One thing to choose. `id` tells nothing; `why` and `rule` are said afterwards."""

    id: str
    words: tuple[str, ...]
    right: bool
    why: str
    rule: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One question. `kind`: tick many, choose one, or say a score.

    `shown` stands with the question, `because` is the reason said after the answer. A
    score's `number` is in `unit`, `exact` is what it was before it was rounded.
    """

    key: str
    ask: str
    kind: Literal["many", "one", "score"]
    options: tuple[Option, ...]
    rule: str
    because: str
    help: str = ""
    shown: tuple[str, ...] = ()
    number: Decimal | None = None
    unit: str = ""
    exact: Fraction | None = None

    @property
    def rules(self) -> frozenset[str]:
        """Every rule that an answer may meet or miss here."""
        rounds = {"rounding"} if self.number is not None else set()
        return frozenset({self.rule} | {o.rule for o in self.options} | rounds)

    @property
    def answer(self) -> tuple[str, ...]:
        """The right answer in words."""
        if self.number is not None:
            return (
                f"{self.number} {'' if self.unit == 'count' else self.unit}".strip(),
            )
        found = [" ".join(o.words) for o in self.options if o.right]
        return tuple(found) or ("none of them",)


@dataclass(frozen=True, slots=True)
class Graded:
    """Whether an answer was right, and the rule that it met or missed."""

    right: bool
    rule: str


def grade(step: Step, said: str, wanted: str = "") -> Graded:
    """Judge an answer: ids joined by commas or `none`, one id, or `number:18.4`.

    A right answer is one for the rule that was `wanted` of the exercise, where the step
    turns on it: so a rule that is only ever missed by a wrong choice can be met too.
    """
    found = _grade_score(step, said) if step.kind == "score" else _grade(step, said)
    if found.right and wanted in step.rules:
        return Graded(True, wanted)
    return found


def _grade(step: Step, said: str) -> Graded:
    chosen = set() if said == NONE else set(said.split(","))
    wrong = [o for o in step.options if o.right != (o.id in chosen)]
    if not wrong:
        return Graded(True, step.rule)
    if step.kind == "many":
        return Graded(False, wrong[0].rule)
    taken = [o for o in wrong if o.id in chosen]
    return Graded(False, (taken or wrong)[0].rule)


def _grade_score(step: Step, said: str) -> Graded:
    made, _, typed = said.partition(":")
    key = next(o.id for o in step.options if o.right)
    if made != key or step.number is None:
        return Graded(made == key, step.rule)
    number = Decimal(typed)
    if number == step.number or step.exact is None:
        return Graded(number == step.number, step.rule)
    last = Fraction(1, 10 ** max(0, -int(step.number.as_tuple().exponent)))
    near = abs(Fraction(number) - step.exact) < last
    return Graded(False, "rounding" if near else step.rule)


def read_score(step: Step, made: str, typed: str) -> str:
    """A score's answer in one form; raise BadNumber for what cannot be read."""
    if made != "number":
        return made
    value, _unit = parse(typed, (step.unit,))
    return f"number:{value}"


def knows(step: Step, said: str) -> bool:
    """Whether an answer names only what was offered."""
    if step.kind == "many":
        return said == NONE or set(said.split(",")) <= {o.id for o in step.options}
    return said in {o.id for o in step.options}
