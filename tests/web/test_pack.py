"""The day pack: off unless a site asks for it, for one PIN, one's own people only."""

from collections.abc import Callable, Iterator
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from fastapi import FastAPI
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.settings import Settings
from app.storage import own_list, people
from app.storage.audit import AuditEntry
from app.storage.database import read_session, write_session
from app.storage.episodes import open_episode
from app.storage.links import make_link
from app.storage.patients import Patient
from app.storage.plans import PlanLine, write_plan
from app.storage.responsible import unassign
from app.storage.trials import TrialBody
from app.web.deps import PACK_OF, Site
from app.web.judging import keep
from app.web.pack import good_until
from tests.conftest import Clock, client_of, found, person_by, running, undrawn
from tests.make import (
    PASSPHRASE,
    TODAY,
    make_episode,
    make_patient,
    make_precaution,
    make_round,
    make_trial,
    make_visit,
    new_uid,
)

SignInAs = Callable[[str], TestClient]
PIN, WRONG = "739154", "268495"
TUG = "timed_up_and_go"


@pytest.fixture
def settings(settings: Settings) -> Settings:
    return settings.model_copy(update={"day_pack": "on"})


@pytest.fixture
def off(settings: Settings, clock: Clock) -> Iterator[FastAPI]:
    with running(settings.model_copy(update={"day_pack": "off"}), clock) as app:
        yield app


def with_pin(client: TestClient) -> TestClient:
    sent = {"pin": PIN, "passphrase": PASSPHRASE}
    assert client.post("/account/pin", data=sent).status_code == 303
    return client


def tick(site: Site, handle: str, *labels: str) -> None:
    with write_session(site.engine) as session:
        me = person_by(session, handle)
        for patient in session.exec(select(Patient)):
            if patient.label in labels:
                own_list.tick(session, me, patient.id, TODAY, on=True)


@pytest.fixture
def busy(site: Site, patient_id: int) -> None:
    """An order, a test that was timed, one that was stopped, a plan; two not ticked."""
    with write_session(site.engine) as session:
        me = person_by(session, "therapist")
        episode = open_episode(session, session.get_one(Patient, patient_id))
        make_precaution(session, me, episode, "ttwb_le")
        visit = make_visit(session, me, episode)
        facts = {"seat_height": "17 in", "device": "cane"}
        timed = make_round(session, me, visit, facts=facts)
        make_trial(session, me, timed)
        other = make_round(session, me, visit, measure="functional_reach")
        make_trial(session, me, other, TrialBody(outcome="stopped"))
        patient = session.get_one(Patient, patient_id)
        for round in (timed, other):
            keep(session, site.catalogue, patient, round, now=site.clock())
        lines = [PlanLine("S01", "12", 3, 6), PlanLine("T01", "4", 3, 6)]
        write_plan(session, me, episode, TODAY, lines, version=0, uid=new_uid(),
                   now=site.clock())  # fmt: skip
        make_episode(session, me, make_patient(session, me, label="Red 9"))
        outsider = person_by(session, "outsider")
        theirs = make_patient(session, outsider, label="Secret 4")
        make_episode(session, outsider, theirs)


@pytest.mark.usefixtures("busy")
def test_pack_has_what_a_visit_needs_of_who_is_ticked(
    sign_in_as: SignInAs, site: Site
) -> None:
    tick(site, "therapist", "Blue 7")
    client = with_pin(sign_in_as("therapist"))
    answer = client.post("/pack", data={"pin": PIN})

    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "no-store"
    told = answer.json()
    (person,) = told["people"]
    parts = {part["title"]: part for part in person["parts"]}
    said = {title: " | ".join(part["lines"]) for title, part in parts.items()}
    assert person["label"] == "Blue 7"
    assert "toe-touch" in person["short"]
    assert said["First: orders and risks"].startswith("Order: ")
    assert "Stopped for safety" in said["Stopped for safety"]
    assert "cane" in said["Tests not now"]
    assert "In force: " in said["Tests not now"]
    assert "Set-ups to repeat" not in said  # every test loads the leg
    assert "Seated lateral weight shift" in said["Activities, plan of today"]
    assert "Clock-direction" in said["Not now, whatever the plan says"]
    assert [t for t, part in parts.items() if not part["caution"]] == [
        "Activities, plan of today"
    ]
    assert told["lasts_ms"] == 17.5 * 3600 * 1000  # 9:30 to 3:00
    assert told["stamp"] == client.get("/caseload").headers[PACK_OF]
    assert "Red 9" not in answer.text
    assert "1948" not in undrawn(answer.text)


