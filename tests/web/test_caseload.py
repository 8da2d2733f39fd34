"""The list a day starts from: one's own order, today's people, cover, what is owed."""

from collections.abc import Callable
from datetime import timedelta

import httpx2
import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from app.storage.database import read_session, write_session
from app.storage.episodes import open_episode
from app.storage.list_places import DayTick, ListPlace
from app.storage.owing import Owed
from app.storage.patients import Patient
from app.web.deps import Site
from tests.conftest import Clock, found, person_by
from tests.make import (
    TODAY,
    make_episode,
    make_patient,
    make_precaution,
    make_round,
    make_score,
    make_visit,
)
from tests.web.test_desk import asked

SignIn = Callable[[str], TestClient]
ROW = "ul.people .person b"


def add(site: Site, *labels: str, whose: str = "therapist") -> None:
    with write_session(site.engine) as session:
        owner = person_by(session, whose)
        for label in labels:
            make_episode(session, owner, make_patient(session, owner, label=label))


@pytest.fixture
def four(site: Site, patient_id: int) -> Site:
    """Blue 7 is patient 1; Amber, Copper and Slate are 2, 3 and 4."""
    assert patient_id == 1
    add(site, "Amber", "Copper", "Slate")
    return site


def listed(client: TestClient) -> list[str]:
    return [b.text() for b in found(client.get("/caseload").text, "main").css(ROW)]


def groups(client: TestClient) -> dict[str, list[str]]:
    sections = found(client.get("/caseload").text, "main").css("section.owed")
    return {
        s.css_first("h2").text(): [b.text() for b in s.css(ROW)]  # type: ignore[union-attr]
        for s in sections
    }


def move(client: TestClient, patient: int, **beside: int) -> httpx2.Response:
    said = {name: str(number) for name, number in beside.items()}
    return client.post("/caseload/arrange", data={"patient": str(patient), **said})


def tick(client: TestClient, patient: int, today: str = "yes") -> httpx2.Response:
    return client.post(
        "/caseload/today", data={"patient": str(patient), "today": today}
    )


@pytest.mark.usefixtures("four")
def test_moved_patient_stays_where_it_was_put(therapist: TestClient) -> None:
    before = listed(therapist)
    answers = [move(therapist, 4, before=2) for _ in range(2)]  # a double tap

    assert before == ["Amber", "Blue 7", "Copper", "Slate"]
    assert [a.headers["location"] for a in answers] == ["/caseload/arrange#p4"] * 2
    assert listed(therapist) == ["Slate", "Amber", "Blue 7", "Copper"]
    assert "In your order" in groups(therapist)


def test_new_people_come_last(four: Site, therapist: TestClient) -> None:
    move(therapist, 4, before=2)
    add(four, "Aaa new")

    assert listed(therapist)[-1] == "Aaa new"


def test_two_phones_lose_nobody_and_the_last_wins(
    four: Site, sign_in_as: SignIn
) -> None:
    """The second phone still shows the old order."""
    first, second = sign_in_as("therapist"), sign_in_as("therapist")
    move(first, 4, before=2)
    add(four, "Zinc")
    move(second, 3, before=1)
    move(second, 4, after=3)
    with read_session(four.engine) as session:
        places = len(session.exec(select(ListPlace)).all())

    assert listed(first) == ["Amber", "Copper", "Slate", "Blue 7", "Zinc"]
    assert places == 5


def test_order_is_ones_own(
    four: Site, therapist: TestClient, supervisor: TestClient
) -> None:
    assert four.zone.key == "UTC"
    move(therapist, 4, before=2)

    assert listed(supervisor) == ["Amber", "Blue 7", "Copper", "Slate"]


def test_neighbour_that_left_changes_nothing(four: Site, therapist: TestClient) -> None:
    with write_session(four.engine) as session:
        session.get_one(Patient, 2).closed_at = four.clock()
    move(therapist, 4, before=2)

    assert listed(therapist) == ["Blue 7", "Copper", "Slate"]


