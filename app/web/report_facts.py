"""What a report of a visit's episode is made from, fetched once and nothing later.

A report's period ends with the day of its visit and begins after the last signed one,
whose day, before that of the visit, the caller knows; without one it begins with the
episode.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import partial
from itertools import groupby
from typing import Any, Final

from sqlmodel import Session, col, select

from app.clinical.course import RESULTS
from app.clinical.goal_progress import Progress
from app.clinical.goals import TERMS, sentence, target_short
from app.clinical.note import Ref
from app.clinical.owing import owed_by
from app.clinical.report import (
    ActivityFacts,
    Attended,
    Dated,
    Ended,
    GoalFacts,
    MeasureFacts,
    Pain,
    PeriodFacts,
    Stood,
    TaskSeen,
    Tried,
)
from app.clinical.visiting import NOT_DONE
from app.storage.episodes import Episode, Visit
from app.storage.goal_rows import GoalRow
from app.storage.goals import body_of
from app.storage.observations import SymptomCheck, merged
from app.storage.patients import Patient
from app.storage.trials import Round
from app.web.deps import Site
from app.web.done_sets import done_sets
from app.web.goal_book import GoalBook, goal_of, open_book, seen
from app.web.judging import person_on
from app.web.setup_form import setup_words
from app.web.visit_events import task_words

_DAY: Final = timedelta(days=1)


@dataclass(slots=True)
class Chart:
    """The episode of a visit up to a day, each part of it read at most once."""

    session: Session
    site: Site
    visit: Visit
    book: GoalBook
    until: date
    last_report_on: date | None
    visits: Sequence[Visit] = field(default_factory=list)

    @property
    def episode(self) -> Episode:
        return self.book.episode

    @property
    def days(self) -> dict[int, date]:
        """The day of each visit."""
        return {visit.id: visit.local_date for visit in self.visits}


def open_chart(
    session: Session,
    site: Site,
    visit: Visit,
    last_report_on: date | None,
    *,
    to_the_end: bool = False,
) -> Chart:
    """What was known by the visit's day, or by the day the episode was closed."""
    episode = session.get_one(Episode, visit.episode_id)
    patient = session.get_one(Patient, episode.patient_id)
    clocks = site.settings.clocks
    book = open_book(session, site.catalogue, clocks, site.zone, patient, episode)
    until = visit.local_date
    if to_the_end and episode.closed_on is not None:
        until = max(until, episode.closed_on)
    wanted = select(Visit).where(
        Visit.episode_id == episode.id, Visit.local_date <= until
    )
    visits = session.exec(wanted.order_by(col(Visit.local_date), col(Visit.id))).all()
    return Chart(session, site, visit, book, until, last_report_on, visits)


def progress_facts(
    session: Session, site: Site, visit: Visit, last_report_on: date | None = None
) -> PeriodFacts:
    """The facts of a progress report written at a visit."""
    chart = open_chart(session, site, visit, last_report_on)
    used, of = _clock(chart)
    return PeriodFacts(**care(chart), days_used=used, days_of=of)


def care(chart: Chart) -> dict[str, Any]:
    """What both kinds of report hold."""
    episode = chart.episode
    asked = list(askings(chart))
    return {
        "episode_id": episode.id,
        "reason": episode.reason,
        "plan": episode.plan,
        "began_on": episode.began_on,
        "until": chart.until,
        "last_report_on": chart.last_report_on,
        "person_on": partial(person_on, chart.book.details, episode.setting),
        "attended": tuple(_attended(chart)),
        "missed": tuple(_missed(chart)),
        "statements": tuple(_statements(asked)),
        "pains": tuple(_pains(asked)),
        "measures": tuple(_measures(chart)),
        "goals": tuple(_goals(chart)),
        "tasks": tuple(_tasks(chart)),
        "activities": tuple(_activities(chart)),
    }


def _clock(chart: Chart) -> tuple[int, int]:
    """Treatment days used since the last report, of how many; 0 of 0 without it."""
    owed = owed_by(
        [v.local_date for v in chart.visits if v.kind != "missed"],
        clocks=chart.site.settings.clocks, reported=chart.last_report_on,
    )  # fmt: skip
    report = next((one for one in owed if one.kind == "report"), None)
    return (report.used, report.of) if report else (0, 0)


def _attended(chart: Chart) -> Iterator[Attended]:
    for visit in chart.visits:
        if visit.kind != "missed":
            yield Attended(visit.id, visit.local_date, visit.kind)


def _missed(chart: Chart) -> Iterator[Dated]:
    for visit in chart.visits:
        if visit.kind != "missed":
            continue
        why = NOT_DONE.get(visit.missed_reason or "", "the reason was not noted")
        told = f"told: {visit.missed_told}" if visit.missed_told else ""
        again = f"again: {visit.missed_again}" if visit.missed_again else ""
        says = "; ".join(part for part in (why, told, again) if part)
        refs = (Ref("episode", chart.episode.id),)
        yield Dated(f"missed-{visit.id}", says, refs, visit.local_date)


@dataclass(frozen=True, slots=True)
class Asking:
    """The answers of one asking together: the newest word on each."""

    day: date
    first: int
    last: int
    said: dict[str, Any]


def askings(chart: Chart) -> Iterator[Asking]:
    """Every asking of the episode, oldest first."""
    days = chart.days
    wanted = select(SymptomCheck).where(col(SymptomCheck.visit_id).in_(days))
    rows = chart.session.exec(wanted.order_by(col(SymptomCheck.id))).all()
    in_order = sorted(rows, key=lambda row: (days[row.visit_id], row.id))
    for _, taps in groupby(in_order, lambda r: (r.visit_id, r.asking or r.uid)):
        told = list(taps)
        day = days[told[0].visit_id]
        yield Asking(day, told[0].id, told[-1].id, merged(told))


