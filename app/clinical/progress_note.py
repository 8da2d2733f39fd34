"""A progress report: what changed since the last one, and what is left to be said.

Contents: Medicare Benefit Policy Manual, chapter 15, section 220.3 D (full text).
Numbers stand under the objective part; why progress was made or not, the plan, and the
need for more are empty fields.
"""

from collections.abc import Iterator

from app.clinical.days import full_day
from app.clinical.note import Line
from app.clinical.report import CareFacts, PeriodFacts
from app.clinical.report_goals import goal_line, shown_goals, status_line
from app.clinical.report_lines import (
    activities,
    asked,
    episode_ref,
    missed,
    skill,
    statements,
    tasks,
    visits,
)
from app.clinical.report_measures import measure_lines, without_result


def progress_note(facts: PeriodFacts) -> tuple[Line, ...]:
    """The lines of a report through `facts.until`."""
    return (
        *statements(facts),
        _period(facts),
        visits(facts),
        *_clock(facts),
        *missed(facts),
        *measure_lines(facts),
        *without_result(facts),
        *tasks(facts),
        *_goals(facts),
        *activities(facts),
        *(status_line(facts, goal) for goal in shown_goals(facts)),
        skill(),
        asked("barriers", "assessment", "What held progress back, or what helped?"),
        _need(facts),
        asked(
            "plan", "plan",
            "What goes on and what changes: grade, frequency, how long, re-test?",
            needed=True,
        ),
    )  # fmt: skip


def _period(facts: CareFacts) -> Line:
    last = facts.last_report_on
    said = (
        f"Reporting period: {full_day(facts.since)} to {full_day(facts.until)}. "
        f"{f'Last report: {full_day(last)}.' if last else 'The first report.'}"
    )
    return Line("period", "objective", said, episode_ref(facts))


def _clock(facts: PeriodFacts) -> Iterator[Line]:
    """How much of the report's clock has run; nothing where the site has none."""
    if facts.days_of:
        since = "the last report" if facts.last_report_on else "the start of care"
        said = (
            f"{facts.days_used} of {facts.days_of} treatment days used since {since}."
        )
        yield Line("treatment_days", "objective", said, episode_ref(facts))


def _goals(facts: CareFacts) -> Iterator[Line]:
    found = list(shown_goals(facts))
    for goal in found:
        yield goal_line(facts, goal)
    if not found:
        asks = "No goal stands in the record. What is worked towards?"
        yield asked("goals", "objective", asks, needed=True)


def _need(facts: CareFacts) -> Line:
    asks = "Why is a therapist still needed, or why can care end?"
    if facts.plan == "maintain":
        asks = (
            "Why does keeping this level, or slowing its loss, take a therapist, or "
            "why can care end?"
        )
    return asked("need", "assessment", asks, needed=True)
