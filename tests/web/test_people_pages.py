"""Supervisors manage people; links that work once set passphrases."""

import re
from datetime import timedelta

import pytest
from sqlmodel import Session, select
from starlette.testclient import TestClient

from app.settings import Settings
from app.storage.database import read_session, write_session
from app.storage.links import make_link
from app.storage.people import Person
from app.web.deps import Site
from tests.conftest import Clock, client_of, found, person_by, running
from tests.make import make_person
from tests.web.test_account import try_it

PASSPHRASE = "nine slow barges pass"


def added(supervisor: TestClient, **said: str) -> str:
    """The path of the link that is shown."""
    given = {"name": "Ward five", "handle": "ward5", "role": "therapist", **said}
    page = supervisor.post("/people/new", data=given).text
    link = found(page, "#link").attributes["value"] or ""
    path = re.search(r"/join/[\w-]+$", link)
    assert path, link
    return path[0]


def id_of(site: Site, handle: str) -> int:
    with read_session(site.engine) as session:
        return person_by(session, handle).id


def test_added_person_chooses_a_passphrase_and_signs_in(
    supervisor: TestClient, client: TestClient
) -> None:
    link = added(supervisor)
    before = try_it(client, PASSPHRASE, "ward5")
    page = client.get(link).text
    joined = client.post(link, data={"passphrase": PASSPHRASE})
    again = client.post(link, data={"passphrase": "some other five words"})

    assert "do not belong together" in before
    assert "Ward five" in page
    assert joined.headers["location"] == "/sign-in"
    assert again.status_code == 404
    assert try_it(client, PASSPHRASE, "ward5") == ""


def test_opening_the_link_uses_nothing_up(
    supervisor: TestClient, client: TestClient
) -> None:
    link = added(supervisor)
    for _ in range(3):
        assert client.get(link).status_code == 200
    weak = client.post(link, data={"passphrase": "ward five ward five"})

    assert "mostly your name" in found(weak.text, "#passphrase-error").text()
    assert client.post(link, data={"passphrase": PASSPHRASE}).status_code == 303


def test_link_is_good_for_a_day(
    supervisor: TestClient, client: TestClient, clock: Clock
) -> None:
    link = added(supervisor)
    clock.now += timedelta(hours=24)

    assert client.get(link).status_code == 404
    assert client.post(link, data={"passphrase": PASSPHRASE}).status_code == 404


def test_new_link_ends_the_one_before(
    supervisor: TestClient, client: TestClient, site: Site
) -> None:
    first = added(supervisor)
    supervisor.post(f"/people/{id_of(site, 'ward5')}/link")

    assert client.get(first).status_code == 404


def test_chosen_passphrase_ends_what_was_signed_in(
    supervisor: TestClient, therapist: TestClient, client: TestClient, site: Site
) -> None:
    page = supervisor.post(f"/people/{id_of(site, 'therapist')}/link").text
    link = found(page, "#link").attributes["value"] or ""
    client.post(link[link.index("/join/") :], data={"passphrase": PASSPHRASE})

    assert therapist.get("/session").status_code == 401
    assert try_it(client, PASSPHRASE) == ""


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"name": ""}, "name"),
        ({"name": "x" * 81}, "name"),
        ({"handle": "two words"}, "handle"),
        ({"handle": "THERAPIST"}, "handle"),
        ({"role": "owner"}, "role"),
        ({"role": ""}, "role"),
    ],
)
def test_bad_person_comes_back_with_what_was_typed(
    supervisor: TestClient, said: dict[str, str], field: str
) -> None:
    given = {"name": "Ward five", "handle": "ward5", "role": "student", **said}
    answer = supervisor.post("/people/new", data=given)

    assert answer.status_code == 422
    assert found(answer.text, f"#{field}-error").text()
    assert found(answer.text, "#name").attributes["value"] == given["name"]


