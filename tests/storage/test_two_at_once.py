"""Two people who change the same thing: both versions, who was quicker, and when.

Through the pages, since that is where the two meet, and on each database there is.
"""

import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from sqlmodel import select
from starlette.testclient import TestClient

from app.main import create_app
from app.settings import Settings
from app.storage import people
from app.storage.audit import verify
from app.storage.database import read_session, write_session
from app.storage.episodes import Episode
from app.storage.patients import Patient
from app.storage.precautions import PrecautionOnEpisode
from app.storage.profile import Profile
from app.web.deps import Site
from tests.conftest import Clock, client_of, found, person_by
from tests.make import make_episode, make_patient, make_person

CARE = {"reason": "walks less", "setting": "community", "plan": "restore"}
SAID = {"label": "Blue 7", "birth_year": "1948", "sex": "female", "version": "1"}
ORDER = {"tag": "ttwb_le", "set_by": "surgeon", "set_on": "2026-03-01"}


@pytest.fixture
def app(url: str, tmp_path: Path) -> Iterator[FastAPI]:
    app = create_app(
        Settings(database_url=url, data_dir=tmp_path / "data", site_timezone="UTC")
    )
    app.state.site.clock = Clock()
    with write_session(app.state.site.engine) as session:
        one = make_person(session, "therapist")
        make_person(session, "supervisor", role="supervisor")
        make_episode(session, one, make_patient(session, one))
    yield app
    app.state.site.engine.dispose()


@pytest.fixture
def site(app: FastAPI) -> Site:
    site: Site = app.state.site
    return site


def signed_in(app: FastAPI, handle: str) -> TestClient:
    site: Site = app.state.site
    with write_session(site.engine) as session:
        token = people.start_sign_in(session, person_by(session, handle), site.clock())
    client = client_of(app)
    client.cookies.set("tapeline", token, domain="localhost.local")
    return client


@pytest.fixture
def therapist(app: FastAPI) -> TestClient:
    return signed_in(app, "therapist")


@pytest.fixture
def supervisor(app: FastAPI) -> TestClient:
    return signed_in(app, "supervisor")


def differing(html: str) -> dict[str, tuple[str, str]]:
    """What differs: by its name, what is stored and what was typed."""
    told = {}
    for row in found(html, ".compare tbody").css("tr"):
        what, theirs, yours = (cell.text() for cell in row.css("th, td"))
        told[what] = theirs, yours
    return told


def version(html: str, form: str) -> str:
    return (
        found(html, f'form[action="{form}"] [name=version]').attributes["value"] or ""
    )


def test_patient(therapist: TestClient, supervisor: TestClient, site: Site) -> None:
    url = "/patients/1/edit"
    first = {"label": "Slate Heron", "condition": "stroke", "since-stroke": "2025-11"}
    won = supervisor.post(url, data=SAID | first | {"side-stroke": "left"})
    told = therapist.post(url, data=SAID | {"label": "Slate Tern"})

    assert won.status_code == 303
    assert told.status_code == 409
    assert "Changed by Supervisor, 2 Mar, 09:30" in told.text
    assert differing(told.text) == {
        "Label": ("Slate Heron", "Slate Tern"),
        "Stroke": ("yes (left, since Nov 2025)", "nothing"),
    }
    again = {"label": "Slate Tern", "version": version(told.text, url)}
    assert therapist.post(url, data=SAID | again).status_code == 303
    with read_session(site.engine) as session:
        assert session.get_one(Patient, 1).label == "Slate Tern"


def test_episode(therapist: TestClient, supervisor: TestClient, site: Site) -> None:
    url = "/patients/1/episodes"
    seen = CARE | {"version": "1"}
    won = supervisor.post(url, data=seen | {"start_on": "2026-02-20"})
    told = therapist.post(url, data=seen | {"plan": "maintain"})

    assert won.status_code == 303
    assert told.status_code == 409
    assert "Changed by Supervisor, 2 Mar, 09:30" in told.text
    assert differing(told.text) == {
        "Plan": ("restore function", "maintain function"),
        "Start of care": ("2026-02-20", "nothing"),
    }
    again = CARE | {"plan": "maintain", "version": version(told.text, url)}
    assert therapist.post(url, data=again).status_code == 303
    with read_session(site.engine) as session:
        episode = session.exec(select(Episode)).one()
    assert (episode.plan, episode.start_on) == ("maintain", None)


def test_closing_an_episode(therapist: TestClient, supervisor: TestClient) -> None:
    url = "/episodes/1/close"
    won = supervisor.post(url, data={"end_reason": "moved", "version": "1"})
    told = therapist.post(url, data={"end_reason": "plateau", "version": "1"})

    assert won.status_code == 303
    assert told.status_code == 409
    assert "Changed by Supervisor, 2 Mar, 09:30" in told.text
    assert differing(told.text) == {
        "Why it ends": ("moved or transferred", "no further gain to expect")
    }


