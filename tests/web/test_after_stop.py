"""After "Stop - make safe": what holds until it was answered and looked into."""

from collections.abc import Callable

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from app.clinical.visiting import EXIT_LIST
from app.storage.database import read_session
from app.storage.episodes import Visit
from app.web.after_stop import NOT_SAID, STATEMENT
from app.web.deps import Site
from app.web.set_form import NOTHING
from tests.conftest import Clock, found
from tests.make import NOW
from tests.web.bedside import a_round
from tests.web.bedside import send as send_trial
from tests.web.test_home_sheets import but as sheet_but
from tests.web.test_home_sheets import offered, url_of
from tests.web.test_sets import HTMX, card_of, kept, send

SignIn = Callable[[str], TestClient]
SAVE = ".thumb [value=done]"


@pytest.fixture
def card(patient_id: int) -> str:
    return card_of(patient_id, "S04")


def told(client: TestClient, card: str, query: str = "") -> str:
    html = client.get(f"{card}{query}").text
    return found(html, "#set [name=told_stops]").attributes["value"] or ""


def stop(client: TestClient, site: Site, card: str, **noted: str) -> str:
    """A set stopped for safety, with what was noted after it; its address."""
    assert send(client, card, outcome="stopped", grade="20").status_code == 303
    path = f"/sets/{kept(site)[-1].id}"
    if "what" in noted:
        what = {"what": noted["what"]}
        assert client.post(f"{path}/safety", data=what).status_code == 303
    if "symptom" in noted:
        felt = {"asked": "details", "symptom": noted["symptom"]}
        assert client.post(f"{path}/safety", data=felt).status_code == 303
    return path


class TestGoingOn:
    def test_set_needs_the_statement_and_keeps_it(
        self, therapist: TestClient, site: Site, card: str
    ) -> None:
        stop(therapist, site, card)
        html = therapist.get(card).text
        assert "required" in found(html, "#set [name=after_stop]").attributes
        assert STATEMENT in found(html, "#set").text()
        assert "plain" in (found(html, SAVE).attributes["class"] or "")

        shown = told(therapist, card)
        refused = send(therapist, card, reps="7", told_stops=shown)
        assert refused.status_code == 422
        assert NOT_SAID in found(refused.text, "#after_stop-error").text()
        assert found(refused.text, "[name=reps], [name=holds_s]")
        assert len(kept(site)) == 1
        taken = send(therapist, card, reps="7", told_stops=shown, after_stop="yes")
        assert taken.status_code == 303
        assert (kept(site)[-1].after_stop, kept(site)[-1].against) == (True, "")
        assert "said to be well enough to go on" in therapist.get(card).text

    def test_stop_of_another_activity_or_test_holds_too(
        self, therapist: TestClient, site: Site, patient_id: int, card: str
    ) -> None:
        url = a_round(therapist, patient_id, "five_times_sit_to_stand")
        send_trial(therapist, url, outcome="stopped")
        assert told(therapist, card).startswith("trial-")
        stop(therapist, site, card_of(patient_id, "S01"))

        shown = told(therapist, card)
        assert len(shown.split()) == 2
        assert send(therapist, card, reps="7", told_stops=shown).status_code == 422

    def test_card_from_before_the_stop_loses_nothing_and_is_looked_into(
        self, therapist: TestClient, site: Site, patient_id: int, card: str
    ) -> None:
        stop(therapist, site, card)
        assert send(therapist, card, reps="7").status_code == 303
        assert kept(site)[-1].against == "open_stop"
        words = "Done against a stop for safety of that day"
        assert words in therapist.get(card).text
        assert words in therapist.get(f"/patients/{patient_id}").text

    def test_set_done_before_the_stop_is_not_marked(
        self, therapist: TestClient, site: Site, card: str, clock: Clock
    ) -> None:
        before = str(int(NOW.timestamp() * 1000))
        clock.move(minutes=5)
        stop(therapist, site, card)
        assert send(therapist, card, reps="7", taken_at=before).status_code == 303
        assert kept(site)[-1].against == ""

    def test_holds_until_noted_and_looked_into(
        self, therapist: TestClient, site: Site, card: str
    ) -> None:
        path = stop(therapist, site, card)
        therapist.post(f"{path}/seen")
        assert 'name="after_stop"' in therapist.get(card).text
        therapist.post(f"{path}/safety", data={"what": "seated"})
        html = therapist.get(card).text
        assert 'name="after_stop"' not in html
        assert "plain" not in (found(html, SAVE).attributes["class"] or "")

    def test_next_day_and_a_slip_hold_nothing(
        self, sign_in_as: SignIn, site: Site, card: str, clock: Clock
    ) -> None:
        path = stop(sign_in_as("therapist"), site, card)
        clock.move(days=1)
        client = sign_in_as("therapist")
        assert 'name="after_stop"' not in client.get(card).text
        clock.move(days=-1)
        client = sign_in_as("therapist")
        assert 'name="after_stop"' in client.get(card).text
        client.post(f"{path}/void", data={"void_reason": "saved by mistake"})
        assert 'name="after_stop"' not in client.get(card).text

    @pytest.mark.parametrize("what", ["fell", "lowered"])
    def test_fall_procedure_stands_in_place_of_the_form(
        self, therapist: TestClient, site: Site, card: str, what: str
    ) -> None:
        stop(therapist, site, card, what=what)
        html = therapist.get(card).text
        assert "The fall procedure comes first" in html
        assert 'name="grade"' not in html
        assert "Save this set" not in html
        assert "Stop - make safe" in html
        link = found(html, ".after-fall.now a").attributes["href"] or ""
        on = therapist.get(link.partition("#")[0]).text
        assert 'name="grade"' in on
        assert "required" in found(on, "#set [name=after_stop]").attributes
        shown = told(therapist, card, "?on=yes")
        refused = send(therapist, card, reps="7", told_stops=shown, headers=HTMX)
        assert refused.status_code == 422
        assert found(refused.text, "#after_stop-error")


