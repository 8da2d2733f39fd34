"""Supervisors manage people; links that work once set passphrases."""

import re
from datetime import timedelta

import pytest
from sqlmodel import Session, select
from starlette.testclient import TestClient

from app.settings import Settings
from app.storage.database import read_session, write_session
from app.storage.links import make_link
from app.storage.people import UNSET, Person
from app.web.deps import Site
from tests.conftest import Clock, client_of, found, person_by, running
from tests.make import PASSPHRASE, make_person
from tests.web.test_account import try_it

CHOSEN = "nine slow barges pass"
AGAIN = {"passphrase": PASSPHRASE}


def added(supervisor: TestClient) -> str:
    """The path of the link that is shown."""
    given = {"name": "Ward five", "handle": "ward5", "role": "therapist", **AGAIN}
    page = supervisor.post("/people/new", data=given).text
    link = found(page, "#link").text()
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
    before = try_it(client, CHOSEN, "ward5")
    page = client.get(link).text
    joined = client.post(link, data={"passphrase": CHOSEN})
    again = client.post(link, data={"passphrase": "some other five words"})

    assert "do not belong together" in before
    assert "Ward five" in page
    assert joined.headers["location"] == "/sign-in"
    assert again.status_code == 404
    assert try_it(client, CHOSEN, "ward5") == ""


def test_opening_the_link_uses_nothing_up(
    supervisor: TestClient, client: TestClient
) -> None:
    link = added(supervisor)
    for _ in range(3):
        assert client.get(link).status_code == 200
    weak = client.post(link, data={"passphrase": "ward five ward five"})

    assert "mostly your name" in found(weak.text, "#passphrase-error").text()
    assert client.post(link, data={"passphrase": CHOSEN}).status_code == 303


def test_link_is_good_for_a_day(
    supervisor: TestClient, client: TestClient, clock: Clock
) -> None:
    link = added(supervisor)
    clock.now += timedelta(hours=24)

    assert client.get(link).status_code == 404
    assert client.post(link, data={"passphrase": CHOSEN}).status_code == 404


def test_new_link_ends_the_one_before(
    supervisor: TestClient, client: TestClient, site: Site
) -> None:
    first = added(supervisor)
    supervisor.post(f"/people/{id_of(site, 'ward5')}/link", data=AGAIN)

    assert client.get(first).status_code == 404


def test_chosen_passphrase_ends_what_was_signed_in(
    supervisor: TestClient, therapist: TestClient, client: TestClient, site: Site
) -> None:
    someone = id_of(site, "therapist")
    page = supervisor.post(f"/people/{someone}/link", data=AGAIN).text
    link = found(page, "#link").text()
    client.post(link[link.index("/join/") :], data={"passphrase": CHOSEN})

    assert therapist.get("/session").status_code == 401
    assert try_it(client, CHOSEN) == ""


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
    given = {"name": "Ward five", "handle": "ward5", "role": "student", **AGAIN, **said}
    answer = supervisor.post("/people/new", data=given)

    assert answer.status_code == 422
    assert found(answer.text, f"#{field}-error").text()
    assert found(answer.text, "#name").attributes["value"] == given["name"]


def test_two_who_change_the_same_person(supervisor: TestClient, site: Site) -> None:
    someone = id_of(site, "colleague")
    first = {"name": "Colleague", "role": "assistant", "version": "1", **AGAIN}
    second = {"name": "Co League", "role": "therapist", "version": "1", **AGAIN}
    won = supervisor.post(f"/people/{someone}", data=first)
    told = supervisor.post(f"/people/{someone}", data=second)

    assert won.status_code == 303
    assert told.status_code == 409
    assert "It is now: Colleague, assistant." in found(told.text, ".error").text()
    assert found(told.text, "#name").attributes["value"] == "Co League"


def test_switched_off_is_out_and_may_come_back(
    supervisor: TestClient,
    therapist: TestClient,
    client: TestClient,
    site: Site,
    patient_id: int,
) -> None:
    someone = id_of(site, "therapist")
    page = supervisor.get(f"/people/{someone}").text
    supervisor.post(f"/people/{someone}/active", data={"active": "no", "version": "1"})
    out = therapist.get("/session").status_code
    held = supervisor.get(f"/people/{someone}").text
    on = {"active": "yes", "version": "2"}
    unasked = supervisor.post(f"/people/{someone}/active", data=on)
    supervisor.post(f"/people/{someone}/active", data={**on, **AGAIN})

    patient = f'a[href="/patients/{patient_id}"]'
    assert "Transfer these patients first" in page
    assert found(page, patient).text() == found(held, patient).text()
    assert "still assigned to them" in held
    assert unasked.status_code == 422
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
    given = {**said, **AGAIN, "version": "1"}
    told = supervisor.post(f"/people/{chief}{path}", data=given)
    with write_session(site.engine) as session:
        second = make_person(session, "second", role="supervisor")
        chosen, second.passphrase_hash = second.passphrase_hash, UNSET
    unable = supervisor.post(f"/people/{chief}{path}", data=given)
    with write_session(site.engine) as session:
        person_by(session, "second").passphrase_hash = chosen
    then = supervisor.post(f"/people/{chief}{path}", data=given)

    assert told.status_code == unable.status_code == 409
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
        given = {"name": "First", "handle": "first", "passphrase": CHOSEN}
        voided = browser.post(f"/set-up/{old}", data=given)
        empty_form = browser.post(f"/set-up/{token}", data={})
        shown = browser.get(f"/set-up/{token}")
        made = browser.post(f"/set-up/{token}", data={**given, "role": "student"})
        second = browser.post(f"/set-up/{token}", data={**given, "handle": "second"})
        with read_session(app.state.site.engine) as session:
            people = people_in(session)
        entered = try_it(browser, CHOSEN, "first")

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
    given = {"name": "X", "handle": "x", "passphrase": CHOSEN}

    assert client.get(f"/set-up/{token}").status_code == 404
    assert client.post(f"/set-up/{token}", data=given).status_code == 404


