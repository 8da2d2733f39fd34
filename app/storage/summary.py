"""A site's weeks in counts: never by person, and a share only for eleven or more."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

from sqlalchemy import ColumnElement, func, literal_column, or_, true
from sqlmodel import Session, col, select

from app.clinical import change as changes
from app.storage.activity_sets import ActivitySet
from app.storage.caseload import visible
from app.storage.episodes import Episode, Visit
from app.storage.owing import Owed
from app.storage.people import Person
from app.storage.safety_rows import seen_ids
from app.storage.scores import Score
from app.storage.stop_questions import to_look_into
from app.storage.trials import Round, Trial

#: Fewer could point at somebody. CMS cell-size policy (full text, HHS guidance page).
SMALLEST_CELL: Final = 11
#: A change that was judged against measurement error.
JUDGED: Final = (
    changes.REAL_GAIN,
    changes.REAL_LOSS,
    changes.WITHIN,
    changes.DISAGREE,
)
COUNTED: Final = func.count().label("number")
#: Rows of a day, what was counted, and how many.
Counted = Sequence[Any]


@dataclass(frozen=True, slots=True)
class Gain:
    """What retests of one test came to. Counts are of patients' latest tries."""

    measure: str
    judged: int
    gained: int
    unable: int
    not_comparable: int
    not_retested: int

    @property
    def share(self) -> int | None:
        """Of 100 judged, how many gained beyond error; None for too few."""
        if min(self.judged, self.gained or self.judged) < SMALLEST_CELL:
            return None
        return (200 * self.gained + self.judged) // (2 * self.judged)


@dataclass(frozen=True, slots=True)
class Week:
    """Seven days ending on `until`."""

    until: date
    stops: int
    not_done: Mapping[str, int]
    missed: Mapping[str, int]
    left_without: int


@dataclass(frozen=True, slots=True)
class Summary:
    """What the page shows."""

    overdue: Mapping[str, int]
    open_stops: int
    weeks: tuple[Week, Week]
    gains: tuple[Gain, ...]


def summary_for(session: Session, person: Person, day: date) -> Summary | None:
    """Of everybody this person may see, closed ones too for what happened."""
    ids = visible(session, person, person.is_demo, closed=True)
    if ids is None:
        return None
    overdue: Any = (
        select(Owed.kind, func.count(col(Owed.id)))
        .where((col(Owed.patient_id) + 0).in_(ids), col(Owed.due_on) < day)
        .group_by(col(Owed.kind))
    )
    return Summary(
        overdue=dict(session.exec(overdue).all()),
        open_stops=_open_stops(session, ids),
        weeks=_weeks(session, ids, day),
        gains=_gains(session, ids),
    )


def _open_stops(session: Session, ids: Any) -> int:
    trials = _trials(ids, select(func.count(col(Trial.id)))).where(
        col(Trial.outcome) == literal_column("'stopped'"),  # as its index has it
        col(Trial.id).not_in(seen_ids("trial", true())),
    )
    sets = _sets(ids).where(
        to_look_into(), col(ActivitySet.id).not_in(seen_ids("set", true()))
    )
    return int(session.exec(trials).one()) + int(session.exec(sets).one())


def _trials(ids: Any, wanted: Any) -> Any:
    return (
        wanted.select_from(Trial)
        .join(Round, col(Round.id) == col(Trial.round_id))
        .join(Visit, col(Visit.id) == col(Round.visit_id))
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .where(theirs(ids))
    )


def _sets(ids: Any, *beside: Any) -> Any:
    return (
        select(*beside, func.count(col(ActivitySet.id)))  # type: ignore[call-overload]
        .select_from(ActivitySet)
        .join(Visit, col(Visit.id) == col(ActivitySet.visit_id))
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .where(theirs(ids))
    )


def theirs(ids: Any) -> ColumnElement[bool]:
    """Of these patients, asked last: else SQLite would start from each of them."""
    return (col(Episode.patient_id) + 0).in_(ids)


