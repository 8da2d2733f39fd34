"""The demo's story beside a large site's bulk, so that no measured page is empty.

The bulk has scores and little else; the story has goals, notes, sets, rooms and all the
rest, of invented people in a world of their own.
"""

from typing import Any, Final

from sqlalchemy import Engine
from sqlmodel import Session, desc, select

from app.catalogue.load import Catalogue
from app.commands.demo_files import read_story
from app.commands.demo_site import build
from app.resources import folder
from app.settings import Settings
from app.storage.activity_sets import SetBody
from app.storage.database import write_session
from app.storage.episodes import open_episode
from app.storage.goal_rows import GoalRow
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.practice import PracticeAttempt, draw
from app.storage.review import VisitText
from app.storage.round_help import open_help
from app.storage.team_check_rows import TeamCheck
from app.storage.trials import TrialBody
from app.web.judging import keep
from tests.conftest import person_by
from tests.load.site import NOW
from tests.make import (
    make_home_sheet,
    make_room_change,
    make_round,
    make_set,
    make_teaching,
    make_trial,
    make_visit,
    new_uid,
)

THERAPIST: Final = "demo-therapist"
SUPERVISOR: Final = "demo-supervisor"
STUDENT: Final = "demo-student"
#: Assigned to the measured patient too; and one who has a team's check to do.
HELPER, NEWCOMER = "demo-colleague", "demo-new-therapist"
#: The one with the most scores, the one most done with, and one who was stopped.
PATIENT, TREATED, STOPPED = "Saffron Otter", "Jade Wren", "Olive Hare"
MEASURE: Final = "timed_up_and_go"


def tell_story(engine: Engine, shelf: Catalogue, settings: Settings) -> dict[str, Any]:
    """Put the demo's people and patients into a site that has others already.

    Give what stands in a path for each name in it.
    """
    story = read_story(folder("demo_data"), shelf)
    build(engine, shelf, story, now=NOW, zone=settings.zone)
    with write_session(engine) as session:
        owner = person_by(session, THERAPIST)
        return (
            _of_today(session, shelf, owner)
            | _stopped(session, owner)
            | _practised(session)
            | {"topic": "round", "measure_id": MEASURE, "pathway_id": "cdc",
               "activity_id": "T01", "aid": "S01", "person_id": owner.id,
               "note": "visit", "to": "nursing", "case": "stands_older", "trial": "1"}
        )  # fmt: skip


def _named(session: Session, label: str) -> Patient:
    return session.exec(select(Patient).where(Patient.label == label)).one()


def _of_today(session: Session, shelf: Catalogue, owner: Person) -> dict[str, Any]:
    """A visit under way, in which a test was done and something taught."""
    patient = _named(session, PATIENT)
    episode = open_episode(session, patient)
    assert episode is not None
    visit = make_visit(session, owner, episode, now=NOW)
    round = make_round(session, owner, visit, measure=MEASURE, now=NOW)
    for ms in (16_240, 15_900):
        make_trial(session, owner, round, TrialBody(raw_ms=ms), now=NOW)
    keep(session, shelf, patient, round, now=NOW)
    open_help(session, owner, round.id, NOW)
    make_teaching(session, owner, visit, now=NOW)
    make_room_change(session, owner, visit, now=NOW)
    sheet = make_home_sheet(session, owner, episode, "S01", "S02", "T01", now=NOW)
    goal = select(GoalRow.id).where(GoalRow.episode_id == episode.id)
    return {
        "patient_id": patient.id, "episode_id": episode.id, "visit_id": visit.id,
        "round_id": round.id, "sheet_id": sheet.id, "goal_id": session.exec(goal).one(),
    }  # fmt: skip


def _stopped(session: Session, owner: Person) -> dict[str, Any]:
    episode = open_episode(session, _named(session, STOPPED))
    assert episode is not None
    visit = make_visit(session, owner, episode, now=NOW)
    round = make_round(session, owner, visit, measure=MEASURE, now=NOW)
    trial, done = TrialBody(outcome="stopped"), SetBody(outcome="stopped")
    return {
        "trial_id": make_trial(session, owner, round, trial, now=NOW).id,
        "set_id": make_set(session, owner, visit, done, now=NOW).id,
    }  # fmt: skip


def _practised(session: Session) -> dict[str, Any]:
    """The student's own; the text is one handed in, whose visit it names."""
    student = person_by(session, STUDENT)
    attempts = select(PracticeAttempt.id).where(PracticeAttempt.person_id == student.id)
    showing, _ = draw(
        session, student, case="stands_older", measure="five_times_sit_to_stand",
        trial=1, edition="e1", uid=new_uid(), now=NOW,
    )  # fmt: skip
    texts = {kind: select(VisitText.visit_id).where(VisitText.kind == kind)
             for kind in ("handed_in", "signed")}  # fmt: skip
    return {
        "attempt_id": session.exec(attempts.order_by(desc("id"))).first(),
        "showing_id": showing.id,
        "check_id": session.exec(select(TeamCheck.id)).first(),
        "reviewed_id": session.exec(texts["handed_in"]).first(),
        "signed_id": session.exec(texts["signed"]).first(),
        "treated_id": _named(session, TREATED).id,
        "student_id": student.id,
    }
