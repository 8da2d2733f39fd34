"""Lines that a progress report and a discharge summary share: made, or asked for."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import Final

from app.clinical.activity import Activity
from app.clinical.assistance import LEVELS
from app.clinical.days import full_day
from app.clinical.doing import DoneSet
from app.clinical.goal_progress import levels_differ
from app.clinical.grading import sessions_of
from app.clinical.note import Line, Ref, Section
from app.clinical.note_words import sentence, spelled
from app.clinical.report import (
    ActivityFacts,
    Attended,
    CareFacts,
    Dated,
    Pain,
    TaskSeen,
)
from app.clinical.visit_facts import Said
from app.clinical.visiting import TASKS

#: More days than this are told by their first and last.
MOST_DAYS: Final = 12


def episode_ref(facts: CareFacts) -> tuple[Ref, ...]:
    return (Ref("episode", facts.episode_id),)


def asked(
    key: str, section: Section, asks: str, *, needed: bool = False, verbs: bool = False
) -> Line:
    """An empty field: nothing in the record says it."""
    return Line(key, section, "", (), asks, needed, verbs)


def from_said(said: Iterable[Said], section: Section) -> Iterator[Line]:
    for one in said:
        yield Line(one.key, section, sentence(spelled(one.says)), one.refs)


def statements(facts: CareFacts) -> Iterator[Line]:
    """What the patient said in the period, each with its day; else the question."""
    here = [one for one in facts.statements if facts.holds(one.day)]
    for one in here:
        said = sentence(spelled(f"{full_day(one.day)}: {one.says}"))
        yield Line(one.key, "subjective", said, one.refs)
    pains = [pain for pain in facts.pains if facts.holds(pain.day)]
    if pains:
        yield _pain(pains)
    if not here:
        asks = "What does the patient say of how it goes, and of daily life?"
        yield asked("said", "subjective", asks)


def _pain(pains: Sequence[Pain]) -> Line:
    first, last = pains[0], pains[-1]
    said = f"Pain {first.value} of 10 on {full_day(first.day)}"
    if last.id != first.id:
        said += f", {last.value} of 10 on {full_day(last.day)}"
    refs = dict.fromkeys(Ref("symptoms", pain.id) for pain in (first, last))
    return Line("pain", "subjective", f"{said}.", tuple(refs))


def visits(facts: CareFacts, *, whole: bool = False) -> Line:
    """How often the patient came, and on which days."""
    came = [v for v in facts.attended if whole or facts.holds(v.day)]
    gone = [m for m in facts.missed if whole or facts.holds(m.day)]
    days = sorted({visit.day for visit in came})
    said = f"{_visits(came)} on {_count(len(days), 'treatment day')}"
    if days:
        said += f": {_days(days)}"
    missed = f"{len(gone)} missed" if gone else "none recorded as missed"
    return Line(
        "visits", "objective", sentence(f"{said}; {missed}"), episode_ref(facts)
    )


def _visits(came: Sequence[Attended]) -> str:
    return f"{_count(len(came), 'visit')} attended"


def _count(n: int, what: str) -> str:
    return f"{n} {what}{'' if n == 1 else 's'}"


def _days(days: Sequence[date]) -> str:
    told = [full_day(day) for day in days]
    if len(told) > MOST_DAYS:
        return f"{told[0]} to {told[-1]}"
    *first, last = told
    return f"{', '.join(first)} and {last}" if first else last


def missed(facts: CareFacts, *, whole: bool = False) -> Iterator[Line]:
    """Each visit that did not happen, and why."""
    for one in facts.missed:
        if whole or facts.holds(one.day):
            yield _missed(one)


def _missed(one: Dated) -> Line:
    said = sentence(spelled(f"Missed, {full_day(one.day)}: {one.says}"))
    return Line(one.key, "objective", said, one.refs)


def tasks(facts: CareFacts, *, whole: bool = False) -> Iterator[Line]:
    """Each task's help at the start and now; another way of doing it gets no verdict.

    Of a period those seen in it, of a `whole` episode all.
    """
    by_task: dict[str, list[TaskSeen]] = {}
    for one in facts.tasks:
        by_task.setdefault(one.seen.task, []).append(one)
    for task, seen in by_task.items():
        if whole or facts.holds(seen[-1].seen.day):
            yield _task(facts, task, seen, "end" if whole else "now")


def _task(facts: CareFacts, task: str, seen: Sequence[TaskSeen], name: str) -> Line:
    first, last = seen[0], seen[-1]
    said = f"{TASKS[task].capitalize()}: "
    refs = tuple(dict.fromkeys(Ref("task", one.id) for one in (first, last)))
    if first.seen.day == last.seen.day:
        said += f"{last.words}, {full_day(last.seen.day)}, the first time it was seen."
        return Line(f"task-{task}", "objective", spelled(said), refs[-1:])
    said += (
        f"start {full_day(first.seen.day)}, {first.words}; "
        f"{name} {full_day(last.seen.day)}, {last.words}. {_help(facts, first, last)}"
    )
    return Line(f"task-{task}", "objective", spelled(said), refs)


def _help(facts: CareFacts, first: TaskSeen, last: TaskSeen) -> str:
    differs = levels_differ(first.seen, last.seen)
    if differs:
        return f"No verdict: it was done another way, {'; '.join(differs)}."
    order = list(LEVELS)
    step = order.index(last.seen.level) - order.index(first.seen.level)
    if step == 0 and facts.plan == "maintain":
        return "The same help: the plan is to maintain, so that is a good result."
    if step == 0:
        return "The same help."
    return f"{'Less' if step < 0 else 'More'} help than at the start."


def activities(facts: CareFacts, *, whole: bool = False) -> Iterator[Line]:
    """Each activity's grade at first and now, and how it was done then and now."""
    for one in facts.activities:
        sessions = sessions_of(one.sets)
        here = [s for s in sessions if whole or facts.holds(s[-1].on)]
        if here:
            yield _activity(one, sessions, len(here), whole)


