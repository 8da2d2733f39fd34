"""The home sheet: made after a teach-back, names nobody, goes when an order comes."""

from collections.abc import Callable

import pytest
from selectolax.lexbor import LexborHTMLParser
from sqlmodel import select
from starlette.testclient import TestClient

from app.clinical import home_sheet as words
from app.storage.activity_sets import SetBody, record_set
from app.storage.database import read_session, write_session
from app.storage.episodes import open_episode
from app.storage.home_sheets import HomeSheet, HomeSheetItem
from app.storage.patients import Patient, PatientDetails, edit_patient
from app.storage.plans import PlanLine, write_plan
from app.storage.responsible import assign
from app.web.deps import Site
from tests.conftest import found, person_by, undrawn
from tests.make import make_precaution, make_visit, new_uid

SignIn = Callable[[str], TestClient]
SAID = {
    "helper": "family",
    "home_change": "rugs",
    "activity": ["S04", "T02"],
    "grade-S04": "20", "sets-S04": "2", "times-S04": "5", "taught-S04": "yes",
    "grade-T02": "1", "sets-T02": "1", "times-T02": "3", "taught-T02": "yes",
}  # fmt: skip


def url_of(patient_id: int) -> str:
    return f"/patients/{patient_id}/home-sheet"


def but(**changed: object) -> dict[str, object]:
    return {
        **SAID,
        "uid": new_uid(),
        **{k.replace("_of_", "-"): v for k, v in changed.items()},
    }


def make(client: TestClient, patient_id: int, **changed: object) -> str:
    """A sheet made; its address."""
    answer = client.post(url_of(patient_id), data=but(**changed))
    assert answer.status_code == 303, answer.text
    return answer.headers["location"]


def ordered(site: Site, patient_id: int, tag: str) -> None:
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        episode = open_episode(session, session.get_one(Patient, patient_id))
        make_precaution(session, owner, episode, tag)


def sheets(site: Site) -> int:
    with read_session(site.engine) as session:
        return len(session.exec(select(HomeSheet)).all())


def offered(html: str) -> list[str]:
    boxes = LexborHTMLParser(html).css("input[name=activity]")
    return [box.attributes["value"] or "" for box in boxes]


