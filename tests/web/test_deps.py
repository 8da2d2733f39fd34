"""Page or fragment, the form as typed, and a clock and zone that tests set."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse
from starlette.testclient import TestClient

from app.storage.database import read_session
from app.web.deps import Form, Now, Site, Zone, page
from tests.conftest import Clock, person_by

NOTHING = {"kept": "", "happened": "", "next": "", "link": None, "status": 200}


def either(request: Request) -> HTMLResponse:
    problem = {**NOTHING, "title": "<b>Either</b>"}
    return page(request, "error.html", "_problem.html", status=202, problem=problem)


@pytest.mark.parametrize(
    ("headers", "whole"),
    [
        ({}, True),
        ({"hx-request": "true"}, False),
        ({"hx-request": "true", "hx-request-type": "partial"}, False),
        ({"hx-request": "true", "hx-request-type": "full"}, True),
        ({"hx-request": "true", "hx-history-restore-request": "true"}, True),
        ({"hx-history-restore-request": "true"}, True),
        ({"hx-request": "false"}, True),
    ],
    ids=str,
)
def test_htmx_gets_the_part_it_shows(
    app: FastAPI, client: TestClient, headers: dict[str, str], whole: bool
) -> None:
    app.add_api_route("/either", either)
    answer = client.get("/either", headers=headers)

    assert answer.status_code == 202
    assert ("<html" in answer.text) is whole
    assert "&lt;b&gt;Either&lt;/b&gt;" in answer.text


def test_form_tells_what_was_typed() -> None:
    form = Form([("a", " 1 "), ("b", "x"), ("b", "y")])

    assert form.text("a") == "1"
    assert form.text("missing") == ""
    assert form["b"] == "y"
    assert form.every("b") == ("x", "y")
    assert form.every("missing") == ()


def told(now: Now, zone: Zone) -> dict[str, str]:
    return {"now": now.isoformat(), "there": now.astimezone(zone).isoformat()}


def test_clock_and_zone_are_the_sites(
    app: FastAPI, client: TestClient, site: Site, clock: Clock
) -> None:
    app.add_api_route("/told", told)
    site.zone = ZoneInfo("Pacific/Auckland")
    clock.now = datetime.fromisoformat("2026-06-30T23:30:00+00:00")

    assert client.get("/told").json() == {
        "now": "2026-06-30T23:30:00+00:00",
        "there": "2026-07-01T11:30:00+12:00",
    }


@pytest.mark.parametrize(
    ("page_of", "status"), [("mine", 204), ("another's", 401), ("", 401)]
)
def test_page_of_another_person_never_acts_as_this_one(
    therapist: TestClient, site: Site, page_of: str, status: int
) -> None:
    """A page left open while somebody else signed in says by its script whose it is."""
    with read_session(site.engine) as session:
        by = {"mine": "therapist", "another's": "colleague"}.get(page_of)
        person = str(person_by(session, by).id) if by else page_of
    answer = therapist.get("/session", headers={"tapeline-person": person})

    assert answer.status_code == status