def _statements(asked: Sequence[Asking]) -> Iterator[Dated]:
    """What bears on the report: own words, a refusal, a fall."""
    for one in asked:
        words = one.said.get("words")
        parts = [
            "declined" if one.said.get("agreed") == "declined" else "",
            "told of a fall since the visit before"
            if one.said.get("fell") == "yes"
            else "",
            f"“{words}”" if words else "",
        ]
        says = ", ".join(part for part in parts if part)
        if says:
            refs = (Ref("symptoms", one.last),)
            yield Dated(f"said-{one.first}", says, refs, one.day)


def _pains(asked: Sequence[Asking]) -> Iterator[Pain]:
    for one in asked:
        pain = one.said.get("pain")
        if pain is not None:
            yield Pain(one.day, pain, one.last)


def _measures(chart: Chart) -> Iterator[MeasureFacts]:
    """Every test of the episode in the order it was first done."""
    wanted = (
        select(Round.measure)
        .where(col(Round.visit_id).in_(chart.days))
        .order_by(col(Round.id))
    )
    for key in dict.fromkeys(chart.session.exec(wanted)):
        measure = chart.book.shelf.measures.get(key)
        if measure is None:
            continue  # no longer in the catalogue: nothing can be read of it
        found = [
            Tried(one.kept, one.round.id, _setup(chart, key, one.kept.score.facts))
            for one in chart.book.scored(key)
            if one.here and one.kept.day <= chart.until
        ]
        tried = [one for one in found if one.kept.score.outcome in RESULTS]
        without = [one for one in found if one not in tried]
        if found:
            yield MeasureFacts(measure, tuple(tried), tuple(without))


def _setup(chart: Chart, measure: str, facts: Any) -> str:
    return setup_words(chart.book.shelf.measures[measure], facts) if facts else ""


def _tasks(chart: Chart) -> Iterator[TaskSeen]:
    for row, day in chart.book.tasks():
        if day <= chart.until:
            says = task_words(row, None).partition(": ")[2]
            yield TaskSeen(row.id, seen(row, day), says)


def _activities(chart: Chart) -> Iterator[ActivityFacts]:
    """In the order they were first done here."""
    days = chart.days
    by_activity: dict[str, list[Any]] = {}
    for done in done_sets(chart.session, chart.book.patient.id):
        if done.visit_id in days and done.was_tried:
            by_activity.setdefault(done.activity, []).append(done)
    for key, sets in by_activity.items():
        activity = chart.book.shelf.activities.get(key)
        name = activity.name if activity else key
        yield ActivityFacts(name, activity, tuple(sets))


def _goals(chart: Chart) -> Iterator[GoalFacts]:
    for row in chart.book.goals:
        if row.set_on <= chart.until:
            yield _goal(chart, row)


def _goal(chart: Chart, row: GoalRow) -> GoalFacts:
    book, body = chart.book, body_of(row)
    measure, progress = book.measure(body), book.progress(row, chart.until)
    before = _before(chart, row, progress)
    numbers = {goal.id: goal.number for goal in book.goals}
    gone = "" if row.base_on is None or book.baseline(body) else " (taken back since)"
    stood = _stood(chart, row)
    return GoalFacts(
        id=row.id,
        number=row.number,
        term=TERMS[row.term],
        says=sentence(goal_of(body), measure),
        signed=row.signed_at is not None,
        set_on=row.set_on,
        start=f"{row.base_says}{gone}",
        start_on=row.base_on,
        target=target_short(goal_of(body).target, measure),
        progress=progress,
        before=before,
        stood=stood,
        ended=_ended(chart, row),
        replaces=numbers.get(row.replaces_id or 0),
        measure=row.measure or "",
        target_value=goal_of(body).target.value,
        target_unit=row.target_unit or "",
        told=_days_told(book, row, stood),
        refs=tuple(_goal_refs(book, row, progress, before)),
    )


def _before(chart: Chart, row: GoalRow, made: Progress) -> Progress | None:
    """At the last report, else at the measure before the newest that compares."""
    if chart.last_report_on is not None:
        return chart.book.progress(row, chart.last_report_on)
    return chart.book.progress(row, made.on - _DAY) if made.on else None


def _stood(chart: Chart, row: GoalRow) -> Stood | None:
    said = [
        word for word in chart.book.standings.get(row.id, ())
        if word.on_date <= chart.until
    ]  # fmt: skip
    if not said:
        return None
    return Stood(said[-1].word, said[-1].on_date, said[-1].says, said[-1].percent)


def _ended(chart: Chart, row: GoalRow) -> Ended | None:
    if row.closed_on is None or row.closed_on > chart.until or row.close_word is None:
        return None
    return Ended(row.close_word, row.closed_on, row.close_reason)


def _days_told(book: GoalBook, row: GoalRow, stood: Stood | None) -> int:
    """The days with a measure that compares, by the day of the goal's word."""
    if stood is None or row.base_on is None:
        return 0
    by_then = book.progress(row, stood.day)
    later = by_then.value and by_then.on is not None and by_then.on > row.base_on
    return 2 if later else 1


def _goal_refs(
    book: GoalBook, row: GoalRow, made: Progress, before: Progress | None
) -> Iterator[Ref]:
    """The goal, its start, and where its last and newest numbers stand."""
    yield Ref("goal", row.id)
    starts = {"round": row.base_round_id, "task": row.base_task_id}
    yield from (Ref(kind, number) for kind, number in starts.items() if number)
    told = {
        Ref(name.removesuffix("_id"), number): None
        for progress in (before, made)
        if progress is not None and progress.on is not None
        for name, number in book.evidence(row, progress.on).items()
    }
    yield from (ref for ref in told if ref.id not in starts.values())
