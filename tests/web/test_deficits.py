"""What asks for work, on its page and on a result's: found, added, struck, back."""

from uuid import uuid4

import pytest
from selectolax.lexbor import LexborHTMLParser
from sqlmodel import select
from starlette.testclient import TestClient

from app.storage.database import read_session, write_session
from app.storage.episodes import Episode
from app.storage.patients import Patient, PatientFact
from app.web.deficits import DeficitsView, deficits_of
from app.web.deps import Site
from tests.asked import queries
from tests.conftest import Clock, found, person_by
from tests.make import TODAY, ZONE, make_precaution, new_uid
from tests.web.bedside import a_round, done, send

STANDS = "five_times_sit_to_stand"
SLOW = "slow_sit_to_stand"


def page(client: TestClient, patient_id: int) -> str:
    answer = client.get(f"/patients/{patient_id}/deficits")
    assert answer.status_code == 200, answer.text
    return answer.text


def card(html: str, key: str) -> str:
    return " ".join(found(html, f"#{key}").text().split())


def named(html: str) -> list[str]:
    cards = LexborHTMLParser(html).css("#deficits > .card")
    return [str(c.attributes.get("id")) for c in cards if c.attributes.get("id")]


def speak(client: TestClient, patient_id: int, **said: str) -> int:
    url = f"/patients/{patient_id}/deficits"
    data = {"uid": uuid4().hex, "deficit": SLOW, "reason": "knee was sore", **said}
    status: int = client.post(url, data=data).status_code
    return status


def view(site: Site, patient_id: int) -> DeficitsView:
    with read_session(site.engine) as session:
        patient = session.get_one(Patient, patient_id)
        return deficits_of(session, site.catalogue, patient, TODAY, ZONE)


@pytest.fixture
def slow(therapist: TestClient, patient_id: int) -> str:
    """The page of a slow result, and it stands."""
    return done(therapist, patient_id, STANDS, "18.4")


@pytest.mark.usefixtures("slow")
def test_page_says_what_was_measured_and_whose_limit(
    therapist: TestClient, patient_id: int
) -> None:
    html = page(therapist, patient_id)
    said = card(html, SLOW)

    assert "Slow or few stands" in said
    assert "That a result asks for work is common practice" in html
    assert "18.4 s on 2 Mar is above 15.0 s" in said
    assert "(Buatois 2008)" in said


@pytest.mark.usefixtures("slow")
def test_page_leads_to_the_result_and_to_activities(
    therapist: TestClient, patient_id: int
) -> None:
    links = found(page(therapist, patient_id), f"#{SLOW}").css("a")
    hrefs = [str(a.attributes["href"]) for a in links]

    assert therapist.get(hrefs[0]).status_code == 200
    assert hrefs[0].startswith("/rounds/")
    assert f"/patients/{patient_id}/treat?deficit={SLOW}" in hrefs


def test_result_page_names_it_too(slow: str, patient_id: int) -> None:
    section = found(slow, "section[aria-label='What this asks work for']")
    hrefs = [str(a.attributes["href"]) for a in section.css("a")]

    assert "Slow or few stands" in section.text()
    assert "(Buatois 2008)" in section.text()
    assert hrefs == [
        f"/patients/{patient_id}/treat?deficit={SLOW}#{SLOW}",
        f"/patients/{patient_id}/deficits",
    ]


def test_result_that_names_nothing_has_no_card(
    therapist: TestClient, patient_id: int
) -> None:
    html = done(therapist, patient_id, STANDS, "8.1")

    assert "What this asks work for" not in html
    assert named(page(therapist, patient_id)) == []
    said = " ".join(LexborHTMLParser(page(therapist, patient_id)).text().split())
    assert "8.1 s. Not beyond a limit that asks for work; clears nobody." in said


def test_result_of_an_ended_episode_asks_for_nothing(
    slow: str, therapist: TestClient, site: Site, patient_id: int
) -> None:
    with write_session(site.engine) as session:
        episode = session.exec(select(Episode)).one()
        episode.closed_on, episode.end_reason = TODAY, "goals_met"
        session.add(episode)

    url = str(found(slow, "form[action$='/chance']").attributes["action"])
    assert "What this asks work for" in slow
    assert "What this asks work for" not in therapist.get(url[:-7]).text
    assert "No open episode: nothing is looked at." in page(therapist, patient_id)
    assert view(site, patient_id) == DeficitsView(no_episode=True)