def test_profile(therapist: TestClient, supervisor: TestClient, site: Site) -> None:
    url = "/patients/1/profile"
    won = supervisor.post(url, data={"fall_long_lie": "no", "version": "0"})
    mine = {"fall_long_lie": "yes", "matters": "her garden"}
    told = therapist.post(url, data=mine | {"version": "0"})

    assert won.status_code == 303
    assert told.status_code == 409
    assert "Changed by Supervisor, 2 Mar, 09:30" in told.text
    assert differing(told.text) == {
        "Lay on the floor for an hour or longer": ("no", "yes"),
        "What matters to them, in their words": ("nothing", "her garden"),
    }
    again = mine | {"version": version(told.text, url)}
    assert therapist.post(url, data=again).status_code == 303
    with read_session(site.engine) as session:
        profile = session.exec(select(Profile)).one()
    assert (profile.fall_long_lie, profile.fall_fainted) == ("yes", None)


def test_order_set_twice_and_then_changed(
    therapist: TestClient, supervisor: TestClient, site: Site
) -> None:
    url = "/patients/1/precautions"
    won = supervisor.post(url, data=ORDER)
    mine = ORDER | {"set_on": "2026-02-27", "review_on": "2026-03-09"}
    told = therapist.post(url, data=mine)

    assert won.status_code == 303
    assert told.status_code == 409
    assert "Changed by Supervisor, 2 Mar, 09:30" in told.text
    assert differing(told.text) == {
        "Ordered on": ("2026-03-01", "2026-02-27"),
        "Look at it again on": ("nothing", "2026-03-09"),
    }
    change = "/precautions/1/change"
    again = mine | {"version": version(told.text, change)}
    stale = supervisor.post(change, data=ORDER | {"note": "left", "version": "7"})
    assert stale.status_code == 409
    assert therapist.post(change, data=again).status_code == 303
    with read_session(site.engine) as session:
        (row,) = session.exec(select(PrecautionOnEpisode)).all()
    assert (str(row.set_on), str(row.review_on)) == ("2026-02-27", "2026-03-09")


def test_order_lifted_by_both(therapist: TestClient, supervisor: TestClient) -> None:
    therapist.post("/patients/1/precautions", data=ORDER)
    url = "/precautions/1/end"
    said = {"end_note": "surgeon, healed", "version": "1"}
    won = supervisor.post(url, data=said)
    told = therapist.post(url, data=said | {"end_note": "seen in clinic"})

    assert won.status_code == 303
    assert told.status_code == 409
    assert "Changed by Supervisor, 2 Mar, 09:30" in told.text
    assert differing(told.text) == {
        "Who lifted it, and why": ("surgeon, healed", "seen in clinic")
    }


def test_order_that_changed_is_not_lifted_unseen(
    therapist: TestClient, supervisor: TestClient, site: Site
) -> None:
    therapist.post("/patients/1/precautions", data=ORDER)
    changed = ORDER | {"note": "both legs now", "version": "1"}
    won = supervisor.post("/precautions/1/change", data=changed)
    said = {"end_note": "surgeon, healed", "version": "1"}
    told = therapist.post("/precautions/1/end", data=said)

    assert (won.status_code, told.status_code) == (303, 409)
    assert differing(told.text)["More about it"] == ("both legs now", "nothing")
    with read_session(site.engine) as session:
        assert session.exec(select(PrecautionOnEpisode)).one().ended_on is None


Post = Callable[[TestClient], int]
AT_ONCE: dict[str, tuple[Post, Post]] = {
    "patient": (
        lambda c: c.post("/patients/1/edit", data=SAID | {"label": "A"}).status_code,
        lambda c: c.post("/patients/1/edit", data=SAID | {"label": "B"}).status_code,
    ),
    "profile": (
        lambda c: c.post("/patients/1/profile", data={"home": "A"}).status_code,
        lambda c: c.post("/patients/1/profile", data={"home": "B"}).status_code,
    ),
    "precaution": (
        lambda c: c.post("/patients/1/precautions", data=ORDER).status_code,
        lambda c: (
            c.post("/patients/1/precautions", data=ORDER | {"note": "B"}).status_code
        ),
    ),
}


@pytest.mark.parametrize("kind", AT_ONCE)
def test_at_the_same_moment_one_wins_and_one_is_told(
    kind: str, therapist: TestClient, supervisor: TestClient, site: Site
) -> None:
    together, answers = threading.Barrier(2), []

    def work(client: TestClient, post: Post) -> None:
        together.wait()
        answers.append(post(client))

    pairs = zip((therapist, supervisor), AT_ONCE[kind], strict=True)
    threads = [threading.Thread(target=work, args=pair) for pair in pairs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(answers) == [303, 409]
    with read_session(site.engine) as session:
        assert verify(session) is None
