"""An activity's card: who may do it under which order or risk, and what is kept."""

import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any
from uuid import uuid4

import httpx2
import pytest
from markupsafe import escape
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.catalogue.load import catalogue
from app.clinical.bedside_rules import FELT
from app.clinical.precautions import PRECAUTIONS
from app.storage.activity_sets import ActivitySet
from app.storage.assignments import Assignment
from app.storage.audit import AuditEntry
from app.storage.database import read_session, write_session
from app.storage.episodes import Visit, close_episode, open_episode
from app.storage.patients import Patient
from app.storage.precautions import PrecautionOnEpisode, end_precaution
from app.web.deps import Site
from tests.conftest import Clock, found, person_by
from tests.make import NOW, TODAY, make_precaution
from tests.web.test_held import end_sessions, resend, sign_in

HTMX = {"hx-request": "true"}
ACTIVITIES = catalogue().activities
#: Of each tag, an activity that it must not meet.
AGAINST = {
    tag: next((a.id for a in ACTIVITIES.values() if tag in a.must_not), "")
    for tag in PRECAUTIONS
}
ORDERS = [t for t, p in PRECAUTIONS.items() if p.kind == "order" and AGAINST[t]]
RISKS = [t for t, p in PRECAUTIONS.items() if p.kind == "risk" and AGAINST[t]]
WHO = ["therapist", "supervisor", "student"]
Client = Callable[[str], TestClient]


@pytest.fixture(autouse=True)
def students_patient(site: Site, patient_id: int) -> None:
    """The student is assigned to the therapist's patient."""
    with write_session(site.engine) as session:
        learner = person_by(session, "student")
        session.add(Assignment(patient_id=patient_id, person_id=learner.id, since=NOW))


@pytest.fixture
def card(patient_id: int) -> str:
    return card_of(patient_id, "T01")


def card_of(patient_id: int, activity: str) -> str:
    return f"/patients/{patient_id}/activities/{activity}"


def hold(site: Site, patient_id: int, tag: str) -> int:
    """Set a precaution from today on."""
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        episode = open_episode(session, session.get_one(Patient, patient_id))
        return make_precaution(session, owner, episode, tag).id


def send(client: TestClient, card: str, **fields: Any) -> httpx2.Response:
    headers = fields.pop("headers", {})
    data = {"uid": uuid4().hex, "outcome": "done", "grade": "", **fields}
    return client.post(f"{card}/sets", data=data, headers=headers)


def kept(site: Site) -> list[ActivitySet]:
    with read_session(site.engine) as session:
        return list(session.exec(select(ActivitySet).order_by(col(ActivitySet.id))))


def visit_page(client: TestClient, site: Site) -> str:
    visit_id = kept(site)[-1].visit_id
    return client.get(f"/visits/{visit_id}").text


