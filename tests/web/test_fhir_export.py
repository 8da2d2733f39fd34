"""A record as a FHIR file: whose it is to export, and what a student's work needs."""

import json
from base64 import b64decode
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import httpx2
import pytest
from fhir.resources.R4B.bundle import Bundle as Oracle
from sqlmodel import Session, col, select
from starlette.testclient import TestClient

from app.storage.audit import AuditEntry
from app.storage.database import read_session, write_session
from app.storage.episodes import Visit, open_episode
from app.storage.goals import sign_goal
from app.storage.notes import add_to
from app.storage.observations import TaskObservation, VitalSigns, record
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.responsible import assign
from app.storage.review import decide, texts_of, write_text
from app.storage.trials import Trial, TrialBody, void_trial
from app.storage.visits import close, miss
from app.web.deps import Site
from app.web.fhir_record import record_of, teller_of
from tests.asked import queries
from tests.conftest import Clock, person_by
from tests.exports import fhir_rules
from tests.make import (
    PASSPHRASE,
    make_goal,
    make_precaution,
    make_round,
    make_set,
    make_trial,
    make_visit,
    new_uid,
)

Json = dict[str, Any]


class Bedside:
    """The therapist's patient, who is the student's too."""

    def __init__(self, session: Session, clock: Clock) -> None:
        self.session, self.clock = session, clock
        self.therapist = person_by(session, "therapist")
        self.student = person_by(session, "student")
        self.patient = session.exec(select(Patient)).one()
        self.episode = open_episode(session, self.patient)

    def visit(self, person: Person) -> Visit:
        return make_visit(self.session, person, self.episode, now=self.clock())

    def trial(self, by: Person, visit: Visit, ms: int) -> Trial:
        now = self.clock()
        round = make_round(self.session, by, visit, now=now)
        return make_trial(self.session, by, round, TrialBody(raw_ms=ms), now=now)

    def hand_in(self, visit: Visit, decision: str) -> None:
        """Closed, handed in or signed an hour later, and decided on."""
        author = self.session.get_one(Person, visit.person_id)
        self.clock.move(hours=1)
        now = self.clock()
        close(self.session, author, visit, without_list="called away", now=now)
        text = write_text(
            self.session, author, visit, ["Treatment"], own_words="Walked well",
            edition="e", version="v", now=now,
        )  # fmt: skip
        if decision:
            boss = person_by(self.session, "supervisor")
            decide(
                self.session, boss, text, decision, statement="I decided",
                presence="in_room", minutes=30, checked=[], now=now,
            )  # fmt: skip


Deed = Callable[[Bedside], object]
Export = Callable[[], Json]


@pytest.fixture
def at_bedside(site: Site, clock: Clock) -> Callable[[Deed], None]:
    """Does something there, as rows; the student looks after the patient as well."""

    def do(deed: Deed) -> None:
        with write_session(site.engine) as session:
            made = Bedside(session, clock)
            assign(session, made.therapist, made.patient, made.student, now=clock())
            deed(made)

    return do


def ask(client: TestClient, patient_id: int) -> httpx2.Response:
    return client.post(f"/patients/{patient_id}/fhir", data={"passphrase": PASSPHRASE})


@pytest.fixture
def export(sign_in_as: Callable[[str], TestClient], patient_id: int) -> Export:
    """The therapist's file, which breaks no rule and is accepted by the validator."""

    def taken() -> Json:
        answer = ask(sign_in_as("therapist"), patient_id)
        assert answer.status_code == 200
        Oracle.model_validate_json(answer.text)
        made: Json = json.loads(answer.text, parse_float=Decimal)
        assert not fhir_rules.broken(made)
        return made

    return taken


def scores(made: Json) -> list[str]:
    """The values of tests, in order."""
    return [
        str(one["valueQuantity"]["value"])
        for one in fhir_rules.of_kind(made, "Observation")
        if "method" in one
    ]


def left_out(made: Json) -> str:
    (contents,) = fhir_rules.of_kind(made, "Composition")
    said: str = contents["text"]["div"]
    return said


def text_of(made: Json) -> str:
    """The words of the only signed text."""
    (told,) = fhir_rules.of_kind(made, "DocumentReference")
    return b64decode(told["content"][0]["attachment"]["data"]).decode()


