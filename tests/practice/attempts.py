"""Attempts made by hand: one showing each, with what is off from the key."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from app.practice.attempt import Attempt
from tests.make import NOW

MEASURE, EDITION = "timed_up_and_go", "edition-1"
USUAL = Attempt(
    id=1, person=1, case="older", measure=MEASURE, trial=1, seed=1, edition=EDITION,
    taken_ms=12_000, key_ms=12_000, start_off_ms=0, stop_off_ms=0,
    faults_said=frozenset(), faults_key=frozenset(), valid_said=True, valid_key=True,
    at=NOW, shared=True,
)  # fmt: skip


def attempt(number: int, **said: Any) -> Attempt:
    """The showing of this number, timed as by the key unless something else is said."""
    off = said.pop("off", 0)
    key = 12_000 + 37 * number
    usual: dict[str, Any] = USUAL.__dict__ | {
        "id": number, "seed": number, "key_ms": key, "taken_ms": key + off,
        "stop_off_ms": off, "at": NOW + timedelta(minutes=number),
    }  # fmt: skip
    return Attempt(**usual | said)


def run(offs: Sequence[int], **said: Any) -> list[Attempt]:
    """One attempt for each difference in ms."""
    return [attempt(i + 1, off=off, **said) for i, off in enumerate(offs)]


def good(n: int = 20) -> list[Attempt]:
    """All that is asked for: every other trial void, for a fault that was seen."""
    fault = frozenset({"arms_used"})
    return [
        attempt(
            i + 1,
            off=(-50, 50, 0, 100)[i % 4],
            faults_key=fault if i % 2 else frozenset(),
            faults_said=fault if i % 2 else frozenset(),
            valid_key=i % 2 == 0,
            valid_said=i % 2 == 0,
        )
        for i in range(n)
    ]
