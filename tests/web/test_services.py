"""Minutes by service on a visit, the day's units, and the supervisor's own list."""

from collections.abc import Callable, Iterator

import pytest
from fastapi import FastAPI
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.settings import Settings
from app.storage.audit import AuditEntry
from app.storage.database import read_session, write_session
from app.storage.patients import Patient
from app.storage.responsible import assign
from app.storage.services import Service, ServiceMinutes, UnitChoice
from app.web.deps import Site
from tests.conftest import Clock, client_of, found, person_by, running
from tests.make import make_person, make_service
from tests.web.test_visits import LEFT_ROOM, begin, put

STANDING, SELF_CARE, GROUP = "service-1", "service-2", "service-3"


def name_three(site: Site) -> None:
    """Two timed services and an untimed one, by invented names."""
    with write_session(site.engine) as session:
        supervisor = person_by(session, "supervisor")
        make_service(session, supervisor, "Standing work")
        make_service(session, supervisor, "Self-care")
        make_service(session, supervisor, "Group hour", timed=False)


@pytest.fixture
def named(site: Site) -> None:
    name_three(site)


@pytest.fixture
def visit(therapist: TestClient, patient_id: int, site: Site) -> str:
    name_three(site)
    return begin(therapist, patient_id)


def card(client: TestClient, visit: str) -> str:
    text = found(client.get(visit).text, "#services").text()
    return " ".join(text.split())


def wait(clock: Clock, client: TestClient, visit: str, minutes: int) -> None:
    """Time passes with a touch now and then, so that the sign-in does not lock."""
    for _ in range(0, minutes, 4):
        clock.move(minutes=min(4, minutes))
        minutes -= 4
        client.get(visit)


def stored(site: Site) -> dict[int, int]:
    with read_session(site.engine) as session:
        return {r.service_id: r.minutes for r in session.exec(select(ServiceMinutes))}


def deeds(site: Site) -> list[str]:
    with read_session(site.engine) as session:
        rows = session.exec(select(AuditEntry).order_by(col(AuditEntry.id)))
        return [row.deed for row in rows]


class TestVisit:
    def test_minutes_become_units_with_their_working(
        self, therapist: TestClient, visit: str, site: Site
    ) -> None:
        said = {STANDING: "24", SELF_CARE: "23", GROUP: "10"}
        assert put(therapist, visit, "services", **said) == 303
        text = card(therapist, visit)

        assert stored(site) == {1: 24, 2: 23, 3: 10}
        assert "47 timed minutes: 3 units; Self-care 1, Standing work 2." in text
        assert "Timed 47 min, treatment in all 57 min." in text
        assert "Standing work: 24 min, 1 x 15 and 9 left; 2 units" in text
        assert "chapter 5, section 20.2" in text
        assert "as a coding publisher quotes them" in text
        assert "Check your payer's rule" in text

    def test_both_totals_stand_in_the_timeline(
        self, therapist: TestClient, visit: str
    ) -> None:
        put(therapist, visit, "services", **{STANDING: "24", GROUP: "10"})
        told = found(therapist.get(visit).text, "#timeline").text()

        said = "Timed 24 min, treatment in all 34 min: Group hour 10 min, Standing"
        assert said in told

    def test_site_without_services_sees_none_of_it(
        self, therapist: TestClient, patient_id: int
    ) -> None:
        page = therapist.get(begin(therapist, patient_id)).text

        assert 'id="minutes"' in page
        assert 'id="services"' not in page

    def test_minutes_are_replaced_and_emptied(
        self, therapist: TestClient, visit: str, site: Site
    ) -> None:
        put(therapist, visit, "services", **{STANDING: "24", SELF_CARE: "23"})
        put(therapist, visit, "services", **{STANDING: "7"})
        again = put(therapist, visit, "services", **{STANDING: "7", GROUP: "0"})

        assert again == 303
        assert stored(site) == {1: 7}
        assert "7 timed minutes: 0 units." in card(therapist, visit)
        assert deeds(site).count("set_service_minutes") == 2

    @pytest.mark.parametrize("wrong", ["x", "601", "-1", "7.5"])
    def test_bad_minutes_are_named_and_all_typed_is_kept(
        self, therapist: TestClient, visit: str, site: Site, wrong: str
    ) -> None:
        sent = {STANDING: wrong, SELF_CARE: "23"}
        answer = therapist.post(f"{visit}/services", data=sent)

        assert answer.status_code == 422
        assert "whole number" in found(answer.text, f"#{STANDING}-error").text()
        assert found(answer.text, f"#{STANDING}").attributes["value"] == wrong
        assert found(answer.text, f"#{SELF_CARE}").attributes["value"] == "23"
        assert found(answer.text, "#services details[open]")
        assert stored(site) == {}

    def test_pauses_are_in_neither_total(
        self, therapist: TestClient, visit: str, clock: Clock
    ) -> None:
        wait(clock, therapist, visit, 25)
        put(therapist, visit, "pause", reason="toilet")
        wait(clock, therapist, visit, 5)
        put(therapist, visit, "resume")
        put(therapist, visit, "services", **{STANDING: "25"})

        text = card(therapist, visit)
        assert "Timed 25 min, treatment in all 25 min." in text
        assert "5 min of this visit were paused: in neither." in text
        assert "Check which is right" not in text

    def test_it_is_said_when_minutes_do_not_add_up(
        self, therapist: TestClient, visit: str, clock: Clock
    ) -> None:
        wait(clock, therapist, visit, 30)
        put(therapist, visit, "services", **{STANDING: "31"})
        by_clock = card(therapist, visit)
        put(therapist, visit, "minutes", individual_minutes="20", group_minutes="9")
        by_hand = card(therapist, visit)
        put(therapist, visit, "services", **{STANDING: "20", GROUP: "9"})

        assert "The services come to 31 min, the clock to 30." in by_clock
        assert "The services come to 31 min, the minutes above to 29." in by_hand
        assert "Check which is right" not in card(therapist, visit)

    def test_less_than_the_clock_is_said_once_closed(
        self, therapist: TestClient, visit: str, clock: Clock
    ) -> None:
        wait(clock, therapist, visit, 30)
        put(therapist, visit, "services", **{STANDING: "20"})
        going_on = card(therapist, visit)
        put(therapist, visit, "exit", all="done", **LEFT_ROOM)
        assert put(therapist, visit, "close") == 303

        assert "Check which is right" not in going_on
        closed = card(therapist, visit)
        assert "The services come to 20 min, the clock to 30." in closed

    def test_closed_visit_keeps_its_minutes(
        self, therapist: TestClient, visit: str, site: Site
    ) -> None:
        put(therapist, visit, "services", **{STANDING: "20", SELF_CARE: "20"})
        put(therapist, visit, "exit", all="done", **LEFT_ROOM)
        put(therapist, visit, "close")
        late = therapist.post(f"{visit}/services", data={STANDING: "40"})
        choice = therapist.post(f"{visit}/units", data={"unit": "1"})

        assert (late.status_code, choice.status_code) == (422, 422)
        assert "The visit is closed" in found(late.text, "#services .error").text()
        assert stored(site) == {1: 20, 2: 20}
        assert "save" not in card(therapist, visit).lower()