def _weeks(session: Session, ids: Any, until: date) -> tuple[Week, Week]:
    """The week until that day and the one before, counted by day in one pass."""
    day, middle = col(Visit.local_date), until - timedelta(days=7)
    inside = (day > middle - timedelta(days=7)) & (day <= until)
    without_number = col(Trial.outcome) != literal_column("'completed'")
    outcomes: Any = (
        select(day.label("day"), Trial.outcome, Visit.episode_id, COUNTED)
        .select_from(Trial)
        .join(Round, col(Round.id) == col(Trial.round_id))
        .join(Visit, col(Visit.id) == col(Round.visit_id))
        .where(inside, without_number)
        .group_by(day, col(Trial.outcome), col(Visit.episode_id))
    )
    sets: Any = (
        select(day.label("day"), ActivitySet.outcome, Visit.episode_id, COUNTED)
        .select_from(ActivitySet)
        .join(Visit, col(Visit.id) == col(ActivitySet.visit_id))
        .where(inside, col(ActivitySet.outcome) == literal_column("'stopped'"))
        .group_by(day, col(ActivitySet.outcome), col(Visit.episode_id))
    )
    # Both as `ix_visit_not_as_planned` has them.
    missed = col(Visit.kind) == literal_column("'missed'")
    left = col(Visit.left_without) != literal_column("''")
    sort: Any = (day, Visit.kind, Visit.missed_reason, left)
    visits: Any = (
        select(*sort, func.count(col(Visit.id)))  # type: ignore[call-overload]
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .where(theirs(ids), inside, or_(missed, left))
        .group_by(*sort)
    )
    found = (
        session.exec(_of_these(ids, outcomes)).all(),
        session.exec(_of_these(ids, sets)).all(),
        session.exec(visits).all(),
    )
    earlier, later = ([[r for r in rows if (r[0] > middle) == late] for rows in found]
                      for late in (False, True))  # fmt: skip
    return _week(until, *later), _week(middle, *earlier)


def _of_these(ids: Any, counted: Any) -> Any:
    """Day, outcome and number of what was counted by episode.

    Whose it is is asked of the few episodes that have any, not of each visit.
    """
    found = counted.subquery().c
    told: Any = select(found.day, found.outcome, found.number)
    return told.join(Episode, col(Episode.id) == found.episode_id).where(theirs(ids))


def _week(until: date, outcomes: Counted, sets: Counted, visits: Counted) -> Week:
    by_outcome, missed = Counter[str](), Counter[str]()
    for _, outcome, count in outcomes:
        by_outcome[outcome] += count
    for _, kind, reason, _, count in visits:
        if kind == "missed":
            missed[reason] += count
    return Week(
        until=until,
        stops=by_outcome["stopped"] + sum(count for *_, count in sets),
        not_done={k: by_outcome[k] for k in ("unable", "declined", "not_done")},
        missed=dict(missed),
        left_without=sum(count for *_, left, count in visits if left),
    )


def _gains(session: Session, ids: Any) -> tuple[Gain, ...]:
    """Each patient's latest try of each test, by what its change came to."""
    sort = (
        col(Score.measure), col(Score.outcome), col(Score.change_verdict),
        col(Score.again),
    )  # fmt: skip
    wanted: Any = (
        select(*sort, func.count())  # type: ignore[call-overload]
        # In the order of `ix_score_newest_by_test`, which holds all that is asked.
        .where((col(Score.patient_id) + 0).in_(ids), col(Score.newest))
        .group_by(*sort)
    )
    found: dict[str, dict[str, int]] = {}
    for measure, outcome, verdict, again, count in session.exec(wanted):
        name = _sort(outcome, verdict, bool(again))
        counts = found.setdefault(measure, {})
        counts[name] = counts.get(name, 0) + count
    return tuple(_gain(measure, counts) for measure, counts in sorted(found.items()))


def _sort(outcome: str, verdict: str | None, again: bool) -> str:
    """Where one patient's latest score is counted."""
    if not again:
        return "not_retested"
    if outcome == "unable":
        return "unable"
    if outcome != "completed" or verdict not in JUDGED:
        return "not_comparable"
    return "gained" if verdict == changes.REAL_GAIN else "judged"


def _gain(measure: str, counts: Mapping[str, int]) -> Gain:
    gained = counts.get("gained", 0)
    return Gain(
        measure, counts.get("judged", 0) + gained, gained, counts.get("unable", 0),
        counts.get("not_comparable", 0), counts.get("not_retested", 0),
    )  # fmt: skip
