"""A simulated person, what is planned for each trial, and what then happened.

Everything here is invented: no real person was seen or timed. A case is data
(demo_data/practice); a timeline is one showing of one of its trials, made from a seed.
All instants are whole milliseconds since the figure began to move.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class Possible:
    """A fault that may happen in a case, and what of the set-up it changes.

    `at`: first and last repetition or step, or hundredth of the way, at which it can
    begin; 0 for what has an instant of its own or is seen before the start.
    """

    kind: str
    at: tuple[int, int] = (0, 0)
    facts: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Planned:
    """A fault that one showing will have: drawn by its seed."""

    kind: str
    at: int = 0
    facts: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class TrialPlan:
    """One trial of a case; numbered from 1.

    Of a hundred showings `wrong` have something go wrong, at most `most` things each.
    """

    number: int
    wrong: int
    most: int = 1


@dataclass(frozen=True, slots=True)
class Case:
    """A simulated person doing one measure, with the set-up and the trials.

    `facts` is the set-up as charted; a fault may make it another one. `pace` holds the
    plausible (invented) lowest and highest of each duration or length the measure's
    generator asks for: milliseconds, cm, or cm per second.
    """

    id: str
    title: str
    measure: str
    condition: str
    person: str
    facts: Mapping[str, str]
    possible: tuple[Possible, ...]
    trials: tuple[TrialPlan, ...]
    pace: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    level: int = 1

    def plan(self, trial: int) -> TrialPlan:
        """The trial of that number; KeyError when there is none."""
        for plan in self.trials:
            if plan.number == trial:
                return plan
        raise KeyError(trial)


@dataclass(frozen=True, slots=True)
class Fault:
    """What went wrong, when it could first be seen, and what exactly."""

    kind: str
    at_ms: int
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Key:
    """The right answers of one showing.

    `start_ms` and `stop_ms`: when the clock should have been started and stopped.
    `splits`: the instants of the measure's phases, in order, also since the figure's
    start. `count`: full repetitions, where they are counted. `distance`: inches, where
    a distance is read. `valid`: no fault that voids the trial.
    """

    start_ms: int
    stop_ms: int
    splits: tuple[int, ...] = ()
    faults: tuple[Fault, ...] = ()
    valid: bool = True
    count: int | None = None
    distance: Decimal | None = None

    @property
    def taken_ms(self) -> int:
        """From start to stop: the time the stopwatch should show."""
        return self.stop_ms - self.start_ms


@dataclass(frozen=True, slots=True)
class Frame:
    """All points of the figure at one instant, in tenths of a centimetre."""

    at_ms: int
    points: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Line:
    """A sentence that says what is seen from `at_ms` on; `cue` when it is a call."""

    at_ms: int
    text: str
    cue: bool = False


@dataclass(frozen=True, slots=True)
class Timeline:
    """One showing of a trial: the figure's frames, its words, and the key.

    `lines` are said while the figure moves. `words` are read instead of watching it, so
    that they also say what is seen at the stop where that is judged.
    """

    case: str
    trial: int
    seed: int
    go_ms: int
    ends_ms: int
    key: Key
    frames: tuple[Frame, ...]
    lines: tuple[Line, ...]
    words: tuple[Line, ...]
    scene: Mapping[str, str] = field(default_factory=dict)
