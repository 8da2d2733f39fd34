"""What a measure's generator makes: a body that moves, and what is true of it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final

from app.practice.case import Case, Fault, Line, Planned
from app.practice.chance import Chance

CM_IN_INCH: Final = Decimal("2.54")
#: Who starts early is so much before "Go", in ms.
HEAD_START: Final = (350, 800)
#: Between two sentences at least so long, so that each can be told apart (ours).
BETWEEN_LINES_MS: Final = 250


@dataclass(slots=True)
class Showing:
    """One trial while it is being made; instants in ms since the figure's start."""

    case: Case
    trial: int
    chance: Chance
    plan: tuple[Planned, ...]
    facts: Mapping[str, str]
    go_ms: int = 0
    start_ms: int = 0
    stop_ms: int = 0
    ends_ms: int = 0
    splits: list[int] = field(default_factory=list)
    count: int | None = None
    distance: Decimal | None = None
    faults: list[Fault] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    at_stop: str = ""  # what whoever reads is told of the stop, where it is judged by
    scene: dict[str, str] = field(default_factory=dict)
    points: Callable[[float], tuple[int, ...]] = lambda _: ()

    def ms(self, name: str) -> int:
        """A duration (or length) of the case's pace; 0 where the case has none."""
        span = self.case.pace.get(name)
        return self.chance.ms(span) if span else 0

    def planned(self, kind: str) -> Planned | None:
        """The fault of that kind in what this showing was drawn to have."""
        return next((one for one in self.plan if one.kind == kind), None)

    def share(self, kind: str) -> float:
        """How far on the way the planned fault of that kind begins, 0 to 1."""
        planned = self.planned(kind)
        return planned.at / 100 if planned else 0.0

    def at(self, kind: str, step: int) -> bool:
        """Whether that fault is planned for that repetition or step."""
        planned = self.planned(kind)
        return planned is not None and planned.at == step

    def wrong(self, kind: str, at_ms: int, detail: str = "") -> None:
        """A fault was seen."""
        self.faults.append(Fault(kind, at_ms, detail))

    def say(self, at_ms: int, text: str, *, cue: bool = False) -> None:
        """A sentence of what is seen; put off a little when the last is too near."""
        if self.lines and not cue:
            at_ms = max(at_ms, self.lines[-1].at_ms + BETWEEN_LINES_MS)
        self.lines.append(Line(at_ms, text, cue))

    def cue(self, opening: str) -> int:
        """What is seen first, then "Ready" and "Go"; the instant of "Go"."""
        self.say(150, opening)
        ready = 1500 + self.chance.ms((0, 700))
        self.say(ready, "Ready", cue=True)
        self.go_ms = ready + self.chance.ms((1300, 2400))
        self.say(self.go_ms, "Go", cue=True)
        return self.go_ms


def length_cm(text: str) -> float:
    """A charted length such as "17.5 in", "46 cm" or "10ft" in cm."""
    for unit, cm in (("in", CM_IN_INCH), ("cm", Decimal(1)), ("ft", CM_IN_INCH * 12)):
        if text.endswith(unit):
            return float(Decimal(text.removesuffix(unit).strip()) * cm)
    raise ValueError(f"{text!r} is no length")
