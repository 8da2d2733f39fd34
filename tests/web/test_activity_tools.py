"""The tools page, and that every activity gets the fields of what it counts."""

import jinja2
import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from app.catalogue.load import catalogue
from app.clinical.activity import CALLERS, Activity
from app.web.activity_tools import TOOLS
from tests.conftest import found

#: The fields each kind of count may fill.
FIELDS = {
    "reps": ("reps",),
    "steps": ("steps",),
    "passes": ("passes",),
    "hazards": ("hazards",),
    "steps_to_recover": ("steps_to_recover",),
    "errors": ("errors",),
    "hold_s": ("holds_ms", "holds_s"),
    "time_s": ("time_ms", "time_s"),
    "distance_in": ("distance", "unit"),
}
ACTIVITIES = catalogue().activities


def names(page: str) -> list[str]:
    fields = found(page, "main").css("input[name], select[name]")
    return [field.attributes["name"] or "" for field in fields]


@pytest.mark.parametrize("key", ["hold", "time"])
def test_clock_names_its_unit(therapist: TestClient, key: str) -> None:
    page = therapist.get(f"/activities/tools?tool={key}").text
    assert found(page, ".tool .clock").text() == "0.0 s"


def test_tools_page_lists_every_kind_of_caller(therapist: TestClient) -> None:
    page = therapist.get("/activities/tools").text
    links = [a.attributes["href"] for a in found(page, "main").css("a.person")]

    assert links == [f"/activities/tools?tool={tool.key}" for tool in TOOLS]
    assert len(found(page, "main").css("a.person.go > b")) == len(TOOLS)
    assert {tool.caller.kind for tool in TOOLS if tool.caller} == set(CALLERS)


@pytest.mark.parametrize("tool", TOOLS, ids=lambda tool: tool.key)
def test_each_tool_is_tried_on_its_own(therapist: TestClient, tool: object) -> None:
    key = tool.key  # type: ignore[attr-defined]
    answer = therapist.get(f"/activities/tools?tool={key}")

    assert answer.status_code == 200
    place = "[data-rest]" if key == "rest" else "form[data-activity-set]"
    assert found(answer.text, place).css("button")
    assert therapist.get("/activities/tools?tool=lasso").status_code == 404


def test_tools_need_a_sign_in_and_keep_nothing(client: TestClient) -> None:
    answer = client.get("/activities/tools", follow_redirects=False)

    assert answer.status_code == 303
    assert client.post("/activities/tools").status_code in (303, 405)


@pytest.fixture
def templates(app: FastAPI) -> jinja2.Environment:
    environment: jinja2.Environment = app.state.site.templates
    return environment


def drawn(templates: jinja2.Environment, activity: Activity) -> str:
    source = (
        '{% from "activities/_tools.html" import tools %}'
        "<main><form>{{ tools(activity, activity.grade.start) }}</form></main>"
    )
    return templates.from_string(source).render(activity=activity)


@pytest.mark.parametrize("activity", ACTIVITIES.values(), ids=lambda a: a.id)
def test_every_activity_has_a_plain_field_for_what_it_counts(
    templates: jinja2.Environment, activity: Activity
) -> None:
    page = drawn(templates, activity)
    sent = names(page)
    wanted = {name for count in activity.count for name in FIELDS.get(count, ())}
    if activity.caller:
        wanted |= {"calls", "correct", "log"}

    assert set(sent) == wanted | {"errors"}
    assert len(found(page, "main").css("[data-counter]")) == 1
    ids = [n.attributes["id"] for n in found(page, "main").css("[id]")]
    assert len(ids) == len(set(ids))


def test_grade_sets_what_the_caller_says_it_sets(
    templates: jinja2.Environment,
) -> None:
    graded = [
        a for a in ACTIVITIES.values() if a.caller and a.caller.graded == "length"
    ]
    assert graded

    for activity in graded:
        page = drawn(templates, activity)
        length = found(page, "[data-option=length]").attributes["value"]
        assert length == str(int(activity.grade.start))