class TestOrder:
    """An order blocks it for everybody; what was done all the same is a fact."""

    def test_every_order_meets_some_activity(self) -> None:
        assert {"nwb_le", "medical_hold", "ligature_risk", "spinal"} <= set(ORDERS)

    @pytest.mark.parametrize("who", WHO)
    @pytest.mark.parametrize("tag", ORDERS)
    def test_card_has_no_form_and_says_why(
        self, sign_in_as: Client, site: Site, patient_id: int, tag: str, who: str
    ) -> None:
        hold(site, patient_id, tag)
        html = sign_in_as(who).get(card_of(patient_id, AGAINST[tag])).text

        assert "Blocked by an order in force" in html
        assert PRECAUTIONS[tag].label in html
        assert "only be lifted by changing the order" in html
        assert f"/patients/{patient_id}/precautions" in html
        assert 'name="grade"' not in html
        assert 'name="override"' not in html
        assert "Save this set" not in html
        assert "Stop - make safe" in html

    @pytest.mark.parametrize("who", WHO)
    @pytest.mark.parametrize("tag", ORDERS)
    def test_set_done_all_the_same_is_kept_and_marked(
        self, sign_in_as: Client, site: Site, patient_id: int, tag: str, who: str
    ) -> None:
        hold(site, patient_id, tag)
        client, card = sign_in_as(who), card_of(patient_id, AGAINST[tag])
        answer = send(client, card, override="I think it is fine", errors="0")

        (row,) = kept(site)
        assert answer.status_code == 303
        assert tag in row.against.split()
        mark = found(client.get(card).text, ".trials .error").text()
        assert "Done against an order in force" in mark
        assert PRECAUTIONS[tag].label in mark

    def test_it_is_looked_into_on_brief_visit_and_desk(
        self, therapist: TestClient, supervisor: TestClient, site: Site,
        patient_id: int, card: str,
    ) -> None:  # fmt: skip
        hold(site, patient_id, "nwb_le")
        send(therapist, card, reps="10")
        words = "Done against an order in force (Leg: non-weight-bearing)"

        brief = therapist.get(f"/patients/{patient_id}").text
        assert f"{words} 2 Mar" in brief
        assert f"{words}: Clock-direction stepping" in visit_page(therapist, site)
        assert "done against an order in force" in supervisor.get("/desk").text
        (row,) = kept(site)
        back = therapist.post(f"/sets/{row.id}/seen", data={"back": "patient"})
        assert back.headers["location"] == f"/patients/{patient_id}"
        assert words not in therapist.get(f"/patients/{patient_id}").text
        with read_session(site.engine) as session:
            deeds = list(session.exec(select(AuditEntry.deed)))
        assert "recorded_set_against" in deeds

    def test_students_alert_leads_the_supervisors_list(
        self, student: TestClient, supervisor: TestClient, site: Site,
        patient_id: int, card: str,
    ) -> None:  # fmt: skip
        hold(site, patient_id, "nwb_le")
        send(student, card, reps="10")

        alert = found(supervisor.get("/caseload").text, ".owed .safe").text()
        assert "Done against an order in force" in alert
        assert "recorded by Student" in alert

    def test_voiding_does_not_take_it_off_the_brief(
        self, therapist: TestClient, site: Site, patient_id: int, card: str
    ) -> None:
        hold(site, patient_id, "nwb_le")
        send(therapist, card, reps="10")
        therapist.post(f"/sets/{kept(site)[0].id}/void", data={"void_reason": "slip"})

        brief = therapist.get(f"/patients/{patient_id}").text
        assert "Done against an order" in brief
        assert "void: slip" in brief

    @pytest.mark.parametrize("outcome", ["declined", "not_done"])
    def test_what_was_not_done_is_against_nothing(
        self,
        therapist: TestClient,
        site: Site,
        patient_id: int,
        card: str,
        outcome: str,
    ) -> None:
        hold(site, patient_id, "nwb_le")
        answer = send(therapist, card, outcome=outcome, reason="weight_bearing")

        assert answer.status_code == 303
        assert kept(site)[0].against == ""

    def test_day_it_was_done_counts_not_the_day_it_arrives(
        self, sign_in_as: Client, site: Site, patient_id: int, card: str, clock: Clock
    ) -> None:
        """Taken on a day without the order, sent on the next, when it holds."""
        taken = int(NOW.timestamp() * 1000)
        clock.move(days=1)
        with write_session(site.engine) as session:
            owner = person_by(session, "therapist")
            episode = open_episode(session, session.get_one(Patient, patient_id))
            day = clock().date()
            make_precaution(session, owner, episode, "nwb_le", set_on=day)
        send(sign_in_as("therapist"), card, reps="10", taken_at=str(taken))

        (row,) = kept(site)
        with read_session(site.engine) as session:
            visit = session.get_one(Visit, row.visit_id)
        assert (visit.local_date, row.done_at, row.against) == (TODAY, NOW, "")

    def test_lifted_order_opens_the_card(
        self, therapist: TestClient, site: Site, patient_id: int, card: str
    ) -> None:
        number = hold(site, patient_id, "nwb_le")
        with write_session(site.engine) as session:
            owner = person_by(session, "therapist")
            row = session.get_one(PrecautionOnEpisode, number)
            end_precaution(session, owner, row, on=TODAY, now=NOW)

        assert 'name="grade"' in therapist.get(card).text


