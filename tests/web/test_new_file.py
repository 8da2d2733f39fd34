"""One new file of the catalogue, from choosing it to the caseload's files and back."""

from collections.abc import Callable

import pytest
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.catalogue.load import FOLDER, Catalogue
from app.storage.database import read_session
from app.storage.scores import Score
from app.storage.trials import Round, Trial
from app.web.deps import Site
from tests.catalogue.shelf_with import shelf_with
from tests.conftest import Clock, found
from tests.web.bedside import a_round, send
from tests.web.test_caseload_files import bring_in, export, look, members

SignIn = Callable[[str], TestClient]
TAPS, POSES, POINTS = "heel_taps", "three_poses", "pose_points"


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    return shelf_with(
        tmp_path_factory.mktemp("shelf") / "catalogue", TAPS, POSES, POINTS
    )


@pytest.fixture(autouse=True)
def _site_on_it(site: Site, shelf: Catalogue) -> None:
    site.catalogue = shelf


def taps(client: TestClient, patient_id: int, *times: str) -> str:
    """A whole round of the invented test; its address."""
    url = a_round(client, patient_id, TAPS, **{"fact-stick": "thick"})
    said = {"input-taps": "8", "input-first_heel": "left"}
    for seconds in times:
        assert send(client, url, typed=seconds, **said).status_code == 303
    return url


def scores(site: Site) -> list[tuple[str, str | None, str]]:
    with read_session(site.engine) as session:
        rows = session.exec(select(Score).order_by(col(Score.id)))
        return [(s.measure, s.value, s.unit) for s in rows]


def test_it_is_chosen_and_made_ready(therapist: TestClient, patient_id: int) -> None:
    url = f"/patients/{patient_id}/measures"
    assert "Invented heel taps" in therapist.get(url).text
    therapist.post(url, data={"can": "stands", "kit": ["stopwatch", "sticks"]})
    offered = found(therapist.get(url).text, f'ul.people a[href="{url}/{TAPS}/ready"]')
    ready = therapist.get(f"{url}/{TAPS}/ready").text

    assert "Invented heel taps" in offered.text()
    assert "Invented: lay the stick in front of the feet" in ready
    assert found(ready, "input[name=fact-stick][value=thin]")


def test_its_choice_is_offered_beside_the_clock(
    therapist: TestClient, patient_id: int
) -> None:
    page = therapist.get(a_round(therapist, patient_id, TAPS)).text

    assert found(page, "input[type=radio][name=input-first_heel][value=right]")
    assert found(page, "button[data-add=input-taps]")


def test_choice_outside_its_list_comes_back(
    therapist: TestClient, patient_id: int
) -> None:
    url = a_round(therapist, patient_id, TAPS)
    answer = send(therapist, url, typed="9", **{"input-first_heel": "both"})

    assert answer.status_code == 422
    assert "choose one" in found(answer.text, "#input-first_heel-error").text()


def test_its_round_is_read_by_its_own_rows(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    page = therapist.get(taps(therapist, patient_id, "13.4", "12.8")).text

    assert "In the range linked with invented falls in a year" in page
    assert scores(site) == [(TAPS, "12.8", "s")]
    with read_session(site.engine) as session:
        kept = session.exec(select(Trial.inputs)).all()
    assert kept == [{"taps": "8", "first_heel": "left"}] * 2


def test_its_history_and_sources(
    therapist: TestClient, sign_in_as: SignIn, patient_id: int, clock: Clock
) -> None:
    taps(therapist, patient_id, "16.9", "16.0")
    clock.move(days=3)
    therapist = sign_in_as("therapist")
    round = therapist.get(taps(therapist, patient_id, "13.4", "12.8")).text
    history = therapist.get(f"/patients/{patient_id}/measures/{TAPS}").text
    sources = therapist.get(f"/measures/{TAPS}/sources").text

    assert found(history, "svg.tape")
    assert "16.0 s" in history
    assert "12.8 s" in history
    assert "Real gain since 16.0 s" in round
    assert "invented for a program&#39;s own tests" in sources


def test_composite_file_is_made_from_new_rounds(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, POSES)
    for seconds in ("5.1", "4.0"):
        assert send(therapist, url, typed=seconds).status_code == 303
    taps(therapist, patient_id, "9.9", "9.8")
    made = therapist.get(a_round(therapist, patient_id, POINTS)).text

    assert "Invented pose points" in made
    assert (POSES, "1", "stages") in scores(site)
    assert (POINTS, "3", "points") in scores(site)
    assert "Invented pose: 1 point" in made
    assert "Invented taps: 2 points" in made


def test_it_falls_due_and_its_visit_tells_it(
    therapist: TestClient,
    sign_in_as: SignIn,
    patient_id: int,
    clock: Clock,
) -> None:
    taps(therapist, patient_id, "13.4", "12.8")
    told = therapist.get("/visits/1").text
    clock.move(days=8)
    brief = sign_in_as("therapist").get(f"/patients/{patient_id}").text

    assert "Invented heel taps: 12.8 s" in told
    assert f"/measures/{TAPS}/ready" in brief


def test_what_is_owed_knows_it(
    therapist: TestClient, sign_in_as: SignIn, patient_id: int, clock: Clock
) -> None:
    """Rows of what is owed are written by the site's catalogue, not the shipped one."""
    taps(therapist, patient_id, "13.4", "12.8")
    clock.move(days=8)
    desk = sign_in_as("supervisor").get("/desk").text

    assert "Heel taps" in desk or "Invented heel taps" in desk


def test_caseload_files_carry_it_out_and_in(
    therapist: TestClient, supervisor: TestClient, patient_id: int, site: Site
) -> None:
    taps(therapist, patient_id, "13.4", "12.8")
    files = [
        text.replace("Blue 7", "Green 2")
        for text in members(export(supervisor)).values()
    ]
    bring_in(supervisor, look(supervisor, *files))

    assert TAPS in files[1]
    assert "13.4 s" in files[1]
    assert "first_heel=left" in files[1]
    assert scores(site) == [(TAPS, "12.8", "s")] * 2
    with read_session(site.engine) as session:
        facts = session.exec(select(Round.facts)).all()
    assert facts == [{"stick": "thick"}] * 2


def test_files_stay_out_of_the_shipped_catalogue() -> None:
    shipped = [p.read_text() for p in (FOLDER / "measures").glob("*.toml")]

    assert shipped
    assert not [text for text in shipped if "invented test" in text]