@pytest.mark.usefixtures("four")
def test_others_patients_cannot_be_moved_or_ticked(outsider: TestClient) -> None:
    assert move(outsider, 4, before=2).status_code == 404
    assert tick(outsider, 4).status_code == 404
    assert tick(outsider, 99).status_code == 404


@pytest.mark.parametrize("typed", ["", "x", "-1", "²", "1" * 12])
def test_damaged_button_is_told(therapist: TestClient, typed: str) -> None:
    said = {"patient": "1", "before": typed, "after": typed}

    assert therapist.post("/caseload/arrange", data=said).status_code == 422
    assert therapist.post("/caseload/today", data={"patient": typed}).status_code == 422


@pytest.mark.usefixtures("four")
def test_script_gets_the_list_alone(therapist: TestClient) -> None:
    answer = therapist.post(
        "/caseload/arrange",
        data={"patient": "4", "before": "2"},
        headers={"hx-request": "true"},
    )
    rows = found(answer.text, "ol#arrange").css("li")

    assert answer.status_code == 200
    assert "<html" not in answer.text
    assert [row.attributes["id"] for row in rows] == ["p4", "p2", "p1", "p3"]
    assert "disabled" in found(answer.text, "#up-4").attributes
    assert "disabled" in found(answer.text, "#down-3").attributes
    assert "disabled" not in found(answer.text, "#down-4").attributes


@pytest.mark.usefixtures("four")
def test_ticked_people_stand_first_in_their_own_order(therapist: TestClient) -> None:
    move(therapist, 4, before=2)
    for patient in (1, 4, 4):
        tick(therapist, patient)
    both = groups(therapist)
    tick(therapist, 4, "no")

    assert both == {
        "Today: 0 of 2 seen": ["Slate", "Blue 7"],
        "The rest": ["Amber", "Copper"],
    }
    assert groups(therapist)["Today: 0 of 1 seen"] == ["Blue 7"]


def test_ticks_end_with_the_day_of_the_site(
    four: Site, sign_in_as: SignIn, clock: Clock
) -> None:
    """Midnight in Auckland comes at eleven in the morning of UTC."""
    four.zone = type(four.zone)("Pacific/Auckland")
    tick(sign_in_as("therapist"), 2)
    clock.move(hours=1)
    same_day = groups(sign_in_as("therapist"))
    clock.move(hours=1)
    next_day = groups(sign_in_as("therapist"))
    tick(sign_in_as("therapist"), 3)
    with read_session(four.engine) as session:
        kept = [row.patient_id for row in session.exec(select(DayTick))]

    assert same_day["Today: 0 of 1 seen"] == ["Amber"]
    assert list(next_day) == ["By label"]
    assert kept == [3]


def test_visit_of_today_counts_as_seen(
    four: Site, therapist: TestClient, clock: Clock
) -> None:
    tick(therapist, 3)
    thumb = found(therapist.get("/caseload").text, ".thumb").text()
    with write_session(four.engine) as session:
        owner = person_by(session, "therapist")
        for number in (2, 3):
            episode = open_episode(session, session.get_one(Patient, number))
            make_visit(session, owner, episode, now=clock(), zone=four.zone)
    page = therapist.get("/caseload").text

    assert "Next: Copper" in thumb
    assert groups(therapist)["Today: 2 of 2 seen"] == ["Amber", "Copper"]
    assert page.count("seen 09:30") == 2
    assert "Next:" not in found(page, ".thumb").text()


def test_visit_of_another_is_told_by_name(
    four: Site, therapist: TestClient, clock: Clock
) -> None:
    with write_session(four.engine) as session:
        other = person_by(session, "supervisor")
        episode = open_episode(session, session.get_one(Patient, 2))
        make_visit(session, other, episode, now=clock(), zone=four.zone)

    assert "seen 09:30 by Supervisor" in therapist.get("/caseload").text
    assert list(groups(therapist)) == ["By label"]


