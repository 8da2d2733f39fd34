"""The sheet and the worker are nobody's; what was taken finds its patient, once."""

import json
import re
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import httpx2
import pytest
from sqlmodel import Session, col, select
from starlette.testclient import TestClient

from app.storage.database import read_session, write_session
from app.storage.episodes import Episode, Visit
from app.storage.patients import Patient
from app.storage.scores import Score
from app.storage.trials import Round, Trial
from app.web.bedside import ORDERS, TAKEN_ALONE
from app.web.deps import Site
from tests.conftest import Clock, found, person_by
from tests.make import NOW, make_patient, make_person, make_precaution, new_uid
from tests.web.bedside import done

STANDS = "five_times_sit_to_stand"


def rows(site: Site, table: Any) -> list[Any]:
    with read_session(site.engine) as session:
        return list(session.exec(select(table).order_by(col(table.id))))


def taken(**fields: str) -> dict[str, Any]:
    """One trial as the sheet keeps it."""
    said = {"outcome": "completed", "raw_ms": "16240", **fields}
    return {"id": new_uid(), "fields": list(said.items())}


def body(
    patient_id: int, *trials: dict[str, Any], at: datetime = NOW, **more: str
) -> dict[str, str]:
    return {
        "patient": str(patient_id),
        "measure": STANDS,
        "round": new_uid(),
        "at": at.isoformat(),
        "trials": json.dumps(trials),
        **more,
    }


def attach(client: TestClient, sent: dict[str, str]) -> httpx2.Response:
    """As htmx sends it."""
    headers = {"hx-request": "true", "sec-fetch-mode": "cors"}
    return client.post("/bedside/attach", data=sent, headers=headers)


def test_sheet_says_all_a_test_needs(client: TestClient, site: Site) -> None:
    answer = client.get("/bedside")

    assert answer.status_code == 200
    alone = [m for m in site.catalogue.measures.values() if m.kind in TAKEN_ALONE]
    assert len(alone) > 10
    for measure in alone:
        section = found(answer.text, f"section#{measure.id}").text()
        guide = measure.guide
        for line in (*guide.setup, *guide.guard, *guide.stop, *guide.say, *guide.show):
            assert line in section
        gate = found(answer.text, f"#{measure.id} template[data-gate]").html or ""
        asked = [key for key in ORDERS if f'name="order-{key}"' in gate]
        spared = {"weight"} if measure.posture == "seated" else set()
        assert asked == [key for key in ORDERS if key not in spared]
        assert found(answer.text, f"#{measure.id} template[data-test]")
    said = found(answer.text, "[data-list]").text()
    for measure in site.catalogue.measures.values():
        assert measure.name in said  # on the list, or among those it cannot take
        assert (f'id="{measure.id}"' in answer.text) == (measure in alone)


@pytest.mark.usefixtures("patient_id")
def test_sheet_is_the_same_for_everybody(
    client: TestClient, therapist: TestClient, supervisor: TestClient
) -> None:
    nobodys = client.get("/bedside").text

    assert therapist.get("/bedside").text == nobodys
    assert supervisor.get("/bedside").text == nobodys
    assert "Blue 7" not in nobodys
    assert "Therapist" not in nobodys


def test_worker_may_rule_the_site_and_is_never_stale(client: TestClient) -> None:
    answer = client.get("/sw.js")

    assert answer.headers["content-type"].startswith("text/javascript")
    assert answer.headers["service-worker-allowed"] == "/"
    assert answer.headers["cache-control"] in ("no-cache", "no-store")


def told(client: TestClient, name: str) -> Any:
    line = next(
        line
        for line in client.get("/sw.js").text.splitlines()
        if line.startswith(f"const {name} = ")
    )
    return json.loads(line.removeprefix(f"const {name} = ").rstrip(";"))


def test_worker_keeps_static_files_only_and_they_are_there(client: TestClient) -> None:
    files = told(client, "FILES")

    assert all(file.startswith("/static/") for file in files)
    assert {client.get(file).status_code for file in files} == {200}
    assert told(client, "SHEET") == "/bedside"
    for needed in ("/app.css", "/js/pages.js", "/js/sheet.js", "/js/watch.js"):
        assert any(file.endswith(needed) for file in files), needed


def test_version_changes_with_the_sheet(client: TestClient, site: Site) -> None:
    before = told(client, "VERSION")
    assert told(client, "VERSION") == before

    fewer = dict(site.catalogue.measures)
    del fewer[STANDS]
    site.catalogue = type(site.catalogue)(edition="other", measures=fewer)

    assert told(client, "VERSION") != before


def test_manifest_can_be_installed(client: TestClient) -> None:
    page = client.get("/bedside").text
    address = found(page, "link[rel=manifest]").attributes["href"] or ""
    manifest = client.get(address).json()

    assert manifest["start_url"] == manifest["scope"] == manifest["id"] == "/"
    assert manifest["display"] == "standalone"
    assert manifest["theme_color"].startswith("#")
    pictures = {icon["sizes"]: icon for icon in manifest["icons"]}
    for size in (192, 512):
        icon = pictures[f"{size}x{size}"]
        png = client.get(address.rpartition("/")[0] + "/" + icon["src"]).content
        assert png.startswith(b"\x89PNG")
        wide, high = (int.from_bytes(png[i : i + 4], "big") for i in (16, 20))
        assert (wide, high) == (size, size)


