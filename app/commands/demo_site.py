"""The demo site: its people, patients and scores, put in by the program's own deeds.

Every deed is done as if at its time, oldest first and in one transaction, so that
rows, scores and the audit trail come about as they do at a real site. Ids are made from
names: the same day gives the same site.
"""

import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from typing import Final
from zoneinfo import ZoneInfo

from sqlalchemy import Engine
from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.owing import Clocks
from app.clinical.person import Onset
from app.commands.demo_files import (
    DemoPatient,
    DemoPerson,
    DemoPrecaution,
    DemoRound,
    DemoStory,
    DemoVisit,
)
from app.commands.demo_goals import (
    DemoGoal,
    DemoWord,
    GoalStage,
    set_demo_goal,
    sign_demo_goal,
    tell_demo_goal,
)
from app.commands.demo_practice import practice_deeds
from app.commands.demo_visiting import (
    Stage,
    do_set,
    end_deeds,
    hello_deeds,
    stage_site,
    task_deeds,
)
from app.commands.demo_visits import EACH
from app.storage.database import write_session
from app.storage.episodes import Episode, Visit, add_episode, visit_today
from app.storage.goal_rows import GoalRow
from app.storage.patients import Patient, PatientDetails, add_patient
from app.storage.people import Person, add_person
from app.storage.precautions import PrecautionOnEpisode, add_precaution, end_precaution
from app.storage.responsible import assign
from app.storage.trials import record_trial, start_round, void_trial
from app.web.deps import Site
from app.web.judging import keep
from app.web.owing import keep_owed

#: No passphrase has this hash: demo people come in by the start page alone.
NO_PASSPHRASE: Final = "none"
#: Ids are made from names below this one.
NAMES: Final = uuid.uuid5(uuid.NAMESPACE_OID, "tapeline demo site")
ADMITTED: Final = time(8, 0)
ORDERS_READ: Final = time(8, 10)
WRITTEN_UP: Final = time(17, 0)

Deed = tuple[datetime, Callable[[datetime], None]]


@dataclass(slots=True)
class _Making:
    """What the deeds share: where they write, the site's day, and who came to be."""

    session: Session
    shelf: Catalogue
    now: datetime
    zone: ZoneInfo
    site: Site
    people: dict[str, Person] = field(default_factory=dict)
    patients: dict[str, Patient] = field(default_factory=dict)
    episodes: dict[str, Episode] = field(default_factory=dict)
    precautions: dict[str, PrecautionOnEpisode] = field(default_factory=dict)
    visits: dict[str, Visit] = field(default_factory=dict)
    goals: dict[str, GoalRow] = field(default_factory=dict)

    def day(self, days_ago: int) -> date:
        return self.now.astimezone(self.zone).date() - timedelta(days=days_ago)

    def instant(self, days_ago: int, at: time) -> datetime:
        """A time of the site's clock, days ago, but never later than now."""
        local = datetime.combine(self.day(days_ago), at, self.zone)
        return min(local.astimezone(UTC), self.now)


def build(
    engine: Engine, shelf: Catalogue, story: DemoStory, *, now: datetime, zone: ZoneInfo
) -> None:
    """Put the whole story into an empty site, as of `now`."""
    with write_session(engine) as session:
        making = _Making(
            session, shelf, now, zone, stage_site(engine, shelf, now, zone)
        )
        practised = practice_deeds(making, uid_of, shelf.measures)
        deeds = sorted((*_deeds(making, story), *practised), key=lambda deed: deed[0])
        for person in story.people:
            _join(making, person, deeds[0][0])
        for when, do in deeds:
            do(when)
        keep_owed(session, shelf, Clocks(), making.day(0))