class TestMaking:
    def test_page_says_why_exercise_alone_is_not_enough(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        html = therapist.get(url_of(patient_id)).text

        assert "odds ratio 1.74" in html
        assert "Review, PMC7206858 · read in the paper" in html
        assert "The counted strip leaves with you" in html

    def test_what_was_done_comes_first_at_its_last_grade(
        self, site: Site, therapist: TestClient, patient_id: int
    ) -> None:
        with write_session(site.engine) as session:
            owner = person_by(session, "therapist")
            episode = open_episode(session, session.get_one(Patient, patient_id))
            visit = make_visit(session, owner, episode)
            for activity, grade in (("U04", "16"), ("S04", "25"), ("T01", "12")):
                record_set(
                    session, owner, visit, activity, uid=new_uid(),
                    body=SetBody(grade=grade), at=site.clock(), now=site.clock(),
                )  # fmt: skip
        html = therapist.get(url_of(patient_id)).text

        assert set(offered(html)[:2]) == {"S04", "U04"}
        assert found(html, "#grade-S04").attributes["value"] == "25"
        assert "T01" not in offered(html)

    def test_what_is_planned_stands_among_the_first(
        self, site: Site, therapist: TestClient, patient_id: int
    ) -> None:
        with write_session(site.engine) as session:
            owner = person_by(session, "therapist")
            episode = open_episode(session, session.get_one(Patient, patient_id))
            write_plan(
                session, owner, episode, site.clock().date(),
                [PlanLine("U02", "8", 2, 6)], uid=new_uid(), version=0,
                now=site.clock(),
            )  # fmt: skip

        assert offered(therapist.get(url_of(patient_id)).text)[0] == "U02"

    def test_what_may_not_go_home_says_why(
        self, site: Site, therapist: TestClient, patient_id: int
    ) -> None:
        ordered(site, patient_id, "nwb_le")
        html = therapist.get(url_of(patient_id)).text

        assert "<b>Clock-direction stepping.</b> With a therapist only." in html
        assert "Order in force: Leg: non-weight-bearing." in html
        assert "T02" not in offered(html)
        assert "S04" in offered(html)

    def test_sheet_is_made_and_kept(
        self, site: Site, therapist: TestClient, patient_id: int
    ) -> None:
        address = make(therapist, patient_id)
        with read_session(site.engine) as session:
            items = session.exec(select(HomeSheetItem)).all()
            kept = [(i.activity, i.grade, i.sets, i.times_a_week) for i in items]

        assert kept == [("S04", "20", 2, 5), ("T02", "1", 1, 3)]
        assert therapist.get(address).status_code == 200

    def test_same_form_twice_makes_one(
        self, site: Site, therapist: TestClient, patient_id: int
    ) -> None:
        said = but()
        first, again = (
            therapist.post(url_of(patient_id), data=said).headers["location"]
            for _ in range(2)
        )

        assert first == again
        assert sheets(site) == 1

    @pytest.mark.parametrize(
        ("changed", "field", "says"),
        [
            ({"taught_of_S04": ""}, "taught-S04", "showed it back"),
            ({"taught_of_T02": "no"}, "taught-T02", "showed it back"),
            ({"helper": ""}, "helper", "Say who helps"),
            ({"helper": "neighbour"}, "helper", "Say who helps"),
            ({"home_change": ""}, "home_change", "one change at home"),
            ({"home_change": "other"}, "change_words", "up to 120"),
            (
                {"home_change": "other", "change_words": "x" * 121},
                "change_words", "up to 120",
            ),
            ({"activity": []}, "activity", "at least one"),
            ({"activity": ["S04", "XX"]}, "activity", "from the list"),
            ({"activity": ["S01", "S02", "S03", "S04", "C04"]}, "activity", "At most"),
            ({"activity": ["T01"]}, "activity", "With a therapist only"),
            ({"times_of_S04": ""}, "times-S04", "from 1 to 14"),
            ({"sets_of_S04": "10"}, "sets-S04", "from 1 to 9"),
            ({"grade_of_S04": "a lot"}, "grade-S04", "A number from"),
            ({"grade_of_T02": "40"}, "grade-T02", "A number from"),
        ],
        ids=lambda v: v if isinstance(v, str) and " " not in v else "",
    )  # fmt: skip
    def test_what_is_missing_is_said_beside_its_field(
        self,
        site: Site,
        therapist: TestClient,
        patient_id: int,
        changed: dict[str, object],
        field: str,
        says: str,
    ) -> None:
        answer = therapist.post(url_of(patient_id), data=but(**changed))

        assert answer.status_code == 422
        assert says in found(answer.text, f'[id="{field}-error"]').text()
        assert sheets(site) == 0

    def test_everything_typed_is_kept(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        said = but(helper="", home_change="other", change_words="a lamp by the bed")
        html = therapist.post(url_of(patient_id), data=said | {"sets-T02": ""}).text

        assert found(html, "#change_words").attributes["value"] == "a lamp by the bed"
        assert found(html, "#grade-S04").attributes["value"] == "20"
        assert found(html, "#sets-T02").attributes["value"] == ""
        ticked = LexborHTMLParser(html).css("input[type=checkbox][checked]")
        assert {(t.attributes["name"], t.attributes["value"]) for t in ticked} == {
            ("activity", "S04"), ("activity", "T02"),
            ("taught-S04", "yes"), ("taught-T02", "yes"),
        }  # fmt: skip

    def test_rung_is_chosen_by_its_words(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        said = but(activity=["B01"], taught_of_B01="yes", sets_of_B01="3",
                   times_of_B01="7", grade_of_B01="3")  # fmt: skip
        half = therapist.post(url_of(patient_id), data=said | {"grade-B01": "2.5"})
        sheet = therapist.post(url_of(patient_id), data=said).headers["location"]

        assert half.status_code == 422
        assert "Feet touching." in therapist.get(sheet).text

    def test_words_that_may_name_somebody_are_asked_about(
        self, site: Site, therapist: TestClient, patient_id: int
    ) -> None:
        said = but(home_change="other", change_words="wife Anna lifts the rug")
        asked = therapist.post(url_of(patient_id), data=said)

        assert asked.status_code == 422
        assert "looks like a name" in found(asked.text, "#change_words-error").text()
        assert found(asked.text, "input[name=sure]")
        assert sheets(site) == 0
        sure = therapist.post(url_of(patient_id), data=said | {"sure": "yes"})
        assert sure.status_code == 303

    def test_order_that_came_meanwhile_blocks_it(
        self, site: Site, therapist: TestClient, patient_id: int
    ) -> None:
        ordered(site, patient_id, "ttwb_le")
        answer = therapist.post(url_of(patient_id), data=but())

        assert answer.status_code == 422
        assert "toe-touch" in found(answer.text, "#activity-error").text()

    @pytest.mark.parametrize("tag", ["ligature_risk", "entanglement"])
    def test_no_strip_is_left_where_it_could_hurt(
        self, site: Site, therapist: TestClient, patient_id: int, tag: str
    ) -> None:
        ordered(site, patient_id, tag)
        html = therapist.get(url_of(patient_id)).text

        assert not {"C01", "C02", "U03"} & set(offered(html))
        assert "T02" in offered(html)
        assert "no strip is left or handed over" in html


class TestSheet:
    def test_it_says_what_how_often_with_whom_and_when_to_stop(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        html = therapist.get(make(therapist, patient_id)).text
        paper = found(html, "article.home-sheet")
        text = " ".join(paper.text().split())

        assert "2 sets, 5 times a week." in text
        assert "1 set, 3 times a week." in text
        assert "only with a family member who was shown how" in text
        assert "Take up loose rugs and mats." in text
        assert "Never put it round a neck." in text
        assert "It is for no one else." in text
        for sign in (*words.CALL_NOW[1], *words.CALL_US[1]):
            assert sign in text
        assert len(paper.css("ol")) == 2
        drawn = paper.css("svg[role=img] title")
        assert drawn
        assert "36 in" in " ".join(t.text() for t in paper.css("svg text"))

    def test_it_promises_nothing(self, therapist: TestClient, patient_id: int) -> None:
        text = found(therapist.get(make(therapist, patient_id)).text, "article").text()

        for promise in ("will get better", "prevent", "safe to", "guarantee", "cure"):
            assert promise not in text.lower()

    def test_it_names_nobody(
        self, site: Site, therapist: TestClient, patient_id: int
    ) -> None:
        with write_session(site.engine) as session:
            patient = session.get_one(Patient, patient_id)
            edit_patient(
                session, person_by(session, "therapist"), patient.id,
                PatientDetails("Blue 7", birth_year=1948, sex="female",
                               full_name="Invented Person", record_number="777123"),
                version=patient.version, now=site.clock(),
            )  # fmt: skip
        html = therapist.get(make(therapist, patient_id)).text
        paper = found(html, "article.home-sheet").html or ""

        for told in ("Blue 7", "1948", "Invented Person", "777123", "walks less"):
            assert told not in undrawn(html)
        for name in ("Therapist", "Supervisor", "Colleague"):
            assert name not in paper
        assert f"/patients/{patient_id}" not in paper

    def test_words_of_the_therapist_to_herself_are_not_on_it(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        said = but(activity=["R04"], taught_of_R04="yes", sets_of_R04="1",
                   times_of_R04="3", grade_of_R04="2")  # fmt: skip
        address = therapist.post(url_of(patient_id), data=said).headers["location"]
        text = found(therapist.get(address).text, "article.home-sheet").text()

        assert "by the therapist at" not in text

    def test_order_set_later_takes_the_paper_away(
        self, site: Site, therapist: TestClient, patient_id: int
    ) -> None:
        address = make(therapist, patient_id)
        ordered(site, patient_id, "nwb_le")
        html = therapist.get(address).text
        brief = therapist.get(f"/patients/{patient_id}").text

        assert not LexborHTMLParser(html).css("article.home-sheet")
        assert "It must be taken back" in html
        assert "Order in force: Leg: non-weight-bearing." in html
        assert found(html, f'a.btn[href="{url_of(patient_id)}"]')
        assert "Take back the home sheet of 2 Mar." in found(brief, "main").text()
        assert "Order in force: Leg: non-weight-bearing." in brief

    def test_sheet_taken_back_is_no_paper_any_more(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        address = make(therapist, patient_id)
        assert therapist.post(f"{address}/end").status_code == 303
        html = therapist.get(address).text
        brief = therapist.get(f"/patients/{patient_id}").text

        assert "Taken back on 2 Mar." in html
        assert not LexborHTMLParser(html).css("article.home-sheet")
        assert found(brief, f'a[href="{url_of(patient_id)}"]').text() == "Home sheet"

    def test_new_one_takes_its_place(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        first = make(therapist, patient_id)
        assert "A new one takes its place" in therapist.get(url_of(patient_id)).text
        second = make(therapist, patient_id, helper="friend")

        assert "Taken back on" in therapist.get(first).text
        assert "a friend" in therapist.get(second).text

    def test_brief_links_to_the_sheet_at_home(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        address = make(therapist, patient_id)
        brief = therapist.get(f"/patients/{patient_id}").text

        assert found(brief, f'a[href="{address}"]').text() == "Home sheet of 2 Mar"


class TestWho:
    def test_others_find_no_page_and_no_sheet(
        self, sign_in_as: SignIn, therapist: TestClient, patient_id: int
    ) -> None:
        address = make(therapist, patient_id)
        for who in ("colleague", "student", "outsider"):
            other = sign_in_as(who)
            assert other.get(url_of(patient_id)).status_code == 404
            assert other.post(url_of(patient_id), data=but()).status_code == 404
            assert other.get(address).status_code == 404
            assert other.post(f"{address}/end").status_code == 404

    def test_supervisor_may_make_one(
        self, supervisor: TestClient, patient_id: int
    ) -> None:
        assert make(supervisor, patient_id)

    def test_student_sees_why_they_cannot(
        self, site: Site, sign_in_as: SignIn, therapist: TestClient, patient_id: int
    ) -> None:
        address = make(therapist, patient_id)
        with write_session(site.engine) as session:
            owner, student = (person_by(session, p) for p in ("therapist", "student"))
            patient = session.get_one(Patient, patient_id)
            assign(session, owner, patient, student, now=site.clock())
        student_page = sign_in_as("student")
        html = student_page.get(url_of(patient_id)).text

        assert "A student cannot hand over a sheet" in html
        assert offered(html) == []
        assert student_page.post(url_of(patient_id), data=but()).status_code == 403
        assert student_page.post(f"{address}/end").status_code == 403
        assert "I took this sheet back" not in student_page.get(address).text
        assert sheets(site) == 1