def test_missed_visit_is_not_seen(four: Site, therapist: TestClient) -> None:
    assert four.zone.key == "UTC"
    visit = therapist.post("/patients/2/visit").headers["location"]
    therapist.post(f"{visit}/missed", data={"missed_reason": "asleep"})

    assert "✓" not in found(therapist.get("/caseload").text, "main").text()


def test_covered_people_stand_under_whom_one_covers_for(
    four: Site, colleague: TestClient
) -> None:
    add(four, "Mine", whose="colleague")
    with read_session(four.engine) as session:
        owner = person_by(session, "therapist")
    last = TODAY + timedelta(days=3)
    said = {"person": str(owner.id), "reason": "leave", "last_day": str(last)}
    colleague.post("/cover", data=said)
    apart = groups(colleague)
    tick(colleague, 2)

    assert apart == {
        "By label": ["Mine"],
        "Covering for Therapist until 5 Mar": ["Amber", "Blue 7", "Copper", "Slate"],
    }
    assert groups(colleague)["Today: 0 of 1 seen"] == ["Amber"]
    first = found(colleague.get("/caseload").text, ".person").text()
    assert "covering for Therapist" in first


def owe(
    site: Site, patient: int, kind: str, days: int, says: str, measure: str = ""
) -> None:
    with write_session(site.engine) as session:
        due_on = TODAY + timedelta(days=days)
        session.add(
            Owed(
                patient_id=patient, kind=kind, due_on=due_on, says=says, measure=measure
            )
        )


def test_what_is_owed_is_read_from_what_is_kept(
    four: Site, therapist: TestClient
) -> None:
    test = {"measure": "timed_up_and_go"}
    owe(four, 1, "retest", -2, "TUG, last 14 s", **test)
    owe(four, 1, "report", -9, "Progress report, 10 of 10 treatment days used")
    owe(four, 2, "retest", 5, "TUG, last 14 s", **test)
    owe(four, 3, "look_into", -1, "TUG: real loss", **test)
    owe(four, 3, "retest", -1, "TUG, last 14 s", **test)
    owe(four, 4, "recertify", 10, "Recertification")
    rows = {
        row.css_first("b").text(): row  # type: ignore[union-attr]
        for row in found(therapist.get("/caseload").text, "main").css(".person")
    }

    assert rows["Blue 7"].css_first(".state.due") is not None
    assert "Timed Up and Go due" in rows["Blue 7"].text()
    assert "+1 more" in rows["Blue 7"].text()
    assert "Timed Up and Go in 5 days" in rows["Amber"].text()
    assert rows["Amber"].css_first(".state") is None
    assert rows["Copper"].css_first(".state.loss") is not None
    assert "Recertification in 10 days" in rows["Slate"].text()


def test_test_that_an_order_blocks_is_not_owed(
    four: Site, therapist: TestClient
) -> None:
    owe(four, 1, "retest", -2, "TUG, last 14 s", measure="timed_up_and_go")
    with write_session(four.engine) as session:
        owner = person_by(session, "therapist")
        episode = open_episode(session, session.get_one(Patient, 1))
        make_precaution(session, owner, episode, "medical_hold")

    assert "Timed Up and Go due" not in therapist.get("/caseload").text


@pytest.mark.parametrize("path", ["/caseload", "/caseload/arrange"])
def test_list_takes_ten_queries_however_long_it_is(
    path: str, four: Site, therapist: TestClient
) -> None:
    therapist.get(path)  # the first of a minute notes when one was last seen
    few = len(asked(four, therapist, path))
    with write_session(four.engine) as session:
        owner = person_by(session, "therapist")
        for number in range(60):
            patient = make_patient(session, owner, label=f"Row {number:02}")
            episode = make_episode(session, owner, patient)
            visit = make_visit(session, owner, episode)
            make_score(session, make_round(session, owner, visit))
    for number in range(5, 65):
        owe(four, number, "retest", -2, "TUG", measure="timed_up_and_go")
    many = len(asked(four, therapist, path))

    assert len(listed(therapist)) == 64
    assert many == few <= 10