def test_attach_page_offers_own_patients_only(
    therapist: TestClient, outsider: TestClient, patient_id: int
) -> None:
    def offered(client: TestClient) -> list[str]:
        page = client.get("/bedside/attach").text
        return re.findall(r'<option value="(\d*)">', page)

    assert offered(therapist) == ["", str(patient_id)]
    assert offered(outsider) == [""]


def test_result_of_yesterday_is_dated_yesterday(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    sent = body(patient_id, taken(), at=NOW - timedelta(days=1))
    answer = attach(therapist, sent)

    (trial,), (round,), (visit,) = (rows(site, t) for t in (Trial, Round, Visit))
    assert answer.status_code == 200
    assert visit.local_date == (NOW - timedelta(days=1)).date()
    assert (round.uid, round.measure) == (sent["round"], STANDS)
    assert (trial.raw_ms, trial.recorded_at) == (16240, NOW)
    assert f'data-attached="{trial.uid}"' in answer.text
    assert "<html" not in answer.text
    (score,) = rows(site, Score)
    assert (score.value, score.on_date) == ("16.2", visit.local_date)


def test_same_ids_again_are_one_row(
    therapist: TestClient, site: Site, clock: Clock, patient_id: int
) -> None:
    sent = body(patient_id, taken(), taken(raw_ms="15000"), variant="mean_of_two")
    first = attach(therapist, sent)
    clock.move(minutes=4)
    again = attach(therapist, sent)

    assert (first.status_code, again.status_code) == (200, 200)
    assert [len(rows(site, t)) for t in (Visit, Round, Trial)] == [1, 1, 2]
    assert rows(site, Score)[0].value == "15.6"


def test_same_ids_for_another_patient_are_refused(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    sent = body(patient_id, taken())
    attach(therapist, sent)
    other = another_patient(site)
    answer = attach(therapist, {**sent, "patient": str(other)})

    assert answer.status_code == 409
    assert len(rows(site, Trial)) == 1


def another_patient(site: Site) -> int:
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        patient = make_patient(session, owner, label="Green 2")
        session.add(an_episode(patient))
        return patient.id


def an_episode(patient: Patient) -> Episode:
    return Episode(
        patient_id=patient.id,
        reason="weak legs",
        setting="community",
        plan="restore",
        opened_on=NOW.date(),
    )


@pytest.mark.parametrize(
    ("ago", "says"),
    [
        (timedelta(days=7, minutes=1), "older than 7 days"),
        (timedelta(minutes=-11), "clock may be wrong"),
    ],
)
def test_too_old_or_ahead_of_now_is_refused(
    therapist: TestClient, site: Site, patient_id: int, ago: timedelta, says: str
) -> None:
    answer = attach(therapist, body(patient_id, taken(), at=NOW - ago))

    assert answer.status_code == 400
    assert says in answer.text
    assert rows(site, Trial) == rows(site, Visit) == []


@pytest.mark.parametrize("ago", [timedelta(days=6, hours=23), timedelta(minutes=-5)])
def test_within_the_bounds_it_is_taken(
    therapist: TestClient, site: Site, patient_id: int, ago: timedelta
) -> None:
    assert attach(therapist, body(patient_id, taken(), at=NOW - ago)).status_code == 200
    assert rows(site, Visit)[0].started_at <= NOW


def test_one_bad_trial_saves_none(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    bad = taken(raw_ms="", typed="soon")
    answer = attach(therapist, body(patient_id, taken(), bad))

    assert answer.status_code == 400
    assert rows(site, Trial) == rows(site, Round) == rows(site, Visit) == []


@pytest.mark.parametrize(
    "wrong",
    [
        {"trials": ""},
        {"trials": "[]"},
        {"trials": "{}"},
        {"trials": "[1]"},
        {"trials": '[{"id": "x", "fields": []}]'},
        {"trials": '[{"id": 7, "fields": []}]'},
        {"trials": f'[{{"id": "{"a" * 32}", "fields": [["raw_ms", 5]]}}]'},
        {"trials": json.dumps([{"id": "b" * 32, "fields": []}] * 51)},
        {"round": "not an id"},
        {"at": ""},
        {"at": "2026-03-02T09:00"},
        {"at": "yesterday"},
        {"patient": ""},
        {"patient": "Blue 7"},
        {"variant": "mean_of_nine"},
        {"fact-device": "wings"},
    ],
    ids=lambda wrong: str(wrong)[:60],
)
def test_unusable_is_refused_in_words(
    therapist: TestClient, site: Site, patient_id: int, wrong: dict[str, str]
) -> None:
    answer = attach(therapist, {**body(patient_id, taken()), **wrong})

    assert answer.status_code == 400
    assert 'class="problem"' in answer.text
    assert rows(site, Trial) == []


def test_unknown_test_is_not_found(therapist: TestClient, patient_id: int) -> None:
    sent = {**body(patient_id, taken()), "measure": "walking_on_hands"}

    assert attach(therapist, sent).status_code == 404


@pytest.mark.parametrize("who", ["outsider", "colleague", "student"])
def test_somebody_elses_patient_does_not_exist(
    sign_in_as: Callable[[str], TestClient], site: Site, patient_id: int, who: str
) -> None:
    answer = attach(sign_in_as(who), body(patient_id, taken()))

    assert answer.status_code == 404
    assert rows(site, Trial) == []


def test_ended_session_stores_nothing(
    client: TestClient, site: Site, patient_id: int
) -> None:
    assert attach(client, body(patient_id, taken())).status_code == 401
    assert rows(site, Trial) == []


def test_demo_person_reaches_no_real_patient(
    sign_in_as: Callable[[str], TestClient], site: Site, patient_id: int
) -> None:
    with write_session(site.engine) as session:
        make_person(session, "player", is_demo=True)
    player = sign_in_as("player")

    assert attach(player, body(patient_id, taken())).status_code == 404
    assert "Blue 7" not in player.get("/bedside/attach").text


def test_order_in_force_is_told_and_the_result_kept(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    with write_session(site.engine) as session:
        episode = session.exec(select(Episode)).one()
        make_precaution(session, person_by(session, "therapist"), episode, "ttwb_le")
    answer = attach(therapist, body(patient_id, taken()))

    assert len(rows(site, Trial)) == 1
    assert "Leg: toe-touch only" in found(answer.text, ".caution").text()


def test_later_score_is_read_again(
    sign_in_as: Callable[[str], TestClient], site: Site, clock: Clock, patient_id: int
) -> None:
    """A test of today compares with what is attached for three days ago."""
    clock.move(days=3)
    therapist = sign_in_as("therapist")
    done(therapist, patient_id, STANDS, "16.2")
    assert rows(site, Score)[0].change_verdict is None

    attach(therapist, body(patient_id, taken(raw_ms="30000"), at=NOW))

    today, before = rows(site, Score)
    assert before.on_date < today.on_date
    assert today.change_verdict is not None


@pytest.mark.parametrize("outcome", ["unable", "stopped", "declined"])
def test_every_ending_is_taken(
    therapist: TestClient, site: Site, patient_id: int, outcome: str
) -> None:
    said = {"unable": "pain", "declined": "too tired"}.get(outcome, "")
    trial = taken(outcome=outcome, reason=said, raw_ms="")
    assert attach(therapist, body(patient_id, trial)).status_code == 200

    (row,) = rows(site, Trial)
    assert (row.outcome, row.raw_ms) == (outcome, None)


def test_set_up_goes_with_it(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    setup = {"fact-device": "cane", "fact-seat_height": "19", "unit-seat_height": "in"}
    attach(therapist, body(patient_id, taken()) | setup)

    assert rows(site, Round)[0].facts == {"device": "cane", "seat_height": "19 in"}


def test_without_htmx_it_is_a_whole_page(
    therapist: TestClient, patient_id: int
) -> None:
    answer = therapist.post("/bedside/attach", data=body(patient_id, taken()))

    assert answer.status_code == 200
    assert "<html" in answer.text
    assert found(answer.text, "[data-attached]")


def test_nothing_typed_as_a_reminder_is_sent(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    """Even if a phone sent the word, no row holds it."""
    attach(therapist, body(patient_id, taken(), word="window bed"))
    with read_session(site.engine) as session:
        kept = everything(session)

    assert "window bed" not in kept


def everything(session: Session) -> str:
    tables = (Visit, Round, Trial, Score)
    return "".join(repr(row) for t in tables for row in session.exec(select(t)))


def test_supervisor_chooses_from_their_own_and_whom_they_came_from(
    supervisor: TestClient, patient_id: int
) -> None:
    """Nobody scrolls through a whole site's people with a phone in one hand."""
    plain = supervisor.get("/bedside/attach").text
    asked = supervisor.get(f"/bedside/attach?patient={patient_id}").text
    brief = supervisor.get(f"/patients/{patient_id}").text

    assert "Blue 7" not in plain
    assert "Your own patients are listed." in plain
    assert f'<option value="{patient_id}" selected>Blue 7' in asked
    assert f'href="/bedside/attach?patient={patient_id}"' in brief


def test_asking_for_somebody_elses_patient_finds_nobody(
    colleague: TestClient, patient_id: int
) -> None:
    assert colleague.get(f"/bedside/attach?patient={patient_id}").status_code == 404


def test_result_from_before_the_episode_closed_is_taken(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    with write_session(site.engine) as session:
        episode = session.exec(select(Episode)).one()
        episode.opened_on = NOW.date() - timedelta(days=9)
        episode.closed_on = NOW.date() - timedelta(days=1)
        session.add(episode)
    during = attach(therapist, body(patient_id, taken(), at=NOW - timedelta(days=2)))
    after = attach(therapist, body(patient_id, taken()))

    assert during.status_code == 200
    assert after.status_code == 404
    assert [v.local_date for v in rows(site, Visit)] == [NOW.date() - timedelta(days=2)]
