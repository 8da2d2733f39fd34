"""A discharge summary: start and end side by side, and what stays when care ends.

It stands alone for the last period. Contents: common practice; its place among the
reports: Medicare Benefit Policy Manual, chapter 15, section 220.3 (full text).
"""

from collections.abc import Iterator
from typing import Final

from app.clinical.days import full_day
from app.clinical.goals import STANDINGS
from app.clinical.note import Line, Ref
from app.clinical.note_words import sentence, spelled
from app.clinical.report import EpisodeFacts, GoalFacts
from app.clinical.report_goals import ended_words, goal_line, shown_goals
from app.clinical.report_lines import (
    activities,
    asked,
    episode_ref,
    from_said,
    missed,
    skill,
    statements,
    tasks,
    visits,
)
from app.clinical.report_measures import measure_lines, without_result
from app.clinical.vocabulary import EPISODE_ENDS

#: Nobody could finish what was planned.
UNPLANNED: Final = ("moved", "declined", "medical", "payer", "died")
NO_VERDICT: Final = "No number here tells whether somebody will fall."


def discharge_note(facts: EpisodeFacts) -> tuple[Line, ...]:
    """The lines of the summary of a whole episode."""
    return (
        *statements(facts),
        _care(facts),
        _end(facts),
        visits(facts, whole=True),
        *missed(facts, whole=True),
        *measure_lines(facts, whole=True),
        *without_result(facts, whole=True),
        *tasks(facts, whole=True),
        *(goal_line(facts, goal) for goal in shown_goals(facts, whole=True)),
        *activities(facts, whole=True),
        *_left_behind(facts),
        *_falls(facts),
        *_goals(facts),
        skill(),
        asked(
            "recommendations", "plan",
            "What do you recommend: referrals, services, when to come back?",
            needed=True,
        ),
        asked("received", "plan", "Who received this summary?"),
    )  # fmt: skip


def _care(facts: EpisodeFacts) -> Line:
    ended = full_day(facts.closed_on or facts.until)
    to = f" to {ended}" if facts.closed_on else f"; last visit {ended}"
    said = f"Care from {full_day(facts.began_on)}{to}, for: {facts.reason}"
    return Line("care", "objective", sentence(spelled(said)), episode_ref(facts))


def _end(facts: EpisodeFacts) -> Line:
    if not facts.end_reason:
        return asked("end", "objective", "Why does care end?", needed=True)
    said = f"Reason for the end: {EPISODE_ENDS[facts.end_reason]}."
    return Line("end", "objective", said, episode_ref(facts))


def _goals(facts: EpisodeFacts) -> Iterator[Line]:
    for goal in shown_goals(facts, whole=True):
        yield _final(facts, goal)


def _final(facts: EpisodeFacts, goal: GoalFacts) -> Line:
    """A closed goal's word; of an open one what was last measured, or the question."""
    key, refs = f"goal_status-{goal.id}", goal.refs
    if goal.ended is not None:
        return Line(key, "assessment", ended_words(goal), refs)
    if facts.end_reason in UNPLANNED:
        return Line(key, "assessment", _unfinished(goal), refs)
    asks = f"Goal {goal.number} is still open{_last_word(goal)}: how does it end?"
    lead = f"Goal {goal.number}: "
    return Line(key, "assessment", "", refs, asks, needed=goal.signed, lead=lead)


def _last_word(goal: GoalFacts) -> str:
    if goal.stood is None:
        return ""
    said = f"{STANDINGS[goal.stood.word]} on {full_day(goal.stood.day)}"
    return f" (last told {said})"


def _unfinished(goal: GoalFacts) -> str:
    """Nothing but what was measured before care ended."""
    made = goal.progress
    if not made.value or made.on is None:
        last = "nothing was measured since its start that compares with it"
    else:
        last = f"last measured {made.value}, {full_day(made.on)}"
    return spelled(
        f"Goal {goal.number}: not finished when care ended; {last}; target "
        f"{goal.target}."
    )


def _left_behind(facts: EpisodeFacts) -> Iterator[Line]:
    """Equipment, home programme, who was trained, what holds on: made or asked."""
    yield from from_said(facts.changes, "objective")
    if not facts.changes:
        asks = "Equipment given out, and what was changed at home?"
        yield asked("equipment", "objective", asks)
    yield from from_said((*facts.home, *facts.teaching), "objective")
    if not facts.home and not facts.teaching:
        asks = "Home programme: what, who was trained, and was it shown back?"
        yield asked("home_programme", "objective", asks)
    yield from from_said(facts.precautions, "objective")
    if not facts.precautions:
        none = "No precaution in force stands in the record."
        yield Line("precautions", "objective", none, episode_ref(facts))


def _falls(facts: EpisodeFacts) -> Iterator[Line]:
    """What is known of falls and what the tests say of them; the word is not ours."""
    falls = facts.falls
    said = [*_told_falls(facts)]
    said += [sentence(one.says) for one in (*falls.known, *falls.stops)]
    if falls.tests is not None:
        said.append(f"By the newest results: {falls.tests.says}")
        said += falls.limits
        said.append(NO_VERDICT)
    refs = [Ref("symptoms", number) for *_, number in falls.told]
    refs += [ref for one in (*falls.known, *falls.stops) for ref in one.refs]
    refs += [Ref("round", number) for number in falls.rounds]
    if said:
        text = spelled(f"About falls, on record: {' '.join(said)}")
        yield Line("falls", "objective", text, tuple(dict.fromkeys(refs)))
    yield asked("fall_statement", "assessment", "What do you say about falls, and why?")


def _told_falls(facts: EpisodeFacts) -> Iterator[str]:
    told = facts.falls.told
    fell = [full_day(day) for day, yes, _ in told if yes]
    if not told:
        return
    times = f"{len(told)} time{'' if len(told) == 1 else 's'}"
    if fell:
        yield f"Asked {times}; a fall was told on {', '.join(fell)}."
    else:
        yield f"Asked {times}; no fall was told."
