"""A visit from hello to the exit list: nothing lost, nothing made up."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.clinical.visiting import EXIT_LIST, FIRST_DO
from app.storage.database import read_session, write_session
from app.storage.episodes import Visit
from app.storage.observations import (
    SymptomCheck,
    TaskObservation,
    VitalSigns,
)
from app.storage.patients import Patient
from app.storage.responsible import assign
from app.storage.visits import ExitItem, VisitPause
from app.web.deps import Site
from tests.conftest import Clock, found, person_by
from tests.make import make_person
from tests.web.bedside import done

LEFT_ROOM = {"exit-hand_off": "nurse", "exit-strip": "removed"}
SignIn = Callable[[str], TestClient]


def rows(site: Site, table: Any) -> list[Any]:
    with read_session(site.engine) as session:
        key = col(table.id) if hasattr(table, "id") else col(table.item)
        return list(session.exec(select(table).order_by(key)))


def begin(client: TestClient, patient_id: int) -> str:
    answer = client.post(f"/patients/{patient_id}/visit", data={"uid": uuid4().hex})
    assert answer.status_code == 303
    return str(answer.headers["location"])


def put(client: TestClient, visit: str, part: str, **said: str) -> int:
    return client.post(f"{visit}/{part}", data={"uid": uuid4().hex, **said}).status_code


@pytest.fixture
def visit(therapist: TestClient, patient_id: int) -> str:
    return begin(therapist, patient_id)


def test_visit_is_begun_once_a_day(therapist: TestClient, patient_id: int) -> None:
    assert begin(therapist, patient_id) == begin(therapist, patient_id)
    brief = therapist.get(f"/patients/{patient_id}").text
    assert "Go on with today&#39;s visit" in brief
    assert "Start a visit" not in brief


def test_five_taps_are_kept_and_said(
    therapist: TestClient, visit: str, site: Site
) -> None:
    said = {
        "agreed": "yes",
        "pain": "3",
        "dizzy": "no",
        "fell": "yes",
        "slept": "badly",
    }
    assert put(therapist, visit, "symptoms", **said) == 303
    page = therapist.get(visit).text
    (row,) = rows(site, SymptomCheck)

    assert (row.pain, row.fell, row.words) == (3, "yes", "")
    assert "agreed, pain 3 of 10, not dizzy, fell since last time, slept badly" in page


def test_dizzy_or_fallen_says_what_is_done_before_standing(
    therapist: TestClient, visit: str
) -> None:
    fragment = {"HX-Request": "true"}
    well = {"uid": uuid4().hex, "dizzy": "no", "fell": "no"}
    tapped = therapist.post(f"{visit}/symptoms", data=well, headers=fragment).text
    assert "before they stand" not in tapped + therapist.get(visit).text

    said = well | {"dizzy": "yes"}
    dizzy = therapist.post(f"{visit}/symptoms", data=said, headers=fragment).text
    said |= {"fell": "yes"}
    both = therapist.post(f"{visit}/symptoms", data=said, headers=fragment).text
    page = therapist.get(visit).text

    assert FIRST_DO["dizzy"] in dizzy
    assert FIRST_DO["fell"] not in dizzy
    assert all(words in both and words in page for words in FIRST_DO.values())


def test_same_answers_sent_five_times_are_one_row(
    therapist: TestClient, visit: str, site: Site
) -> None:
    said = {"uid": uuid4().hex, "agreed": "declined", "words": "not today"}
    sent = [therapist.post(f"{visit}/symptoms", data=said) for _ in range(5)]
    other = therapist.post(f"{visit}/symptoms", data=said | {"words": "tomorrow"})

    assert [a.status_code for a in sent] == [303] * 5
    assert other.status_code == 409
    assert len(rows(site, SymptomCheck)) == 1


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({}, "agreed"),
        ({"pain": "11"}, "pain"),
        ({"pain": "x"}, "pain"),
        ({"slept": "so-so"}, "slept"),
        ({"words": "x" * 301}, "words"),
    ],
)
def test_bad_answer_is_named(
    therapist: TestClient, visit: str, site: Site, said: dict[str, str], field: str
) -> None:
    answer = therapist.post(f"{visit}/symptoms", data=said)

    assert answer.status_code == 422
    assert field in {"pain"} or found(answer.text, f"#{field}-error").text()
    assert rows(site, SymptomCheck) == []


def test_vital_signs_are_read_against_the_order(
    therapist: TestClient, visit: str
) -> None:
    before = therapist.get(visit).text
    limits = {"systolic_low": "90", "systolic_high": "180", "set_by": "physician"}
    assert put(therapist, visit, "limits", **limits) == 303
    lying = {"position": "lying", "systolic": "150", "diastolic": "85", "arm": "left"}
    standing = {"position": "standing_1", "systolic": "86", "diastolic": "60"}
    assert (
        put(
            therapist,
            visit,
            "vitals",
            **lying,
            saturation="94",
            carrier="nasal",
            flow="2",
        )
        == 303
    )
    assert put(therapist, visit, "vitals", **standing) == 303
    page = therapist.get(visit).text

    assert "No limits from an order are on record" in before
    assert "150/85 mmHg, left arm, saturation 94 % on 2 L/min, nasal cannula" in page
    assert "Systolic 86 mmHg is below the order&#39;s limit of 90 mmHg." in page
    assert "fell by 64 / 25 mmHg" in page
    assert "Freeman 2011, abstract" in page
    assert "hypotension" not in page


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"systolic": "120", "diastolic": "70"}, "position"),
        ({"position": "sitting"}, "systolic"),
        ({"position": "sitting", "systolic": "120"}, "diastolic"),
        ({"position": "sitting", "systolic": "70", "diastolic": "120"}, "diastolic"),
        ({"position": "sitting", "heart_rate": "8"}, "heart_rate"),
        ({"position": "sitting", "heart_rate": "7O"}, "heart_rate"),
        ({"position": "sitting", "temperature": "98.6"}, "temperature"),
        ({"position": "sitting", "effort": "4"}, "effort"),
        ({"position": "sitting", "effort": "4", "effort_scale": "6-20"}, "effort"),
    ],
)
def test_bad_vital_sign_keeps_the_others_typed(
    therapist: TestClient, visit: str, site: Site, said: dict[str, str], field: str
) -> None:
    sent = said if field == "systolic" else {"saturation": "95"} | said
    answer = therapist.post(f"{visit}/vitals", data=sent)
    if field != "systolic":
        assert found(answer.text, "#saturation").attributes["value"] == "95"

    assert answer.status_code == 422
    assert found(answer.text, f"#{field}-error").text()
    assert rows(site, VitalSigns) == []


TASK = {"task": "dressing_lower", "level": "moderate", "helpers": "1", "share": "60"}


def test_task_says_both_shares_helpers_and_cues(
    therapist: TestClient, visit: str
) -> None:
    cues = {"cue_kind": "verbal", "cue_amount": "occasional", "federal": "03"}
    assert put(therapist, visit, "tasks", **TASK, **cues) == 303
    two = {"task": "transfer_toilet", "level": "maximal", "helpers": "2"}
    put(therapist, visit, "tasks", **two)
    put(therapist, visit, "tasks", task="bathing", not_done="declined")
    page = therapist.get(visit).text

    assert "Dressing, lower body: moderate (patient does 60 %, helpers 40 %)" in page
    assert "cues verbal, occasional, under 25 % of the task [federal 03]" in page
    assert "Transfer, toilet: maximal, times 2" in page
    assert "Bathing: not done, declined" in page


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"task": "flying"}, "task"),
        ({"level": ""}, "level"),
        ({"not_done": "pain"}, "level"),
        ({"share": "40"}, "share"),
        ({"level": "stand_by"}, "share"),
        ({"helpers": "9"}, "helpers"),
        ({"federal": "11"}, "federal"),
    ],
)
def test_bad_task_is_refused(
    therapist: TestClient, visit: str, site: Site, said: dict[str, str], field: str
) -> None:
    answer = therapist.post(f"{visit}/tasks", data=TASK | said)

    assert answer.status_code == 422
    assert field == "helpers" or found(answer.text, f"#{field}-error").text()
    assert rows(site, TaskObservation) == []


def test_contradiction_is_said_and_stored(therapist: TestClient, visit: str) -> None:
    put(
        therapist, visit, "tasks", task="eating", level="independent", cue_kind="verbal"
    )

    assert "cueing is supervision" in therapist.get(visit).text


def test_voided_task_stays_in_sight(
    therapist: TestClient, visit: str, site: Site
) -> None:
    put(therapist, visit, "tasks", **TASK)
    bare = therapist.post(f"{visit}/tasks/1/void", data={})
    done_ = therapist.post(f"{visit}/tasks/1/void", data={"void_reason": "other leg"})
    (row,) = rows(site, TaskObservation)

    assert (bare.status_code, done_.status_code) == (422, 303)
    assert row.void_reason == "other leg"
    assert "void: other leg" in therapist.get(visit).text


def test_pause_takes_its_minutes_off(
    therapist: TestClient, visit: str, site: Site, clock: Clock
) -> None:
    clock.move(minutes=4)
    assert put(therapist, visit, "pause", reason="nursing") == 303
    assert put(therapist, visit, "pause", reason="meal") == 303  # a double tap
    clock.move(minutes=3)
    assert put(therapist, visit, "resume") == 303
    clock.move(minutes=2)
    page = therapist.get(visit).text

    assert len(rows(site, VisitPause)) == 1
    assert "9 min passed, 3 min of them paused and not billable" in page


def test_minutes_that_do_not_add_up_are_said(
    therapist: TestClient, visit: str, clock: Clock
) -> None:
    clock.move(minutes=4)
    put(therapist, visit, "minutes", individual_minutes="20", group_minutes="5")
    page = therapist.get(visit).text

    assert "The minutes below come to 25, the clock to 4." in page
    assert put(therapist, visit, "minutes", individual_minutes="601") == 422


def test_visit_closes_only_after_the_exit_list(
    therapist: TestClient, visit: str, site: Site
) -> None:
    early = therapist.post(f"{visit}/close", data={})
    assert put(therapist, visit, "exit") == 422
    some = {"exit-strip": "removed", "exit-alarm": "not_applicable"}
    assert put(therapist, visit, "exit", **some) == 303
    stored = {row.item: row.state for row in rows(site, ExitItem)}
    still = therapist.post(f"{visit}/close", data={})
    assert put(therapist, visit, "exit", all="done", **some) == 303
    to_whom = therapist.post(f"{visit}/close", data={})
    assert put(therapist, visit, "exit", **{"exit-hand_off": "nurse"}) == 303
    closed = put(therapist, visit, "close")
    (kept,) = rows(site, Visit)

    assert early.status_code == still.status_code == 422
    assert "bell in reach" in found(still.text, "#close-error").text()
    assert stored == {"strip": "done", "alarm": "not_applicable"}
    assert "hand-off given. Or" in found(to_whom.text, "#close-error").text()
    assert closed == 303
    assert "hand-off given: nurse" in therapist.get(visit).text
    assert {row.state for row in rows(site, ExitItem) if row.item == "alarm"} == {
        "not_applicable"
    }
    assert len(rows(site, ExitItem)) == len(EXIT_LIST)
    assert kept.closed_at is not None
    assert kept.left_without == ""


def test_who_had_to_leave_says_why(
    therapist: TestClient, visit: str, site: Site
) -> None:
    assert put(therapist, visit, "close", without="alarm next door") == 303
    (kept,) = rows(site, Visit)

    assert kept.left_without == "alarm next door"
    assert rows(site, ExitItem) == []
    assert "Left without the list: alarm next door" in therapist.get(visit).text


def test_closed_visit_goes_on_the_same_day(
    therapist: TestClient, visit: str, site: Site, clock: Clock
) -> None:
    put(therapist, visit, "close", without="called away")
    clock.move(minutes=4)
    assert put(therapist, visit, "resume") == 303
    (kept,) = rows(site, Visit)
    (away,) = rows(site, VisitPause)

    assert kept.closed_at is None
    assert (away.until - away.since).total_seconds() == 240


def test_missed_visit_says_why_who_was_told_and_when_again(
    therapist: TestClient, visit: str, patient_id: int
) -> None:
    bare = therapist.post(f"{visit}/missed", data={"told": "nurse"})
    said = {"missed_reason": "off_unit", "told": "nurse", "again": "afternoon"}
    assert put(therapist, visit, "missed", **said) == 303
    page = therapist.get(visit).text
    listed = therapist.get(f"/patients/{patient_id}/visits").text

    assert bare.status_code == 422
    assert "off the unit, procedure" in page
    assert "Told: nurse. Again: afternoon." in page
    assert "missed: off the unit" in listed


def test_treatment_without_order_and_plan_warns_and_goes_on(
    therapist: TestClient, visit: str, patient_id: int
) -> None:
    warned = therapist.get(visit).text
    care = {
        "reason": "walks less", "setting": "community", "plan": "restore",
        "order_on": "2026-02-27", "plan_on": "2026-03-01", "version": "1",
    }  # fmt: skip
    therapist.post(f"/patients/{patient_id}/episodes", data=care)

    assert "No order and no plan of care is on record" in warned
    assert "42 CFR 410.61, full text" in warned
    assert "is on record" not in found(
        therapist.get(visit).text, "main"
    ).text().replace("No limits from an order are on record", "")


def test_tests_of_the_visit_stand_on_its_page(
    therapist: TestClient, visit: str, patient_id: int
) -> None:
    done(therapist, patient_id, "five_times_sit_to_stand", "16.2")

    assert "Five times sit to stand: 16.2 s" in therapist.get(visit).text


@pytest.fixture
def helpers(site: Site, patient_id: int) -> None:
    """An assistant and the student look after the patient too."""
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        patient = session.get_one(Patient, patient_id)
        make_person(session, "assistant", role="assistant")
        for handle in ("assistant", "student"):
            to = person_by(session, handle)
            assign(session, owner, patient, to, now=site.clock())


@pytest.mark.usefixtures("helpers")
@pytest.mark.parametrize(
    ("kind", "status"),
    [
        ("treatment", 303),
        ("evaluation", 403),
        ("re_evaluation", 403),
        ("discharge", 403),
    ],
)
def test_assistant_closes_treatment_alone(
    sign_in_as: SignIn, patient_id: int, kind: str, status: int
) -> None:
    assistant = sign_in_as("assistant")
    visit = begin(assistant, patient_id)
    put(assistant, visit, "kind", kind=kind)
    put(assistant, visit, "exit", all="done", **LEFT_ROOM)

    assert put(assistant, visit, "close") == status


@pytest.mark.usefixtures("helpers")
def test_students_visit_waits_for_a_co_signature(
    student: TestClient, patient_id: int
) -> None:
    visit = begin(student, patient_id)
    page = student.get(visit).text

    assert "Student&#39;s visit" in page
    assert "then hand it in for co-signature" in page


def test_colleagues_visit_is_not_closed_by_me(
    visit: str, supervisor: TestClient
) -> None:
    assert put(supervisor, visit, "close", without="x") == 403
    assert put(supervisor, visit, "nonsense") == 404