class TestTie:
    @pytest.fixture
    def tied(self, therapist: TestClient, visit: str) -> str:
        put(therapist, visit, "services", **{STANDING: "20", SELF_CARE: "20"})
        return visit

    def test_tie_is_asked_and_never_decided(
        self, therapist: TestClient, tied: str
    ) -> None:
        page = therapist.get(tied).text
        text = card(therapist, tied)

        assert "3 units; Self-care 1, Standing work 1, 1 to give." in text
        assert "1 unit is left, and 2 services have 5 min over." in text
        assert "checked" not in str(found(page, "#services fieldset").html)

    def test_choice_is_stored_and_can_be_changed(
        self, therapist: TestClient, tied: str, site: Site
    ) -> None:
        assert put(therapist, tied, "units", unit="1") == 303
        first = card(therapist, tied)
        put(therapist, tied, "units", unit="2")
        put(therapist, tied, "units", unit="2")

        assert "Self-care 1, Standing work 2." in first
        assert "Self-care 2, Standing work 1." in card(therapist, tied)
        assert deeds(site).count("chose_units") == 2

    @pytest.mark.parametrize("sent", [{}, {"unit": "3"}, {"unit": ["1", "2"]}])
    def test_choice_that_fits_no_tie_is_refused(
        self, therapist: TestClient, tied: str, site: Site, sent: dict[str, str]
    ) -> None:
        answer = therapist.post(f"{tied}/units", data=sent)

        assert answer.status_code == 422
        assert "Choose one." in found(answer.text, "#unit-error").text()
        with read_session(site.engine) as session:
            assert session.exec(select(UnitChoice)).all() == []

    def test_other_minutes_open_the_tie_again(
        self, therapist: TestClient, tied: str
    ) -> None:
        put(therapist, tied, "units", unit="1")
        put(therapist, tied, "services", **{STANDING: "25", SELF_CARE: "25"})

        text = card(therapist, tied)
        assert "50 timed minutes: 3 units; Self-care 1, Standing work 1, 1 to" in text

    def test_late_choice_says_that_the_minutes_changed(
        self, therapist: TestClient, tied: str
    ) -> None:
        put(therapist, tied, "services", **{STANDING: "24", SELF_CARE: "23"})
        answer = therapist.post(f"{tied}/units", data={"unit": "1"})

        assert answer.status_code == 422
        assert "the minutes have changed" in found(answer.text, "#unit-error").text()

    def test_several_left_units_are_ticked(
        self, therapist: TestClient, visit: str, site: Site
    ) -> None:
        with write_session(site.engine) as session:
            make_service(session, person_by(session, "supervisor"), "Hand work")
        put(therapist, visit, "services", **{STANDING: "10", SELF_CARE: "10",
                                             "service-4": "10"})  # fmt: skip
        asked = card(therapist, visit)
        sent = {"unit": ["1", "4"]}
        assert therapist.post(f"{visit}/units", data=sent).status_code == 303

        assert "2 units are left, and 3 services have 10 min over. Tick the 2" in asked
        text = card(therapist, visit)
        assert "Hand work 1, Self-care 0, Standing work 1." in text


