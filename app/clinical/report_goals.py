"""A goal in a report: where it began, the last, the newest, the target; and its word.

The numbers are made from what was measured. How a goal stands is a judgement: only what
somebody said of it stands here, else the clinician is asked.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Final

from app.clinical.change import Change
from app.clinical.course import maintained
from app.clinical.days import full_day
from app.clinical.goals import CLOSES, STANDINGS
from app.clinical.note import Line, Ref
from app.clinical.note_words import sentence, spelled
from app.clinical.report import CareFacts, GoalFacts

#: A plateau is told by two measures and the time between them.
PLATEAU_NEEDS: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class GoalNumbers:
    """A row of the goals table, in words; an empty one is not known."""

    start: str
    last: str
    now: str
    target: str
    change: Change | None
    kept: str


def shown_goals(facts: CareFacts, *, whole: bool = False) -> Iterator[GoalFacts]:
    """The open ones, and those closed in the period; of a `whole` episode all.

    A goal that was reported closed is dropped from later reports.
    """
    for goal in facts.goals:
        if whole or goal.ended is None or facts.holds(goal.ended.day):
            yield goal


def numbers(facts: CareFacts, goal: GoalFacts) -> GoalNumbers:
    """Start, last and now of a goal, and whether the change is beyond error."""
    made = goal.progress
    return GoalNumbers(
        start=_at(goal.start, goal.start_on),
        last=_last(goal),
        now=_at(made.value, made.on),
        target=goal.target,
        change=made.change,
        kept=maintained(facts.plan, made.change) or _held(facts, goal),
    )


def _at(value: str, day: date | None) -> str:
    return f"{value}, {full_day(day)}" if value and day else ""


def _last(goal: GoalFacts) -> str:
    before = goal.before
    if before is None or before.on in (None, goal.progress.on, goal.start_on):
        return ""
    return _at(before.value, before.on)


def _held(facts: CareFacts, goal: GoalFacts) -> str:
    """Under a plan to maintain, a task done with the same help is what was wanted."""
    same = goal.progress.state == "no_change" and goal.progress.change is None
    if facts.plan != "maintain" or not same:
        return ""
    return "The plan is to maintain: no change is a good result here."


def goal_line(facts: CareFacts, goal: GoalFacts) -> Line:
    """`Goal 1 (short-term): By ... Start: 19.4 s, 3 Jun 2026. ...`."""
    told = numbers(facts, goal)
    made = goal.progress
    said = [
        f"Goal {goal.number} ({goal.term}{'' if goal.signed else ', not signed'}): "
        f"{goal.says}",
        f"In place of goal {goal.replaces}." if goal.replaces else "",
        f"Start: {told.start}." if told.start else "",
        f"Last: {told.last}." if told.last else "",
        f"Target: {told.target}.",
        sentence(made.says),
        sentence(f"What differs: {'; '.join(made.differs)}") if made.differs else "",
        made.change.says if made.change else "",
        told.kept,
    ]
    text = spelled(" ".join(part for part in said if part))
    return Line(f"goal-{goal.id}", "objective", text, goal.refs)


def status_line(facts: CareFacts, goal: GoalFacts) -> Line:
    """What somebody said of a goal in the period, or the question how it stands."""
    key, refs = f"goal_status-{goal.id}", (Ref("goal", goal.id),)
    if goal.ended is not None:
        return Line(key, "assessment", ended_words(goal), refs)
    stood = goal.stood
    if stood is not None and facts.holds(stood.day):
        made = _stood_words(goal)
        if made:
            return Line(key, "assessment", made, refs)
    asks = f"Goal {goal.number}: how does it stand, and what moved or held it?"
    if stood is not None and stood.word == "plateau":
        asks = (
            f"Goal {goal.number} was called a plateau, which takes two measures and "
            "the time between them. What is known?"
        )
    lead = f"Goal {goal.number}: "
    return Line(key, "assessment", "", refs, asks, needed=goal.signed, lead=lead)


def ended_words(goal: GoalFacts) -> str:
    assert goal.ended is not None
    word = CLOSES[goal.ended.word]
    said = f"Goal {goal.number}: {word} on {full_day(goal.ended.day)}"
    return sentence(spelled(f"{said}: {goal.ended.reason}"))


def stood_short(goal: GoalFacts) -> str:
    """The status word for the table: `progressing, 65 %`; empty: nobody said."""
    if goal.ended is not None:
        return CLOSES[goal.ended.word]
    if goal.stood is None or not _may_say(goal):
        return ""
    percent = goal.stood.percent
    word = STANDINGS[goal.stood.word]
    return f"{word}, {percent} %" if percent is not None else word


def _may_say(goal: GoalFacts) -> bool:
    """A word alone makes no plateau: it takes two measures and the days between."""
    stood = goal.stood
    if stood is None or stood.word != "plateau":
        return stood is not None
    return goal.told >= PLATEAU_NEEDS and bool(stood.says)


def _stood_words(goal: GoalFacts) -> str:
    stood = goal.stood
    if stood is None or not _may_say(goal):
        return ""
    said = f"Goal {goal.number}: {STANDINGS[stood.word]}, {full_day(stood.day)}"
    percent = f"{stood.percent} % of the way" if stood.percent is not None else ""
    if stood.word == "progressing" and percent:
        return sentence(f"{said}: {percent}")
    return sentence(spelled(f"{said}: {stood.says}" if stood.says else said))