def _queries_of_a_record(site: Site, clock: Clock) -> int:
    teller = teller_of(site.settings, site.catalogue)
    with queries(site.engine) as asked, read_session(site.engine) as session:
        patient = session.exec(select(Patient)).one()
        record_of(session, patient, teller, clock())
    return len(asked)


class TestFile:
    def test_it_is_an_attachment_without_a_label(
        self, therapist: TestClient, patient_id: int, site: Site
    ) -> None:
        answer = ask(therapist, patient_id)
        with read_session(site.engine) as session:
            in_turn = select(AuditEntry).order_by(col(AuditEntry.id))
            deeds = [(e.deed, e.subject_id) for e in session.exec(in_turn)]

        assert answer.headers["content-type"] == "application/fhir+json"
        assert answer.headers["content-disposition"] == (
            'attachment; filename="tapeline-record-2026-03-02.fhir.json"'
        )
        assert deeds[-1] == ("exported_patient", patient_id)

    @pytest.mark.parametrize("typed", ["", "not the right one at all"])
    def test_without_the_passphrase_nothing_goes_out(
        self, therapist: TestClient, patient_id: int, site: Site, typed: str
    ) -> None:
        address = f"/patients/{patient_id}/fhir"
        answer = therapist.post(address, data={"passphrase": typed})
        with read_session(site.engine) as session:
            deeds = {entry.deed for entry in session.exec(select(AuditEntry))}

        assert answer.status_code == 422
        assert 'aria-invalid="true"' in answer.text
        assert "exported_patient" not in deeds

    def test_brief_leads_there_for_who_may(
        self, therapist: TestClient, student: TestClient, patient_id: int,
        at_bedside: Callable[[Deed], None],
    ) -> None:  # fmt: skip
        at_bedside(lambda _: None)
        link = f'href="/patients/{patient_id}/fhir"'

        assert link in therapist.get(f"/patients/{patient_id}").text
        assert link not in student.get(f"/patients/{patient_id}").text
        assert student.get(f"/patients/{patient_id}/fhir").status_code == 403
        assert ask(student, patient_id).status_code == 403

    def test_real_person_is_not_marked_as_test_data(
        self, supervisor: TestClient, patient_id: int
    ) -> None:
        assert "HTEST" not in ask(supervisor, patient_id).text

    def test_missed_visit_is_cancelled_with_its_reason(
        self, export: Export, clock: Clock,
        at_bedside: Callable[[Deed], None],
    ) -> None:  # fmt: skip
        at_bedside(
            lambda b: miss(
                b.session, b.therapist, b.visit(b.therapist), reason="asleep",
                told="nurse", again="tomorrow", now=clock(),
            )
        )  # fmt: skip
        (visit,) = fhir_rules.of_kind(export(), "Encounter")

        assert visit["status"] == "cancelled"
        assert visit["reasonCode"][0]["text"] == "asleep or too drowsy"

    def test_times_have_the_offset_of_their_visit(
        self, export: Export,
        at_bedside: Callable[[Deed], None],
    ) -> None:  # fmt: skip
        at_bedside(lambda b: b.trial(b.therapist, b.visit(b.therapist), 16_240))
        made = export()
        (visit,) = fhir_rules.of_kind(made, "Encounter")

        assert visit["period"]["start"] == "2026-03-02T10:30:00+01:00"
        assert scores(made) == ["16.2"]

    def test_precaution_is_a_flag_and_a_note_of_the_plan(
        self, export: Export,
        at_bedside: Callable[[Deed], None],
    ) -> None:  # fmt: skip
        at_bedside(lambda b: make_precaution(b.session, b.therapist, b.episode))
        made = export()
        (flag,) = fhir_rules.of_kind(made, "Flag")
        (plan,) = fhir_rules.of_kind(made, "CarePlan")

        assert (flag["status"], flag["code"]["text"]) == (
            "active", "Leg: toe-touch only",
        )  # fmt: skip
        assert "Leg: toe-touch only" in plan["note"][0]["text"]

    def test_half_a_pressure_says_that_the_other_is_not_known(
        self, export: Export,
        at_bedside: Callable[[Deed], None],
    ) -> None:  # fmt: skip
        at_bedside(
            lambda b: record(
                b.session, b.therapist, b.visit(b.therapist), VitalSigns,
                {"position": "lying", "systolic": 128}, uid=new_uid(), now=b.clock(),
            )
        )  # fmt: skip
        made = export()
        (pressure,) = fhir_rules.of_kind(made, "Observation")
        upper, lower = pressure["component"]

        assert upper["valueQuantity"]["value"] == 128
        assert lower["dataAbsentReason"]["coding"][0]["code"] == "unknown"
        assert pressure["extension"][0]["valueCodeableConcept"] == {"text": "lying"}


