"""What stands beside a test's numbers: how to do it, and worked examples of it."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.clinical.vocabulary import How


@dataclass(frozen=True, slots=True)
class Guide:
    """What to prepare, say, show and watch, in our own words."""

    kit: tuple[str, ...]
    space: str
    setup: tuple[str, ...]
    guard: tuple[str, ...]
    stop: tuple[str, ...]
    say: tuple[str, ...]
    show: tuple[str, ...]
    start_cue: str
    stop_cue: str
    void_when: tuple[str, ...]
    unable_when: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Check:
    """A worked example carried with the numbers it proves; one test runs them all."""

    what: str
    kind: str
    given: Mapping[str, object]
    expect: Mapping[str, object]
    how: How
    source: str