class TestLastTime:
    def test_card_says_the_stop_and_each_grade(
        self, sign_in_as: SignIn, site: Site, card: str, clock: Clock
    ) -> None:
        client = sign_in_as("therapist")
        for grade in ("15", "15", "20"):
            send(client, card, reps="8", grade=grade)
        stop(client, site, card, what="seated", symptom="dizzy")
        clock.move(days=1)

        line = found(sign_in_as("therapist").get(card).text, "#work").text()
        assert "2 x 8 repetitions at" in line
        assert "; 8 repetitions at" in line
        assert "stopped for safety: seated, dizzy" in line

    def test_treat_page_never_says_go_on(
        self, sign_in_as: SignIn, site: Site, patient_id: int, card: str, clock: Clock
    ) -> None:
        client = sign_in_as("therapist")
        send(client, card, reps="8", grade="15")
        treat = f"/patients/{patient_id}/treat"
        assert "go on at" in found(client.get(treat).text, "#S04").text()
        stop(client, site, card, what="seated", symptom="dizzy")
        clock.move(days=1)

        said = found(sign_in_as("therapist").get(treat).text, "#S04").text()
        assert "stopped for safety: seated, dizzy" in said
        assert "go on at" not in said


class TestEmpty:
    def test_nothing_counted_is_asked_about(
        self, therapist: TestClient, site: Site, card: str
    ) -> None:
        refused = send(therapist, card, level="contact", note="steady")
        assert refused.status_code == 422
        assert found(refused.text, "#uncounted-error").text() == NOTHING
        assert found(refused.text, "[name=note]").attributes["value"] == "steady"
        assert kept(site) == []
        assert send(therapist, card, uncounted="yes").status_code == 303

    @pytest.mark.parametrize(
        "said",
        [
            {"reps": "0"}, {"errors": "0"}, {"holds_s": "10"}, {"time_s": "4"},
            {"distance": "9"}, {"effort": "3"},
        ],
    )  # fmt: skip
    def test_anything_counted_is_enough(
        self, therapist: TestClient, card: str, said: dict[str, str]
    ) -> None:
        assert send(therapist, card, **said).status_code == 303

    def test_stop_and_no_are_never_asked(
        self, therapist: TestClient, card: str
    ) -> None:
        assert send(therapist, card, outcome="declined").status_code == 303
        assert send(therapist, card, outcome="stopped").status_code == 303


class TestHome:
    def test_stopped_activity_stays_off_until_a_day_without(
        self, sign_in_as: SignIn, site: Site, patient_id: int, card: str, clock: Clock
    ) -> None:
        client, url = sign_in_as("therapist"), url_of(patient_id)
        send(client, card, reps="8", grade="20")
        assert "S04" in offered(client.get(url).text)
        path = stop(client, site, card, what="seated", symptom="dizzy")
        html = client.get(url).text
        assert "S04" not in offered(html)
        assert "Stopped for safety on 2 Mar: seated, dizzy." in html
        assert f'href="{path}/safety"' in html
        refused = client.post(url, data=sheet_but())
        assert refused.status_code == 422
        assert "safety on 2 Mar" in found(refused.text, "#activity-error").text()
        back = client.post(f"{path}/seen", data={"back": "home_sheet"})
        assert back.headers["location"] == url
        assert "S04" not in offered(client.get(url).text)

        clock.move(days=1)
        client = sign_in_as("therapist")
        send(client, card, reps="8", grade="20")
        assert "S04" in offered(client.get(url).text)


class TestClosing:
    def close_ready(self, client: TestClient, visit: str) -> None:
        exits = {f"exit-{item}": "done" for item in EXIT_LIST}
        exits |= {"exit-strip": "removed", "exit-hand_off": "nurse"}
        assert client.post(f"{visit}/exit", data=exits).status_code == 303

    def visit(self, client: TestClient, site: Site, card: str) -> tuple[str, str]:
        path = stop(client, site, card)
        visit = f"/visits/{kept(site)[-1].visit_id}"
        self.close_ready(client, visit)
        return path, visit

    def test_needs_what_followed_the_stop(
        self, therapist: TestClient, site: Site, card: str
    ) -> None:
        path, visit = self.visit(therapist, site, card)
        refused = therapist.post(f"{visit}/close")
        assert refused.status_code == 422
        said = found(refused.text, "#close-error").text()
        assert "what followed the stop for safety" in said
        assert found(refused.text, f'#exit a[href="{path}/safety"]')
        assert "Stopped for safety: Unsupported sitting" in refused.text
        therapist.post(f"{path}/safety", data={"what": "seated"})
        assert therapist.post(f"{visit}/close").status_code == 303

    def test_reason_closes_it_and_a_supervisor_sees_that(
        self, therapist: TestClient, supervisor: TestClient, site: Site, card: str
    ) -> None:
        _, visit = self.visit(therapist, site, card)
        why = {"without": "alarm next door"}
        assert therapist.post(f"{visit}/close", data=why).status_code == 303
        with read_session(site.engine) as session:
            assert session.exec(select(Visit.left_without)).one() == why["without"]
        assert "I have looked into this" in supervisor.get(visit).text

    def test_slip_does_not_hold_it(
        self, therapist: TestClient, site: Site, card: str
    ) -> None:
        path, visit = self.visit(therapist, site, card)
        therapist.post(f"{path}/void", data={"void_reason": "saved by mistake"})
        assert therapist.post(f"{visit}/close").status_code == 303
