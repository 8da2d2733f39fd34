"""What the goal pages ask of one episode, fetched once: the bridge to the core."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from fastapi import Request
from sqlmodel import Session, col, select

from app.access import Subject, may
from app.catalogue.load import Catalogue
from app.clinical import goal_progress
from app.clinical.course import Kept
from app.clinical.goal_doubts import Doubt, change_to, warnings
from app.clinical.goal_progress import Progress
from app.clinical.goals import (
    Baseline,
    Conditions,
    Goal,
    LevelSeen,
    Target,
    TimesSeen,
)
from app.clinical.measure import Measure
from app.clinical.owing import Clocks, owed_by
from app.clinical.person import Person as Reader
from app.storage.episodes import Episode, Visit
from app.storage.goal_rows import GoalBody, GoalRow, GoalWord
from app.storage.goals import body_of, goals_of, standings_of
from app.storage.observations import TaskObservation
from app.storage.owing import last_events, treatment_days
from app.storage.patients import Patient, PatientDetails, details_of
from app.storage.people import Person, actor
from app.storage.trials import Round, RoundTrials, rounds_of
from app.storage.visits import visit_ids_of
from app.web.course_view import made_scores
from app.web.deps import site_of
from app.web.judging import person_on


@dataclass(frozen=True, slots=True)
class Scored:
    """A round's score as the core keeps it, and the round."""

    round: Round
    kept: Kept
    here: bool


@dataclass(slots=True)
class GoalBook:
    """An episode's goals, with the scores and tasks that tell how they go.

    A test's scores are made at the first goal that asks for them.
    """

    session: Session
    shelf: Catalogue
    patient: Patient
    details: PatientDetails
    episode: Episode
    plan_end: date | None
    goals: Sequence[GoalRow]
    standings: Mapping[int, Sequence[GoalWord]]
    here: frozenset[int]
    zone: ZoneInfo
    #: Rounds and tasks that tell nothing here: an export leaves some behind.
    without_rounds: frozenset[int] = frozenset()
    without_tasks: frozenset[int] = frozenset()
    _scored: dict[str, list[Scored]] = field(default_factory=dict)
    _tasks: list[tuple[TaskObservation, date]] | None = None

    def measure(self, body: GoalBody) -> Measure | None:
        """The test of a goal; None for the other kinds and for one no longer here."""
        return self.shelf.measures.get(body.measure or "")

    def scored(self, measure_id: str) -> list[Scored]:
        """Every score of a test, oldest first."""
        if measure_id not in self._scored:
            measure = self.shelf.measures[measure_id]
            rounds = rounds_of(self.session, self.patient.id, measure_id)
            made = made_scores(
                self.session, self.shelf, self.patient, self.details, rounds, measure
            )
            self._scored[measure_id] = [
                self._one(r, Kept(r.on_date, made[r.round.id], r.round.person_id))
                for r in rounds
                if r.round.id in made and r.round.id not in self.without_rounds
            ]
        return self._scored[measure_id]

    def _one(self, rounds: RoundTrials, kept: Kept) -> Scored:
        return Scored(rounds.round, kept, rounds.round.visit_id in self.here)

    def tasks(self) -> list[tuple[TaskObservation, date]]:
        """The episode's tasks that were done, oldest first, each with its day."""
        if self._tasks is None:
            wanted = (
                select(TaskObservation, col(Visit.local_date))
                .join(Visit, col(Visit.id) == col(TaskObservation.visit_id))
                .where(
                    Visit.episode_id == self.episode.id,
                    col(TaskObservation.level).is_not(None),
                    col(TaskObservation.voided_at).is_(None),
                )
                .order_by(col(Visit.local_date), col(TaskObservation.id))
            )
            self._tasks = [
                (row, day)
                for row, day in self.session.exec(wanted)
                if row.id not in self.without_tasks
            ]
        return self._tasks

    def baseline(self, body: GoalBody) -> Baseline | None:
        """The start as it stands in the record; None once it was voided."""
        if body.base_on is None:
            return None
        if body.base_task_id is not None:
            found = [t for t in self.tasks() if t[0].id == body.base_task_id]
            return Baseline(body.base_on, level=seen(*found[0])) if found else None
        if body.base_times is not None:
            times = TimesSeen(body.base_on, body.base_times, body.out_of or 1)
            return Baseline(body.base_on, times=times)
        if self.measure(body) is None:
            return None
        for scored in self.scored(body.measure or ""):
            if scored.round.id == body.base_round_id:
                kept = scored.kept
                return Baseline(kept.day, score=kept.score, rater=kept.rater)
        return None

    def reader(self, day: date) -> Reader:
        return person_on(self.details, self.episode.setting, day)

    def doubts(self, body: GoalBody, today: date) -> tuple[Doubt, ...]:
        """What a reader would ask of a goal as it is worded."""
        goal, baseline, measure = goal_of(body), self.baseline(body), self.measure(body)
        step = None
        if measure is not None:
            step = change_to(measure, self.reader(today), baseline, goal.target)
        return warnings(
            goal, baseline, step, self.plan_end, today, plan=self.episode.plan,
            measure=measure,
        )  # fmt: skip

    def progress(self, row: GoalRow, until: date = date.max) -> Progress:
        """How far it had come until then, by what was measured here from its start."""
        body = body_of(row)
        target, baseline = goal_of(body).target, self.baseline(body)
        until = min(until, row.closed_on or date.max)
        if row.kind == "level":
            found = [seen(*t) for t in self.tasks() if t[1] <= until]
            return goal_progress.of_level(target, baseline, found)
        if row.kind == "times":
            return goal_progress.of_times(target, baseline, self._times(row, until))
        measure = self.measure(body)
        if measure is None:
            return Progress(state="untold", says="This test left the catalogue.")
        kept = [
            s.kept for s in self.scored(measure.id) if s.here and s.kept.day <= until
        ]
        day = kept[-1].day if kept else row.set_on
        return goal_progress.of_score(
            measure, self.reader(day), target, baseline, kept
        )  # fmt: skip

    def _times(self, row: GoalRow, until: date) -> list[TimesSeen]:
        return [
            TimesSeen(word.on_date, word.times, word.out_of)
            for word in self.standings.get(row.id, ())
            if word.times is not None
            and word.out_of is not None
            and word.on_date <= until
        ]

    def evidence(self, row: GoalRow, on: date | None) -> dict[str, int]:
        """The round or the task that a day's word on a goal rests on."""
        if row.kind == "level" and row.task is not None:
            tasks = [t for t, day in self.tasks() if day == on and t.task == row.task]
            return {"task_id": tasks[-1].id} if tasks else {}
        measure = self.measure(body_of(row))
        if measure is None:
            return {}
        made = [s for s in self.scored(measure.id) if s.here and s.kept.day == on]
        return {"round_id": made[-1].round.id} if made else {}


