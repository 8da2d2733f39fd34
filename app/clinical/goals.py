"""A goal in closed words: who does what, how, how well, by when and why.

`sentence` says it in one line. The anatomy is that of ordinary goal writing (common
practice). What a reader would ask about a goal is in `goal_doubts`, the way gained in
`goal_progress`.
"""

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Final, Literal

from app.clinical.assistance import CUE_KINDS, LEVELS
from app.clinical.days import full_day, short_day
from app.clinical.measure import Measure
from app.clinical.quantities import alike, convert, shown, words
from app.clinical.scores import Score
from app.clinical.visiting import DEVICES
from app.clinical.vocabulary import closed

Kind = Literal["score", "level", "times"]


WHO: Final = closed(patient="the patient", caregiver="the caregiver")
TERMS: Final = closed(short="short-term", long="long-term")
KINDS: Final = closed(
    score="a test's score", level="how much help", times="how often it works"
)
#: What somebody does in a task of the day: the verb of the sentence.
DOES: Final = closed(
    toileting="use the toilet",
    dressing_upper="dress the upper body",
    dressing_lower="dress the lower body",
    bathing="bathe",
    grooming="groom",
    eating="eat a meal",
    bed_mobility="move in bed",
    transfer_bed="get in and out of bed",
    transfer_chair="get on and off a chair",
    transfer_toilet="get on and off the toilet",
    transfer_tub="get in and out of the tub or shower",
    transfer_car="get in and out of a car",
    walk_bathroom="walk to the bathroom",
    stairs="go up and down stairs",
    kitchen="do a kitchen task",
    medication="handle medication",
)
PLACES: Final = closed(
    bedside="at the bedside",
    bathroom="in the bathroom",
    kitchen="in the kitchen",
    hallway="in the hallway",
    living_room="in the living room",
    stairs="on the stairs",
    outside="outside",
    car="at the car",
    gym="in the treatment room",
    home="at home",
)
SURFACES: Final = closed(
    level="on a level floor",
    carpet="on carpet",
    threshold="over a threshold",
    ramp="on a ramp",
    uneven="on uneven ground",
    low_seat="from a low seat",
    wet="on a wet floor",
)
NO_CUES: Final = "none"
#: A level of help as part of a sentence.
WITH_HELP: Final = closed(
    independent="independently",
    modified="with modified independence",
    set_up="with set-up or clean-up only",
    supervision="with supervision",
    stand_by="with stand-by help",
    contact="with contact guard",
    minimal="with minimal assistance",
    moderate="with moderate assistance",
    maximal="with maximal assistance",
    total="with total assistance",
)
#: How an open goal stands. A plateau needs two measures and the time between them.
STANDINGS: Final = closed(
    not_started="not started",
    progressing="progressing",
    plateau="plateau",
    on_hold="on hold",
)
#: How a goal ends. The last two open a new goal in its place.
CLOSES: Final = closed(
    met="met",
    not_met="not met",
    discontinued="discontinued",
    downgraded="downgraded",
    upgraded="upgraded",
)
REPLACED: Final = ("downgraded", "upgraded")


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """What must be so while it is done; an empty one was not said."""

    place: str = ""
    device: str = ""
    cue_kind: str = ""
    cue_amount: str = ""
    surface: str = ""
    help: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """How well. `kind` says by what it is judged; `times` of `out_of` may join any."""

    kind: Kind
    measure: str = ""
    value: Decimal | None = None
    unit: str = ""
    level: str = ""
    times: int | None = None
    out_of: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Goal:
    """One goal. `phrase` says the task in own words, else the task's verb stands."""

    target: Target
    by: date | None
    who: str = "patient"
    task: str = ""
    phrase: str = ""
    conditions: Conditions = field(default_factory=Conditions)
    so_that: str = ""


@dataclass(frozen=True, slots=True)
class LevelSeen:
    """The help one task of the day took, and how it was set up."""

    day: date
    task: str
    level: str
    device: str = ""
    set_up: str = ""
    helpers: int = 0


@dataclass(frozen=True, slots=True)
class TimesSeen:
    """How often it worked: `times` of `out_of`."""

    day: date
    times: int
    out_of: int


@dataclass(frozen=True, slots=True)
class Baseline:
    """Where the goal starts: a score, a task or a count, whichever its kind asks."""

    day: date
    score: Score | None = None
    level: LevelSeen | None = None
    times: TimesSeen | None = None
    rater: int | None = None