class TestRisk:
    """A therapist may go against a risk, with a reason; a student never."""

    @pytest.mark.parametrize("tag", RISKS)
    def test_student_gets_no_form(
        self, student: TestClient, site: Site, patient_id: int, tag: str
    ) -> None:
        hold(site, patient_id, tag)
        html = student.get(card_of(patient_id, AGAINST[tag])).text

        assert "A therapist must decide" in html
        assert PRECAUTIONS[tag].label in html
        assert 'name="grade"' not in html
        assert "Save this set" not in html

    @pytest.mark.parametrize("tag", RISKS)
    def test_students_set_is_kept_and_marked_whatever_they_write(
        self, student: TestClient, site: Site, patient_id: int, tag: str
    ) -> None:
        hold(site, patient_id, tag)
        card = card_of(patient_id, AGAINST[tag])
        answer = send(student, card, reps="3", override="He wanted to", told=tag)

        assert answer.status_code == 303
        assert tag in kept(site)[0].against.split()

    @pytest.mark.parametrize("tag", RISKS)
    def test_therapist_needs_a_reason(
        self, therapist: TestClient, site: Site, patient_id: int, tag: str
    ) -> None:
        hold(site, patient_id, tag)
        card = card_of(patient_id, AGAINST[tag])
        field = found(therapist.get(card).text, "[name=override]")
        refused = send(therapist, card, told=tag, errors="2", override=" ")
        taken = send(therapist, card, told=tag, errors="2", override="Two guard")

        assert "required" in field.attributes
        assert refused.status_code == 422
        wrong = found(refused.text, "[aria-invalid=true]")
        assert wrong.attributes["name"] == "override"
        assert found(refused.text, "#errors").attributes["value"] == "2"
        assert taken.status_code == 303
        (row,) = kept(site)
        assert (row.override, row.against) == ("Two guard", "")

    def test_reason_is_remembered_for_the_next_set(
        self, therapist: TestClient, site: Site, patient_id: int
    ) -> None:
        hold(site, patient_id, RISKS[0])
        card = card_of(patient_id, AGAINST[RISKS[0]])
        send(therapist, card, reps="3", told=RISKS[0], override="Two guard")

        field = found(therapist.get(card).text, "[name=override]")
        assert field.attributes["value"] == "Two guard"

    def test_card_that_did_not_know_the_risk_loses_nothing(
        self, therapist: TestClient, site: Site, patient_id: int
    ) -> None:
        """Opened, or done offline, before the risk was set: kept, and looked into."""
        hold(site, patient_id, RISKS[0])
        answer = send(therapist, card_of(patient_id, AGAINST[RISKS[0]]), errors="1")

        assert answer.status_code == 303
        assert RISKS[0] in kept(site)[0].against.split()

    def test_stop_asks_for_no_reason(
        self, therapist: TestClient, site: Site, patient_id: int
    ) -> None:
        hold(site, patient_id, RISKS[0])
        card = card_of(patient_id, AGAINST[RISKS[0]])
        answer = send(therapist, card, outcome="stopped", told=RISKS[0])

        assert answer.headers["location"] == f"{card}#make-safe"
        assert kept(site)[0].outcome == "stopped"

    def test_caution_warns_and_forbids_nothing(
        self, student: TestClient, site: Site, patient_id: int, card: str
    ) -> None:
        hold(site, patient_id, "ortho_hypo")
        html = student.get(card).text

        assert PRECAUTIONS["ortho_hypo"].meaning in html
        assert 'name="grade"' in html


