"""Goals through the pages: from a reading in a few taps, signed, told and closed."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import httpx2
import pytest
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.storage.audit import AuditEntry
from app.storage.database import read_session, write_session
from app.storage.goal_rows import GoalRow, GoalWord
from app.storage.goal_scales import GoalLevel
from app.storage.patients import Patient
from app.storage.responsible import assign
from app.web.audit_words import DEEDS, SUBJECTS
from app.web.deps import Site
from tests.conftest import Clock, found, person_by
from tests.make import PASSPHRASE, TODAY, make_person
from tests.web.bedside import a_round, send
from tests.web.test_visits import begin as begin_visit
from tests.web.test_visits import put

SignIn = Callable[[str], TestClient]
Later = Callable[[int], TestClient]
STANDS = "five_times_sit_to_stand"
SETUP = {"fact-arms_used": "no", "fact-device": "none"}
#: What a phone sends when nothing but the target and the task was touched.
SAID = {
    "who": "patient", "term": "short", "by_date": str(TODAY + timedelta(days=28)),
    "task": "transfer_toilet", "target": "12.0",
}  # fmt: skip
TIMES = SAID | {"target": "", "kind": "times", "times": "4", "out_of": "5"}
STEPS = {
    "much_less": "two arms and a push", "less": "both arms", "expected": "no arms",
    "more": "no arms, low seat", "much_more": "also at night", "weight": "2",
    "version": "0",
}  # fmt: skip


def rows(site: Site, table: Any) -> list[Any]:
    with read_session(site.engine) as session:
        return list(session.exec(select(table).order_by(col(table.id))))


def a_score(client: TestClient, patient_id: int, seconds: str) -> str:
    """The key of a score that a goal may begin at."""
    url = a_round(client, patient_id, STANDS, variant="single", **SETUP)
    assert send(client, url, typed=seconds).status_code == 303
    return url.replace("/rounds/", "round-")


def set_goal(
    client: TestClient, patient_id: int, start: str = "", **said: str
) -> httpx2.Response:
    body = {"uid": uuid4().hex, "start": start, **SAID, **said}
    return client.post(f"/patients/{patient_id}/goals/new", data=body)


def field(page: str, name: str) -> str:
    return found(page, f"[name={name}]").attributes.get("value") or ""


def sign(client: TestClient, goal: int = 1, **said: str) -> httpx2.Response:
    page = client.get(f"/goals/{goal}").text
    body = {"version": field(page, "version"), "passphrase": PASSPHRASE, **said}
    return client.post(f"/goals/{goal}/sign", data=body)


def close(client: TestClient, word: str, reason: str = "", **said: str) -> int:
    version = field(client.get("/goals/1").text, "version")
    body = {
        "version": version, "close_word": word, "close_reason": reason,
        "passphrase": PASSPHRASE, **said,
    }  # fmt: skip
    return client.post("/goals/1/close", data=body).status_code


def told(client: TestClient, patient_id: int) -> str:
    """The words of the goals page, without its tags."""
    page = client.get(f"/patients/{patient_id}/goals").text
    return " ".join(found(page, "main").text().split())


@pytest.fixture
def start(therapist: TestClient, patient_id: int) -> str:
    return a_score(therapist, patient_id, "19.4")


@pytest.fixture
def goal(therapist: TestClient, patient_id: int, start: str) -> None:
    """One unsigned goal from 19.4 to 12.0 s."""
    assert set_goal(therapist, patient_id, start).status_code == 303


@pytest.fixture
def days_later(sign_in_as: SignIn, clock: Clock) -> Later:
    """The therapist on a later day, signed in anew: a session does not last so long."""

    def move(days: int) -> TestClient:
        clock.move(days=days)
        return sign_in_as("therapist")

    return move


def with_role(site: Site, patient_id: int, handle: str, role: str = "") -> None:
    """Somebody else of the cast, or somebody new, is assigned to the patient too."""
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        one = (
            make_person(session, handle, role=role)
            if role
            else person_by(session, handle)
        )
        patient = session.get_one(Patient, patient_id)
        assign(session, owner, patient, one, now=site.clock())


class TestBuilding:
    def test_result_leads_to_a_goal_with_everything_but_its_target(
        self, therapist: TestClient, patient_id: int, start: str
    ) -> None:
        result = therapist.get(f"/rounds/{start.removeprefix('round-')}").text
        link = f"/patients/{patient_id}/goals/new?start={start}"
        page = therapist.get(link)

        assert f'href="{link}"' in result
        assert page.status_code == 200
        assert "19.4 s" in found(page.text, "form.builder").text()
        assert field(page.text, "by_date") == str(TODAY + timedelta(days=28))
        assert field(page.text, "target") == ""
        assert found(page.text, "[data-stepper]").attributes["data-start"] == "19.4"

    def test_starts_are_the_scores_and_tasks_of_the_episode(
        self, therapist: TestClient, patient_id: int, start: str
    ) -> None:
        visit = begin_visit(therapist, patient_id)
        put(therapist, visit, "tasks", task="kitchen", level="moderate", helpers="1")
        page = therapist.get(f"/patients/{patient_id}/goals/new").text

        assert f"start={start}" in page
        assert "start=task-1" in page
        assert "moderate" in found(page, "main").text()

    @pytest.mark.parametrize("key", ["round-99", "task-99", "visit-1", "x"])
    def test_start_that_is_not_here_is_not_found(
        self, therapist: TestClient, patient_id: int, key: str
    ) -> None:
        url = f"/patients/{patient_id}/goals/new?start={key}"

        assert therapist.get(url).status_code == 404
        assert set_goal(therapist, patient_id, key).status_code == 404

    def test_kept_goal_holds_its_start_as_it_was_shown(
        self, therapist: TestClient, patient_id: int, start: str, site: Site
    ) -> None:
        answer = set_goal(therapist, patient_id, start)
        [row] = rows(site, GoalRow)

        assert answer.headers["location"] == f"/patients/{patient_id}/goals#goal-1"
        assert (row.measure, row.target_value, row.target_unit) == (STANDS, "12.0", "s")
        assert (row.base_says, row.base_on) == ("19.4 s", TODAY)
        assert f"round-{row.base_round_id}" == start
        assert row.signed_at is None

    def test_same_form_five_times_is_one_goal(
        self, therapist: TestClient, patient_id: int, start: str, site: Site
    ) -> None:
        uid = uuid4().hex
        sent = [set_goal(therapist, patient_id, start, uid=uid) for _ in range(5)]
        other = set_goal(therapist, patient_id, start, uid=uid, target="11.0")

        assert [a.status_code for a in sent] == [303] * 5
        assert other.status_code == 409
        assert len(rows(site, GoalRow)) == 1

    @pytest.mark.parametrize(
        ("said", "wrong"),
        [
            ({"target": ""}, "target"),
            ({"target": "12,5"}, "target"),
            ({"target": "9999"}, "target"),
            ({"target": "12 in"}, "target"),
            ({"by_date": "soon"}, "by_date"),
            ({"by_date": "2099-01-01"}, "by_date"),
            ({"task": "flying"}, "task"),
            ({"phrase": "x" * 81}, "phrase"),
            ({"so_that": "x" * 121}, "so_that"),
            ({"times": "5", "out_of": "4"}, "times"),
            ({"times": "5"}, "times"),
            ({"who": "nurse"}, "who"),
            ({"term": ""}, "term"),
            ({"help": "some"}, "help"),
        ],
    )
    def test_what_cannot_be_is_said_beside_its_field_and_nothing_lost(
        self,
        therapist: TestClient,
        patient_id: int,
        start: str,
        site: Site,
        said: dict[str, str],
        wrong: str,
    ) -> None:
        kept = {"so_that": "get up at night"} if wrong != "so_that" else {}
        answer = set_goal(therapist, patient_id, start, **(kept | said))

        assert answer.status_code == 422
        assert found(answer.text, f"#{wrong}-error").text()
        if kept:
            assert field(answer.text, "so_that") == "get up at night"
        assert rows(site, GoalRow) == []

    def test_task_brings_its_level_as_the_start(
        self, therapist: TestClient, patient_id: int, site: Site
    ) -> None:
        visit = begin_visit(therapist, patient_id)
        put(therapist, visit, "tasks", task="kitchen", level="moderate", helpers="1")
        said = {"target": "", "level": "stand_by", "task": "kitchen"}
        answer = set_goal(therapist, patient_id, "task-1", **said)
        [row] = rows(site, GoalRow)

        assert answer.status_code == 303
        assert (row.kind, row.target_level, row.base_says) == (
            "level", "stand_by", "moderate",
        )  # fmt: skip
        assert "with stand-by help" in told(therapist, patient_id)

    def test_how_often_it_works_needs_no_measure(
        self, therapist: TestClient, patient_id: int, site: Site
    ) -> None:
        answer = set_goal(therapist, patient_id, **(TIMES | {"base_times": "2"}))
        [row] = rows(site, GoalRow)

        assert answer.status_code == 303
        assert (row.kind, row.times, row.base_says) == ("times", 4, "2 of 5")

    def test_count_keeps_its_day_until_it_is_counted_anew(
        self, therapist: TestClient, patient_id: int, days_later: Later, site: Site
    ) -> None:
        body = TIMES | {"base_times": "2"}
        set_goal(therapist, patient_id, **body)
        therapist, found_on = days_later(3), []
        for version, base in (("1", "2"), ("2", "3")):
            said = body | {"version": version, "base_times": base}
            assert therapist.post("/goals/1/edit", data=said).status_code == 303
            found_on.append(rows(site, GoalRow)[0].base_on)

        assert found_on == [TODAY, TODAY + timedelta(days=3)]

    def test_text_that_could_tell_who_it_is_is_asked_about(
        self, therapist: TestClient, patient_id: int, start: str
    ) -> None:
        body = {"start": start, **SAID, "so_that": "visit daughter Anna"}
        url = f"/patients/{patient_id}/goals/preview"

        assert "could tell who somebody is" in therapist.post(url, data=body).text


class TestPreview:
    def preview(
        self, client: TestClient, patient_id: int, start: str, **said: str
    ) -> httpx2.Response:
        return client.post(
            f"/patients/{patient_id}/goals/preview",
            data={"start": start, **SAID, **said},
            headers={"hx-request": "true"},
        )

    def test_sentence_and_doubts_come_as_a_fragment(
        self, therapist: TestClient, patient_id: int, start: str, site: Site
    ) -> None:
        answer = self.preview(therapist, patient_id, start)

        assert answer.status_code == 200
        assert "<html" not in answer.text
        assert (
            "By 30 Mar 2026, the patient will get on and off the toilet, shown by "
            "12.0 s or less in Five times sit to stand." in answer.text
        )
        assert rows(site, GoalRow) == []

    def test_target_inside_the_error_says_which_source(
        self, therapist: TestClient, patient_id: int, start: str
    ) -> None:
        """A woman of 78 in the community: 0.4 s is less than any published error."""
        answer = self.preview(therapist, patient_id, start, target="19.0")

        assert "lies within measurement error" in answer.text
        assert f"/measures/{STANDS}/sources#" in answer.text

    def test_what_is_still_open_is_said(
        self, therapist: TestClient, patient_id: int, start: str
    ) -> None:
        answer = self.preview(therapist, patient_id, start, target="")

        assert answer.status_code == 200
        assert "Still open: Nothing was entered." in answer.text

    def test_without_script_the_form_comes_back_as_typed(
        self, therapist: TestClient, patient_id: int, start: str
    ) -> None:
        url = f"/patients/{patient_id}/goals/preview"
        body = {"start": start, **SAID, "so_that": "get up at night"}
        page = therapist.post(url, data=body).text

        assert field(page, "target") == "12.0"
        assert field(page, "so_that") == "get up at night"
        assert "in order to get up at night." in found(page, "#preview").text()


@pytest.mark.usefixtures("goal")
class TestSigning:
    def test_unsigned_goal_says_so(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        assert "Not signed yet" in told(therapist, patient_id)
        assert "Not signed." in therapist.get(f"/patients/{patient_id}").text

    def test_signing_asks_for_the_passphrase(
        self, therapist: TestClient, site: Site
    ) -> None:
        bare = sign(therapist, passphrase="")
        wrong = sign(therapist, passphrase="something else entirely")

        assert (bare.status_code, wrong.status_code) == (422, 422)
        assert rows(site, GoalRow)[0].signed_at is None
        assert sign(therapist).status_code == 303
        assert rows(site, GoalRow)[0].signed_at is not None

    def test_signed_goal_is_worded_anew_by_nobody(
        self, therapist: TestClient, supervisor: TestClient, start: str, site: Site
    ) -> None:
        version = field(therapist.get("/goals/1").text, "version")
        sign(therapist)
        body = {"start": start, **SAID, "target": "20.0", "version": version}
        for client in (therapist, supervisor):
            answer = client.post("/goals/1/edit", data=body)
            assert answer.status_code != 303
            assert "signed and stays as it reads" in answer.text
        assert rows(site, GoalRow)[0].target_value == "12.0"

    def test_what_changed_meanwhile_is_not_signed(
        self, therapist: TestClient, supervisor: TestClient, start: str, site: Site
    ) -> None:
        body = {"start": start, **SAID, "target": "11.0", "version": "1"}
        assert supervisor.post("/goals/1/edit", data=body).status_code == 303
        answer = sign(therapist, version="1")

        assert answer.status_code == 409
        assert "Somebody else changed this" in answer.text
        assert rows(site, GoalRow)[0].signed_at is None

    def test_two_who_word_it_are_laid_beside_each_other(
        self, therapist: TestClient, supervisor: TestClient, start: str, site: Site
    ) -> None:
        body = {"start": start, **SAID, "version": "1"}
        won = supervisor.post("/goals/1/edit", data=body | {"target": "11.0"})
        lost = therapist.post("/goals/1/edit", data=body | {"target": "10.0"})

        assert (won.status_code, lost.status_code) == (303, 409)
        assert "Changed by Supervisor" in lost.text
        assert field(lost.text, "target") == "10.0"
        assert rows(site, GoalRow)[0].target_value == "11.0"


@pytest.mark.usefixtures("goal")
class TestWho:
    def test_assistant_words_goals_and_signs_none(
        self, sign_in_as: SignIn, site: Site, patient_id: int
    ) -> None:
        with_role(site, patient_id, "helper", "assistant")
        helper = sign_in_as("helper")
        page = helper.get("/goals/1").text

        assert "/goals/1/sign" not in page
        assert "A therapist or a supervisor signs it." in page
        assert sign(helper).status_code == 403
        assert helper.post("/goals/1/scale", data=STEPS).status_code == 403

    def test_student_s_goal_waits_for_a_co_signature(
        self,
        student: TestClient,
        therapist: TestClient,
        site: Site,
        patient_id: int,
        start: str,
    ) -> None:
        with_role(site, patient_id, "student")
        assert set_goal(student, patient_id, start).status_code == 303
        refused = sign(student, 2)
        waits = told(therapist, patient_id)
        assert sign(therapist, 2).status_code == 303

        assert refused.status_code == 403
        assert "Written by Student: waits for a co-signature" in waits
        page = therapist.get("/goals/2").text
        assert "Written by Student, co-signed by Therapist" in page
        assert "co_signed_goal" in {e.deed for e in rows(site, AuditEntry)}

    @pytest.mark.parametrize("who", ["outsider", "colleague", "student"])
    def test_nobody_else_finds_it(
        self, sign_in_as: SignIn, who: str, patient_id: int
    ) -> None:
        client = sign_in_as(who)
        paths = ("/goals/1", "/goals/1/edit", f"/patients/{patient_id}/goals")

        assert [client.get(path).status_code for path in paths] == [404] * 3
        assert client.post("/goals/1/words", data={}).status_code == 404


@pytest.mark.usefixtures("goal")
class TestWay:
    def test_percent_and_target_stand_on_the_page(
        self, therapist: TestClient, patient_id: int, days_later: Later
    ) -> None:
        therapist = days_later(7)
        a_score(therapist, patient_id, "15.7")
        page = therapist.get(f"/patients/{patient_id}/goals").text
        history = therapist.get(f"/patients/{patient_id}/measures/{STANDS}").text

        assert "50 % of the way from 19.4 s to 12.0 s or less" in page
        label = found(page, "svg.tape").attributes["aria-label"]
        assert label == "start 19.4 s, newest 15.7 s, target 12.0 s or less"
        assert "12.0 s: target" in found(page, ".key").text()
        assert "12.0 s: target" in found(history, ".tape-box .key").text()

    def test_other_set_up_cannot_be_told(
        self, therapist: TestClient, patient_id: int, days_later: Later
    ) -> None:
        therapist = days_later(7)
        url = a_round(
            therapist, patient_id, STANDS, variant="single",
            **(SETUP | {"fact-arms_used": "yes"}),
        )  # fmt: skip
        send(therapist, url, typed="12.0")
        page = told(therapist, patient_id)

        assert "Cannot be told" in page
        assert "What differs:" in page
        assert "% of the way" not in page

    def test_voided_start_is_said(self, therapist: TestClient, patient_id: int) -> None:
        void = {"void_reason": "the count was lost"}
        assert therapist.post("/trials/1/void", data=void).status_code == 303

        assert "taken back since" in told(therapist, patient_id)

    def test_brief_has_a_line_and_a_link(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        brief = therapist.get(f"/patients/{patient_id}").text

        assert "1. Get on and off the toilet: 12.0 s or less, by 30 Mar" in brief
        assert f'href="/patients/{patient_id}/goals"' in brief


@pytest.mark.usefixtures("goal")
class TestStanding:
    def say(self, client: TestClient, goal: int = 1, **said: str) -> httpx2.Response:
        body = {"uid": uuid4().hex, **said}
        return client.post(f"/goals/{goal}/words", data=body)

    def test_progressing_takes_its_number_from_the_record(
        self, therapist: TestClient, patient_id: int, days_later: Later, site: Site
    ) -> None:
        therapist = days_later(7)
        key = a_score(therapist, patient_id, "15.7")
        assert self.say(therapist, word="progressing").status_code == 303
        [word] = rows(site, GoalWord)

        assert (word.percent, f"round-{word.round_id}") == (50, key)
        assert word.says.startswith("50 % of the way from 19.4 s")

    def test_on_hold_needs_its_reason(self, therapist: TestClient, site: Site) -> None:
        bare = self.say(therapist, word="on_hold")
        assert bare.status_code == 422
        assert found(bare.text, "#says-error").text() == "Say why it rests."
        assert rows(site, GoalWord) == []
        assert self.say(therapist, word="on_hold", says="ill").status_code == 303

    def test_plateau_needs_two_measures_that_compare(
        self, therapist: TestClient, patient_id: int, days_later: Later, site: Site
    ) -> None:
        early = self.say(therapist, word="plateau")
        therapist = days_later(14)
        a_score(therapist, patient_id, "19.3")
        late = self.say(therapist, word="plateau")
        [word] = rows(site, GoalWord)

        assert (early.status_code, late.status_code) == (422, 303)
        assert word.says == "19.4 s on 2 Mar, 19.3 s on 16 Mar, 14 days apart"

    def test_how_often_is_typed_and_told(
        self, therapist: TestClient, patient_id: int, site: Site
    ) -> None:
        set_goal(therapist, patient_id, **(TIMES | {"base_times": "2"}))
        bare = self.say(therapist, 2, word="progressing")
        said = self.say(therapist, 2, word="progressing", times="3", out_of="5")

        assert (bare.status_code, said.status_code) == (422, 303)
        assert "50 % of the way from 2 of 5 to 4 of 5" in told(therapist, patient_id)
        assert rows(site, GoalWord)[0].percent == 50

    def test_five_taps_are_one_word(self, therapist: TestClient, site: Site) -> None:
        uid = uuid4().hex
        sent = [self.say(therapist, word="not_started", uid=uid) for _ in range(5)]

        assert [a.status_code for a in sent] == [303] * 5
        assert len(rows(site, GoalWord)) == 1


@pytest.mark.usefixtures("goal")
class TestClosing:
    def test_reached_target_is_its_own_evidence(
        self, therapist: TestClient, patient_id: int, days_later: Later, site: Site
    ) -> None:
        sign(therapist)
        assert close(therapist, "met") == 422
        therapist = days_later(7)
        a_score(therapist, patient_id, "11.8")
        assert close(therapist, "met", passphrase="") == 422
        assert close(therapist, "met") == 303
        [row] = rows(site, GoalRow)

        assert row.close_reason.startswith("Reached: 11.8 s on 9 Mar")
        page = therapist.get(f"/patients/{patient_id}/goals").text
        assert "Closed goals (1)" in page
        assert "No open goal" in therapist.get(f"/patients/{patient_id}").text

    @pytest.mark.parametrize("word", ["not_met", "discontinued"])
    def test_other_ends_need_a_reason(
        self, therapist: TestClient, site: Site, word: str
    ) -> None:
        sign(therapist)

        assert close(therapist, word) == 422
        assert rows(site, GoalRow)[0].closed_on is None
        assert close(therapist, word, "went home") == 303
        assert rows(site, GoalRow)[0].close_word == word

    def test_closed_goal_takes_nothing_more(
        self, therapist: TestClient, site: Site
    ) -> None:
        sign(therapist)
        close(therapist, "discontinued", "moved")
        said = {"uid": uuid4().hex, "word": "progressing"}
        answer = therapist.post("/goals/1/words", data=said)
        scale = therapist.post("/goals/1/scale", data=STEPS)

        assert (answer.status_code, scale.status_code) == (409, 409)
        assert "This goal was closed." in answer.text
        assert rows(site, GoalWord) == []

    @pytest.mark.parametrize("word", ["", "upgraded", "lost"])
    def test_only_an_end_closes_it(
        self, therapist: TestClient, site: Site, word: str
    ) -> None:
        sign(therapist)

        assert close(therapist, word, "why not") == 422
        assert rows(site, GoalRow)[0].closed_on is None

    def test_harder_goal_takes_its_place(
        self, therapist: TestClient, patient_id: int, start: str, site: Site
    ) -> None:
        sign(therapist)
        url = f"/patients/{patient_id}/goals/new?instead=1&word=upgraded"
        page = therapist.get(url).text
        assert field(page, "target") == ""
        instead = {"instead": "1", "version": field(page, "version"), "target": "10.0"}
        why = {"word": "upgraded", "reason": "early", "passphrase": PASSPHRASE}
        bare = set_goal(therapist, patient_id, start, **instead)
        done = set_goal(therapist, patient_id, start, **instead, **why)
        old, new = rows(site, GoalRow)

        assert (bare.status_code, done.status_code) == (422, 303)
        assert {"word-error", "reason-error", "passphrase-error"} <= {
            node.attributes["id"] for node in found(bare.text, "main").css(".error")
        }
        assert (old.close_word, old.target_value) == ("upgraded", "12.0")
        assert (new.number, new.replaces_id, new.target_value) == (2, old.id, "10.0")
        assert "In place of goal 1." in told(therapist, patient_id)

    def test_unsigned_goal_is_replaced_by_none(
        self, therapist: TestClient, patient_id: int, start: str
    ) -> None:
        url = f"/patients/{patient_id}/goals/new?instead=1&word=upgraded"

        assert therapist.get(url).status_code == 404
        assert set_goal(therapist, patient_id, start, instead="1").status_code == 404


@pytest.mark.usefixtures("goal")
class TestScale:
    def rate(self, client: TestClient, level: str, goal: int = 1) -> int:
        body = {"uid": uuid4().hex, "level": level}
        return client.post(f"/goals/{goal}/level", data=body).status_code

    def test_t_is_that_of_the_ratings(
        self, therapist: TestClient, patient_id: int, start: str, site: Site
    ) -> None:
        """Two goals of one weight, both +1: 62.4035 (computed from the formula)."""
        set_goal(therapist, patient_id, start, target="11.0")
        one = STEPS | {"weight": "1"}
        for number in (1, 2):
            answer = therapist.post(f"/goals/{number}/scale", data=one)
            assert answer.status_code == 303
            assert self.rate(therapist, "1", number) == 303
        page = therapist.get(f"/patients/{patient_id}/goals/scale").text

        assert found(page, ".value").text() == "62.4"
        assert "over 2 of 2 goals" in page
        assert "Kiresuk &amp; Sherman 1968" in page
        assert len(rows(site, GoalLevel)) == 2

    @pytest.mark.parametrize(
        ("said", "wrong"),
        [
            ({"weight": "0"}, "weight"),
            ({"weight": "-1"}, "weight"),
            ({"weight": "21"}, "weight"),
            ({"expected": ""}, "expected"),
            ({"more": "x" * 161}, "more"),
        ],
    )
    def test_steps_that_cannot_be_are_named(
        self, therapist: TestClient, said: dict[str, str], wrong: str
    ) -> None:
        answer = therapist.post("/goals/1/scale", data=STEPS | said)

        assert answer.status_code == 422
        assert found(answer.text, f"#{wrong}-error").text()
        assert field(answer.text, "much_less") == "two arms and a push"

    def test_rated_steps_stand(self, therapist: TestClient, patient_id: int) -> None:
        therapist.post("/goals/1/scale", data=STEPS)
        assert self.rate(therapist, "3") == 422
        assert self.rate(therapist, "-1") == 303
        again = STEPS | {"expected": "anything", "version": "1"}
        answer = therapist.post("/goals/1/scale", data=again)

        assert answer.status_code == 409
        assert "rated on these steps" in answer.text
        page = therapist.get(f"/patients/{patient_id}/goals/scale").text
        assert "−1, less than expected" in page


def test_every_deed_with_a_goal_has_its_words(
    therapist: TestClient, patient_id: int, start: str, site: Site
) -> None:
    set_goal(therapist, patient_id, start)
    therapist.post("/goals/1/scale", data=STEPS)
    therapist.post("/goals/1/level", data={"uid": uuid4().hex, "level": "0"})
    therapist.post("/goals/1/words", data={"uid": uuid4().hex, "word": "not_started"})
    sign(therapist)
    close(therapist, "discontinued", "moved")
    mine = [e for e in rows(site, AuditEntry) if e.subject.startswith("goal")]

    assert {e.deed for e in mine} == {
        "set_goal", "set_goal_scale", "rated_goal", "said_how_goal_stands",
        "signed_goal", "closed_goal",
    }  # fmt: skip
    assert {e.deed for e in mine} <= DEEDS.keys()
    assert {e.subject for e in mine} <= SUBJECTS.keys()


def test_without_an_episode_there_is_no_goal(
    therapist: TestClient, patient_id: int, start: str
) -> None:
    set_goal(therapist, patient_id, start)
    body = {"version": "1", "end_reason": "goals_met"}
    ends = therapist.get(f"/patients/{patient_id}/episodes").text
    reason = found(ends, "[name=end_reason]").attributes["value"] or ""
    closed = therapist.post("/episodes/1/close", data=body | {"end_reason": reason})

    assert closed.status_code == 303
    page = therapist.get(f"/patients/{patient_id}/goals").text
    assert "Of the last episode" in page
    assert "Set a goal" not in page
    assert set_goal(therapist, patient_id, start).status_code == 404
