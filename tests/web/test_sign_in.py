"""Signing in and out, and the demo's start page."""

from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

import pytest
from fastapi import FastAPI
from selectolax.lexbor import LexborHTMLParser
from sqlmodel import select
from starlette.testclient import TestClient

from app.settings import Settings
from app.storage import people
from app.storage.database import read_session, write_session
from app.storage.people import SignIn
from app.web.deps import SignedIn
from app.web.sign_in import DEMO_ROLES
from tests.conftest import CAST, Clock, client_of, found, running
from tests.make import NOW, PASSPHRASE, make_person


def sign_in(client: TestClient, **typed: str) -> tuple[int, str]:
    """The status and where it leads to."""
    form = {"handle": "therapist", "passphrase": PASSPHRASE, **typed}
    answer = client.post("/sign-in", data=form)
    return answer.status_code, answer.headers.get("location", "")


def test_right_passphrase_leads_to_where_the_day_starts(client: TestClient) -> None:
    assert sign_in(client) == (303, "/home")


def test_sign_in_leads_where_one_was_going(client: TestClient) -> None:
    assert sign_in(client, next="/patients/7?day=today") == (
        303,
        "/patients/7?day=today",
    )


@pytest.mark.parametrize(
    "elsewhere",
    [
        "//evil.example",
        "/\\evil.example",
        "\\\\evil.example",
        "https://evil.example/",
        "evil.example",
        "javascript:alert(1)",
        "/\t/evil.example",
        "/ok\r\nset-cookie: a=b",
        "",
    ],
)
def test_sign_in_never_leads_off_the_site(client: TestClient, elsewhere: str) -> None:
    assert sign_in(client, next=elsewhere) == (303, "/home")


def test_page_never_carries_a_way_off_the_site(client: TestClient) -> None:
    page = client.get("/sign-in", params={"next": "//evil.example"})

    assert "evil" not in page.text


@pytest.mark.parametrize(
    "typed",
    [
        {"passphrase": "wrong"},
        {"handle": "nobody"},
        {"passphrase": ""},
        {"handle": "", "passphrase": ""},
    ],
)
def test_wrong_passphrase_keeps_the_handle(
    client: TestClient, typed: dict[str, str]
) -> None:
    form = {"handle": "therapist", "passphrase": PASSPHRASE, **typed}
    answer = client.post("/sign-in", data=form)

    shown = found(answer.text, "input[name=handle]").attributes["value"]
    assert answer.status_code == 422
    assert "do not belong together" in found(answer.text, "[role=alert]").text()
    assert shown == form["handle"]
    assert PASSPHRASE not in answer.text
    assert "set-cookie" not in answer.headers


def test_missing_fields_are_answered_by_the_page(client: TestClient) -> None:
    answer = client.post("/sign-in")

    assert answer.status_code == 422
    assert answer.headers["content-type"].startswith("text/html")
    assert "do not belong together" in answer.text


def test_ended_account_cannot_sign_in(client: TestClient, app: FastAPI) -> None:
    with write_session(app.state.site.engine) as session:
        person = people.check_passphrase(session, "therapist", PASSPHRASE)
        assert person is not None
        person.active = False
        session.add(person)

    assert sign_in(client)[0] == 422


def test_cookie_is_plain_named_on_local_http(client: TestClient) -> None:
    form = {"handle": "therapist", "passphrase": PASSPHRASE}
    cookie = client.post("/sign-in", data=form).headers["set-cookie"]

    name, *rest = [part.strip().lower() for part in cookie.split(";")]
    assert name.startswith("tapeline=")
    assert set(rest) == {"httponly", "samesite=lax", "path=/"}


def test_cookie_is_host_bound_over_tls(app: FastAPI) -> None:
    client = client_of(app)
    client.base_url = "https://localhost:8765"
    form = {"handle": "therapist", "passphrase": PASSPHRASE}
    cookie = client.post("/sign-in", data=form).headers["set-cookie"]

    name, *rest = [part.strip().lower() for part in cookie.split(";")]
    assert name.startswith("__host-tapeline=")
    assert set(rest) == {"httponly", "samesite=lax", "path=/", "secure"}


def test_plain_cookie_is_not_taken_over_tls(therapist: TestClient) -> None:
    therapist.base_url = "https://localhost:8765"

    assert therapist.post("/sign-out").headers["location"].startswith("/sign-in")
    assert "set-cookie" not in therapist.post("/sign-out").headers


def greeting(me: SignedIn) -> dict[str, str]:
    """A page of this test's own, for whoever is signed in."""
    return {"name": me.name}


@pytest.fixture
def greeted(app: FastAPI) -> str:
    app.add_api_route("/greeting", greeting)
    return "/greeting"


def test_each_of_the_cast_is_known_by_name(
    greeted: str, sign_in_as: Callable[[str], TestClient]
) -> None:
    for handle in CAST:
        assert sign_in_as(handle).get(greeted).json() == {"name": handle.title()}


def test_old_cookie_is_refused_after_sign_out(
    therapist: TestClient, greeted: str
) -> None:
    old = therapist.cookies["tapeline"]
    before = therapist.get(greeted).status_code
    out = therapist.post("/sign-out")
    therapist.cookies.set("tapeline", old, domain="localhost.local")

    assert before == 200
    assert (out.status_code, out.headers["location"]) == (303, "/sign-in")
    assert 'tapeline="";' in out.headers["set-cookie"]
    assert therapist.get(greeted).headers["location"] == "/sign-in?next=/greeting"


