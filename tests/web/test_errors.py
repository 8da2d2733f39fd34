"""Each problem is told in words: what happened, what was kept, what to do next."""

import logging
from collections.abc import Callable
from pathlib import Path

import pytest
from fastapi import FastAPI
from selectolax.lexbor import LexborHTMLParser
from starlette.testclient import TestClient

from app.main import create_app
from app.settings import Settings, SettingsProblem
from app.storage.errors import (
    HandleTaken,
    NoRoom,
    NotAllowed,
    NotFound,
    SameIdOtherBody,
    SchemaTooNew,
    StaleVersion,
    StorageProblem,
)
from app.web import errors
from app.web.deps import FormProblem, RowId, SignedIn, Site
from tests.conftest import client_of, found

HTMX = {"hx-request": "true"}
SECRET = "Mrs Example of room 12"


def raising(fault: Exception) -> Callable[[], None]:
    def route() -> None:
        raise fault

    return route


def row(number: RowId) -> dict[str, int]:
    return {"number": number}


def counted(many: int) -> dict[str, int]:
    return {"many": many}


@pytest.fixture
def troubled(app: FastAPI) -> TestClient:
    """The site with routes that fail in each way."""
    faults: dict[str, Exception] = {
        "missing": NotFound(),
        "forbidden": NotAllowed(),
        "other-body": SameIdOtherBody(),
        "stale": StaleVersion(),
        "taken": HandleTaken(),
        "unnamed": StorageProblem(),
        "newer": SchemaTooNew(),
        "full": NoRoom(),
        "form": FormProblem("The date is after today."),
        "bug": RuntimeError(SECRET),
    }
    for name, fault in faults.items():
        app.add_api_route(f"/{name}", raising(fault), methods=["GET", "POST"])
    app.add_api_route("/rows/{number}", row)
    app.add_api_route("/counted", counted)
    return client_of(app)


PROBLEMS = [
    ("/missing", 404),
    ("/nowhere", 404),
    ("/forbidden", 403),
    ("/other-body", 409),
    ("/stale", 409),
    ("/form", 422),
    ("/taken", 422),
    ("/unnamed", 409),
    ("/newer", 503),
    ("/full", 503),
    ("/bug", 500),
    ("/counted", 422),
    ("/rows/abc", 404),
    ("/rows/0", 404),
    ("/rows/99999999999999999999", 404),
]


@pytest.mark.parametrize(("path", "status"), PROBLEMS)
def test_problem_is_a_whole_page(troubled: TestClient, path: str, status: int) -> None:
    answer = troubled.get(path)

    page = LexborHTMLParser(answer.text)
    assert answer.status_code == status
    assert answer.text.lstrip().lower().startswith("<!doctype html")
    assert len(page.css(".problem p")) >= 3
    assert found(answer.text, ".problem h1").text()


@pytest.mark.parametrize(("path", "status"), PROBLEMS)
def test_problem_is_a_fragment_for_htmx(
    troubled: TestClient, path: str, status: int
) -> None:
    answer = troubled.get(path, headers=HTMX)

    # A 422 would take the place of the form, with all that was typed in it.
    assert answer.status_code == (400 if status == 422 else status)
    assert answer.text.lstrip().startswith('<div class="problem">')


def every_kind(kind: type[StorageProblem]) -> set[type[StorageProblem]]:
    return {kind}.union(*map(every_kind, kind.__subclasses__()))


def test_whatever_storage_refuses_is_told_and_never_our_fault() -> None:
    """A kind of its own needs no line in `errors.py` to be told by its sentence."""

    class Invented(StorageProblem):
        sentence = "The invented rule does not allow this."

    kinds = every_kind(StorageProblem)
    assert len(kinds) > 20
    for kind in kinds:
        assert errors.problem_of(kind()).status in (403, 404, 409, 422, 503)
    assert errors.problem_of(Invented()).happened == Invented.sentence


def test_restored_page_is_whole_again(troubled: TestClient) -> None:
    headers = {**HTMX, "hx-history-restore-request": "true"}

    assert "<html" in troubled.get("/missing", headers=headers).text


def test_form_problem_says_its_sentence(troubled: TestClient) -> None:
    assert "The date is after today." in troubled.post("/form").text


def test_fault_is_logged_by_number_without_text(
    troubled: TestClient, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO, "tapeline"):
        answer = troubled.get("/bug", params={"label": SECRET})

    number = answer.headers["x-request-id"]
    told = [r.getMessage() for r in caplog.records if r.name == "tapeline.problems"]
    assert number in answer.text
    assert SECRET not in answer.text
    assert len(told) == 1
    assert number in told[0]
    assert "RuntimeError" in told[0]
    assert "test_errors.py" in told[0]
    assert SECRET not in caplog.text


def test_log_file_holds_patterns_not_addresses(
    troubled: TestClient, settings: Settings
) -> None:
    troubled.get("/rows/7", params={"label": "room-12"})
    troubled.get("/room-12")
    troubled.get("/bug")

    log = (settings.data_dir / "tapeline.log").read_text()
    assert "GET /rows/{number} 200" in log
    assert "GET - 404" in log
    assert "room-12" not in log
    assert SECRET not in log


def test_broken_error_page_still_answers(
    troubled: TestClient, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(site.templates.globals, "asset", None)

    answer = troubled.get("/bug")

    assert answer.status_code == 500
    assert "did not expect" in answer.text


def home(_me: SignedIn) -> None:
    """A page that needs a sign-in."""


def test_stranger_is_sent_to_sign_in_and_back(client: TestClient, app: FastAPI) -> None:
    app.add_api_route("/patients/7", home)
    page = client.get("/patients/7", params={"day": "1 & 2"})
    form = client.post("/sign-out")

    assert page.headers["location"] == "/sign-in?next=/patients/7%3Fday%3D1%2B%2526%2B2"
    assert form.headers["location"] == "/sign-in"


@pytest.mark.parametrize(
    "headers", [HTMX, {"sec-fetch-mode": "cors"}, {"sec-fetch-mode": "same-origin"}]
)
def test_script_is_told_401_in_place(
    client: TestClient, headers: dict[str, str]
) -> None:
    answer = client.post("/sign-out", headers=headers)

    link = found(answer.text, ".problem a")
    assert answer.status_code == 401
    assert link.attributes["href"] == "/sign-in"
    assert link.attributes["target"] == "_blank"


def test_data_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")

    with pytest.raises(SettingsProblem, match="TAPELINE_DATA_DIR"):
        create_app(Settings(data_dir=tmp_path / "file" / "inside"))