def test_two_who_change_the_same_person(supervisor: TestClient, site: Site) -> None:
    someone = id_of(site, "colleague")
    first = {"name": "Colleague", "role": "assistant", "version": "1"}
    second = {"name": "Co League", "role": "therapist", "version": "1"}
    won = supervisor.post(f"/people/{someone}", data=first)
    told = supervisor.post(f"/people/{someone}", data=second)

    assert won.status_code == 303
    assert told.status_code == 409
    assert "It is now: Colleague, assistant." in found(told.text, ".error").text()
    assert found(told.text, "#name").attributes["value"] == "Co League"


def test_switched_off_is_out_and_may_come_back(
    supervisor: TestClient, therapist: TestClient, client: TestClient, site: Site
) -> None:
    someone = id_of(site, "therapist")
    page = supervisor.get(f"/people/{someone}").text
    supervisor.post(f"/people/{someone}/active", data={"active": "no", "version": "1"})
    out = therapist.get("/session").status_code
    supervisor.post(f"/people/{someone}/active", data={"active": "yes", "version": "2"})

    assert "1 patient is assigned to them" in page
    assert out == 401
    assert try_it(client, "four tired horses rest") == ""


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("", {"name": "Chief", "role": "therapist"}),
        ("/active", {"active": "no"}),
    ],
)
def test_last_supervisor_stays(
    supervisor: TestClient, site: Site, path: str, said: dict[str, str]
) -> None:
    chief = id_of(site, "supervisor")
    told = supervisor.post(f"/people/{chief}{path}", data={**said, "version": "1"})
    with write_session(site.engine) as session:
        make_person(session, "second", role="supervisor")
    then = supervisor.post(f"/people/{chief}{path}", data={**said, "version": "1"})

    assert told.status_code == 409
    assert "the only active supervisor" in found(told.text, ".error").text()
    assert then.status_code == 303


def test_demo_people_and_real_ones_do_not_meet(
    supervisor: TestClient, site: Site
) -> None:
    with write_session(site.engine) as session:
        someone = make_person(session, "invented", is_demo=True).id

    assert "invented" not in supervisor.get("/people").text
    assert supervisor.get(f"/people/{someone}").status_code == 404


def people_in(session: Session) -> list[tuple[str, str]]:
    return [(p.handle, p.role) for p in session.exec(select(Person))]


def test_set_up_link_makes_one_supervisor(
    clock: Clock, tmp_path_factory: pytest.TempPathFactory
) -> None:
    empty = Settings(data_dir=tmp_path_factory.mktemp("empty"), site_timezone="UTC")
    with running(empty, clock) as app:
        with write_session(app.state.site.engine) as session:
            old = make_link(session, "setup", now=clock())
            token = make_link(session, "setup", now=clock())
        browser = client_of(app)
        given = {"name": "First", "handle": "first", "passphrase": PASSPHRASE}
        voided = browser.post(f"/set-up/{old}", data=given)
        empty_form = browser.post(f"/set-up/{token}", data={})
        shown = browser.get(f"/set-up/{token}")
        made = browser.post(f"/set-up/{token}", data={**given, "role": "student"})
        second = browser.post(f"/set-up/{token}", data={**given, "handle": "second"})
        with read_session(app.state.site.engine) as session:
            people = people_in(session)
        entered = try_it(browser, PASSPHRASE, "first")

    assert voided.status_code == 404
    assert empty_form.status_code == 422
    assert "works once" in shown.text
    assert made.headers["location"] == "/sign-in"
    assert second.status_code == 404
    assert people == [("first", "supervisor")]
    assert entered == ""


def test_links_of_one_kind_open_nothing_of_the_other(
    supervisor: TestClient, client: TestClient
) -> None:
    token = added(supervisor).removeprefix("/join/")
    given = {"name": "X", "handle": "x", "passphrase": PASSPHRASE}

    assert client.get(f"/set-up/{token}").status_code == 404
    assert client.post(f"/set-up/{token}", data=given).status_code == 404
