"""One showing of a simulated trial, made from its case and a seed.

The generator of the measure lays what happens; here it is sampled into frames and the
key is put together. No frame lies on an instant of the key: what is sent to the page
(app/practice/motion.py) must not tell it.
"""

from collections.abc import Callable, Iterable, Mapping
from types import MappingProxyType
from typing import Final

from app.practice.case import Case, Frame, Key, Line, Timeline
from app.practice.chance import Chance
from app.practice.faults import rule_for
from app.practice.gait import straight_walk
from app.practice.one_leg import one_leg
from app.practice.planning import GENERATOR, planned
from app.practice.reaching import forward_reach
from app.practice.rising import five_times, thirty_seconds
from app.practice.showing import Showing
from app.practice.stepping import four_squares
from app.practice.up_and_go import up_and_go

#: Between two frames, in ms; the page draws a straight line between them.
APART: Final = (70, 115)
#: No frame is nearer than this to an instant that matters.
CLEAR_MS: Final = 4
MEASURES: Final[Mapping[str, Callable[[Showing], None]]] = MappingProxyType(
    {
        "five_times_sit_to_stand": five_times,
        "thirty_second_chair_stand": thirty_seconds,
        "timed_up_and_go": up_and_go,
        "gait_speed": straight_walk,
        "functional_reach": forward_reach,
        "four_square_step": four_squares,
        "single_leg_stance": one_leg,
    }
)


def make(case: Case, trial: int, seed: int) -> Timeline:
    """The timeline of that trial: the same seed gives the same one everywhere.

    KeyError when the case has no trial of that number.
    """
    show = _laid(case, trial, seed)
    if case.condition == "amputation":
        show.scene["prosthesis"] = "right"
    lines = tuple(sorted(show.lines, key=lambda line: line.at_ms))
    key = _key(show)
    moments = {key.start_ms, key.stop_ms, *key.splits, show.go_ms}
    moments |= {fault.at_ms for fault in key.faults} | {line.at_ms for line in lines}
    frames = _frames(show, moments - {0}, Chance("frames", case.id, trial, seed))
    return Timeline(
        case.id, trial, seed, show.go_ms, show.ends_ms, key, frames, lines,
        _read(show, lines), MappingProxyType(dict(show.scene)),
    )  # fmt: skip


def key_of(case: Case, trial: int, seed: int) -> Key:
    """The key of that showing alone: nothing is drawn for it, which takes longer."""
    return _key(_laid(case, trial, seed))


def _laid(case: Case, trial: int, seed: int) -> Showing:
    """What happens, and when."""
    chance = Chance(GENERATOR, case.id, trial, seed)
    plan = planned(case, trial, seed)
    facts = {key: value for one in plan for key, value in one.facts.items()}
    show = Showing(case, trial, chance, plan, {**case.facts, **facts})
    MEASURES[case.measure](show)
    return show


def _read(show: Showing, lines: tuple[Line, ...]) -> tuple[Line, ...]:
    """The lines, with what is seen at the stop where somebody reads and not watches."""
    if not show.at_stop:
        return lines
    after = line_at(lines, show.stop_ms)
    return (*lines[:after], Line(show.stop_ms, show.at_stop), *lines[after:])


def _key(show: Showing) -> Key:
    faults = tuple(sorted(show.faults, key=lambda fault: fault.at_ms))
    valid = not any(rule_for(f.kind, show.case.measure).voids for f in faults)
    return Key(
        show.start_ms, show.stop_ms, tuple(show.splits), faults, valid, show.count,
        show.distance,
    )  # fmt: skip


def _frames(show: Showing, moments: set[int], chance: Chance) -> tuple[Frame, ...]:
    """The body at uneven instants, none of them one that matters."""
    frames = [Frame(0, show.points(0))]
    while frames[-1].at_ms < show.ends_ms:
        at = frames[-1].at_ms + chance.ms(APART)
        while near(at, moments):
            at += 1
        frames.append(Frame(at, show.points(at)))
    return tuple(frames)


def near(at: int, moments: Iterable[int]) -> bool:
    """Whether an instant is too close to one that matters."""
    return any(abs(at - moment) < CLEAR_MS for moment in moments)


def line_at(lines: tuple[Line, ...], ms: int) -> int:
    """How many sentences have been said by then."""
    return sum(line.at_ms <= ms for line in lines)