def _activity(
    one: ActivityFacts, sessions: Sequence[Sequence[DoneSet]], here: int, whole: bool
) -> Line:
    first, last = sessions[0], sessions[-1]
    span = "in all" if whole else "in this period"
    said = [f"{one.name}: {_count(here, 'session')} {span}"]
    if len(sessions) > 1:
        said.append(f"first {full_day(first[0].on)}, {_how(one.activity, first[0])}")
    name = "last" if whole or len(sessions) > 1 else "on"
    said.append(f"{name} {full_day(last[-1].on)}, {_how(one.activity, last[-1])}")
    text = f"{'; '.join(said)}. {_harder(one.activity, first[0], last[-1])}".strip()
    stops = sum(s.outcome == "stopped" for visit in sessions for s in visit)
    if stops:
        text += f" Stopped for safety: {_count(stops, 'set')}."
    ends = dict.fromkeys((first[0].id, last[-1].id))
    refs = tuple(Ref("set", number) for number in ends)
    return Line(f"activity-{last[0].activity}", "objective", spelled(text), refs)


def _how(activity: Activity | None, done: DoneSet) -> str:
    """The grade of a set and the help it took."""
    said = "at no recorded grade"
    if activity is not None and done.grade is not None:
        said = activity.grade.words(done.grade)
    return f"{said}, {LEVELS[done.level].words}" if done.level else said


def _harder(activity: Activity | None, first: DoneSet, last: DoneSet) -> str:
    if activity is None or first.grade is None or last.grade is None:
        return ""
    if first.on == last.on:
        return ""
    step = (last.grade - first.grade) * (1 if activity.grade.step > 0 else -1)
    if step == 0:
        return "The same grade as at first."
    return "Graded up since the first." if step > 0 else "Graded down since the first."


def skill() -> Line:
    """What it took a therapist for: always the clinician's own words."""
    asks = (
        "What did it take a therapist for: what was analysed, graded, modified, "
        "guarded, taught or stopped?"
    )
    return asked("skill", "assessment", asks, needed=True, verbs=True)