class TestDay:
    @pytest.fixture
    def second(self, colleague: TestClient, patient_id: int, site: Site) -> str:
        """The colleague's own visit to the same patient on the same day."""
        with write_session(site.engine) as session:
            patient = session.get_one(Patient, patient_id)
            owner = person_by(session, "therapist")
            helper = person_by(session, "colleague")
            assign(session, owner, patient, helper, now=site.clock())
        return begin(colleague, patient_id)

    def test_two_visits_of_a_day_are_counted_together(
        self, therapist: TestClient, colleague: TestClient, visit: str, second: str
    ) -> None:
        put(therapist, visit, "services", **{STANDING: "8"})
        put(colleague, second, "services", **{STANDING: "8"})

        for client, each in ((therapist, visit), (colleague, second)):
            text = card(client, each)
            assert "16 timed minutes: 1 unit; Standing work 1." in text
            assert "8 min of that in another visit of this day" in text

    def test_next_day_is_a_day_of_its_own(
        self, therapist: TestClient, visit: str, patient_id: int, clock: Clock,
        sign_in_as: Callable[[str], TestClient],
    ) -> None:  # fmt: skip
        put(therapist, visit, "services", **{STANDING: "8"})
        clock.move(minutes=24 * 60)
        therapist = sign_in_as("therapist")
        tomorrow = begin(therapist, patient_id)
        put(therapist, tomorrow, "services", **{STANDING: "8"})

        assert tomorrow != visit
        assert "8 timed minutes: 1 unit; Standing work 1." in card(therapist, tomorrow)

    def test_nobody_enters_into_a_colleagues_visit(
        self, therapist: TestClient, colleague: TestClient, visit: str, second: str,
        site: Site,
    ) -> None:  # fmt: skip
        assert put(colleague, visit, "services", **{STANDING: "8"}) == 403
        assert put(therapist, second, "units", unit="1") == 403
        assert stored(site) == {}

    def test_others_find_no_such_visit(
        self, outsider: TestClient, student: TestClient, visit: str
    ) -> None:
        for client in (outsider, student):
            assert put(client, visit, "services", **{STANDING: "8"}) == 404

    def test_supervisor_sees_the_count_without_its_form(
        self, therapist: TestClient, supervisor: TestClient, visit: str
    ) -> None:
        put(therapist, visit, "services", **{STANDING: "20", SELF_CARE: "20"})
        page = supervisor.get(visit).text

        assert "1 to give" in card(supervisor, visit)
        assert f'action="{visit}/services"' not in page
        assert f'action="{visit}/units"' not in page


class TestRule:
    @pytest.fixture(params=["each", "none"])
    def ruled(
        self, request: pytest.FixtureRequest, settings: Settings, clock: Clock
    ) -> Iterator[FastAPI]:
        other = settings.model_copy(update={"units_rule": request.param})
        with running(other, clock) as app:
            yield app

    @pytest.mark.usefixtures("named")
    def test_site_counts_by_its_own_rule(
        self, ruled: FastAPI, therapist: TestClient, patient_id: int
    ) -> None:
        """Seven and six minutes: one unit together, none alone."""
        client = client_of(ruled)
        client.cookies.update(therapist.cookies)
        visit = begin(client, patient_id)
        put(client, visit, "services", **{STANDING: "7", SELF_CARE: "6"})
        text = card(client, visit)

        assert "13 timed minutes: 1 unit" in card(therapist, visit)
        if ruled.state.site.settings.units_rule == "each":
            assert "13 timed minutes: 0 units." in text
            assert "midpoint rule" in text
        else:
            assert "13 timed minutes. This site counts no units." in text
            assert "left; " not in text