class TestCard:
    def test_says_what_is_needed_at_the_bedside(
        self, therapist: TestClient, card: str
    ) -> None:
        html = therapist.get(card).text
        activity = ACTIVITIES["T01"]

        for words in (activity.name, activity.setup, activity.guard, *activity.steps,
                      activity.occupation, activity.dose.amount, activity.dose.how,
                      "Never hold the phone in the guarding hand",
                      "chest pain or pressure"):  # fmt: skip
            assert str(escape(words)) in html, words
        assert "Ring radius 12 in" in html

    def test_asked_grade_is_shown_with_both_ways(
        self, therapist: TestClient, card: str
    ) -> None:
        html = therapist.get(f"{card}?grade=15").text

        offered = [
            (n.attributes["value"], "checked" in n.attributes)
            for n in found(html, "#set").css("[name=grade]")
        ]
        assert offered == [("14", False), ("15", True), ("16", False)]
        assert "Ring radius 15 in" in html

    @pytest.mark.parametrize("asked", ["99", "1.5.5", "-", "12345678901"])
    def test_grade_that_is_none_begins_at_the_start(
        self, therapist: TestClient, card: str, asked: str
    ) -> None:
        assert "Ring radius 12 in" in therapist.get(f"{card}?grade={asked}").text

    def test_hardest_grade_has_no_harder(
        self, therapist: TestClient, card: str
    ) -> None:
        html = therapist.get(f"{card}?grade=19").text

        assert "easier: ring radius 18 in" in html
        assert "harder: ring radius" not in html

    def test_before_the_first_set_of_a_day_seven_things_are_read(
        self, therapist: TestClient, patient_id: int, card: str
    ) -> None:
        before = therapist.get(card).text
        send(therapist, card_of(patient_id, "S01"), reps="8")
        after = therapist.get(card).text

        seven = found(before, "details[open] ol").css("li")
        assert len(seven) == 7
        assert "Before you start today" not in after

    def test_last_time_is_said_in_one_line(
        self, sign_in_as: Client, card: str, clock: Clock
    ) -> None:
        therapist = sign_in_as("therapist")
        for errors in ("1", "0"):
            send(therapist, card, reps="10", errors=errors, grade="13",
                 hand_support="fingertip", level="contact")  # fmt: skip
        clock.move(days=1)

        html = sign_in_as("therapist").get(card).text
        assert (
            "2 x 10 repetitions at ring radius 13 in, 1 error, fingertips, "
            "contact guard, 2 Mar" in html
        )
        assert "Ring radius 13 in" in html

    @pytest.mark.parametrize("who", ["colleague", "outsider"])
    def test_is_not_found_for_others(
        self, request: pytest.FixtureRequest, card: str, who: str
    ) -> None:
        other: TestClient = request.getfixturevalue(who)

        assert other.get(card).status_code == 404
        assert send(other, card, reps="10").status_code == 404

    def test_unknown_activity_is_not_found(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        assert therapist.get(card_of(patient_id, "X99")).status_code == 404

    @pytest.mark.parametrize("activity", ACTIVITIES)
    def test_every_activity_asks_what_it_counts(
        self, therapist: TestClient, patient_id: int, activity: str
    ) -> None:
        html = therapist.get(card_of(patient_id, activity)).text
        fields = {"hold_s": "holds_s", "distance_in": "distance",
                  "assist_level": "level", "symptoms": "symptom"}  # fmt: skip

        for counted in ACTIVITIES[activity].count:
            assert found(html, f"[name={fields.get(counted, counted)}]")


class TestSet:
    def test_everything_said_is_kept(
        self, therapist: TestClient, site: Site, patient_id: int
    ) -> None:
        log = {"kind": "clock", "seed": 7, "calls": [{"said": "3", "right": True}]}
        answer = send(
            therapist, card_of(patient_id, "B01"), grade="3", holds_ms="10000,12500",
            errors="1", hand_support="fingertip", level="contact", helpers="1",
            cue_kind="verbal", cue_amount="occasional", effort="13",
            effort_scale="6-20", symptom=["dizzy", "tired"], no_symptom="yes",
            note="Left foot in front.", log=json.dumps(log), calls="10", correct="9",
            distance="9,5", unit="cm", time_ms="42500", steps="4", passes="2",
            steps_to_recover="1", hazards="0", reps="3",
        )  # fmt: skip

        (row,) = kept(site)
        assert answer.status_code == 303
        assert (row.activity, row.grade, row.holds_ms) == ("B01", "3", [10_000, 12_500])
        assert (row.effort, row.effort_scale, row.no_symptom) == (13, "6-20", False)
        assert (row.distance, row.distance_unit, row.time_ms) == ("9.5", "cm", 42_500)
        assert (row.steps, row.passes, row.steps_to_recover, row.hazards) == (
            4,
            2,
            1,
            0,
        )
        assert (row.calls, row.correct, row.log) == (10, 9, log)
        assert row.recorded_at == row.done_at == NOW
        said = visit_page(therapist, site)
        assert "held 10.0, 12.5 s" in said
        assert "9 right of 10 calls" in said
        assert "dizzy" in said

    def test_typed_seconds_are_whole_milliseconds(
        self, therapist: TestClient, site: Site, patient_id: int
    ) -> None:
        send(therapist, card_of(patient_id, "B01"), holds_s="10, 12.5", time_s="42.5")

        (row,) = kept(site)
        assert (row.holds_ms, row.time_ms) == ([10_000, 12_500], 42_500)

    def test_nothing_untouched_is_recorded(
        self, therapist: TestClient, site: Site, card: str
    ) -> None:
        send(
            therapist, card, reps="", errors="", effort="", effort_scale="0-10",
            uncounted="yes",
        )  # fmt: skip

        (row,) = kept(site)
        assert (row.reps, row.errors, row.effort, row.effort_scale) == (None,) * 4
        assert (row.no_symptom, row.hand_support, row.level) == (False, None, None)

    @pytest.mark.parametrize(
        ("name", "typed"),
        [
            ("reps", "ten"), ("reps", "10000"), ("errors", "-1"), ("errors", "1.5"),
            ("grade", "20"), ("grade", "x"), ("helpers", "5"), ("effort", "11"),
            ("holds_s", "1:05"), ("time_s", "soon"), ("time_s", "3 4"),
            ("distance", "far"), ("distance", "-2"), ("correct", "3"),
            ("level", "bit"), ("hand_support", "some"), ("cue_kind", "loud"),
            ("note", "x" * 301),
        ],
    )  # fmt: skip
    def test_bad_field_is_told_and_keeps_what_was_typed(
        self, therapist: TestClient, site: Site, patient_id: int, name: str, typed: str
    ) -> None:
        fields = {"errors": "2", "note": "steady", name: typed}
        answer = send(
            therapist, card_of(patient_id, FIELD_AT.get(name, "T01")), **fields
        )

        assert answer.status_code == 422
        assert kept(site) == []
        assert found(answer.text, ".error")
        for field, value in (("errors", "2"), ("note", "steady")):
            if field != name:
                node = found(answer.text, f"[name={field}]")
                assert node.attributes["value"] == value
        if name in ("reps", "errors", "effort", "distance", "time_s", "holds_s"):
            wrong = found(answer.text, "[aria-invalid=true]")
            assert (wrong.attributes["name"], wrong.attributes["value"]) == (
                name,
                typed,
            )

    def test_stop_is_never_refused_and_keeps_what_can_be_used(
        self, therapist: TestClient, site: Site, card: str
    ) -> None:
        answer = send(therapist, card, outcome="stopped", reps="4", errors="many")

        (row,) = kept(site)
        assert answer.status_code == 303
        assert (row.outcome, row.reps, row.errors) == ("stopped", 4, None)

    def test_not_done_needs_its_reason(
        self, therapist: TestClient, site: Site, card: str
    ) -> None:
        refused = send(therapist, card, outcome="not_done")
        taken = send(therapist, card, outcome="not_done", reason="pain")

        assert (refused.status_code, taken.status_code) == (422, 303)
        assert [(r.outcome, r.reason) for r in kept(site)] == [("not_done", "pain")]
        assert "not done: pain" in therapist.get(card).text

    def test_next_set_remembers_the_help_and_not_the_counts(
        self, therapist: TestClient, card: str
    ) -> None:
        html = send(
            therapist, card, reps="10", errors="1", effort="5", level="contact",
            hand_support="fingertip", helpers="1", no_symptom="yes", grade="13",
            headers=HTMX,
        ).text  # fmt: skip

        form = found(html, "#set")
        checked = {
            (str(n.attributes["name"]), str(n.attributes["value"]))
            for n in form.css("[checked][name]")
        }
        assert checked == {
            ("grade", "13"),
            ("hand_support", "fingertip"),
            ("helpers", "1"),
            ("effort_scale", "0-10"),
        }
        assert found(html, "#level [selected]").attributes["value"] == "contact"
        for name in ("reps", "errors", "effort"):
            assert found(html, f"[name={name}]").attributes["value"] == ""
        assert "Set 2 of 2" in html
        assert "Rest 60 seconds" in html
        assert "<html" not in html

    def test_answer_names_the_set_for_the_phone(
        self, therapist: TestClient, site: Site, card: str
    ) -> None:
        uid = uuid4().hex
        answer = send(therapist, card, uid=uid, reps="10", headers=HTMX)

        mark = found(answer.text, f'[data-saved="{uid}"]')
        assert answer.headers["tapeline-saved"] == uid
        assert mark.attributes["data-set-id"] == str(kept(site)[0].id)

    def test_same_id_again_is_one_set(
        self, therapist: TestClient, site: Site, card: str
    ) -> None:
        uid = uuid4().hex
        codes = [send(therapist, card, uid=uid, reps="10").status_code for _ in "ab"]
        other = send(therapist, card, uid=uid, reps="11").status_code

        assert (codes, other) == ([303, 303], 409)
        assert [row.reps for row in kept(site)] == [10]

    def test_same_id_for_another_activity_or_after_midnight(
        self, sign_in_as: Client, site: Site, patient_id: int, card: str, clock: Clock
    ) -> None:
        uid = uuid4().hex
        send(sign_in_as("therapist"), card, uid=uid, reps="10")
        clock.move(days=1)
        therapist = sign_in_as("therapist")
        again = send(therapist, card, uid=uid, reps="10").status_code
        other = send(therapist, card_of(patient_id, "T02"), uid=uid, reps="10")

        assert (again, other.status_code) == (303, 409)
        assert len(kept(site)) == 1

    def test_five_at_once_are_one_row(
        self, sign_in_as: Client, site: Site, card: str
    ) -> None:
        uid = uuid4().hex
        browsers = [sign_in_as("therapist") for _ in range(5)]
        with ThreadPoolExecutor(5) as pool:
            answers = list(
                pool.map(lambda b: send(b, card, uid=uid, reps="10"), browsers)
            )

        assert [a.status_code for a in answers] == [303] * 5
        assert len(kept(site)) == 1

    def test_set_of_a_closed_episode_still_arrives(
        self, sign_in_as: Client, site: Site, patient_id: int, card: str, clock: Clock
    ) -> None:
        taken = int(NOW.timestamp() * 1000)
        clock.move(days=1)
        with write_session(site.engine) as session:
            owner = person_by(session, "therapist")
            episode = open_episode(session, session.get_one(Patient, patient_id))
            close_episode(session, owner, episode, on=TODAY, now=clock())
        client = sign_in_as("therapist")
        answer = send(client, card, reps="10", taken_at=str(taken), headers=HTMX)

        assert answer.status_code == 200
        assert "data-set-id" in answer.text
        assert kept(site)[0].reps == 10
        assert client.get(card).status_code == 404

    def test_locked_session_stores_and_tells_of_nobody(
        self, therapist: TestClient, site: Site, card: str
    ) -> None:
        therapist.post("/lock")
        stored = send(therapist, card, reps="10", headers=HTMX)
        stopped = send(therapist, card, outcome="stopped", reps="x", headers=HTMX)
        refused = send(therapist, card, reps="many", headers=HTMX)

        assert [row.outcome for row in kept(site)] == ["done", "stopped"]
        for answer in (stored, stopped):
            assert answer.status_code == 200
            assert "data-set-id" in answer.text
            assert "Blue 7" not in answer.text
            assert "Clock-direction" not in answer.text
        assert "Call for help from where you are" in stopped.text
        assert refused.status_code == 423

    def test_held_set_is_told_and_sent_for_its_day(
        self, therapist: TestClient, site: Site, card: str
    ) -> None:
        end_sessions(site)
        send(therapist, card, reps="10", errors="1")
        sign_in(therapist)
        told = therapist.get("/held").text

        assert "Clock-direction stepping: a set, reps 10, errors 1" in told
        assert resend(therapist) == 303
        assert kept(site)[0].reps == 10


#: Where a field stands that not every activity has.
FIELD_AT = {"holds_s": "B01", "time_s": "T01", "distance": "S01"}


class TestVoid:
    def test_reason_stays_beside_the_set(
        self, therapist: TestClient, site: Site, card: str
    ) -> None:
        send(therapist, card, reps="10")
        path = f"/sets/{kept(site)[0].id}/void"
        refused = therapist.post(path, data={"void_reason": "other", "void_other": ""})
        other = {"void_reason": "other", "void_other": "wrong foot"}
        done = therapist.post(path, data=other)

        assert (refused.status_code, done.status_code) == (422, 303)
        assert done.headers["location"] == card
        assert "void: wrong foot" in therapist.get(card).text
        assert (
            "Voided: Clock-direction stepping: 10 repetitions: wrong foot"
            in visit_page(therapist, site)
        )

    def test_undo_of_the_set_just_saved(
        self, therapist: TestClient, site: Site, card: str
    ) -> None:
        html = send(therapist, card, reps="10", headers=HTMX).text
        form = found(html, "form.undo-set")
        data = {"void_reason": "Saved by mistake"}
        answer = therapist.post(str(form.attributes["action"]), data=data, headers=HTMX)

        assert answer.status_code == 200
        assert "Set 1 of 2" in answer.text
        assert kept(site)[0].void_reason == "Saved by mistake"

    @pytest.mark.parametrize("who", ["colleague", "outsider"])
    def test_nobody_else_voids(
        self, request: pytest.FixtureRequest, therapist: TestClient, site: Site,
        card: str, who: str,
    ) -> None:  # fmt: skip
        send(therapist, card, reps="10")
        other: TestClient = request.getfixturevalue(who)
        path = f"/sets/{kept(site)[0].id}/void"

        assert other.post(path, data={"void_reason": "x"}).status_code == 404
        assert kept(site)[0].voided_at is None


class TestStop:
    def test_panel_leads_the_card_and_is_saved(
        self, therapist: TestClient, site: Site, card: str
    ) -> None:
        html = send(therapist, card, outcome="stopped", headers=HTMX).text
        path = f"/sets/{kept(site)[0].id}"
        back = therapist.post(f"{path}/safety", data={"what": "fell"})

        assert html.index('id="make-safe"') < html.index("<h1>Clock-direction")
        assert back.headers["location"] == f"{card}#make-safe"
        pressed = found(therapist.get(card).text, ".whats [aria-pressed=true]")
        assert pressed.attributes["value"] == "fell"
        page = therapist.get(f"{path}/safety").text
        assert found(page, "header .icon").attributes["href"] == card

    def test_stop_stands_on_brief_visit_desk_and_text(
        self, student: TestClient, supervisor: TestClient, site: Site,
        patient_id: int, card: str,
    ) -> None:  # fmt: skip
        send(student, card, outcome="stopped", reps="4")
        path = f"/sets/{kept(site)[0].id}"
        student.post(f"{path}/safety", data={"what": "lowered"})

        words = "Stopped for safety 2 Mar: lowered to the floor"
        assert words in student.get(f"/patients/{patient_id}").text
        assert words in supervisor.get("/caseload").text
        desk = supervisor.get("/desk").text
        assert "Clock-direction stepping: stopped for safety" in desk
        visit = visit_page(supervisor, site)
        assert "Stopped for safety: Clock-direction stepping" in visit
        assert student.post(f"{path}/seen").status_code == 403
        assert supervisor.post(f"{path}/seen").headers["location"] == card
        assert words not in supervisor.get("/caseload").text

    def test_set_that_was_not_stopped_has_no_safety_page(
        self, therapist: TestClient, site: Site, card: str
    ) -> None:
        send(therapist, card, reps="10")

        assert therapist.get(f"/sets/{kept(site)[0].id}/safety").status_code == 404

    def test_week_in_counts_has_stops_of_sets(
        self, therapist: TestClient, supervisor: TestClient, card: str
    ) -> None:
        send(therapist, card, outcome="stopped")
        html = supervisor.get("/desk/summary").text

        assert "1 stops that nobody has looked into" in html


def test_visit_tells_the_sets(student: TestClient, site: Site, card: str) -> None:
    send(student, card, reps="10", errors="1", level="contact", helpers="0")
    send(student, card, outcome="stopped")
    told = visit_page(student, site)

    assert "stepping: 10 repetitions, 1 error, contact guard, no helpers" in told
    assert "Stopped for safety: Clock-direction stepping" in told
    assert "without a helper: how many were there?" in told


def test_symptom_in_a_set_asks_for_a_look_before_the_next(
    therapist: TestClient, card: str
) -> None:
    def page(**said: Any) -> str:
        assert send(therapist, card, reps="10", **said).status_code == 303
        return therapist.get(card).text

    assert FELT not in page(no_symptom="yes")
    assert FELT not in page(symptom=["tired"])
    dizzy = page(symptom=["dizzy", "tired"])
    assert FELT in dizzy
    assert "Last set: dizzy." in dizzy
    assert FELT not in page(no_symptom="yes")