def _deeds(making: _Making, story: DemoStory) -> Iterator[Deed]:
    """All that happened, each with its time; deeds of one time keep this order."""
    for patient in story.patients:
        opened = patient.opened_days_ago
        yield making.instant(opened, ADMITTED), partial(_admit, making, patient)
        yield from _precaution_deeds(making, patient)
        for place, visit in enumerate(patient.visits, 1):
            name = f"{patient.label}/{place}"
            yield from _visit_deeds(making, patient, visit, name)
        for place, goal in enumerate(patient.goals, 1):
            yield from _goal_deeds(
                making, patient, goal, f"{patient.label}/goal/{place}"
            )


def _goal_deeds(
    making: _Making, patient: DemoPatient, told: DemoGoal, name: str
) -> Iterator[Deed]:
    """Set in the evening of its day, and signed; then what was said of it."""
    at = making.instant(told.days_ago, WRITTEN_UP)
    yield at, partial(_set_goal, making, patient, told, name)
    if told.signed_by:
        yield at + EACH, partial(_sign_goal, making, told, name)
    for place, word in enumerate((*told.words, *told.rated), 1):
        when = making.instant(word.days_ago, WRITTEN_UP) + 2 * EACH
        yield when, partial(_tell_goal, making, patient, told, word, name, place)


def _goal_stage(making: _Making, patient: DemoPatient) -> GoalStage:
    return GoalStage(
        making.session, making.shelf, making.zone, making.patients[patient.label],
        making.episodes[patient.label],
    )  # fmt: skip


def _set_goal(
    making: _Making, patient: DemoPatient, told: DemoGoal, name: str, now: datetime
) -> None:
    making.goals[name] = set_demo_goal(
        _goal_stage(making, patient), making.people[told.by], told, uid=uid_of(name),
        today=making.day(told.days_ago), now=now,
    )  # fmt: skip


def _sign_goal(making: _Making, told: DemoGoal, name: str, now: datetime) -> None:
    person = making.people[told.signed_by]
    sign_demo_goal(making.session, person, making.goals[name], now)


def _tell_goal(
    making: _Making,
    patient: DemoPatient,
    told: DemoGoal,
    word: DemoWord,
    name: str,
    place: int,
    now: datetime,
) -> None:
    tell_demo_goal(
        _goal_stage(making, patient), making.people[told.signed_by or told.by],
        making.goals[name], word, uid=uid_of(f"{name}/{place}"),
        today=making.day(word.days_ago), now=now,
    )  # fmt: skip


def _precaution_deeds(making: _Making, patient: DemoPatient) -> Iterator[Deed]:
    for told in patient.precautions:
        # What was ordered before the episode is written down when it opens.
        set_at = min(patient.opened_days_ago, told.days_ago)
        yield (
            making.instant(set_at, ORDERS_READ),
            partial(_set_precaution, making, patient, told),
        )
        if told.lifted_days_ago is not None:
            yield (
                making.instant(told.lifted_days_ago, ORDERS_READ),
                partial(_lift, making, patient, told),
            )


def uid_of(name: str) -> str:
    """An id as a phone makes them, but always the same for one name."""
    return uuid.uuid5(NAMES, name).hex


def _join(making: _Making, person: DemoPerson, now: datetime) -> None:
    making.people[person.handle] = add_person(
        making.session,
        handle=person.handle,
        name=person.name,
        role=person.role,
        passphrase_hash=NO_PASSPHRASE,
        is_demo=True,
        now=now,
    )


def _admit(making: _Making, patient: DemoPatient, now: datetime) -> None:
    first, *others = (making.people[handle] for handle in patient.assigned)
    details = details_of(patient, making.day)
    uid = uid_of(patient.label)
    row = add_patient(making.session, first, details, uid=uid, now=now)
    for other in others:
        assign(making.session, first, row, other, now=now)
    making.patients[patient.label] = row
    making.episodes[patient.label] = add_episode(
        making.session,
        first,
        row,
        reason=patient.reason,
        setting=patient.setting,
        plan=patient.plan,  # type: ignore[arg-type]  # read from the closed list
        opened_on=making.day(patient.opened_days_ago),
        now=now,
    )


