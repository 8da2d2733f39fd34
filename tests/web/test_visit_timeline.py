"""Stops and voids on a visit's timeline: who, when and why."""

from datetime import timedelta
from uuid import uuid4

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from app.storage.database import read_session, write_session
from app.storage.episodes import Visit
from app.storage.observations import TaskObservation
from app.storage.review import VisitText
from app.web.deps import Site
from tests.conftest import Clock, found, person_by
from tests.make import PASSPHRASE
from tests.web.bedside import a_round, done
from tests.web.test_visits import TASK, begin, put, rows


@pytest.fixture
def visit(therapist: TestClient, patient_id: int) -> str:
    return begin(therapist, patient_id)


def timeline(client: TestClient, visit: str) -> list[str]:
    listed = found(client.get(visit).text, "#timeline")
    return [" ".join(li.text().split()) for li in listed.css("li")]


def test_stop_and_voids_are_events_of_their_own(
    therapist: TestClient, visit: str, site: Site, patient_id: int, clock: Clock
) -> None:
    round = a_round(therapist, patient_id, "five_times_sit_to_stand")
    stop = {"uid": uuid4().hex, "outcome": "stopped", "reason": "knees buckled"}
    assert therapist.post(f"{round}/trials", data=stop).status_code == 303
    put(therapist, visit, "tasks", **TASK)
    clock.move(minutes=3)
    noted = {"what": "lowered", "called": "nurse", "asked": "details"}
    therapist.post("/trials/1/safety", data=noted)
    therapist.post("/trials/1/seen", data={})
    put(therapist, visit, "tasks/1/void", void_reason="other leg")
    done(therapist, patient_id, "timed_up_and_go", "16.2")
    therapist.post("/trials/2/void", data={"void_reason": "course blocked"})
    said = timeline(therapist, visit)
    (task,) = rows(site, TaskObservation)

    assert (
        "09:30 Stopped for safety: Five times sit to stand: knees buckled Therapist"
        in said
    )
    after = "After the stop of Five times sit to stand: lowered to the floor"
    assert f"09:33 {after}; called: nurse Therapist" in said
    assert "09:33 Looked into the stop of Five times sit to stand Therapist" in said
    assert "09:33 Voided: dressing, lower body: other leg Therapist" in said
    assert "09:33 Voided: Timed Up and Go, 16.2 s: course blocked Therapist" in said
    assert task.voided_by == person_of(site, "therapist")


def person_of(site: Site, handle: str) -> int:
    with read_session(site.engine) as session:
        return person_by(session, handle).id


def test_closed_visit_of_another_day_offers_no_going_on(
    therapist: TestClient, visit: str, site: Site
) -> None:
    put(therapist, visit, "close", without="called away")
    today = therapist.get(visit).text
    with write_session(site.engine) as session:
        kept = session.exec(select(Visit)).one()
        kept.local_date -= timedelta(days=1)
        session.add(kept)
    later = therapist.get(visit).text

    assert f"{visit}/resume" in today
    assert f"{visit}/resume" not in later


def test_left_room_is_told_in_the_order_of_the_list(
    therapist: TestClient, visit: str
) -> None:
    said = {"exit-hand_off": "nurse", "exit-bell": "done", "exit-strip": "removed"}
    put(therapist, visit, "exit", **said, **{"exit-alarm": "not_applicable"})

    assert timeline(therapist, visit) == [
        "09:30 Left: strip out of the room with the therapist; bell in reach; "
        "hand-off given: nurse; not applicable: alarm as it was found Therapist"
    ]


def test_voids_and_a_hurried_leaving_stand_in_the_signed_text(
    therapist: TestClient, visit: str, site: Site
) -> None:
    put(therapist, visit, "tasks", **TASK)
    put(therapist, visit, "tasks/1/void", void_reason="other leg")
    put(therapist, visit, "close", without="called away")
    put(therapist, visit, "notes/visit/sign", passphrase=PASSPHRASE)
    (text,) = rows(site, VisitText)

    assert "Dressing, lower body, taken back: other leg." in text.lines
    assert "Left without the list: called away." in text.lines
