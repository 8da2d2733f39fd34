"""Where a number of a note may come from, found without the makers of notes.

Trials, sets and tasks as they are stored, the published rows that a result was read
against, and what follows from them by plain arithmetic.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal
from functools import cached_property
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from app.clinical import grading
from app.clinical.note import Line, Ref
from app.clinical.reading import Result
from app.storage.activity_sets import ActivitySet
from app.storage.episodes import Episode, Visit
from app.storage.goal_rows import GoalRow, GoalWord
from app.storage.patients import Patient
from app.storage.precautions import PrecautionOnEpisode
from app.storage.trials import Round, Trial
from app.web.deps import Site
from app.web.judging import judge
from app.web.set_words import set_words
from app.web.trial_words import trial_words
from app.web.visit_events import Event, events_of

#: Which events of its visit a line may take a number from, by the word of its key.
EVENTS = {
    "symptoms": ("symptoms",), "vitals": ("vitals",), "task": ("task",),
    "room": ("room",), "stop": ("stop", "against"), "minutes": ("minutes",),
    "set": (), "exit": ("exit",),
}  # fmt: skip
NUMBER = re.compile(r"\d+(?:\.\d+)?")


def numbers(text: str) -> set[str]:
    """`18.4` and `2` of `18.4 s, best of 2`; a trailing zero is no other number."""
    return {f"{Decimal(found).normalize():f}" for found in NUMBER.findall(text)}


def unsupported(line: Line, known: str) -> set[str]:
    return numbers(line.made) - numbers(known)


@dataclass
class Behind:
    """One visit, and everything that its notes may take a number from."""

    session: Session
    site: Site
    visit: Visit
    results: dict[int, Result | None] = field(default_factory=dict)

    @property
    def episode(self) -> Episode:
        return self.session.get_one(Episode, self.visit.episode_id)

    @property
    def patient(self) -> Patient:
        return self.session.get_one(Patient, self.episode.patient_id)

    @property
    def zone(self) -> ZoneInfo:
        return self.site.zone

    @cached_property
    def events(self) -> list[Event]:
        return events_of(self.session, self.site.catalogue, self.visit)

    def judged(self, round_id: int) -> Result | None:
        """What is to be said of a round; asked once of each in a test's run."""
        if round_id not in self.results:
            round = self.session.get_one(Round, round_id)
            shelf = self.site.catalogue
            made = judge(self.session, shelf, self.patient, round)
            self.results[round_id] = made.result
        return self.results[round_id]

    def of(self, line: Line) -> str:
        """All words behind one line: its visit's events and the facts it names."""
        kind = line.key.partition(":")[0]
        said = [*self._visit(EVENTS.get(kind, ())), *self._derived(kind, line)]
        for ref in line.refs:
            said += self._cited(ref)
        return " ; ".join(said)

    def _visit(self, kinds: tuple[str, ...]) -> Iterator[str]:
        for event in self.events:
            if event.kind in kinds:
                yield " ".join((event.says, *event.mind, event.voided))
            if event.kind in ("stop", "against") and event.kind in kinds:
                yield f"{_day(event.at.astimezone(self.zone).date())} "
                yield f"{event.at.astimezone(self.zone):%H %M}"
        closed = self.visit.closed_at
        if closed is not None and "minutes" in kinds:
            spent = int((closed - self.visit.started_at).total_seconds() // 60)
            yield f"{spent} {self.visit.individual_minutes}"

    def _cited(self, ref: Ref) -> Iterator[str]:
        if ref.kind == "round":
            yield from self._round(ref.id)
        elif ref.kind == "goal":
            yield from self._goal(ref.id)
        elif ref.kind == "set":
            row = self.session.get_one(ActivitySet, ref.id)
            yield set_words(self.site.catalogue, row)
            yield _day(self.session.get_one(Visit, row.visit_id).local_date)
        elif ref.kind == "precaution":
            order = self.session.get_one(PrecautionOnEpisode, ref.id)
            dates = (order.set_on, order.review_on)
            yield f"{order.note} {' '.join(_day(d) for d in dates if d)}"

    def _round(self, round_id: int) -> Iterator[str]:
        round = self.session.get_one(Round, round_id)
        shelf, day = self.site.catalogue, self.session.get_one(Visit, round.visit_id)
        measure = shelf.measures[round.measure]
        yield _day(day.local_date)
        yield f"{' '.join(round.facts.values())} {measure.name}"
        yield repr([f.options for f in measure.facts if f.key in round.facts])
        yield repr([f.standard_says for f in measure.facts])
        rounds = select(Trial).where(Trial.round_id == round.id)
        for trial in self.session.exec(rounds):
            yield f"{trial_words(trial, measure)} {trial.void_reason} {trial.inputs}"
        result = self.judged(round_id)
        if result is None:
            return
        yield f"{result.score.shown} {measure.variant(result.score.variant).label}"
        for part in result.score.parts.values():
            exact = Decimal(part.value.numerator) / part.value.denominator
            yield f"{part.label} {round_half_up(exact)}"
        if result.change is not None:
            yield f"{result.change.difference} {len(result.change.readings)} 1"
        for reading in result.readings:
            fits = reading.matched or reading.match.only_setup
            if fits and reading.confirmed and reading.row:
                source = measure.sources[reading.row.source]
                yield f"{reading.row!r} {source.short} {reading.value}"
                yield " ".join(re.findall("[0-9]+ %", reading.says))
                yield f"{reading.threshold}"
                if reading.z is not None:
                    yield f"{reading.percentile} 2 100 {round_half_up(abs(reading.z))}"

    def _goal(self, goal_id: int) -> Iterator[str]:
        goal = self.session.get_one(GoalRow, goal_id)
        yield f"{goal.number} {goal.target_value} {goal.base_says} {goal.phrase} 0"
        yield f"{goal.times} {goal.out_of} {goal.so_that} {goal.close_reason}"
        for day in (goal.by_date, goal.base_on, goal.set_on):
            yield _day(day) if day else ""
        words = select(GoalWord).where(GoalWord.goal_id == goal.id)
        yield " ".join(w.says for w in self.session.exec(words))

    def _derived(self, kind: str, line: Line) -> Iterator[str]:
        """What follows from the calendar and from counting."""
        site, day = self.site, self.visit.local_date
        if kind == "set":
            yield " ".join(str(n) for n, _ in enumerate(line.refs, 1))
        if kind == "goal":
            yield from self._ways()
        if kind == "grade":
            yield f"{grading.HARD} {grading.MOST_ERRORS} {grading.IN_A_ROW}"
            activity = site.catalogue.activities[line.key.partition(":")[2]]
            yield f"{activity.dose.target} {activity.easier} {activity.harder}"
            sets = (self.session.get_one(ActivitySet, ref.id) for ref in line.refs)
            here = [row for row in sets if row.visit_id == self.visit.id]
            yield " ".join(str(number) for number, _ in enumerate(here, 1))
            at = Decimal(here[-1].grade or 0)
            beside = (activity.grade.harder(at), activity.grade.easier(at))
            yield " ".join(activity.grade.words(step) for step in beside if step)
        if kind == "due":
            days = select(col(Visit.local_date)).where(
                Visit.episode_id == self.episode.id, col(Visit.local_date) <= day
            )
            treated = sorted({*self.session.exec(days)})
            yield f"{len(treated)} of {site.settings.clocks.report}"
            yield _day(treated[0] + timedelta(days=site.settings.clocks.recertify))
            for ref in line.refs:
                if ref.kind == "round":
                    round = self.session.get_one(Round, ref.id)
                    measure = site.catalogue.measures[round.measure]
                    yield _day(day + timedelta(days=measure.retest_days))

    def _ways(self) -> Iterator[str]:
        """Percent of the way from each start to each target, over all scores here."""
        goals = select(GoalRow).where(GoalRow.episode_id == self.episode.id)
        rounds = select(Round).join(Visit).where(Visit.episode_id == self.episode.id)
        for goal in self.session.exec(goals):
            for round in self.session.exec(rounds):
                if goal.measure != round.measure or not goal.target_value:
                    continue
                result = self.judged(round.id)
                start = re.match(r"\d+\.\d", goal.base_says)
                if result is None or result.score.value is None or start is None:
                    continue
                now = Decimal(str(result.score.shown))
                yield f"{now} {round_half_up(now / Decimal('2.54'))}"
                way = Decimal(start[0]) - Decimal(goal.target_value)
                percent = (Decimal(start[0]) - now) / way * 100
                yield f"{max(percent, Decimal(0)).quantize(Decimal(1), ROUND_HALF_UP)}"
                yield _day(self.session.get_one(Visit, round.visit_id).local_date)


def round_half_up(value: Decimal) -> str:
    """Every number of decimals that a page may show it with."""
    steps = ("1", "0.1", "0.01")
    return " ".join(str(value.quantize(Decimal(s), ROUND_HALF_UP)) for s in steps)


def _day(day: date) -> str:
    return f"{day.day} {day.year}"