def test_did_not_understand_is_no_weakness(
    therapist: TestClient, patient_id: int
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    send(therapist, url, outcome="unable", reason="not_understood")
    html = page(therapist, patient_id)

    assert named(html) == []
    assert "unable, did not understand the task. That is no weakness." in html


def test_needed_help_asks_for_work(therapist: TestClient, patient_id: int) -> None:
    url = a_round(therapist, patient_id, STANDS)
    send(therapist, url, outcome="unable", reason="hands_on_help")

    said = card(page(therapist, patient_id), "unable_rise_without_arms")
    assert "could not be done without hands-on help" in said


def test_task_precaution_and_answers_name_theirs(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    visit = therapist.post(f"/patients/{patient_id}/visit", data={"uid": new_uid()})
    task = {"uid": new_uid(), "task": "dressing_lower", "level": "moderate"}
    therapist.post(f"{visit.headers['location']}/tasks", data=task)
    therapist.post(f"/patients/{patient_id}/pathways/cdc", data={"worried": "yes"})
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        episode = session.exec(select(Episode)).one()
        make_precaution(session, owner, episode, "freezing")
        session.add(PatientFact(patient_id=patient_id, key="fall_history", value="one"))

    html = page(therapist, patient_id)
    assert named(html) == [
        "lb_dressing_dependent", "freezing_gait", "home_hazards", "fear_of_falling",
    ]  # fmt: skip
    assert "moderate (patient does 50 to 74 %)" in card(html, "lb_dressing_dependent")
    assert "That it asks for work: Clemson 2023" in card(html, "home_hazards")
    hrefs = [
        str(found(html, f"#{key} a").attributes["href"]) for key in named(html)
    ]  # fmt: skip
    assert hrefs[0].endswith("#tasks")
    for href in hrefs:
        assert therapist.get(href).status_code == 200, href


@pytest.mark.usefixtures("slow")
class TestWords:
    def test_strike_holds_until_a_newer_result(
        self, therapist: TestClient, site: Site, clock: Clock, patient_id: int
    ) -> None:
        assert speak(therapist, patient_id, word="struck") == 303
        struck = card(page(therapist, patient_id), SLOW)
        assert "Struck by Therapist (therapist) on 2 Mar: knee was sore" in struck
        assert "Activities for this" not in struck
        assert view(site, patient_id).keys == ()

        clock.move(minutes=4)
        done(therapist, patient_id, STANDS, "17.0")
        again = card(page(therapist, patient_id), SLOW)
        assert "Shown again, after it was struck" in again
        assert "17.0 s on 2 Mar" in again
        assert "on 2 Mar, before this: knee was sore" in again
        assert view(site, patient_id).keys == (SLOW,)

    def test_strike_is_taken_back(
        self, therapist: TestClient, site: Site, patient_id: int
    ) -> None:
        speak(therapist, patient_id, word="struck")
        assert speak(therapist, patient_id, word="back", reason="") == 303

        assert view(site, patient_id).keys == (SLOW,)
        assert "knee was sore" not in page(therapist, patient_id)

    def test_added_holds_and_is_taken_back(
        self, therapist: TestClient, site: Site, patient_id: int
    ) -> None:
        added = {"deficit": "fine_motor_slow", "reason": "buttons take minutes"}
        assert speak(therapist, patient_id, word="added", **added) == 303
        said = view(site, patient_id)
        assert said.keys == (SLOW, "fine_motor_slow")
        assert said.because["fine_motor_slow"] == (
            "Added by Therapist (therapist) on 2 Mar: buttons take minutes",
        )

        assert (
            speak(therapist, patient_id, word="back", deficit="fine_motor_slow") == 303
        )
        assert view(site, patient_id).keys == (SLOW,)

    @pytest.mark.parametrize(
        ("said", "why", "field"),
        [
            ({"word": "struck", "reason": ""}, "Say in a few words why.", "reason"),
            ({"word": "added", "deficit": "turn_unsteady", "reason": ""},
             "Say in a few words why.", "reason"),
            ({"word": "added", "deficit": "grumpy"}, "Choose what work", "deficit"),
            ({"word": "added", "deficit": "turn_unsteady", "reason": "x" * 301},
             "At most 300 letters.", "reason"),
        ],
    )  # fmt: skip
    def test_refused_beside_its_field_with_all_that_was_typed(
        self, therapist: TestClient, patient_id: int,
        said: dict[str, str], why: str, field: str,
    ) -> None:  # fmt: skip
        data = {"uid": new_uid(), "deficit": SLOW, "reason": "knee was sore", **said}
        answer = therapist.post(f"/patients/{patient_id}/deficits", data=data)

        assert answer.status_code == 422
        assert why in found(answer.text, f"#{field}-error").text()
        if said["word"] == "added":
            chosen = LexborHTMLParser(answer.text).css("#deficit option[selected]")
            typed = found(answer.text, "#add #reason").attributes["value"]
            assert [o.attributes["value"] for o in chosen] == [
                d for d in [data["deficit"]] if d != "grumpy"
            ]
            assert (typed or "") == data["reason"]

    def test_word_that_no_form_sends_is_a_problem(
        self, therapist: TestClient, site: Site, patient_id: int
    ) -> None:
        assert speak(therapist, patient_id, word="perhaps") in (400, 422)
        assert view(site, patient_id).keys == (SLOW,)

    def test_student_of_a_real_patient_does_not_see_them(
        self, student: TestClient, outsider: TestClient, patient_id: int
    ) -> None:
        for client in (student, outsider):
            assert client.get(f"/patients/{patient_id}/deficits").status_code == 404
            assert speak(client, patient_id, word="added") == 404

    def test_supervisor_may_strike(
        self, supervisor: TestClient, site: Site, patient_id: int
    ) -> None:
        assert speak(supervisor, patient_id, word="struck") == 303
        assert view(site, patient_id).keys == ()

    def test_what_could_name_somebody_is_doubted(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        data = {"uid": new_uid(), "deficit": "turn_unsteady", "word": "added",
                "reason": "daughter Anna says so"}  # fmt: skip
        answer = therapist.post(f"/patients/{patient_id}/deficits", data=data)

        assert answer.status_code == 200
        assert "could tell who somebody is" in answer.text


def test_many_results_cost_no_more_questions(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    def asked() -> int:
        with read_session(site.engine) as session:
            patient = session.get_one(Patient, patient_id)
            with queries(site.engine) as seen:
                deficits_of(session, site.catalogue, patient, TODAY, ZONE)
        return len(seen)

    done(therapist, patient_id, STANDS, "18.4")
    before = asked()
    for test in ("timed_up_and_go", "single_leg_stance", "tandem_stance"):
        done(therapist, patient_id, test, "9.0", "9.0", "9.0")

    assert asked() == before
    assert before <= 12
