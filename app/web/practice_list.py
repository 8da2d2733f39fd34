"""The list of practice: cases by test, what was done of each trial, what comes back."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from app.clinical.measure import Measure
from app.practice.case import Case
from app.practice.coming_back import Weakness, weakness, weight
from app.practice.competence import Rule
from app.storage.practice import PracticeAttempt, PracticeShowing, said_of
from app.storage.practice_beside import as_attempt
from app.web.practice_view import is_right, key_of

Pairs = Sequence[tuple[PracticeAttempt, PracticeShowing]]
#: What a sign-off of a test asks for, by its id.
Rules = Callable[[str], Rule]
#: A trial: its case and its number.
Of = tuple[str, int]
#: Newest attempts listed.
LATEST = 20


@dataclass(frozen=True, slots=True)
class Done:
    """One trial of a case: how often it was done, and why it comes back."""

    number: int
    times: int
    weight: float
    why: tuple[str, ...]

    @property
    def comes_back(self) -> bool:
        return bool(self.why)


@dataclass(frozen=True, slots=True)
class Choice:
    """A case with its trials."""

    case: Case
    trials: tuple[Done, ...]


@dataclass(frozen=True, slots=True)
class Past:
    """An attempt of before."""

    id: int
    title: str
    trial: int
    at: datetime
    right: bool
    shared: bool


def listed(
    cases: Mapping[str, Case],
    measures: Mapping[str, Measure],
    pairs: Pairs,
    rules: Rules,
) -> dict[str, Any]:
    """`pairs`: the person's own attempts, newest first."""
    choices = _choices(cases, pairs, rules)
    groups = groupby(choices, key=lambda choice: choice.case.measure)
    again = [(c.case, t) for c in choices for t in c.trials if t.comes_back]
    return {
        "groups": [(measures[m].name, list(some)) for m, some in groups],
        "again": sorted(again, key=lambda pair: -pair[1].weight),
        "past": list(_past(cases, pairs[:LATEST])),
        "more": max(0, len(pairs) - LATEST),
    }


def weights_of(
    cases: Mapping[str, Case], pairs: Pairs, rules: Rules
) -> dict[tuple[str, int], float]:
    """How likely each trial is to come next, by case and number."""
    return {
        (choice.case.id, trial.number): trial.weight
        for choice in _choices(cases, pairs, rules)
        for trial in choice.trials
    }


def _choices(cases: Mapping[str, Case], pairs: Pairs, rules: Rules) -> list[Choice]:
    tried: dict[Of, list[Weakness]] = {}
    for attempt, showing in reversed(pairs):
        judged = weakness(as_attempt(attempt, showing), rules(showing.measure))
        tried.setdefault((showing.case_id, showing.trial), []).append(judged)
    return [
        Choice(case, tuple(_done(case, tried)))
        for case in sorted(cases.values(), key=_order)
    ]


def _order(case: Case) -> tuple[str, int, str]:
    return case.measure, case.level, case.title


def _done(case: Case, tried: Mapping[Of, Sequence[Weakness]]) -> Iterator[Done]:
    """It comes back while something of its latest attempt was weak."""
    for plan in case.trials:
        found = tried.get((case.id, plan.number), ())
        why = found[-1].why if found else ()
        yield Done(plan.number, len(found), weight(found), why)


def _past(cases: Mapping[str, Case], pairs: Iterable[Any]) -> Iterator[Past]:
    for attempt, showing in pairs:
        case = cases.get(showing.case_id)
        yield Past(
            attempt.id,
            case.title if case else "A case that is no longer there",
            showing.trial,
            attempt.sent_at,
            is_right(said_of(attempt), key_of(attempt)),
            attempt.shared,
        )