def sentence(goal: Goal, measure: Measure | None = None) -> str:
    """The goal in one line, as a plan of care and a report print it.

    >>> sentence(Goal(target=Target(kind="level", level="stand_by"),
    ...     task="transfer_toilet", by=date(2026, 7, 12), so_that="toilet at night"))
    'By 12 Jul 2026, the patient will get on and off the toilet, with stand-by help, \
in order to toilet at night.'
    """
    said = goal.conditions
    when = f"By {full_day(goal.by)}, " if goal.by else ""
    parts = [
        f"{WHO[goal.who]} will {_act(goal, measure)}",
        PLACES.get(said.place, ""),
        SURFACES.get(said.surface, ""),
        _device(said.device),
        _cues(said),
        WITH_HELP.get(said.help, ""),
        target_words(goal.target, measure) if _names_a_task(goal) else "",
        _trials(goal.target),
        f"in order to {goal.so_that}" if goal.so_that else "",
    ]
    text = when + ", ".join(part for part in parts if part)
    return f"{text[:1].upper()}{text[1:]}."


def one_line(goal: Goal, measure: Measure | None = None) -> str:
    """The goal in a list: `Climb the stairs: 12.0 s or less, by 20 Dec`."""
    target, when = target_short(goal.target, measure), ""
    if goal.by is not None:
        when = f", by {short_day(goal.by)}"
    name = measure.name if measure else goal.target.measure
    act = _act(goal, measure) if _names_a_task(goal) else name
    return f"{act[:1].upper()}{act[1:]}: {target}{when}"


def _act(goal: Goal, measure: Measure | None) -> str:
    if goal.phrase:
        return goal.phrase
    if not goal.task:
        return _bare_target(goal.target, measure)
    helps = "help the patient " if goal.who == "caregiver" else ""
    return helps + DOES[goal.task]


def _names_a_task(goal: Goal) -> bool:
    return bool(goal.task or goal.phrase)


def _bare_target(target: Target, measure: Measure | None) -> str:
    """Nothing but the number is named: the goal says no more than that."""
    return target_words(target, measure).replace("shown by", "reach", 1)


def _device(device: str) -> str:
    if device == "none":
        return "without a device"
    if not device:
        return ""
    if device == "other":
        return "with another device"
    return f"with {'' if device == 'crutches' else 'a '}{DEVICES[device]}"


def _cues(said: Conditions) -> str:
    if said.cue_kind == NO_CUES:
        return "without cues"
    if not said.cue_kind and not said.cue_amount:
        return ""
    amount = f"{said.cue_amount} " if said.cue_amount else ""
    kind = CUE_KINDS.get(said.cue_kind, "")
    if said.cue_kind == "environment":
        return f"with {amount}cues {kind}"
    return f"with {amount}{kind}{' ' if kind else ''}cues"


def _trials(target: Target) -> str:
    return f"on {target.times} of {target.out_of} trials" if target.times else ""


def target_words(target: Target, measure: Measure | None = None) -> str:
    """How well: `shown by 12.0 s or less in Timed Up and Go`, `with stand-by help`."""
    if target.kind == "level":
        return WITH_HELP[target.level]
    if target.kind == "times" or target.value is None:
        return ""
    name = measure.name if measure else target.measure
    return f"shown by {value_or_better(target, measure)} in {name}"


def value_or_better(target: Target, measure: Measure | None) -> str:
    """`12.0 s or less`: the number and the side that counts as reached."""
    assert target.value is not None
    noun = f" {measure.noun(target.value)}".rstrip() if measure else ""
    side = " or more" if measure and measure.better == "higher" else " or less"
    return f"{words(target.value, target.unit)}{noun}{side if measure else ''}"


def target_short(target: Target, measure: Measure | None = None) -> str:
    """The target alone, for a label and a table: `12.0 s or less`, `stand-by`."""
    if target.kind == "level":
        return LEVELS[target.level].words
    if target.kind == "times":
        return f"{target.times} of {target.out_of}"
    return value_or_better(target, measure)


def baseline_short(baseline: Baseline | None, unit: str = "") -> str:
    """The start in the same words; empty without one."""
    if baseline is None:
        return ""
    if baseline.level is not None:
        return LEVELS[baseline.level.level].words
    if baseline.times is not None:
        return f"{baseline.times.times} of {baseline.times.out_of}"
    value = start_value(baseline, unit)
    return "unable" if value is None else words(value, unit)


def start_value(baseline: Baseline | None, unit: str) -> Decimal | None:
    """The start's score as it is shown in `unit`; None where it cannot be."""
    score = baseline.score if baseline else None
    if score is None or score.value is None or not alike(score.unit, unit):
        return None
    return shown(convert(score.value, score.unit, unit), unit)
