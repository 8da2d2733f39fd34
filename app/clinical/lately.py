"""What was done of each activity in the last sessions, so that no session is a copy."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from app.clinical.activity import Activity, Grade
from app.clinical.doing import DoneSet, stop_said
from app.clinical.grading import Proposal, propose, sessions_of


@dataclass(frozen=True, slots=True)
class Lately:
    """The last time. `running`: in how many of the latest sessions in a row.

    `progressing`: it grew harder over those, or the next step up is due. `stopped`: the
    stops for safety of that day in words, empty without one.
    """

    on: date
    running: int
    progressing: bool
    proposal: Proposal
    stopped: str = ""


def lately(
    activities: Mapping[str, Activity], sets: Iterable[DoneSet]
) -> dict[str, Lately]:
    """Of every activity that was tried, from a patient's sets, oldest first."""
    found = list(sets)
    sessions = sessions_of(found)
    return {
        key: _lately(activity, found, sessions)
        for key, activity in activities.items()
        if any(s.activity == key for session in sessions for s in session)
    }


def _lately(
    activity: Activity, sets: list[DoneSet], sessions: list[list[DoneSet]]
) -> Lately:
    own = [[s for s in session if s.activity == activity.id] for session in sessions]
    running = 0
    while running < len(own) and own[-1 - running]:
        running += 1
    latest = own[len(own) - running :]
    proposal = propose(activity, sets)
    grades = [s.grade for session in latest for s in session if s.grade is not None]
    grew = len(grades) > 1 and _harder(activity.grade, grades[0], grades[-1])
    on, stopped = _last_day(s for session in own for s in session)
    progressing = grew or proposal.direction == "up"
    return Lately(on, running, progressing, proposal, stopped)


def stopped_last(sets: Iterable[DoneSet]) -> dict[str, tuple[date, str]]:
    """Activities whose last day of all had a stop for safety: the day, and the stop."""
    by_activity: dict[str, list[DoneSet]] = {}
    for done in sets:
        if done.was_tried:
            by_activity.setdefault(done.activity, []).append(done)
    found = {key: _last_day(own) for key, own in by_activity.items()}
    return {key: (on, stopped) for key, (on, stopped) in found.items() if stopped}


def _last_day(sets: Iterable[DoneSet]) -> tuple[date, str]:
    """The last day of these, and its stops in words, each once."""
    own = list(sets)
    on = max(s.on for s in own)
    stops = [s for s in own if s.on == on and s.outcome == "stopped"]
    said = dict.fromkeys(stop_said(s.symptoms, s.after) for s in stops)
    return on, "; ".join(said)


def _harder(grade: Grade, before: Decimal, after: Decimal) -> bool:
    return (after - before) * grade.step > 0