@pytest.mark.usefixtures("busy")
def test_audit_trail_has_the_pack_and_each_patient(
    sign_in_as: SignInAs, site: Site
) -> None:
    tick(site, "therapist", "Blue 7", "Red 9")
    with_pin(sign_in_as("therapist")).post("/pack", data={"pin": PIN})

    with read_session(site.engine) as session:
        in_turn = select(AuditEntry).order_by(col(AuditEntry.id))
        deeds = [(e.deed, e.subject) for e in session.exec(in_turn)]
    assert deeds.count(("took_day_pack", "device")) == 1
    assert deeds.count(("took_along", "patient")) == 2


@pytest.mark.usefixtures("busy")
def test_what_is_not_given(sign_in_as: SignInAs, site: Site) -> None:
    """Each refusal says why; nothing of anybody is in it and nothing is written."""
    tick(site, "therapist", "Blue 7")
    tick(site, "supervisor", "Blue 7", "Secret 4")
    with_pin(nobody := sign_in_as("colleague"))
    with_pin(mine := sign_in_as("therapist"))
    told = {
        "nobody ticked": nobody.post("/pack", data={"pin": PIN}),
        "no PIN typed": mine.post("/pack", data={}),
        "passphrase": mine.post("/pack", data={"passphrase": PASSPHRASE}),
        "wrong PIN": mine.post("/pack", data={"pin": "268495"}),
        "another phone": sign_in_as("therapist").post("/pack", data={"pin": PIN}),
    }

    assert {key: answer.status_code for key, answer in told.items()} == dict.fromkeys(
        told, 422
    )
    assert "Tick who is seen" in told["nobody ticked"].json()["wrong"]
    assert "4 tries are left" in told["wrong PIN"].json()["wrong"]
    assert "no PIN any more" in told["another phone"].json()["wrong"]
    assert all("Blue 7" not in answer.text for answer in told.values())
    student = sign_in_as("student")
    assert {student.get("/pack").status_code,
            student.post("/pack", data={"pin": PIN}).status_code} == {403}  # fmt: skip
    with read_session(site.engine) as session:
        deeds = {e.deed for e in session.exec(select(AuditEntry))}
    assert not deeds & {"took_day_pack", "took_along"}


@pytest.mark.usefixtures("busy")
def test_only_whom_one_may_see_now(
    sign_in_as: SignInAs, site: Site, patient_id: int
) -> None:
    """A tick does not outlive the assignment, and nobody ticks another's patient."""
    tick(site, "therapist", "Blue 7", "Red 9")
    client = with_pin(sign_in_as("therapist"))
    with write_session(site.engine) as session:
        patient = session.get_one(Patient, patient_id)
        head, them = person_by(session, "supervisor"), person_by(session, "therapist")
        unassign(session, head, patient, them, now=site.clock())
    told = client.post("/pack", data={"pin": PIN}).json()

    assert [person["label"] for person in told["people"]] == ["Red 9"]
    outsider = sign_in_as("outsider")
    sent = {"patient": patient_id, "today": "yes"}
    refused = outsider.post("/caseload/today", data=sent)
    assert refused.status_code == 404


def test_locked_or_ended_session_gets_none(
    sign_in_as: SignInAs, client: TestClient
) -> None:
    mine = with_pin(sign_in_as("therapist"))
    mine.post("/lock")
    by_script = {"sec-fetch-mode": "cors"}

    locked = mine.post("/pack", data={"pin": PIN}, headers=by_script)
    ended = client.post("/pack", data={"pin": PIN}, headers=by_script)
    assert (locked.status_code, ended.status_code) == (423, 401)


def test_stamp_tells_whose_pack_may_lie_here(
    sign_in_as: SignInAs, client: TestClient
) -> None:
    one, other = sign_in_as("therapist"), sign_in_as("therapist")
    stamps = [
        one.get("/caseload").headers[PACK_OF],
        other.get("/caseload").headers[PACK_OF],
    ]
    with_pin(one)
    stamps.append(one.get("/caseload").headers[PACK_OF])
    again = one.get("/patients/find").headers[PACK_OF]

    assert len({*stamps}) == 3
    assert again == stamps[-1]
    assert client.get("/sign-in").headers[PACK_OF] == "nobody"
    assert PACK_OF not in client.get("/bedside").headers  # nobody's page, and kept