def test_signing_in_again_ends_the_session_before(
    client: TestClient, greeted: str
) -> None:
    sign_in(client)
    old = client.cookies["tapeline"]
    sign_in(client)
    new = client.cookies["tapeline"]

    assert new != old
    assert client.get(greeted).status_code == 200
    client.cookies.clear()
    client.cookies.set("tapeline", old, domain="localhost.local")
    assert client.get(greeted).status_code == 303


@pytest.mark.parametrize(("hours", "status"), [(11.9, 204), (12.1, 401)])
def test_sign_in_lasts_twelve_hours(
    therapist: TestClient, clock: Clock, hours: float, status: int
) -> None:
    clock.move(hours=hours)

    assert therapist.get("/session").status_code == status
    assert therapist.head("/session").status_code == status


SCRIPT = [{"hx-request": "true"}, {"sec-fetch-mode": "cors"}]


@pytest.mark.parametrize("headers", SCRIPT, ids=str)
def test_script_signs_in_by_status_and_cookie(
    client: TestClient, greeted: str, headers: dict[str, str]
) -> None:
    form = {"handle": "therapist", "passphrase": PASSPHRASE}
    answer = client.post("/sign-in", data=form, headers=headers)

    assert (answer.status_code, answer.text) == (204, "")
    assert client.get(greeted).json() == {"name": "Therapist"}


@pytest.mark.parametrize("headers", SCRIPT, ids=str)
def test_script_is_told_in_one_sentence_why_not(
    client: TestClient, headers: dict[str, str]
) -> None:
    form = {"handle": "therapist", "passphrase": "wrong"}
    answer = client.post("/sign-in", data=form, headers=headers)

    assert answer.status_code == 422
    assert answer.headers["content-type"].startswith("text/html")
    assert "do not belong together" in found(answer.text, "[role=alert]").text()
    assert "<html" not in answer.text
    assert "set-cookie" not in answer.headers


def test_session_tells_a_stranger_nothing_but_401(client: TestClient) -> None:
    answer = client.get("/session")

    assert (answer.status_code, answer.text) == (401, "")


def last_seen(app: FastAPI) -> datetime:
    with read_session(app.state.site.engine) as session:
        seen: datetime = session.exec(select(SignIn.last_seen_at)).one()
    return seen


def test_last_seen_is_written_once_a_minute(
    app: FastAPI, therapist: TestClient, greeted: str, clock: Clock
) -> None:
    seen = []
    for seconds in (70, 50, 20):
        clock.move(seconds=seconds)
        therapist.get(greeted)
        seen.append((last_seen(app) - NOW).total_seconds())

    assert seen == [70, 70, 140]


def test_empty_site_says_how_to_begin(tmp_path: Path, clock: Clock) -> None:
    with running(Settings(data_dir=tmp_path / "new"), clock) as app:
        page = client_of(app).get("/sign-in").text

    assert "tapeline demo" in page
    assert "program printed a link" in page


def test_site_with_people_does_not_ask_to_begin(client: TestClient) -> None:
    assert "program printed a link" not in client.get("/sign-in").text


@pytest.fixture
def demo_client(settings: Settings, clock: Clock) -> Iterator[TestClient]:
    demo = Settings(data_dir=settings.data_dir, site_timezone="UTC", demo=True)
    with running(demo, clock) as app:
        with write_session(app.state.site.engine) as session:
            for role in DEMO_ROLES:
                handle, role = f"invented-{role}".replace(" ", "-"), role.split()[-1]
                make_person(session, handle, role=role, is_demo=True)
        app.add_api_route("/greeting", greeting)
        yield client_of(app)


def test_demo_starts_at_a_button_for_each(demo_client: TestClient) -> None:
    start = demo_client.get("/")
    page = demo_client.get("/demo").text

    inputs = LexborHTMLParser(page).css("form[action='/demo/enter'] input[name=role]")
    offered = [role.attributes["value"] for role in inputs]
    assert start.headers["location"] == "/demo"
    assert offered == ["therapist", "supervisor", "student", "new student"]
    assert "Everybody here is invented" in found(page, "main").text()
    assert "made afresh" in found(page, "main").text()


@pytest.mark.parametrize("role", list(DEMO_ROLES))
def test_one_tap_enters_the_demo(demo_client: TestClient, role: str) -> None:
    """The first of a role, or whoever is new in it."""
    answer = demo_client.post("/demo/enter", data={"role": role})

    assert (answer.status_code, answer.headers["location"]) == (303, "/home")
    name = f"Invented-{role.replace(' ', '-')}".title()
    assert demo_client.get("/greeting").json() == {"name": name}
    assert demo_client.get("/").headers["location"] == "/home"


@pytest.mark.parametrize("role", ["", "assistant", "admin"])
def test_demo_offers_no_other_role(demo_client: TestClient, role: str) -> None:
    answer = demo_client.post("/demo/enter", data={"role": role})

    assert answer.status_code == 404
    assert "set-cookie" not in answer.headers


def test_real_site_has_no_demo_door(client: TestClient) -> None:
    assert client.get("/demo").status_code == 404
    assert client.post("/demo/enter", data={"role": "therapist"}).status_code == 404
    assert client.get("/").headers["location"] == "/home"
