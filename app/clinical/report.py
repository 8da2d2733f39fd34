"""What a progress report or a discharge summary is made from: plain facts, with events.

Nothing is asked of the store here, and nothing later than `until` is among the facts.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from app.clinical.activity import Activity
from app.clinical.course import Kept
from app.clinical.doing import DoneSet
from app.clinical.goal_progress import Progress
from app.clinical.goals import LevelSeen
from app.clinical.measure import Measure
from app.clinical.note import Ref
from app.clinical.person import Person
from app.clinical.picture import Agreement
from app.clinical.visit_facts import Said


@dataclass(frozen=True, slots=True)
class Attended:
    """A visit that took place."""

    id: int
    day: date
    kind: str  # a key of visiting.KINDS


@dataclass(frozen=True, slots=True)
class Dated(Said):
    """One thing in words that belongs to a day."""

    day: date = date.min


@dataclass(frozen=True, slots=True)
class Pain:
    """A number the patient gave, 0 to 10."""

    day: date
    value: int
    id: int


@dataclass(frozen=True, slots=True)
class Tried:
    """A result of a test, completed or unable, with its set-up in words."""

    kept: Kept
    round_id: int
    setup: str = ""

    @property
    def day(self) -> date:
        return self.kept.day


@dataclass(frozen=True, slots=True)
class MeasureFacts:
    """One test in the episode, oldest first: its results, and attempts without one."""

    measure: Measure
    tried: tuple[Tried, ...]
    without: tuple[Tried, ...] = ()  # stopped, declined or not done: no result


@dataclass(frozen=True, slots=True)
class TaskSeen:
    """A task of the day that was done: how in words, and as it is compared."""

    id: int
    seen: LevelSeen
    words: str


@dataclass(frozen=True, slots=True)
class Stood:
    """What somebody said of an open goal on a day."""

    word: str  # a key of goals.STANDINGS
    day: date
    says: str = ""
    percent: int | None = None


@dataclass(frozen=True, slots=True)
class Ended:
    """How a goal was closed."""

    word: str  # a key of goals.CLOSES
    day: date
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class GoalFacts:
    """A goal as it stood at the end of the period.

    `before` is how far it had come at the last report; without one, at the measure
    before the newest. `told` counts the days with a measure that compares with its
    start, the start included: a plateau takes two of them.
    """

    id: int
    number: int
    term: str  # in words
    says: str
    signed: bool
    set_on: date
    start: str
    start_on: date | None
    target: str
    progress: Progress
    before: Progress | None = None
    stood: Stood | None = None
    ended: Ended | None = None
    replaces: int | None = None
    measure: str = ""
    target_value: Decimal | None = None
    target_unit: str = ""
    told: int = 0
    refs: tuple[Ref, ...] = ()


@dataclass(frozen=True, slots=True)
class ActivityFacts:
    """All sets of one activity in the episode that were tried, oldest first.

    `activity` is None where it is no longer in the catalogue.
    """

    name: str
    activity: Activity | None
    sets: tuple[DoneSet, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CareFacts:
    """What both kinds of report read. Groups are of the whole episode, up to `until`.

    `last_report_on` is the day of the last signed report; the period begins on the day
    after it, else with the episode.
    """

    episode_id: int
    reason: str
    plan: str  # restore or maintain
    began_on: date
    until: date
    last_report_on: date | None
    person_on: Callable[[date], Person]
    attended: tuple[Attended, ...] = ()
    missed: tuple[Dated, ...] = ()
    statements: tuple[Dated, ...] = ()
    pains: tuple[Pain, ...] = ()
    measures: tuple[MeasureFacts, ...] = ()
    goals: tuple[GoalFacts, ...] = ()
    tasks: tuple[TaskSeen, ...] = ()
    activities: tuple[ActivityFacts, ...] = ()

    @property
    def since(self) -> date:
        """The first day of the period."""
        if self.last_report_on is None:
            return self.began_on
        return self.last_report_on + timedelta(days=1)

    def holds(self, day: date) -> bool:
        """Whether a day lies in the period.

        Before the first report everything of the episode does: a visit may lie before
        the day that was entered as the start of care.
        """
        return self.last_report_on is None or day > self.last_report_on


@dataclass(frozen=True, slots=True, kw_only=True)
class PeriodFacts(CareFacts):
    """For a progress report. `days_of` is 0 where the site has no such clock."""

    days_used: int
    days_of: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FallFacts:
    """What a word on falls may rest on; nobody here says what follows from it.

    `told` are the answers to "fell since last time?", `known` what the record holds of
    falls before, `stops` those in which somebody fell or was lowered to the floor.
    `tests` is what the newest results say together, and `rounds` those results.
    """

    told: tuple[tuple[date, bool, int], ...] = ()
    known: tuple[Said, ...] = ()
    stops: tuple[Said, ...] = ()
    tests: Agreement | None = None
    rounds: tuple[int, ...] = ()
    limits: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class EpisodeFacts(CareFacts):
    """For a discharge summary: how care ended, and what stays behind it."""

    closed_on: date | None = None
    end_reason: str = ""  # a key of vocabulary.EPISODE_ENDS; empty: nobody said
    precautions: tuple[Said, ...] = ()
    changes: tuple[Said, ...] = ()
    home: tuple[Said, ...] = ()
    teaching: tuple[Said, ...] = ()
    falls: FallFacts = FallFacts()