class TestList:
    def add(self, client: TestClient, **said: str) -> int:
        return client.post("/services", data=said).status_code

    def known(self, site: Site) -> list[tuple[str, bool, bool]]:
        with read_session(site.engine) as session:
            rows = session.exec(select(Service).order_by(col(Service.id)))
            return [(s.name, s.timed, s.active) for s in rows]

    def test_supervisor_adds_and_stops_offering(
        self, supervisor: TestClient, therapist: TestClient, visit: str, site: Site
    ) -> None:
        assert self.add(supervisor, name="Hand work", kind="timed") == 303
        offered = card(therapist, visit)
        assert supervisor.post("/services/4", data={"active": "no"}).status_code == 303
        stopped = card(therapist, visit)
        supervisor.post("/services/4", data={"active": "yes"})

        assert "Hand work, timed" in offered
        assert "Hand work" not in stopped
        assert "Hand work, timed" in card(therapist, visit)
        assert self.known(site)[3] == ("Hand work", True, True)
        for did in ("added_service", "switched_off_service", "switched_on_service"):
            assert deeds(site)[-3:].count(did) == 1

    def test_service_no_longer_offered_stays_where_it_was_given(
        self, supervisor: TestClient, therapist: TestClient, visit: str
    ) -> None:
        put(therapist, visit, "services", **{STANDING: "15"})
        supervisor.post("/services/1", data={"active": "no"})

        assert "15 timed minutes: 1 unit; Standing work 1." in card(therapist, visit)
        put(therapist, visit, "services", **{STANDING: "23"})
        assert "2 units; Standing work 2." in card(therapist, visit)

    @pytest.mark.parametrize(
        ("said", "field"),
        [
            ({"name": "", "kind": "timed"}, "name"),
            ({"name": "x" * 41, "kind": "timed"}, "name"),
            ({"name": "standing WORK", "kind": "untimed"}, "name"),
            ({"name": "Hand work", "kind": ""}, "kind"),
        ],
        ids=["no name", "41 letters", "a twin", "no kind"],
    )
    @pytest.mark.usefixtures("named")
    def test_bad_service_is_named_and_kept(
        self, supervisor: TestClient, site: Site, said: dict[str, str],
        field: str,
    ) -> None:  # fmt: skip
        answer = supervisor.post("/services", data=said)

        assert answer.status_code == 422
        assert found(answer.text, f"#{field}-error").text()
        assert found(answer.text, "#name").attributes["value"] == said["name"]
        assert len(self.known(site)) == 3

    def test_form_sent_twice_adds_one(self, supervisor: TestClient, site: Site) -> None:
        sent = [self.add(supervisor, name="x" * 40, kind="untimed") for _ in range(2)]

        assert sent == [303, 303]
        assert self.known(site) == [("x" * 40, False, True)]

    @pytest.mark.usefixtures("named")
    def test_other_kind_of_a_name_takes_its_place(
        self, supervisor: TestClient, site: Site
    ) -> None:
        """What is timed stays so for past minutes; another service is made of it."""
        supervisor.post("/services/1", data={"active": "no"})
        assert self.add(supervisor, name="Standing work", kind="untimed") == 303
        back = supervisor.post("/services/1", data={"active": "yes"})

        assert back.status_code == 422
        assert "offered already" in back.text
        assert self.known(site)[0] == ("Standing work", True, False)
        assert self.known(site)[3] == ("Standing work", False, True)

    @pytest.mark.usefixtures("named")
    def test_only_supervisors_manage(
        self, therapist: TestClient, colleague: TestClient, student: TestClient,
        outsider: TestClient, site: Site,
    ) -> None:  # fmt: skip
        for client in (therapist, colleague, student, outsider):
            assert client.get("/services").status_code == 403
            assert self.add(client, name="Mine", kind="timed") == 403
            off = client.post("/services/1", data={"active": "no"})
            assert off.status_code == 403
        assert all(active for _, _, active in self.known(site))

    @pytest.mark.usefixtures("named")
    def test_worlds_do_not_share_services(
        self, sign_in_as: Callable[[str], TestClient], site: Site
    ) -> None:
        with write_session(site.engine) as session:
            make_person(session, "invented", role="supervisor", is_demo=True)
        invented = sign_in_as("invented")

        assert "Standing work" not in invented.get("/services").text
        off = invented.post("/services/1", data={"active": "no"})
        assert off.status_code == 404
        assert self.add(invented, name="Standing work", kind="timed") == 303
        assert [active for _, _, active in self.known(site)] == [True] * 4

    @pytest.mark.usefixtures("named")
    def test_page_says_how_units_are_counted(self, supervisor: TestClient) -> None:
        page = supervisor.get("/services").text

        assert "chapter 5, section 20.2" in page
        assert "Check your payer" in page
        assert 'href="/services"' in supervisor.get("/desk").text
