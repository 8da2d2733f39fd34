"""The next grade of an activity, proposed from its last two sessions; never set.

Up, stay or down by one step of the one dimension that the grade moves. Common practice,
not from a source: up after two clean sets in a row in each of two sessions, down after
more than two errors, two hand catches, an effort above hard, a symptom or a stop. What
nobody noted is not taken for good. "Quality lost" is not recorded and so not judged.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby, pairwise
from typing import Final, Literal

from app.clinical.activity import COUNTS, DIMENSIONS, Activity
from app.clinical.days import short_day
from app.clinical.doing import HAND_SUPPORT, DoneSet
from app.clinical.make_safe import SYMPTOMS
from app.clinical.quantities import plain

#: A set with at most one error may count as clean; more than two are a step down.
CLEAN_ERRORS, MOST_ERRORS, MOST_CATCHES = 1, 2, 1
#: Where "hard" ends on each scale of effort: Borg CR10 and Borg 6-20, from memory.
HARD: Final = {"0-10": 5, "6-20": 15}
IN_A_ROW, SESSIONS = 2, 2
_LEAST_HANDS: Final = tuple(HAND_SUPPORT)
_TRIED: Final = ("done", "stopped")
#: How a reason for less begins, as it is read in the next session.
LAST_TIME: Final = "Last time, "
_CM_PER_INCH: Final = Decimal("2.54")


@dataclass(frozen=True, slots=True)
class Proposal:
    """A grade to take or not. `because` says it in words, with the numbers."""

    value: Decimal
    direction: Literal["up", "stay", "down", "start"]
    because: str


def propose(
    activity: Activity, sets: Iterable[DoneSet], *, too_easy: bool = False
) -> Proposal:
    """The next grade after these sets, oldest first; other activities are passed over.

    `too_easy`: the therapist says that it clearly was, which takes one step at once,
    unless something in the last session asks for less.
    """
    sessions = sessions_of(s for s in sets if s.activity == activity.id)
    graded = [s.grade for session in sessions for s in session if s.grade is not None]
    if not graded:
        said = "Done before, but at no recorded grade" if sessions else "Not done yet"
        return Proposal(activity.grade.start, "start", f"{said}: the usual start.")
    at, last = graded[-1], sessions[-1]
    trouble = _trouble(last, [s for s in last if s.grade in (None, at)])
    if trouble:
        return _down(activity, at, trouble)
    earlier = _trouble(last, [s for s in last if s.grade not in (None, at)])
    if earlier:
        return _stay(activity, at, f"at another grade, {_said(earlier)}")
    if too_easy:
        return _up(activity, at, "You say it was clearly too easy.")
    lacking = _lacking(activity, at, sessions)
    return _stay(activity, at, lacking) if lacking else _clean(activity, at, sessions)


def sessions_of(sets: Iterable[DoneSet]) -> list[list[DoneSet]]:
    """What was tried, by visit in order. A set that was declined says nothing."""
    tried = [s for s in sets if s.outcome in _TRIED]
    return [list(group) for _, group in groupby(tried, key=lambda s: s.visit_id)]


def errors_of(done: DoneSet) -> int | None:
    """Errors counted, or calls that were not correct; the more of the two."""
    calls, correct = done.numbers.get("calls"), done.numbers.get("correct")
    wrong = None if calls is None or correct is None else max(0, calls - correct)
    counted = [n for n in (done.errors, wrong) if n is not None]
    return max(counted) if counted else None


def _trouble(session: Sequence[DoneSet], sets: Sequence[DoneSet]) -> list[str]:
    """What of some sets asks for a step down; each by its place in the session."""
    found = []
    for number, done in enumerate(session, 1):
        if any(done is one for one in sets):
            found += [f"set {number}: {what}" for what in _trouble_in(done)]
    catches = [
        f"{HAND_SUPPORT[a.hand_support]} to {HAND_SUPPORT[b.hand_support]}"
        for a, b in pairwise(s for s in sets if s.hand_support)
        if _hands(b) > _hands(a)
    ]
    if len(catches) > MOST_CATCHES:
        found.append(f"more hand support {len(catches)} times ({', '.join(catches)})")
    return found


def _hands(done: DoneSet) -> int:
    return _LEAST_HANDS.index(done.hand_support)


def _trouble_in(done: DoneSet) -> list[str]:
    errors, found = errors_of(done), []
    if errors is not None and errors > MOST_ERRORS:
        found.append(f"{errors} errors, more than {MOST_ERRORS}")
    hard = HARD.get(done.effort_scale)
    if done.effort is not None and hard is not None and done.effort > hard:
        found.append(
            f"effort {done.effort} on {done.effort_scale}, above hard ({hard}; from "
            "memory)"
        )
    found += [SYMPTOMS.get(s, s) for s in done.symptoms]
    if done.outcome == "stopped":
        found.append("stopped for safety")
    return found


def _lacking(activity: Activity, at: Decimal, sessions: list[list[DoneSet]]) -> str:
    """What a step up still lacks, in words; empty when nothing does."""
    held: set[str] = set()
    for session in reversed(sessions[-SESSIONS:]):
        run, why = _run(activity, at, session)
        if why:
            return why
        held |= {s.hand_support for s in run}
    if len(sessions) < SESSIONS:
        return "clean in one session; up after two"
    if len(held) > 1:
        words = " and ".join(HAND_SUPPORT[h] for h in sorted(held, key=_hand_place))
        return f"hand support was not the same: {words}"
    return ""


def _hand_place(hand: str) -> int:
    return _LEAST_HANDS.index(hand)


def _run(
    activity: Activity, at: Decimal, session: list[DoneSet]
) -> tuple[list[DoneSet], str]:
    """The last clean sets in a row at this grade, or why there are none."""
    wanted = min(IN_A_ROW, activity.dose.sets)
    day = short_day(session[-1].on)
    words = activity.grade.words(at)
    run: list[DoneSet] = []
    why = ""
    for done in session:
        short = "another grade" if done.grade != at else _short(activity, done)
        run = [] if short else [*run, done]
        why = short or why
        if len(run) >= wanted and len({s.hand_support for s in run[-wanted:]}) == 1:
            return run[-wanted:], ""
    if not any(s.grade == at for s in session):
        return [], f"on {day} it was at another grade than {words}"
    if len(run) >= wanted:
        return [], f"on {day} hand support changed from set to set"
    few = f"fewer than {wanted} clean sets in a row"
    return [], f"on {day} {few}{f': {why}' if why else ''}"


def _short(activity: Activity, done: DoneSet) -> str:
    """Why a set is not clean; empty when it is. What is unknown is not clean."""
    trouble = _trouble_in(done)
    if trouble:
        return trouble[0]
    errors = errors_of(done)
    if errors is None and "errors" in activity.count:
        return "errors were not counted"
    if errors is not None and errors > CLEAN_ERRORS:
        return f"{errors} errors"
    if not done.no_symptom:
        return "whether there was a symptom was not noted"
    if not done.hand_support:
        return "hand support was not noted"
    return _part_dose(activity, done)


def _part_dose(activity: Activity, done: DoneSet) -> str:
    """Why it was no full set; empty when it was."""
    dose = activity.dose
    if dose.target is None:
        return f"a full set here is {dose.amount}, which is not counted: you decide"
    target = Decimal(dose.target)
    if dose.target_of == "hold_s" and activity.grade.dimension == "hold":
        target = done.grade or target  # the grade is the time to hold
    what = COUNTS.get(dose.target_of, dose.target_of)
    had = amount_of(done, dose.target_of)
    if had is None:
        return f"{what}: not noted"
    return f"{plain(had)} of {plain(target)} {what}" if had < target else ""


def amount_of(done: DoneSet, what: str) -> Decimal | None:
    """How much a set had of what its dose counts; the longest hold, inches, seconds."""
    if what == "hold_s":
        return Decimal(max(done.holds_ms)) / 1000 if done.holds_ms else None
    if what == "time_s":
        ms = done.numbers.get("time_ms")
        return None if ms is None else Decimal(ms) / 1000
    if what == "distance_in":
        if done.distance is None:
            return None
        cm = done.distance_unit == "cm"
        return done.distance / _CM_PER_INCH if cm else done.distance
    number = done.numbers.get(what)
    return None if number is None else Decimal(number)


def _clean(activity: Activity, at: Decimal, sessions: list[list[DoneSet]]) -> Proposal:
    """Up, with what was seen."""
    runs = [_run(activity, at, session)[0] for session in sessions[-SESSIONS:]]
    days = " and ".join(short_day(run[-1].on) for run in runs)
    counted = [e for run in runs for done in run if (e := errors_of(done)) is not None]
    most = max(counted, default=None)
    errors = "errors not counted here"
    if most is not None:
        errors = f"at most {most} error{'' if most == 1 else 's'} a set"
    hands = HAND_SUPPORT[runs[-1][-1].hand_support]
    return _up(
        activity,
        at,
        f"{days}: {len(runs[-1])} full sets in a row at {activity.grade.words(at)}, "
        f"{errors}, no symptom, {hands} each time.",
    )


def _up(activity: Activity, at: Decimal, why: str) -> Proposal:
    grade = activity.grade
    harder = grade.harder(at)
    if harder is None:
        end = f"It is at its hardest: change one other thing ({activity.harder})."
        return Proposal(_kept(activity, at), "stay", f"{why} {end}")
    only = f"Only this changes: {DIMENSIONS[grade.dimension]}."
    return Proposal(harder, "up", f"{why} {only}")


def _stay(activity: Activity, at: Decimal, why: str) -> Proposal:
    return Proposal(_kept(activity, at), "stay", f"{why[:1].upper()}{why[1:]}.")


def _down(activity: Activity, at: Decimal, trouble: list[str]) -> Proposal:
    easier = activity.grade.easier(at)
    why = f"{LAST_TIME}{_said(trouble)}."
    if easier is None:
        end = f"It is at its easiest: {activity.easier}, or another activity."
        return Proposal(_kept(activity, at), "down", f"{why} {end}")
    return Proposal(easier, "down", why)


def _said(trouble: list[str]) -> str:
    return "; ".join(trouble)


def _kept(activity: Activity, at: Decimal) -> Decimal:
    """The same grade, inside what the activity has now."""
    low, high = sorted((activity.grade.easiest, activity.grade.hardest))
    return min(high, max(low, at))
