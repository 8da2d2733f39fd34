"""What a hand-off is made from: plain values, each with the event that says it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from app.clinical.note import Ref
from app.clinical.visiting import TASKS

#: Tasks whose help others have to know first.
_MOVES: Final = (
    "transfer_bed", "transfer_chair", "transfer_toilet", "walk_bathroom", "toileting",
    "bed_mobility", "stairs",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Move:
    """How one task of the day went last; without a level it was not done."""

    task: str
    level: str | None
    helpers: int = 0
    device: str = ""
    not_done: str = ""
    id: int = 0


#: Risks of the very next time somebody gets the person up. Common practice.
NEXT_RISE: Final = (
    "ortho_hypo", "dizzy_uncontrolled", "high_fall_standing", "cog_safety", "seizure",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class InForce:
    """An order or a risk that holds; `until` says when it is looked at again."""

    label: str
    meaning: str
    is_order: bool
    until: str = ""
    id: int = 0
    tag: str = ""

    @property
    def hurts_next_rise(self) -> bool:
        """A risk that whoever gets the person up next has to know."""
        return self.tag in NEXT_RISE


@dataclass(frozen=True, slots=True)
class Fact:
    """An event in words."""

    says: str
    ref: Ref | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HandOffFacts:
    """What is on record of a visit. Empty: nobody recorded it."""

    reason: str = ""
    moves: tuple[Move, ...] = ()
    in_force: tuple[InForce, ...] = ()
    stops: tuple[Fact, ...] = ()
    outside: tuple[Fact, ...] = ()
    symptoms: Fact | None = None
    felt: tuple[Fact, ...] = ()
    left: Fact | None = None
    last_up: Fact | None = None
    scores: tuple[Fact, ...] = ()
    doses: tuple[Fact, ...] = ()
    cues: tuple[Fact, ...] = ()
    goals: tuple[Fact, ...] = ()
    rooms: tuple[Fact, ...] = ()
    sheet: tuple[str, ...] = ()
    shown_back: tuple[Fact, ...] = ()
    help_words: Fact | None = None


def in_order_of_need(moves: Sequence[Move]) -> tuple[Move, ...]:
    """Transfers and walking first, as others need them first."""
    order = [*_MOVES, *(task for task in TASKS if task not in _MOVES)]
    return tuple(sorted(moves, key=lambda move: order.index(move.task)))


def spoken_task(task: str) -> str:
    """As it is said aloud.

    >>> spoken_task("transfer_chair"), spoken_task("dressing_upper")
    ('chair transfer', 'upper body dressing')
    """
    what, _, where = TASKS[task].partition(", ")
    return f"{where} {what}".strip()