def book_of(
    request: Request, session: Session, patient: Patient, episode: Episode
) -> GoalBook:
    """The book of a page."""
    site = site_of(request)
    clocks = site.settings.clocks
    return open_book(session, site.catalogue, clocks, site.zone, patient, episode)


def open_book(
    session: Session,
    shelf: Catalogue,
    clocks: Clocks,
    zone: ZoneInfo,
    patient: Patient,
    episode: Episode,
) -> GoalBook:
    goals = goals_of(session, episode)
    return GoalBook(
        session, shelf, patient, details_of(session, patient), episode,
        plan_end(session, clocks, episode), goals, standings_of(session, goals),
        visit_ids_of(session, episode), zone,
    )  # fmt: skip


def seen(row: TaskObservation, day: date) -> LevelSeen:
    """A task of the day as the core compares it."""
    return LevelSeen(
        day, row.task, row.level or "total", row.device_kind or "",
        row.set_up_kind or "", row.helpers,
    )  # fmt: skip


def goal_of(body: GoalBody) -> Goal:
    """A stored goal as the core reads it."""
    value = Decimal(body.target_value) if body.target_value else None
    return Goal(
        who=body.who,
        task=body.task or "",
        phrase=body.phrase,
        conditions=Conditions(
            place=body.place or "",
            device=body.device or "",
            cue_kind=body.cue_kind or "",
            cue_amount=body.cue_amount or "",
            surface=body.surface or "",
            help=body.help or "",
        ),
        target=Target(
            kind=body.kind,  # type: ignore[arg-type]  # a CHECK holds the list
            measure=body.measure or "",
            value=value,
            unit=body.target_unit or "",
            level=body.target_level or "",
            times=body.times,
            out_of=body.out_of,
        ),
        by=body.by_date,
        so_that=body.so_that,
    )


def plan_end(session: Session, clocks: Clocks, episode: Episode) -> date | None:
    """The last day the certified plan holds; None before the first treatment."""
    owed = owed_by(
        treatment_days(session, episode), clocks=clocks,
        certified=last_events(session, episode).get("recertify"),
    )  # fmt: skip
    due = [o.due_on for o in owed if o.kind == "recertify" and o.due_on]
    return due[0] - timedelta(days=1) if due else None


def may_sign(me: Person, patient: Patient) -> bool:
    """Of whoever may see the patient: whether their role signs goals."""
    return may(actor(me), "sign_goals", Subject(patient.is_demo, assigned=True))