def details_of(patient: DemoPatient, day: Callable[[int], date]) -> PatientDetails:
    """A patient's details, `day` giving the date of so many days ago."""
    born, year = None, None
    if patient.age is not None:
        born = _birth_date(day(0), patient.age, patient.label)
    else:
        latest = min((v.days_ago for v in patient.visits), default=0)
        year = day(latest).year - (patient.turns or 0)
    return PatientDetails(
        label=patient.label,
        birth_year=year,
        birth_date=born,
        sex=patient.sex,
        conditions={
            name: None if days is None else Onset.read(day(days).isoformat())
            for name, days in patient.conditions.items()
        },
        facts=patient.facts,
        sizes=patient.sizes,
    )


def _birth_date(today: date, age: int, label: str) -> date:
    """The last birthday lies 60 to 315 days back, so the age held all along."""
    last = today - timedelta(days=60 + int(uid_of(label)[:2], 16))
    day = min(last.day, 28)  # no 29 February in the year of birth
    return date(last.year - age, last.month, day)


def _set_precaution(
    making: _Making, patient: DemoPatient, told: DemoPrecaution, now: datetime
) -> None:
    review = told.review_in_days
    making.precautions[f"{patient.label}/{told.tag}"] = add_precaution(
        making.session,
        making.people[patient.assigned[0]],
        making.episodes[patient.label],
        tag=told.tag,
        note=told.note,
        set_by=told.set_by,
        set_on=making.day(told.days_ago),
        review_on=None if review is None else making.day(-review),
        now=now,
    )


def _lift(
    making: _Making, patient: DemoPatient, told: DemoPrecaution, now: datetime
) -> None:
    end_precaution(
        making.session,
        making.people[patient.assigned[0]],
        making.precautions[f"{patient.label}/{told.tag}"],
        on=making.day(told.lifted_days_ago or 0),
        now=now,
    )


def _visit_deeds(
    making: _Making, patient: DemoPatient, told: DemoVisit, name: str
) -> Iterator[Deed]:
    """Begun, then everything in it in turn, each at its own time."""
    at = making.instant(told.days_ago, told.at)
    yield at, partial(_visit, making, patient, told, name)
    stage = Stage(making.session, making.site, making.visits, name, uid_of)
    for when, do in hello_deeds(stage, told.content, at):
        at = when
        yield when, do
    for place, round in enumerate(told.rounds, 1):
        yield at, partial(_round, making, patient, round, name, place)
        at += EACH * len(round.trials)
    for place, done in enumerate(told.sets, 1):
        at += EACH
        yield at, partial(do_set, stage, done, f"{name}/set/{place}")
    yield from task_deeds(stage, told.content, at)
    end = told.content.end
    if end is not None:
        yield from end_deeds(stage, end, making.instant(told.days_ago, end.until))


def _visit(
    making: _Making, patient: DemoPatient, told: DemoVisit, name: str, now: datetime
) -> None:
    making.visits[name] = visit_today(
        making.session,
        making.people[told.by],
        making.episodes[patient.label],
        now=now,
        zone=making.zone,
        uid=uid_of(name),
    )


def _round(
    making: _Making,
    patient: DemoPatient,
    told: DemoRound,
    visit_name: str,
    place: int,
    now: datetime,
) -> None:
    """Do one round and score it."""
    session, visit = making.session, making.visits[visit_name]
    name = f"{visit_name}/{place}"
    person = session.get_one(Person, visit.person_id)
    round = start_round(
        session,
        person,
        visit,
        uid=uid_of(name),
        measure=told.measure,
        variant=told.variant,
        facts=told.facts,
        now=now,
    )
    for place, trial in enumerate(told.trials, 1):
        now += EACH
        kept, _ = record_trial(
            session, person, round, uid=uid_of(f"{name}/{place}"), body=trial.body,
            now=now,
        )  # fmt: skip
        if trial.voided:
            void_trial(session, person, kept, reason=trial.voided, now=now)
    keep(session, making.shelf, making.patients[patient.label], round, now=now)
