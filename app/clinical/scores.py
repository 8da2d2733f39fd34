"""A trial, a score and its parts as plain values, made by scoring, read by reading."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

from app.clinical.quantities import shown
from app.clinical.vocabulary import Outcome


class NotScorable(ValueError):
    """The trials make no score; the message says what is missing or too much."""


class TooFewTrials(NotScorable):
    """More counted trials are needed; `have` of `need`."""

    def __init__(self, have: int, need: int, label: str) -> None:
        self.have, self.need = have, need
        super().__init__(f"{have} of {need} counted trials ({label}); more are needed.")


@dataclass(frozen=True, slots=True)
class Trial:
    """One attempt as it happened. `value` is as entered, in `unit`."""

    outcome: Outcome = "completed"
    value: Decimal | None = None
    unit: str = ""
    reason: str = ""
    voided: bool = False
    practice: bool = False
    inputs: Mapping[str, str] = field(default_factory=dict)
    splits: tuple[Decimal, ...] = ()  # seconds from the start to each marked moment


@dataclass(frozen=True, slots=True)
class Part:
    """A quantity computed beside the score, e.g. a dual-task effect."""

    value: Fraction
    unit: str
    label: str


@dataclass(frozen=True, slots=True)
class Score:
    """One result. `beside` holds what the other rules make of the same trials."""

    measure: str
    outcome: Outcome
    variant: str
    unit: str
    value: Fraction | None = None
    reason: str = ""
    trials: tuple[Trial, ...] = ()
    beside: Mapping[str, Fraction] = field(default_factory=dict)
    parts: Mapping[str, Part] = field(default_factory=dict)
    facts: Mapping[str, str] = field(default_factory=dict)

    @property
    def shown(self) -> Decimal | None:
        return None if self.value is None else shown(self.value, self.unit)
