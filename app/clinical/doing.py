"""A set as it was done: one bout of an activity at one grade."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from types import MappingProxyType
from typing import Final

from app.clinical.make_safe import SYMPTOMS, WHATS

#: done; stopped for safety; the person did not want to; it did not come to it.
OUTCOMES: Final = MappingProxyType(
    {
        "done": "done",
        "stopped": "stopped for safety",
        "declined": "declined",
        "not_done": "not done",
    }
)
#: Something was really done.
TRIED: Final = ("done", "stopped")
#: From least to most.
HAND_SUPPORT: Final = MappingProxyType(
    {
        "none": "no hands",
        "fingertip": "fingertips",
        "one_hand": "one hand",
        "two_hands": "two hands",
        "device": "device",
    }
)
#: Whole numbers a set may hold, by the name of their field.
NUMBERS: Final = (
    "reps", "time_ms", "steps", "steps_to_recover", "passes", "hazards", "calls",
    "correct", "errors",
)  # fmt: skip


def stop_said(symptoms: Iterable[str], after: str = "") -> str:
    """What is known of a stop.

    >>> stop_said(["dizzy"], "lowered"), stop_said([])
    ('stopped for safety: lowered to the floor, dizzy', 'stopped for safety')
    """
    felt = {*symptoms}
    told = [WHATS[after]] if after in WHATS else []
    told += [words for key, words in SYMPTOMS.items() if key in felt]
    return ": ".join(filter(None, ("stopped for safety", ", ".join(told))))


@dataclass(frozen=True, slots=True, kw_only=True)
class DoneSet:
    """One set, of which `numbers` holds what was counted; nothing said is absent.

    `holds_ms` are the holds in order. `effort` is on `effort_scale` ("0-10", "6-20").
    `no_symptom` says that somebody asked and there was none.
    """

    activity: str
    on: date
    visit_id: int
    at: datetime
    outcome: str = "done"
    grade: Decimal | None = None
    numbers: Mapping[str, int] = field(default_factory=dict)
    holds_ms: tuple[int, ...] = ()
    distance: Decimal | None = None
    distance_unit: str = ""
    hand_support: str = ""
    level: str = ""
    helpers: int | None = None
    effort: int | None = None
    effort_scale: str = ""
    symptoms: tuple[str, ...] = ()
    no_symptom: bool = False
    #: Where the person was after a stop: a word of WHATS.
    after: str = ""
    id: int = 0

    @property
    def was_tried(self) -> bool:
        return self.outcome in TRIED

    @property
    def errors(self) -> int | None:
        return self.numbers.get("errors")
