"""The list of practice: cases by test, what was done of each trial, what comes back."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from app.clinical.measure import Measure
from app.practice.case import Case
from app.storage.practice import PracticeAttempt, PracticeShowing, said_of
from app.web.practice_view import is_right, key_of

Pairs = Sequence[tuple[PracticeAttempt, PracticeShowing]]
#: Newest attempts listed.
LATEST = 20


@dataclass(frozen=True, slots=True)
class Done:
    """One trial of a case: how often it was done, and whether it comes back."""

    number: int
    times: int
    comes_back: bool


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
    cases: Mapping[str, Case], measures: Mapping[str, Measure], pairs: Pairs
) -> dict[str, Any]:
    """`pairs`: the person's own attempts, newest first."""
    last: dict[tuple[str, int], PracticeAttempt] = {}
    for attempt, showing in pairs:
        last.setdefault((showing.case_id, showing.trial), attempt)
    times = [(showing.case_id, showing.trial) for _, showing in pairs]
    choices = [
        Choice(case, tuple(_done(case, last, times)))
        for case in sorted(cases.values(), key=_order)
    ]
    groups = groupby(choices, key=lambda choice: choice.case.measure)
    return {
        "groups": [(measures[m].name, list(some)) for m, some in groups],
        "again": [(c.case, t) for c in choices for t in c.trials if t.comes_back],
        "past": list(_past(cases, pairs[:LATEST])),
        "more": max(0, len(pairs) - LATEST),
    }


def _order(case: Case) -> tuple[str, int, str]:
    return case.measure, case.level, case.title


def _done(
    case: Case,
    last: Mapping[tuple[str, int], PracticeAttempt],
    times: Sequence[tuple[str, int]],
) -> Iterator[Done]:
    """It comes back while what was seen in its latest attempt was not as the key."""
    for plan in case.trials:
        of = (case.id, plan.number)
        latest = last.get(of)
        yield Done(
            plan.number,
            times.count(of),
            latest is not None and not is_right(said_of(latest), key_of(latest)),
        )


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
