"""Plain builders: one row each, with defaults a test overrides when they matter."""

from datetime import date, datetime, timedelta
from functools import cache
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.clinical.teaching import Taught
from app.practice.attempt import Said
from app.practice.case import Key
from app.storage import (
    activity_sets,
    episodes,
    exercises,
    goals,
    patients,
    people,
    practice,
    precautions,
    room_measurements,
    scores,
    services,
    teaching,
    trials,
)
from app.storage.activity_sets import ActivitySet, SetBody
from app.storage.episodes import Episode, Plan, Visit
from app.storage.exercises import ExerciseShowing
from app.storage.goal_rows import GoalBody, GoalRow
from app.storage.home_sheets import HomeSheet, SheetBody, SheetItem, make_sheet
from app.storage.patients import Patient, PatientDetails
from app.storage.people import Person
from app.storage.practice import PracticeAttempt
from app.storage.precautions import PrecautionOnEpisode
from app.storage.room_measurements import RoomChange, RoomMeasure
from app.storage.scores import DerivedScore, Score
from app.storage.services import Service
from app.storage.teaching import Teaching
from app.storage.trials import Round, Trial, TrialBody

NOW = datetime.fromisoformat("2026-03-02T09:30:00+00:00")
TODAY = NOW.date()
ZONE = ZoneInfo("Europe/Vienna")
PASSPHRASE = "four tired horses rest"
TIMED = TrialBody(raw_ms=16_240, splits_ms=[4_100, 9_300])
TEN_REPS = SetBody(grade="12", reps=10, errors=1)
SCORED = DerivedScore(
    outcome="completed", value="16.2", unit="s", variant="", edition="edition-1"
)


def new_uid() -> str:
    """As the phone makes them."""
    return uuid4().hex


@cache
def passphrase_hash() -> str:
    return people.hash_passphrase(PASSPHRASE)


def make_person(
    session: Session,
    handle: str = "therapist",
    *,
    role: str = "therapist",
    is_demo: bool = False,
    now: datetime = NOW,
) -> Person:
    return people.add_person(
        session,
        handle=handle,
        name=handle.title(),
        role=role,
        passphrase_hash=passphrase_hash(),
        is_demo=is_demo,
        now=now,
    )


def make_patient(
    session: Session,
    person: Person,
    details: PatientDetails | None = None,
    *,
    label: str = "Blue 7",
    uid: str | None = None,
    now: datetime = NOW,
) -> Patient:
    """A patient of `person`, and a demo patient when they are a demo person."""
    said = details or PatientDetails(label=label, birth_year=1948, sex="female")
    return patients.add_patient(session, person, said, uid=uid or new_uid(), now=now)


def make_episode(
    session: Session,
    person: Person,
    patient: Patient,
    *,
    reason: str = "walks less since a fall",
    setting: str = "community",
    plan: Plan = "restore",
    opened_on: date = TODAY,
) -> Episode:
    return episodes.add_episode(
        session,
        person,
        patient,
        reason=reason,
        setting=setting,
        plan=plan,
        opened_on=opened_on,
        now=NOW,
    )


def make_precaution(
    session: Session,
    person: Person,
    episode: Episode,
    tag: str = "ttwb_le",
    *,
    set_on: date = TODAY,
    review_on: date | None = None,
) -> PrecautionOnEpisode:
    return precautions.add_precaution(
        session,
        person,
        episode,
        tag=tag,
        set_on=set_on,
        review_on=review_on,
        now=NOW,
    )


def make_goal(
    session: Session,
    person: Person,
    episode: Episode,
    body: GoalBody | None = None,
    *,
    now: datetime = NOW,
) -> GoalRow:
    """An unsigned goal without a start."""
    said = body or GoalBody(
        term="short", who="patient", kind="level", by_date=TODAY + timedelta(days=28),
        task="kitchen", target_level="stand_by",
    )  # fmt: skip
    return goals.add_goal(
        session, person, episode, said, uid=new_uid(), on=TODAY, now=now
    )


def make_visit(
    session: Session,
    person: Person,
    episode: Episode,
    *,
    now: datetime = NOW,
    zone: ZoneInfo = ZONE,
    uid: str | None = None,
) -> Visit:
    return episodes.visit_today(
        session, person, episode, now=now, zone=zone, uid=uid or new_uid()
    )


