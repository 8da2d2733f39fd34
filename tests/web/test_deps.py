"""Page or fragment, the form as typed, and a clock and zone that tests set."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse
from starlette.testclient import TestClient

from app.web.deps import Form, Now, Site, Zone, page
from tests.conftest import Clock

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