@pytest.mark.parametrize(
    ("path", "said", "field"),
    [
        ("/people/new", {"name": "X", "handle": "x", "role": "supervisor"}, ""),
        ("/people/{id}", {"name": "X", "role": "supervisor", "version": "1"}, ""),
        ("/people/{id}/link", {}, "link-"),
    ],
)
def test_open_phone_of_a_supervisor_lets_nobody_in(
    supervisor: TestClient, site: Site, path: str, said: dict[str, str], field: str
) -> None:
    """Whoever finds it does not know the passphrase."""
    path = path.format(id=id_of(site, "student"))
    unsaid = supervisor.post(path, data=said)
    wrong = supervisor.post(path, data={**said, "passphrase": "not the one at all"})

    for answer, words in ((unsaid, "Type your passphrase"), (wrong, "not your")):
        assert answer.status_code == 422
        assert words in found(answer.text, "#passphrase-error").text()
        typed = found(answer.text, f"#{field}passphrase").attributes
        assert typed["aria-invalid"] == "true"
        assert "/join/" not in answer.text
    with read_session(site.engine) as session:
        assert person_by(session, "student").role == "student"
        assert session.exec(select(Person).where(Person.handle == "x")).all() == []


def test_form_sent_twice_adds_one_and_shows_a_link_that_works(
    supervisor: TestClient, client: TestClient, site: Site
) -> None:
    first, second = added(supervisor), added(supervisor)
    with read_session(site.engine) as session:
        handles = [handle for handle, _ in people_in(session)]

    assert handles.count("ward5") == 1
    assert client.get(first).status_code == 404
    assert client.get(second).status_code == 200


def test_who_is_switched_off_gets_no_link(
    supervisor: TestClient, client: TestClient, site: Site
) -> None:
    link = added(supervisor)
    someone = id_of(site, "ward5")
    supervisor.post(f"/people/{someone}/active", data={"active": "no", "version": "1"})
    told = supervisor.post(f"/people/{someone}/link", data=AGAIN)

    assert client.get(link).status_code == 404
    assert told.status_code == 409
    assert "switched off" in found(told.text, ".error").text()
    assert "Make a link" not in told.text


def test_link_after_too_many_guesses_lets_them_in_at_once(
    supervisor: TestClient, client: TestClient, site: Site
) -> None:
    for _ in range(8):
        try_it(client, "a wrong one entirely")
    someone = id_of(site, "therapist")
    page = supervisor.post(f"/people/{someone}/link", data=AGAIN).text
    link = found(page, "#link").text()
    client.post(link[link.index("/join/") :], data={"passphrase": CHOSEN})

    assert try_it(client, CHOSEN) == ""


def test_own_new_passphrase_voids_a_link_given_before(
    supervisor: TestClient, therapist: TestClient, client: TestClient, site: Site
) -> None:
    someone = id_of(site, "therapist")
    page = supervisor.post(f"/people/{someone}/link", data=AGAIN).text
    link = found(page, "#link").text()
    therapist.post("/account/passphrase", data={**AGAIN, "new_passphrase": CHOSEN})

    gone = client.get(link[link.index("/join/") :])
    assert gone.status_code == 404
    assert "no longer works" in found(gone.text, "h1").text()


def test_set_up_link_is_void_once_there_is_anybody(
    client: TestClient, site: Site, clock: Clock
) -> None:
    """Somebody was added at the machine while the printed link lay about."""
    with write_session(site.engine) as session:
        token = make_link(session, "setup", now=clock())
    given = {"name": "X", "handle": "x", "passphrase": CHOSEN}

    assert client.get(f"/set-up/{token}").status_code == 404
    assert client.post(f"/set-up/{token}", data=given).status_code == 404


def test_link_over_tls_says_so(
    settings: Settings, clock: Clock, supervisor: TestClient
) -> None:
    secure = settings.model_copy(update={"secure_cookies": True})
    with running(secure, clock) as app:
        browser = client_of(app)
        browser.cookies.set(
            "__Host-tapeline",
            supervisor.cookies.get("tapeline", domain="localhost.local") or "",
            domain="localhost.local",
        )
        given = {"name": "Ward five", "handle": "ward5", "role": "student", **AGAIN}
        page = browser.post("/people/new", data=given).text

    link = found(page, "#link").text()
    assert link.startswith("https://localhost:8765/join/")
