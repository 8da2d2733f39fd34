"""A deficit, the rules that name one, and the evidence they look at: shapes only.

A deficit is what a result asks work for, in plain words. It is no diagnosis and no
score: a rule says which crossed limit, observation or answer asks for such work.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from types import MappingProxyType
from typing import Final, Literal

from app.clinical.reading import Result
from app.clinical.source import Source
from app.clinical.vocabulary import OUTCOME_TYPES, How

RuleKind = Literal[
    "beyond", "unable", "zero", "held", "setup", "task", "precaution", "answer"
]
RULE_KINDS: Final = (
    "beyond", "unable", "zero", "held", "setup", "task", "precaution", "answer",
)  # fmt: skip
#: Reasons of "unable" that may ask for work. Whoever did not understand, declined or
#: was not asked showed nothing; unable without a reason could be either.
WEAK_REASONS: Final = ("physical", "hands_on_help", "pain", "symptoms")
#: What a limit may be about. Odds of dying ask for no activity.
LIMITS: Final = tuple(kind for kind in OUTCOME_TYPES if kind != "death")
#: Lines drawn by a sample. An average is the weakest: nearly half of healthy people lie
#: beyond it, which is said.
SAMPLE_LINES: Final = MappingProxyType(
    {
        "average": "the far end of the confidence interval of a healthy average",
        "normal": "a published limit of normal",
        "fifth": "the slowest fifth",
        "quarter": "a published 25th or 75th percentile",
        "one_sd": "more than one SD worse than the average, by our arithmetic",
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Deficit:
    """What work is asked for. `by_hand` says why no rule can find it."""

    key: str
    words: str
    short: str
    shown_by: str
    other_words: tuple[str, ...] = ()
    by_hand: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One way a deficit is shown; `kind` says which fields hold.

    `beyond`: a confirmed fitting row of `measure` is crossed, on `quantity`, that is
    about one of `limits` or is one of the sample's `lines`.
    `unable`: it could not be done, for one of `reasons`. `zero`: a count of 0.
    `held`: the stage `stage` was tried and not held. `setup`: it was done with one of
    `facts`. All five: only with `facts`, as stated or as usual.
    `task`: one of `tasks` took help of `level` or more. `precaution`: one of `tags` is
    in force. `answer`: `question` was answered by one of `values`, in `settings` if
    there are any.
    `says` is put behind the sentence; `how` and `source` are of the rule itself: a
    published limit brings its own.
    """

    deficit: str
    kind: RuleKind
    how: How
    source: str
    says: str = ""
    note: str = ""
    measure: str = ""
    quantity: str = "score"
    facts: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    limits: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()
    stage: str = ""
    tasks: tuple[str, ...] = ()
    level: str = ""
    tags: tuple[str, ...] = ()
    question: str = ""
    values: tuple[str, ...] = ()
    settings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Deficits:
    """All deficits by key, the rules in file order, and their sources.

    `apart`: set-up facts that make results of a test stand side by side, such as the
    leg stood on: the latest of each counts.
    """

    named: Mapping[str, Deficit] = field(default_factory=dict)
    rules: tuple[Rule, ...] = ()
    apart: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    sources: Mapping[str, Source] = field(default_factory=dict)

    @property
    def measures(self) -> frozenset[str]:
        """Tests that a rule looks at."""
        return frozenset(rule.measure for rule in self.rules if rule.measure)


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a piece of evidence stands: `ref` is its kind and key, `said` its day in
    words, `at` when it was written down (None: not known, older than any word)."""

    ref: tuple[str, str]
    day: date
    said: str
    at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Scored:
    """A judged result of a test; `apart` is filled in by who picks the latest."""

    result: Result
    origin: Origin
    apart: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TaskSeen:
    """How much help a task took; what was not done is no evidence."""

    task: str
    level: str
    origin: Origin


@dataclass(frozen=True, slots=True)
class InForce:
    """A precaution that holds today."""

    tag: str
    origin: Origin


@dataclass(frozen=True, slots=True)
class Answered:
    """An answer on record, as the screening asks for it."""

    question: str
    value: str
    origin: Origin


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """All that is known of one stretch of care. `setting`: where they are."""

    tests: tuple[Scored, ...] = ()
    tasks: tuple[TaskSeen, ...] = ()
    precautions: tuple[InForce, ...] = ()
    answers: tuple[Answered, ...] = ()
    setting: str | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """One rule met: `because` is the sentence, `weight` its place (0 the strongest).

    `how` and `source` are those of the rule.
    """

    deficit: str
    because: str
    how: How
    source: str
    weight: int
    origin: Origin
