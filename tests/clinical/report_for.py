"""Short ways to write the facts of a report in the clinical tests."""

from dataclasses import fields
from datetime import date, timedelta
from typing import Any

from app.clinical.course import Kept
from app.clinical.goal_progress import NOTHING_YET, Progress
from app.clinical.goals import LevelSeen
from app.clinical.note import Line, Ref
from app.clinical.person import Person
from app.clinical.report import (
    Attended,
    CareFacts,
    EpisodeFacts,
    GoalFacts,
    MeasureFacts,
    PeriodFacts,
    Stood,
    TaskSeen,
    Tried,
)
from app.clinical.scoring import Trial, score
from app.clinical.setup import read_facts
from tests.clinical.reading_for import a_score, measure

BEGAN = date(2026, 2, 2)
OLDER = Person((74,), "female", (), "community")
STANDS = "five_times_sit_to_stand"


def day(number: int) -> date:
    """Day 1 is that on which care began."""
    return BEGAN + timedelta(days=number - 1)


def tried(
    number: int, value: str, measure_id: str = STANDS, **facts: str
) -> Tried:  # fmt: skip
    """A result on a day; its round has the number of the day."""
    m = measure(measure_id)
    if value in ("unable", "declined", "stopped"):
        attempt = Trial(value, reason="pain")  # type: ignore[arg-type]
        made = score(m, [attempt], facts=read_facts(m, facts))
    else:
        made = a_score(measure_id, value, **facts)
    setup = ", ".join(facts.values())
    return Tried(Kept(day(number), made, 1), 100 + number, setup)


def results_of(*results: Tried, measure_id: str = STANDS) -> tuple[MeasureFacts, ...]:
    found = [r for r in results if r.kept.score.outcome in ("completed", "unable")]
    without = [r for r in results if r not in found]
    return (MeasureFacts(measure(measure_id), tuple(found), tuple(without)),)


def a_goal(number: int = 1, **said: Any) -> GoalFacts:
    given: dict[str, Any] = {
        "id": number, "number": number, "term": "short-term", "says": "Will rise.",
        "signed": True, "set_on": BEGAN, "start": "19.4 s", "start_on": BEGAN,
        "target": "12.0 s or less", "refs": (Ref("goal", number),),
        "progress": Progress(state="none_yet", says=NOTHING_YET),
    } | said  # fmt: skip
    return GoalFacts(**given)


def stood(word: str, number: int, says: str = "", percent: int | None = None) -> Stood:
    return Stood(word, day(number), says, percent)


def seen(number: int, level: str, **said: Any) -> TaskSeen:
    words = f"{level} help"
    return TaskSeen(number, LevelSeen(day(number), "kitchen", level, **said), words)


def period(**said: Any) -> PeriodFacts:
    """A first report on day 28, unless something else is said."""
    return PeriodFacts(**_care(said), **_own(PeriodFacts, said))


def episode(**said: Any) -> EpisodeFacts:
    return EpisodeFacts(**_care(said), **_own(EpisodeFacts, said))


def _care(said: dict[str, Any]) -> dict[str, Any]:
    usual: dict[str, Any] = {
        "episode_id": 7, "reason": "slow to rise since a fall", "plan": "restore",
        "began_on": BEGAN, "until": day(28), "last_report_on": None,
        "person_on": lambda _: OLDER,
        "attended": (Attended(1, day(1), "evaluation"), Attended(2, day(28), "treat")),
    }  # fmt: skip
    names = {field.name for field in fields(CareFacts)}
    return usual | {name: value for name, value in said.items() if name in names}


def _own(kind: type, said: dict[str, Any]) -> dict[str, Any]:
    shared = {field.name for field in fields(CareFacts)}
    own = {"days_used": 2, "days_of": 10} if kind is PeriodFacts else {}
    return own | {k: v for k, v in said.items() if k not in shared}


def by_key(lines: tuple[Line, ...]) -> dict[str, Line]:
    """Every line by its key, of which no two are alike."""
    found = {line.key: line for line in lines}
    assert len(found) == len(lines)
    return found
