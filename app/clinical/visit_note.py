"""The lines of a visit note and of an evaluation, made from events or left open.

Which minutes a treatment note holds and what a plan of care holds: Medicare Benefit
Policy Manual, chapter 15, sections 220.3 E and 220.1.2 (full text of those pages); the
rest is common practice. What no event says is asked, never said.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Final

from app.clinical.note import Line, Section
from app.clinical.note_words import sentence
from app.clinical.visit_facts import GoalSaid, Measured, Said, VisitFacts

__all__ = ["VisitFacts", "evaluation", "visit_note"]

#: The key of the line that tells timed from untimed minutes.
BY_SERVICE: Final = "minutes:services"
SKILL: Final = Line(
    "field:skill", "assessment", needed=True, verbs=True,
    asks="What do these findings mean, and what of this took a therapist's skill?",
)  # fmt: skip
RESPONSE: Final = Line(
    "field:response", "assessment", needed=True,
    asks="How did the person respond, and what holds them back?",
)  # fmt: skip
NEXT: Final = Line(
    "field:next", "plan", needed=True,
    asks="What changes next session, how often do you come, and what ends it?",
)  # fmt: skip
#: What an evaluation asks when the record does not say it.
FIELDS: Final = {
    line.key: line
    for line in (
        Line("field:subjective", "subjective",
             asks="What does the person say that bears on today? Nothing was asked."),
        Line("field:matters", "subjective", needed=True,
             asks="What matters to the person, in their own words?"),
        Line("field:reason", "objective", needed=True,
             asks="Why this person, and why now?"),
        Line("field:conditions", "objective", needed=True,
             asks="Which diagnoses, and since when?"),
        Line("field:prior", "objective", needed=True,
             asks="How did they manage before, and how and with whom do they live?"),
        Line("field:precautions", "objective",
             asks="Which orders and risks hold? None is on record."),
        Line("field:baseline", "objective", needed=True,
             asks="Which numbers do you start from? No test was done in this visit."),
        Line("field:minutes", "objective", needed=True,
             asks="How many minutes of treatment, and how many of them timed?"),
        Line("field:problems", "assessment", needed=True,
             asks="Which problems ask for treatment?"),
        Line("field:prognosis", "assessment", needed=True,
             asks="What is to be expected, and from what do you conclude it?"),
        Line("field:barriers", "assessment",
             asks="What stands in the way, and who and what helps?"),
        Line("field:goals", "plan", needed=True,
             asks="Which goals? Set them on the goals' page: none is set."),
        Line("field:frequency", "plan", needed=True,
             asks="Which treatment, how often a week, and for how long?"),
        Line("field:discharge_place", "plan", needed=True,
             asks="Where are they to live afterwards?"),
        Line("field:agreement", "plan",
             asks="Do the person and those who help agree with this plan?"),
    )
}  # fmt: skip


def visit_note(facts: VisitFacts) -> tuple[Line, ...]:
    """The lines of a visit, in order; what nothing tells is a field with a question.

    A missed visit says only that it was, and why.
    """
    if facts.missed is not None:
        return (_line("objective", facts.missed), replace(NEXT, needed=False))
    return (
        *(_lines("subjective", facts.symptoms) or [FIELDS["field:subjective"]]),
        *_seen(facts),
        SKILL,
        *(_line("assessment", goal, _progress(goal)) for goal in facts.goals),
        replace(RESPONSE, needed=facts.holds_work),
        *_ahead(facts),
        NEXT,
    )


def evaluation(facts: VisitFacts) -> tuple[Line, ...]:
    """The lines of an evaluation: who, why, from where, and the plan of care."""
    known = facts.background
    orders = _lines("objective", known.precautions)
    return (
        *(_lines("subjective", facts.symptoms) or [FIELDS["field:subjective"]]),
        *_or_ask("subjective", known.matters, "field:matters"),
        *_or_ask("objective", known.reason, "field:reason"),
        *_or_ask("objective", known.person, ""),
        *(_lines("objective", known.conditions) or [FIELDS["field:conditions"]]),
        *(_lines("objective", known.living) or [FIELDS["field:prior"]]),
        *(orders or [FIELDS["field:precautions"]]),
        *([] if facts.measures else [FIELDS["field:baseline"]]),
        *_seen(facts),
        *(_lines("assessment", known.deficits) or [FIELDS["field:problems"]]),
        SKILL,
        FIELDS["field:prognosis"],
        FIELDS["field:barriers"],
        *_plan_of_care(facts),
    )


def _plan_of_care(facts: VisitFacts) -> Iterator[Line]:
    """To which end, the goals with their numbers, and what only the therapist knows."""
    yield from _or_ask("plan", facts.background.plan, "")
    open_goals = [goal for goal in facts.goals if not goal.ended]
    yield from (_line("plan", goal, _as_set(goal)) for goal in open_goals)
    if not open_goals:
        yield FIELDS["field:goals"]
    yield FIELDS["field:frequency"]
    yield FIELDS["field:discharge_place"]
    yield FIELDS["field:agreement"]
    yield from _ahead(facts)


def _seen(facts: VisitFacts) -> Iterator[Line]:
    """What was measured, seen and done, stopped or left, with its minutes."""
    yield from _lines("objective", facts.vitals)
    for measured in facts.measures:
        if measured.done:
            yield from _measured(measured)
    for group in (
        facts.not_counted, facts.tasks, facts.activities, facts.stops,
        [m for m in facts.measures if not m.done], facts.not_done, facts.rooms,
        facts.teaching, facts.exits, facts.hand_off,
    ):  # fmt: skip
        yield from _lines("objective", group)
    yield from _lines("objective", facts.minutes)
    if all(said.key != BY_SERVICE for said in facts.minutes):
        yield replace(FIELDS["field:minutes"], needed=not facts.minutes)


def _measured(measured: Measured) -> Iterator[Line]:
    """A test's line, and the part of it that only the therapist can say."""
    yield _line("objective", measured)
    if not measured.line.parts[-1]:
        name = measured.name
        yield Line(
            f"{measured.key}:function", "objective", refs=measured.refs,
            asks=f"{name}: what does it mean for what they do every day?",
        )  # fmt: skip