def make_round(
    session: Session,
    person: Person,
    visit: Visit,
    *,
    measure: str = "timed_up_and_go",
    variant: str = "",
    facts: dict[str, str] | None = None,
    uid: str | None = None,
    now: datetime = NOW,
) -> Round:
    return trials.start_round(
        session,
        person,
        visit,
        uid=uid or new_uid(),
        measure=measure,
        variant=variant,
        facts=facts or {},
        now=now,
    )


def make_trial(
    session: Session,
    person: Person,
    round: Round,
    body: TrialBody = TIMED,
    *,
    uid: str | None = None,
    now: datetime = NOW,
) -> Trial:
    trial, _ = trials.record_trial(
        session, person, round, uid=uid or new_uid(), body=body, now=now
    )
    return trial


def make_teaching(
    session: Session,
    person: Person,
    visit: Visit,
    *,
    uid: str | None = None,
    now: datetime = NOW,
    **said: Any,
) -> Teaching:
    """Guarding with the belt, shown to family, who showed it back alone."""
    taught = Taught(**({"to": "family", "topic": "guarding", "how": "shown",
                        "back": "alone"} | said))  # fmt: skip
    return teaching.record_teaching(
        session, person, visit, taught, uid=uid or new_uid(), now=now
    )


def make_set(
    session: Session,
    person: Person,
    visit: Visit,
    body: SetBody = TEN_REPS,
    *,
    activity: str = "T01",
    uid: str | None = None,
    against: str = "",
    now: datetime = NOW,
) -> ActivitySet:
    made, _ = activity_sets.record_set(
        session,
        person,
        visit,
        activity,
        uid=uid or new_uid(),
        body=body,
        at=now,
        now=now,
        against=against,
    )
    return made


def make_score(
    session: Session,
    round: Round,
    derived: DerivedScore = SCORED,
    *,
    now: datetime = NOW,
) -> Score:
    return scores.keep_score(session, round, derived, now=now)


def make_home_sheet(
    session: Session,
    person: Person,
    episode: Episode,
    *activities: str,
    helper: str = "family",
    home_change: str = "light",
    change_words: str = "",
    uid: str | None = None,
    now: datetime = NOW,
) -> HomeSheet:
    items = tuple(
        SheetItem(activity, "3", sets=2, times_a_week=5, taught_back=True)
        for activity in activities or ("S01",)
    )
    body = SheetBody(helper, home_change, change_words, items)
    return make_sheet(session, person, episode, body, uid=uid or new_uid(), now=now)


def make_room_measure(
    session: Session,
    person: Person,
    visit: Visit,
    *,
    uid: str | None = None,
    now: datetime = NOW,
    **said: str,
) -> RoomMeasure:
    """A toilet seat of 16 in, unless something else is said."""
    usual = {"room": "bathroom", "thing": "toilet_seat", "value": "16", "unit": "in"}
    row, _ = room_measurements.record_measure(
        session, person, visit, {**usual, "phase": "before", "note": "", **said},
        uid=uid or new_uid(), now=now,
    )  # fmt: skip
    return row


def make_room_change(
    session: Session,
    person: Person,
    visit: Visit,
    *,
    uid: str | None = None,
    before: RoomMeasure | None = None,
    now: datetime = NOW,
    **said: str,
) -> RoomChange:
    usual = {"room": "bathroom", "change": "raised_toilet", "who": "supplier"}
    told = {**usual, "words": "", **said, "before_id": before.id if before else None}
    return room_measurements.add_change(
        session, person, visit, told, uid=uid or new_uid(), now=now
    )


def make_showing(session: Session, person: Person) -> ExerciseShowing:
    """An exercise of a person's own, of an edition that is no longer made."""
    return exercises.show(
        session, person, seed=7, measure="timed_up_and_go", level=1, edition="e.1",
        rule="rounding", steps=6, now=NOW,
    )  # fmt: skip


def make_service(
    session: Session,
    supervisor: Person,
    name: str = "Standing work",
    *,
    timed: bool = True,
    now: datetime = NOW,
) -> Service:
    """A service of the supervisor's site, by an invented name."""
    return services.add_service(session, supervisor, name=name, timed=timed, now=now)


def make_attempt(
    session: Session,
    person: Person,
    said: Said = Said(2_150, 14_400),
    key: Key = Key(2_000, 14_300),
    *,
    edition: str = "e1",
) -> PracticeAttempt:
    showing, _ = practice.draw(
        session,
        person,
        case="stands_older",
        measure="five_times_sit_to_stand",
        trial=1,
        edition=edition,
        uid=new_uid(),
        now=NOW,
    )
    return practice.send(session, person, showing, said, key, now=NOW)
