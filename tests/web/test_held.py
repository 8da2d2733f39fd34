"""A form sent after the session ended: kept for its person, shown to nobody else."""

from collections.abc import Callable
from urllib.parse import urlencode
from uuid import uuid4

import pytest
from sqlmodel import col, select, update
from starlette.testclient import TestClient

from app.storage.audit import AuditEntry
from app.storage.database import read_session, write_session
from app.storage.held_requests import HeldRequest
from app.storage.people import SignIn
from app.storage.trials import Trial
from app.web.deps import Site
from tests.conftest import Clock, found
from tests.make import NOW, PASSPHRASE
from tests.web.bedside import a_round, send

STANDS = "five_times_sit_to_stand"
REACH = "functional_reach"
NAME = "Five times sit to stand"


def end_sessions(site: Site) -> None:
    with write_session(site.engine) as session:
        session.exec(update(SignIn).values(ended_at=NOW))


@pytest.fixture
def round_url(therapist: TestClient, patient_id: int, site: Site) -> str:
    """A round of the therapist, whose session has then ended."""
    url = a_round(therapist, patient_id, STANDS)
    end_sessions(site)
    return url


def held(site: Site) -> list[HeldRequest]:
    with read_session(site.engine) as session:
        return list(session.exec(select(HeldRequest).order_by(col(HeldRequest.id))))


def trials(site: Site) -> list[Trial]:
    with read_session(site.engine) as session:
        return list(session.exec(select(Trial)))


def sign_in(client: TestClient, handle: str = "therapist") -> str:
    form = {"handle": handle, "passphrase": PASSPHRASE}
    answer = client.post("/sign-in", data=form)
    assert answer.status_code == 303
    return str(answer.headers["location"])


def resend(client: TestClient) -> int:
    """Press "Save it now" as a browser does."""
    form = found(client.get("/held").text, "main form")
    fields = [
        (str(i.attributes["name"]), i.attributes["value"] or "")
        for i in form.css("input")
    ]
    answer = client.post(
        str(form.attributes["action"]),
        content=urlencode(fields),
        headers={"content-type": "application/x-www-form-urlencoded"},
    )
    return answer.status_code


def test_trial_is_kept_and_sign_in_says_so(
    therapist: TestClient, site: Site, round_url: str
) -> None:
    answer = send(therapist, round_url, typed="16.2")
    page = therapist.get(answer.headers["location"]).text

    assert (answer.status_code, answer.headers["location"]) == (
        303,
        "/sign-in?held=1",
    )
    assert "kept for you" in found(page, "main").text()
    assert [h.path for h in held(site)] == [f"{round_url}/trials"]
    assert trials(site) == []


def test_it_is_shown_and_sent_once_after_sign_in(
    therapist: TestClient, site: Site, round_url: str
) -> None:
    send(therapist, round_url, typed="16.2")
    onward = sign_in(therapist)
    heading = found(therapist.get("/held").text, "main h2").text()
    status = resend(therapist)

    assert onward == "/held"
    assert heading == f"This was not saved yet: {NAME}: 16.2 s"
    assert status == 303
    assert [t.raw_ms for t in trials(site)] == [16200]
    assert held(site) == []
    assert "Nothing waits here" in therapist.get("/held").text


def test_two_taps_save_one_trial(
    therapist: TestClient, site: Site, round_url: str
) -> None:
    uid = uuid4().hex
    send(therapist, round_url, typed="16.2", uid=uid)
    sign_in(therapist)
    number = str(held(site)[0].id)
    twice = [
        send(therapist, round_url, typed="16.2", uid=uid, held=number).status_code
        for _ in range(2)
    ]

    assert twice == [303, 303]
    assert len(trials(site)) == 1


def test_it_comes_before_where_one_was_going(
    therapist: TestClient, round_url: str
) -> None:
    send(therapist, round_url, typed="16.2")
    form = {"handle": "therapist", "passphrase": PASSPHRASE, "next": "/patients/1"}

    assert therapist.post("/sign-in", data=form).headers["location"] == "/held"


def test_nobody_else_is_shown_it(
    therapist: TestClient, site: Site, round_url: str
) -> None:
    send(therapist, round_url, typed="16.2")
    onward = sign_in(therapist, "supervisor")
    number = held(site)[0].id
    page = therapist.get("/held").text
    notice = therapist.get("/caseload").text
    therapist.post(f"/held/{number}/discard")
    send(therapist, round_url, typed="12", held=str(number))

    assert onward == "/home"
    assert "16.2" not in page
    assert "not saved yet" not in notice
    assert len(held(site)) == 1


def test_list_says_that_something_waits(therapist: TestClient, round_url: str) -> None:
    send(therapist, round_url, typed="16.2")
    sign_in(therapist)

    assert "1 not saved yet" in therapist.get("/caseload").text


def test_it_can_be_let_go(therapist: TestClient, site: Site, round_url: str) -> None:
    send(therapist, round_url, typed="16.2")
    sign_in(therapist)
    answer = therapist.post(f"/held/{held(site)[0].id}/discard")

    assert answer.headers["location"] == "/caseload"
    assert (held(site), trials(site)) == ([], [])
    with read_session(site.engine) as session:
        wanted = select(AuditEntry.deed).order_by(col(AuditEntry.id))
        deeds = list(session.exec(wanted))
    assert deeds.count("held_request") == deeds.count("discarded_held") == 1