def test_pages_of_nobody_wipe_no_pack_of_who_is_signed_in(
    sign_in_as: SignInAs, site: Site, clock: Clock
) -> None:
    """Looked at while signed in; what ends the sign-in ends the pack."""
    client = with_pin(sign_in_as("therapist"))
    mine = client.get("/caseload").headers[PACK_OF]
    with write_session(site.engine) as session:
        by = person_by(session, "supervisor")
        link = make_link(session, "pair", person=by, by=by, now=clock())
    wrong = client.post("/sign-in", data={"handle": "therapist", "passphrase": "x"})
    looked = [client.get("/sign-in"), client.get(f"/pair/{link}"), wrong]
    client.post(f"/pair/{link}", data={"name": "Phone"})
    paired = client.get("/caseload").headers[PACK_OF]
    client.post("/sign-out")

    assert [answer.headers[PACK_OF] for answer in looked] == [mine] * 3
    assert paired != mine
    assert client.get("/sign-in").headers[PACK_OF] == "nobody"


@pytest.mark.parametrize(
    ("path", "headers"),
    [("/unlock", {}), ("/unlock", {"hx-request": "true"}), ("/pack", {})],
    ids=["lock page", "cover", "pack page"],
)
def test_fifth_wrong_pin_says_that_the_pack_is_over(
    sign_in_as: SignInAs, path: str, headers: dict[str, str]
) -> None:
    """Else the sheet would allow its own five for the same PIN."""
    client = with_pin(sign_in_as("therapist"))
    mine = client.get("/caseload").headers[PACK_OF]
    if path == "/unlock":
        client.post("/lock")
    tries = [client.post(path, data={"pin": WRONG}, headers=headers) for _ in range(5)]
    told = [answer.headers[PACK_OF] for answer in tries]

    assert told[:4] == [mine] * 4
    assert told[4] != mine
    assert client.get("/caseload").headers[PACK_OF] == told[4]


def test_lock_page_says_in_its_text_whose_pack_may_lie_here(
    sign_in_as: SignInAs,
) -> None:
    """No worker sees the answer to a form."""
    client = with_pin(sign_in_as("therapist"))
    client.post("/lock")
    for answer in (client.get("/caseload"), client.post("/unlock", data={"pin": "1"})):
        mark = found(answer.text, "[data-pack-of]").attributes["data-pack-of"]

        assert mark == answer.headers[PACK_OF]
        assert "/js/pack.js" in answer.text


def test_button_and_what_is_missing(sign_in_as: SignInAs, site: Site) -> None:
    tick(site, "therapist", "Blue 7")
    client = sign_in_as("therapist")
    before = client.get("/pack").text
    with_pin(client)
    after = client.get("/pack").text

    assert "Set one" in before
    assert "it opens for nobody here, and it is wiped when this browser next" in before
    assert "data-pack-form" not in before
    assert (
        found(after, "[data-pack-form][hidden] #pin").attributes["inputmode"]
        == "numeric"
    )
    for path in ("/caseload", "/account"):
        assert 'href="/pack"' in client.get(path).text
    assert "data-pack-read" in client.get("/bedside").text
    assert 'href="/pack"' not in sign_in_as("student").get("/caseload").text


def test_off_there_is_nothing(off: FastAPI, clock: Clock) -> None:
    with write_session(off.state.site.engine) as session:
        token = people.start_sign_in(session, person_by(session, "therapist"), clock())
    client = client_of(off)
    client.cookies.set("tapeline", token, domain="localhost.local")

    asked = [client.get("/pack"), client.post("/pack", data={"pin": PIN})]
    assert [answer.status_code for answer in asked] == [404, 404]
    for path in ("/caseload", "/account", "/bedside"):
        assert "pack" not in client.get(path).text
    assert client.get("/caseload").headers[PACK_OF] == "off"
    client.post("/lock")
    assert "pack" not in client.get("/caseload").text


def test_worker_runs_the_guard_in_either_case(client: TestClient) -> None:
    text = client.get("/sw.js").text

    assert "async function lookAtPack" in text
    assert "export " not in text


@pytest.mark.parametrize(
    ("now", "until"),
    [
        ("2026-03-02T09:30+01:00", "2026-03-03T03:00+01:00"),
        ("2026-03-02T02:59+01:00", "2026-03-02T03:00+01:00"),
        ("2026-03-02T03:00+01:00", "2026-03-03T03:00+01:00"),
        # The night in which clocks go from 2 to 3, and back from 3 to 2.
        ("2026-03-28T20:00+01:00", "2026-03-29T03:00+02:00"),
        ("2026-10-24T20:00+02:00", "2026-10-25T03:00+01:00"),
    ],
)
def test_good_until_the_night(now: str, until: str) -> None:
    zone = ZoneInfo("Europe/Vienna")
    ends = good_until(datetime.fromisoformat(now), zone, time(3))

    assert ends == datetime.fromisoformat(until)
    assert ends - datetime.fromisoformat(now) <= timedelta(hours=25)