class TestStudent:
    def test_nothing_goes_out_before_the_co_signature(
        self, export: Export, clock: Clock,
        at_bedside: Callable[[Deed], None],
    ) -> None:  # fmt: skip
        def week(b: Bedside) -> None:
            b.trial(b.therapist, b.visit(b.therapist), 16_240)
            clock.move(days=1)
            theirs = b.visit(b.student)
            b.trial(b.student, theirs, 12_000)
            make_set(b.session, b.student, theirs, now=clock())
            seen = {"position": "sitting", "heart_rate": 84}
            record(
                b.session, b.student, theirs, VitalSigns, seen, uid=new_uid(),
                now=clock(),
            )  # fmt: skip
            done = {"task": "kitchen", "level": "stand_by"}
            record(
                b.session, b.student, theirs, TaskObservation, done, uid=new_uid(),
                now=clock(),
            )  # fmt: skip
            make_goal(b.session, b.student, b.episode)
            clock.move(days=1)
            b.trial(b.therapist, b.visit(b.therapist), 15_000)

        at_bedside(week)
        made = export()

        assert scores(made) == ["16.2", "15.0"]
        assert not list(fhir_rules.of_kind(made, "Procedure"))
        assert not list(fhir_rules.of_kind(made, "Goal"))
        for count in ("tests", "vital signs", "tasks", "sets", "goals", "visits"):
            assert f"{count} 1" in left_out(made)

    def test_change_is_not_read_against_what_stays_behind(
        self, export: Export, clock: Clock,
        at_bedside: Callable[[Deed], None],
    ) -> None:  # fmt: skip
        def days(b: Bedside) -> None:
            for by, ms in ((b.therapist, 16_240), (b.student, 12_000)):
                b.trial(by, b.visit(by), ms)
                clock.move(days=1)
            b.trial(b.therapist, b.visit(b.therapist), 15_000)

        at_bedside(days)
        *_, last = fhir_rules.of_kind(export(), "Observation")
        (change,) = [
            one["text"] for one in last["note"] if one["text"].startswith("Change:")
        ]

        assert "since 16.2 s" in change

    @pytest.mark.parametrize(
        ("decision", "goes"),
        [("", False), ("returned", False), ("approved", False), ("co_signed", True)],
    )
    def test_only_a_co_signature_lets_it_out(
        self, export: Export, decision: str, goes: bool,
        at_bedside: Callable[[Deed], None],
    ) -> None:  # fmt: skip
        def visit(b: Bedside) -> None:
            theirs = b.visit(b.student)
            b.trial(b.student, theirs, 12_000)
            b.hand_in(theirs, decision)

        at_bedside(visit)
        made = export()

        assert scores(made) == (["12.0"] if goes else [])
        assert len(list(fhir_rules.of_kind(made, "Encounter"))) == goes
        signed = list(fhir_rules.of_kind(made, "Provenance"))
        assert [len(one["agent"]) for one in signed] == [2] * goes
        assert [len(one["target"]) for one in signed] == [3] * goes
        assert len(list(fhir_rules.of_kind(made, "DocumentReference"))) == goes

    @pytest.mark.parametrize("late", ["trial", "void"])
    def test_what_came_after_the_signed_text_waits(
        self, export: Export, clock: Clock, late: str,
        at_bedside: Callable[[Deed], None],
    ) -> None:  # fmt: skip
        def visit(b: Bedside) -> None:
            theirs = b.visit(b.student)
            kept = b.trial(b.student, theirs, 12_000)
            b.hand_in(theirs, "co_signed")
            clock.move(hours=1)
            if late == "trial":
                b.trial(b.student, theirs, 11_000)
            else:
                void_trial(b.session, b.student, kept, reason="slip", now=clock())

        at_bedside(visit)
        made = export()

        assert scores(made) == (["12.0"] if late == "trial" else [])
        assert "tests 1" in left_out(made)

    @pytest.mark.parametrize("signed", [False, True])
    def test_in_a_colleagues_visit_the_colleagues_signature_counts(
        self, export: Export, signed: bool,
        at_bedside: Callable[[Deed], None],
    ) -> None:  # fmt: skip
        def visit(b: Bedside) -> None:
            mine = b.visit(b.therapist)
            b.trial(b.student, mine, 12_000)
            if signed:
                b.hand_in(mine, "")

        at_bedside(visit)
        made = export()

        assert scores(made) == (["12.0"] if signed else [])
        assert len(list(fhir_rules.of_kind(made, "Encounter"))) == 1

    def test_signed_text_that_was_returned_answers_for_nothing(
        self, export: Export, at_bedside: Callable[[Deed], None]
    ) -> None:
        def visit(b: Bedside) -> None:
            mine = b.visit(b.therapist)
            b.trial(b.student, mine, 12_000)
            b.hand_in(mine, "returned")

        at_bedside(visit)
        made = export()

        assert scores(made) == []
        assert not list(fhir_rules.of_kind(made, "DocumentReference"))
        assert "texts 1" in left_out(made)

    def test_stops_cost_no_more_the_longer_somebody_is_seen(
        self, site: Site, at_bedside: Callable[[Deed], None], clock: Clock
    ) -> None:
        def visit(b: Bedside) -> None:
            clock.move(days=1)
            seen, now = b.visit(b.therapist), b.clock()
            stopped = TrialBody(outcome="stopped", reason="symptoms")
            round = make_round(b.session, b.therapist, seen, now=now)
            make_trial(b.session, b.therapist, round, stopped, now=now)

        costs = []
        for _ in range(3):
            at_bedside(visit)
            at_bedside(visit)
            costs.append(_queries_of_a_record(site, clock))

        assert costs[2] - costs[1] == costs[1] - costs[0]

    def test_colleagues_entry_in_a_students_visit_goes_without_the_visit(
        self, export: Export,
        at_bedside: Callable[[Deed], None],
    ) -> None:  # fmt: skip
        at_bedside(lambda b: b.trial(b.therapist, b.visit(b.student), 12_000))
        made = export()
        (score,) = fhir_rules.of_kind(made, "Observation")

        assert scores(made) == ["12.0"]
        assert "encounter" not in score

    def test_report_answers_for_none_of_a_visits_own_entries(
        self, export: Export, at_bedside: Callable[[Deed], None]
    ) -> None:
        def visit(b: Bedside) -> None:
            mine = b.visit(b.therapist)
            b.trial(b.student, mine, 12_000)
            b.clock.move(hours=1)
            write_text(
                b.session, b.therapist, mine, ["Going on"], note="progress",
                edition="e", version="v", now=b.clock(),
            )  # fmt: skip

        at_bedside(visit)
        made = export()

        assert scores(made) == []
        assert text_of(made).startswith("Going on")

    def test_addendum_goes_unless_it_is_a_students(
        self, export: Export, at_bedside: Callable[[Deed], None]
    ) -> None:
        def visit(b: Bedside) -> None:
            mine = b.visit(b.therapist)
            b.hand_in(mine, "")
            (text,) = texts_of(b.session, mine)
            for by, words in ((b.therapist, "Left hand"), (b.student, "Right hand")):
                add_to(b.session, by, text, words=words, reason="slip", now=b.clock())

        at_bedside(visit)
        made = export()

        assert "by Therapist (slip): Left hand" in text_of(made)
        assert "Right hand" not in text_of(made)
        assert "addenda 1" in left_out(made)

    def test_goal_goes_once_it_is_signed(
        self, export: Export,
        at_bedside: Callable[[Deed], None],
    ) -> None:  # fmt: skip
        def goals(b: Bedside) -> None:
            made = make_goal(b.session, b.student, b.episode)
            sign_goal(b.session, b.therapist, made, version=1, now=b.clock())
            make_goal(b.session, b.therapist, b.episode)

        at_bedside(goals)
        found = fhir_rules.of_kind(export(), "Goal")

        assert [goal["lifecycleStatus"] for goal in found] == ["active", "proposed"]

    def test_page_says_what_stays_behind(
        self, therapist: TestClient, patient_id: int, at_bedside: Callable[[Deed], None]
    ) -> None:
        at_bedside(lambda b: b.trial(b.student, b.visit(b.student), 12_000))
        page = therapist.get(f"/patients/{patient_id}/fhir").text

        assert "Work of students that nobody co-signed" in page
        assert "tests 1" in page
