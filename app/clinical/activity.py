"""The shape of a treatment activity: what it is for, what must not meet it, its dose.

An activity is something a licensed therapist picks after a look at the patient, the
order and the chart; it is no prescription. Wording and doses: common practice, except
where a source stands beside them.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Literal

from app.clinical.strip import Layout
from app.clinical.vocabulary import closed

DOMAINS: Final = closed(
    sitting_balance="sitting balance",
    standing_static="standing still",
    standing_dynamic="standing and shifting",
    stepping="stepping",
    mobility_turning="walking and turning",
    transfers="transfers and rising",
    coordination="two hands and fine work",
    lower_dressing="lower-body dressing",
    upper_reach="reach and search",
    cognitive_dual="two things at once",
    home_caregiver="home and caregiver",
)
POSITIONS: Final = closed(
    lying="lying", seated="seated", standing="standing", none="therapist measures"
)
#: What an activity asks at least, each including those before it.
LEAST: Final = closed(
    lies="lies in bed",
    sits_held="sits with support",
    sits="sits alone",
    stands_held="stands with help",
    stands="stands alone",
    walks="walks",
)
#: The one thing that a step of the grade changes.
DIMENSIONS: Final = closed(
    distance="distance",
    height="height of the target or seat",
    base="base of support",
    hands="hand support",
    surface="surface",
    vision="vision",
    speed="speed or beat",
    load="load in the hand",
    width="width of lane or target",
    loop="loop size",
    sequence="length of the sequence",
    choices="number of choices",
    second_task="second task",
    cueing="cueing",
    assistance="assistance",
    hold="time held",
)
GRADE_UNITS: Final = closed(**{
    "in": "in", "ft": "ft", "s": "s", "%": "%", "deg": "deg", "rung": "", "level": "",
    "turns": "turns", "steps": "steps", "sides": "sides", "choices": "choices",
    "count": "",
})  # fmt: skip
#: Units that count things, which a grade's own name may name already.
COUNTED_UNITS: Final = ("turns", "steps", "sides", "choices")
#: Units whose grade is one of a list of conditions, from 1.
NAMED_UNITS: Final = ("rung", "level")
#: What the phone records of a set.
COUNTS: Final = closed(
    reps="repetitions",
    hold_s="seconds held",
    distance_in="distance",
    time_s="time",
    steps="steps",
    steps_to_recover="steps to recover",
    passes="passes",
    errors="errors",
    assist_level="assistance",
    symptoms="symptoms",
    hazards="hazards found",
)
#: The kit an activity names; a slash stands for either.
NEEDS: Final = (
    "strip", "chair", "counter", "cup", "table", "towel", "wall", "gait belt",
    "chair or bed edge", "two surfaces", "bed edge or bench", "counter or chair back",
    "corner", "chair back", "second person", "bed", "stool or rolled towel",
    "bed or chair", "rail or counter", "lamp",
)  # fmt: skip
#: May it go on a home sheet? Nothing here is for a patient alone.
UNSUPERVISED: Final = closed(
    trained_helper="with a trained helper, after a teach-back",
    therapist_only="with a therapist only",
    not_applicable="led by the therapist",
)
CALLERS: Final = closed(
    clock="clock positions",
    directions="directions",
    go_stop="go or stop",
    sequence="a sequence to remember",
    subtract="counting down from a number",
    marks="marks of the strip",
)


@dataclass(frozen=True, slots=True)
class Grade:
    """One number the therapist moves. A negative `step`: smaller is harder.

    `rungs` are the conditions in words where the unit is a rung or a level, from 1.
    """

    what: str
    unit: str
    start: Decimal
    step: Decimal
    easiest: Decimal
    hardest: Decimal
    dimension: str
    rungs: tuple[str, ...] = ()

    def words(self, value: Decimal) -> str:
        """A grade as said.

        >>> Grade("hold", "s", Decimal(3), Decimal(2), Decimal(0), Decimal(30),
        ...       "hold").words(Decimal(5))
        'hold 5 s'
        """
        if self.rungs and 1 <= value <= len(self.rungs) and value == int(value):
            return self.rungs[int(value) - 1]
        number, unit = f"{value.normalize():f}", GRADE_UNITS[self.unit]
        if unit in COUNTED_UNITS:
            unit = unit.removesuffix("s") if value == 1 else unit
            unit = "" if unit in self.what else unit
            return f"{self.what}: {number} {unit}".strip()
        return f"{self.what} {number} {unit}".strip()

    def within(self, value: Decimal) -> bool:
        low, high = sorted((self.easiest, self.hardest))
        return low <= value <= high

    def harder(self, value: Decimal) -> Decimal | None:
        """One step up; None at the hard end."""
        return self._stepped(value, self.step)

    def easier(self, value: Decimal) -> Decimal | None:
        """One step down; None at the easy end."""
        return self._stepped(value, -self.step)

    def _stepped(self, value: Decimal, by: Decimal) -> Decimal | None:
        low, high = sorted((self.easiest, self.hardest))
        stepped = min(high, max(low, value + by))
        return stepped if stepped != value else None


@dataclass(frozen=True, slots=True)
class Dose:
    """How much: sets, what one set has, rest and the time one takes, in seconds.

    `target` of `target_of` is what a full set has; None when that cannot be counted.
    """

    sets: int
    amount: str
    rest_s: int
    set_s: int
    basis: str
    how: str
    sources: tuple[str, ...] = ()
    target: int | None = None
    target_of: str = ""

    @property
    def words(self) -> str:
        """The amount of a set with its unit: `8 repetitions`, `10-30 s hold`."""
        bare = self.amount.replace("-", "").isdigit()
        return f"{self.amount} {COUNTS['reps']}" if bare else self.amount

    def minutes(self, sets: int | None = None) -> int:
        """About how long it takes with its rests, whole minutes, at least one."""
        wanted = self.sets if sets is None else sets
        seconds = wanted * self.set_s + max(0, wanted - 1) * self.rest_s
        return max(1, -(-seconds // 60))


@dataclass(frozen=True, slots=True)
class Caller:
    """What the phone calls out, one after the other."""

    kind: str
    choices: tuple[str, ...] = ()
    pace_s: Decimal = Decimal(2)
    calls: int = 10
    graded: Literal["", "choices", "length"] = ""


@dataclass(frozen=True, slots=True)
class HomeWords:
    """The same activity in plain words, for the patient and a trained helper."""

    name: str
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Activity:
    """One treatment activity of the catalogue.

    `help` is the most help the person may need in that position (a level of
    assistance); `staff` the fewest people, whatever the help. Where the patient holds
    the strip (`holds_strip`) a ligature risk always blocks it.
    """

    id: str
    name: str
    other_names: tuple[str, ...]
    domain: str
    position: Literal["lying", "seated", "standing", "none"]
    least: str
    help: str
    staff: int
    icf: tuple[str, ...]
    occupation: str
    prerequisite: str
    setup: str
    steps: tuple[str, ...]
    easier: str
    harder: str
    grade: Grade
    count: tuple[str, ...]
    dose: Dose
    guard: str
    needs: tuple[str, ...]
    must_not: tuple[str, ...]
    caution: tuple[str, ...]
    answers: tuple[str, ...]
    skill: str
    unsupervised: str
    holds_strip: bool
    layouts: tuple[Layout, ...]
    caller: Caller | None = None
    home: HomeWords | None = None

    @property
    def minutes(self) -> int:
        return self.dose.minutes()