def test_refused_deed_leaves_it_on_the_list(
    therapist: TestClient, site: Site, round_url: str
) -> None:
    """The same id was meanwhile used for another time."""
    uid = uuid4().hex
    send(therapist, round_url, typed="16.2", uid=uid)
    sign_in(therapist)
    send(therapist, round_url, typed="17.0", uid=uid)

    assert resend(therapist) == 409
    assert len(held(site)) == 1


def test_sixth_is_refused_in_words(
    therapist: TestClient, site: Site, round_url: str
) -> None:
    for _ in range(5):
        send(therapist, round_url, typed="16.2")
    answer = send(therapist, round_url, typed="18.8")
    page = therapist.get(answer.headers["location"]).text

    assert "could not be kept" in found(page, "main").text()
    assert len(held(site)) == 5
    assert all("18.8" not in h.body for h in held(site))


def test_same_form_again_is_kept_once(
    therapist: TestClient, site: Site, round_url: str
) -> None:
    uid = uuid4().hex
    for _ in range(3):
        send(therapist, round_url, typed="16.2", uid=uid)

    assert len(held(site)) == 1


def test_it_is_gone_after_a_day(
    therapist: TestClient, site: Site, round_url: str, clock: Clock
) -> None:
    send(therapist, round_url, typed="16.2")
    clock.move(hours=24)

    assert sign_in(therapist) == "/home"
    assert held(site) == []


def test_expired_session_counts_as_ended(
    therapist: TestClient, patient_id: int, site: Site, clock: Clock
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    clock.move(hours=13)

    assert send(therapist, url, typed="16.2").headers["location"].endswith("held=1")
    assert len(held(site)) == 1


def test_cookie_of_long_ago_keeps_nothing(
    therapist: TestClient, patient_id: int, site: Site, clock: Clock
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    clock.move(days=8)

    assert send(therapist, url, typed="16.2").headers["location"] == "/sign-in"
    assert held(site) == []


def test_stranger_keeps_nothing(client: TestClient, site: Site) -> None:
    client.cookies.set("tapeline", "guess", domain="localhost.local")
    answer = send(client, "/rounds/1", typed="16.2")

    assert answer.headers["location"] == "/sign-in"
    assert held(site) == []


@pytest.mark.parametrize(
    "headers", [{"hx-request": "true"}, {"sec-fetch-mode": "cors"}], ids=str
)
def test_script_keeps_its_own(
    therapist: TestClient, site: Site, round_url: str, headers: dict[str, str]
) -> None:
    answer = therapist.post(
        f"{round_url}/trials", data={"typed": "16.2"}, headers=headers
    )

    assert answer.status_code == 401
    assert held(site) == []


@pytest.mark.parametrize(
    ("path", "data"),
    [
        ("/sign-out", {"a": "1"}),
        ("/lock", {"a": "1"}),
        ("/unlock", {"passphrase": "four tired"}),
        ("/held/1/discard", {"a": "1"}),
        ("/trials/1/void", {"void_reason": "x", "passphrase": "four tired"}),
        ("/trials/1/void", {"void_reason": "x" * 65_600}),
    ],
    ids=lambda value: str(value)[:40],
)
def test_what_is_never_kept(
    therapist: TestClient,
    site: Site,
    round_url: str,
    path: str,
    data: dict[str, str],
) -> None:
    assert round_url
    answer = therapist.post(path, data=data)

    assert answer.headers["location"] == "/sign-in"
    assert held(site) == []


def test_form_from_another_site_is_not_kept(
    therapist: TestClient, site: Site, round_url: str
) -> None:
    answer = therapist.post(
        f"{round_url}/trials",
        data={"typed": "16.2"},
        headers={"sec-fetch-site": "cross-site"},
    )

    assert answer.status_code == 403
    assert held(site) == []


WORDS = [
    ({"raw_ms": "16249"}, f"{NAME}: 16.2 s (raw)"),
    ({"outcome": "stopped", "raw_ms": "4100"}, f"{NAME}: stopped for safety"),
    ({}, f"{NAME}: no value"),
]


@pytest.mark.parametrize(("fields", "words"), WORDS)
def test_list_names_test_and_value(
    therapist: TestClient, round_url: str, fields: dict[str, str], words: str
) -> None:
    send(therapist, round_url, **fields)
    sign_in(therapist)

    heading = found(therapist.get("/held").text, "main h2").text()
    assert heading == f"This was not saved yet: {words}"


Sign = Callable[[str], TestClient]


def test_note_with_signs_and_lines_comes_back_as_typed(
    therapist: TestClient, site: Site, round_url: str, sign_in_as: Sign
) -> None:
    stops = send(sign_in_as("therapist"), round_url, outcome="stopped")
    assert stops.status_code == 303
    typed = 'Pale & "sweaty" <b>\r\nthen better; 1+1=2 é'
    end_sessions(site)
    path = f"/trials/{trials(site)[0].id}/safety"
    therapist.post(path, data={"asked": "details", "note": typed})
    sign_in(therapist)
    status = resend(therapist)

    page = therapist.get(path).text
    assert status == 303
    assert found(page, "#note").text() == typed.replace("\r\n", "\n")