def _ahead(facts: VisitFacts) -> Iterator[Line]:
    """What is proposed, planned and due."""
    for group in (facts.next_grades, facts.planned, facts.due):
        yield from _lines("plan", group)


def _progress(goal: GoalSaid) -> str:
    """`Goal 1 (Climb the stairs: 12.0 s or less, by 20 Dec): 62 % of the way ...`."""
    if goal.ended:
        return f"Goal {goal.number} ({goal.short}): {goal.ended}"
    if not goal.progress:
        return _as_set(goal)
    said = (goal.progress, goal.standing, "" if goal.signed else "Not signed yet.")
    told = " ".join(sentence(part) for part in said if part)
    return f"Goal {goal.number} ({goal.short}): {told}"


def _as_set(goal: GoalSaid) -> str:
    """The goal as a plan of care prints it, with its start."""
    start = f"Start: {goal.start}." if goal.start else ""
    unsigned = "" if goal.signed else "Not signed yet."
    said = " ".join(part for part in (goal.says, start, unsigned) if part)
    return f"Goal {goal.number}, {goal.term}: {said}"


def _or_ask(section: Section, said: Said | None, field: str) -> Iterator[Line]:
    if said is not None:
        yield _line(section, said)
    elif field:
        yield FIELDS[field]


def _lines(section: Section, group: Iterable[Said]) -> list[Line]:
    return [_line(section, said) for said in group]


def _line(section: Section, said: Said, text: str = "") -> Line:
    return Line(said.key, section, sentence(text or said.says), said.refs)
