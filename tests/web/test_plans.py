"""The plan page: order, grades, sets, copies, two who change it, orders that come."""

from collections.abc import Callable

import pytest
from selectolax.lexbor import LexborHTMLParser
from sqlmodel import select
from starlette.testclient import TestClient

from app.catalogue.load import catalogue
from app.storage.database import read_session
from app.storage.plans import PlanItem
from app.web.deps import Site
from tests.conftest import Clock, found
from tests.web.treating import add, chosen, did, in_force, line, plan, words

RING = catalogue().activities["T01"]


def do(
    client: TestClient, patient_id: int, what: str, version: str = "", **said: str
) -> LexborHTMLParser:
    """Send the plan's form with one button; the answer's page."""
    url = f"/patients/{patient_id}/plan"
    if not version:
        node = plan(client, patient_id).css_first("[name=version]")
        version = (node.attributes["value"] if node else "") or ""
    form = {
        "version": version,
        "do": what,
        **{k.replace("_", "-"): v for k, v in said.items()},
    }
    answer = client.post(url, data=form)
    return LexborHTMLParser(answer.text or f"<p>{answer.status_code}</p>")


@pytest.fixture
def three(therapist: TestClient, patient_id: int) -> TestClient:
    for key in ("S01", "R01", "T01"):
        assert add(therapist, patient_id, key) == 303
    return therapist


def test_nothing_planned_says_where_to_begin(
    therapist: TestClient, patient_id: int
) -> None:
    page = plan(therapist, patient_id)

    assert "Nothing is planned yet. Choose activities" in words(page)
    assert "0 of 30 min" in words(page)
    assert not page.css("form[action$=copy]")


def test_minutes_add_up_against_what_is_left(
    three: TestClient, patient_id: int
) -> None:
    minutes = sum(catalogue().activities[k].minutes for k in ("S01", "R01", "T01"))
    assert f"{minutes} of 30 min" in words(plan(three, patient_id))

    three.post(f"/patients/{patient_id}/treat", data={"minutes": "10", "kit": "strip"})
    assert f"{minutes} of 10 min: {minutes - 10} too many" in words(
        plan(three, patient_id)
    )


def test_up_down_and_remove(three: TestClient, patient_id: int) -> None:
    do(three, patient_id, "up T01")
    assert chosen(three, patient_id) == ["S01", "T01", "R01"]
    do(three, patient_id, "down S01")
    assert chosen(three, patient_id) == ["T01", "S01", "R01"]
    do(three, patient_id, "remove S01")
    assert chosen(three, patient_id) == ["T01", "R01"]
    do(three, patient_id, "down R01")
    do(three, patient_id, "fly R01")
    assert chosen(three, patient_id) == ["T01", "R01"]


def test_grade_and_sets_are_kept_with_any_button(
    three: TestClient, patient_id: int
) -> None:
    do(three, patient_id, "up T01", grade_T01="14", sets_T01="3", grade_S01="2,5")
    page = plan(three, patient_id)

    assert chosen(three, patient_id) == ["S01", "T01", "R01"]
    minutes = RING.dose.minutes(3)
    said = f"ring radius 14 in · 3 × {RING.dose.amount} · about {minutes} min"
    assert said in words(page)
    assert found(page.html or "", "#grade-S01").attributes["value"] == "2.5"


@pytest.mark.parametrize(
    ("field", "typed", "says"),
    [
        ("grade-T01", "7", "From 8 (easiest) to 19 (hardest)."),
        ("grade-T01", "20", "From 8 (easiest) to 19 (hardest)."),
        ("grade-T01", "wide", "Type a number."),
        ("sets-T01", "0", "From 1 to 10 sets."),
        ("sets-T01", "11", "From 1 to 10 sets."),
        ("sets-T01", "two", "From 1 to 10 sets."),
    ],
)
def test_what_does_not_fit_comes_back_beside_its_field(
    three: TestClient, patient_id: int, field: str, typed: str, says: str
) -> None:
    page = do(three, patient_id, "up T01", **{field: typed, "sets-S01": "4"})

    assert found(page.html or "", f"#{field}-error").text() == says
    assert found(page.html or "", f"#{field}").attributes["value"] == typed
    assert found(page.html or "", "#sets-S01").attributes["value"] == "4"
    assert found(page.html or "", f"details[open] #{field}")
    assert chosen(three, patient_id) == ["S01", "R01", "T01"]


def test_conditions_are_chosen_by_their_names(
    therapist: TestClient, patient_id: int
) -> None:
    add(therapist, patient_id, "B01")
    grade = catalogue().activities["B01"].grade
    options = plan(therapist, patient_id).css("#grade-B01 option")

    assert [o.text() for o in options] == list(grade.rungs)
    do(therapist, patient_id, "save", grade_B01="3")
    assert grade.rungs[2] in words(line(plan(therapist, patient_id), "B01"))


def test_next_grade_is_proposed_with_its_because_and_taken_at_a_touch(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    with_trouble = {"days_ago": 1}
    did(site, patient_id, "T01", "14", **with_trouble)
    add(therapist, patient_id, "T01")
    do(therapist, patient_id, "save", grade_T01="16")
    row = line(plan(therapist, patient_id), "T01")

    assert "Stay: ring radius 14 in" in words(row)
    assert "Take ring radius 14 in" in words(row)
    do(therapist, patient_id, "take T01", grade_T01="16")
    after = line(plan(therapist, patient_id), "T01")
    assert found(after.html or "", "#grade-T01").attributes["value"] == "14"
    assert "Take" not in words(after)


def test_added_at_the_grade_that_is_next(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    did(site, patient_id, "T01", "14", days_ago=1)
    add(therapist, patient_id, "T01")

    page = plan(therapist, patient_id).html or ""
    assert found(page, "#grade-T01").attributes["value"] == "14"


def test_copy_of_the_last_session(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    did(site, patient_id, "S01", "3", days_ago=2)
    did(site, patient_id, "T01", "14", days_ago=2)
    add(therapist, patient_id, "R01")
    button = plan(therapist, patient_id).css_first("form[action$=copy] button")
    assert button is not None
    assert button.text() == "Copy the session of 28 Feb (2)"
    answer = therapist.post(f"/patients/{patient_id}/plan/copy")

    assert answer.headers["location"] == f"/patients/{patient_id}/plan?copied=yes"
    assert chosen(therapist, patient_id) == ["R01", "S01", "T01"]
    page = plan(therapist, patient_id).html or ""
    assert found(page, "#grade-T01").attributes["value"] == "14"


def test_copy_of_the_last_plan_where_nothing_was_done(
    sign_in_as: Callable[[str], TestClient], patient_id: int, clock: Clock
) -> None:
    add(sign_in_as("therapist"), patient_id, "T01")
    clock.move(days=1)
    therapist = sign_in_as("therapist")
    assert chosen(therapist, patient_id) == []
    assert "Copy the plan of 2 Mar (1)" in words(plan(therapist, patient_id))
    therapist.post(f"/patients/{patient_id}/plan/copy")

    assert chosen(therapist, patient_id) == ["T01"]


def test_copy_leaves_out_what_an_order_blocks_and_asks_a_reason_anew(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    for key, grade in (("S01", "3"), ("T01", "14"), ("S04", "10")):
        did(site, patient_id, key, grade, days_ago=2)
    in_force(site, patient_id, "nwb_ue", "dizzy_uncontrolled")
    therapist.post(f"/patients/{patient_id}/plan/copy")
    page = plan(therapist, patient_id, "?copied=yes")

    barred = [
        k for k in ("S01", "T01", "S04")
        if {"nwb_ue", "dizzy_uncontrolled"} & {*catalogue().activities[k].must_not}
    ]  # fmt: skip
    assert "T01" in barred
    told = {n.attributes["id"]: words(n) for n in page.css("section.card")}
    assert set(told) == {*barred}
    assert "Say why you go on" in told["T01"]
    assert add(therapist, patient_id, "T01", reason="settled", back="plan") == 303
    assert "T01" in chosen(therapist, patient_id)


def test_order_that_comes_after_planning_takes_it_out(
    three: TestClient, site: Site, patient_id: int
) -> None:
    in_force(site, patient_id, "ttwb_le")
    page = plan(three, patient_id)

    assert "T01" not in chosen(three, patient_id)
    told = words(page.css_first("section#T01") or page)
    assert told.startswith("Taken out Clock-direction stepping")
    assert "Leg: toe-touch only. Only a changed order" in told

    visit = three.post(f"/patients/{patient_id}/visit").headers["location"]
    card = words(
        LexborHTMLParser(three.get(visit).text).css_first("#treatment") or page
    )
    assert "Taken out Clock-direction stepping" in card


@pytest.mark.parametrize("what", ["save", "up T01", "take T01", "down S01"])
def test_no_button_keeps_what_an_order_took_out(
    three: TestClient, site: Site, patient_id: int, what: str
) -> None:
    in_force(site, patient_id, "ttwb_le")
    do(three, patient_id, what, grade_T01="14")

    with read_session(site.engine) as session:
        kept = session.exec(select(PlanItem.activity)).all()
    assert "T01" not in kept
    assert "S01" in kept


def test_risk_that_comes_after_planning_asks_for_a_reason_in_place(
    three: TestClient, site: Site, patient_id: int
) -> None:
    in_force(site, patient_id, "dizzy_uncontrolled")
    assert "T01" not in chosen(three, patient_id)
    assert add(three, patient_id, "T01", back="plan") == 422
    assert add(three, patient_id, "T01", back="plan", reason="settled at noon") == 303

    assert chosen(three, patient_id)[-1] == "T01"
    row = words(line(plan(three, patient_id), "T01"))
    assert "You go on: settled at noon" in row


def test_second_tab_is_told_and_compares(three: TestClient, patient_id: int) -> None:
    page = plan(three, patient_id).html or ""
    old = found(page, "[name=version]").attributes["value"] or ""
    do(three, patient_id, "remove S01")
    told = do(three, patient_id, "save", version=old, grade_T01="15")

    rows = {r.css("th")[0].text(): [c.text() for c in r.css("td")]
            for r in told.css(".compare tbody tr")}  # fmt: skip
    assert rows == {
        "Clock-direction stepping": [
            "2: ring radius 12 in, 2 sets", "2: ring radius 15 in, 2 sets",
        ]
    }  # fmt: skip
    assert "Changed by Therapist" in words(told)
    assert found(told.html or "", "#grade-T01").attributes["value"] == "15"
    new = found(told.html or "", "[name=version]").attributes["value"] or ""
    do(three, patient_id, "save", version=new, grade_T01="15")
    assert "ring radius 15 in" in words(line(plan(three, patient_id), "T01"))


def test_same_said_twice_is_no_conflict(three: TestClient, patient_id: int) -> None:
    page = plan(three, patient_id).html or ""
    old = found(page, "[name=version]").attributes["value"] or ""
    url = f"/patients/{patient_id}/plan"
    for _ in range(2):
        answer = three.post(url, data={"version": old, "do": "save", "sets-T01": "4"})
        assert answer.status_code == 303


def test_adding_twice_is_there_once(three: TestClient, patient_id: int) -> None:
    assert add(three, patient_id, "T01") == 303

    assert chosen(three, patient_id) == ["S01", "R01", "T01"]


@pytest.mark.usefixtures("three")
def test_plan_is_ones_own(supervisor: TestClient, patient_id: int) -> None:
    assert chosen(supervisor, patient_id) == []


def test_start_leads_to_the_card(three: TestClient, patient_id: int) -> None:
    row = line(plan(three, patient_id), "T01")

    start = next(n for n in row.css("a") if n.text() == "Start")
    assert start.attributes["href"] == f"/patients/{patient_id}/activities/T01"


def test_visit_lists_the_plan(three: TestClient, patient_id: int) -> None:
    visit = three.post(f"/patients/{patient_id}/visit").headers["location"]
    card = found(three.get(visit).text, "#treatment")

    links = [n.attributes["href"] for n in card.css("a")]
    assert links[:3] == [
        f"/patients/{patient_id}/activities/{k}" for k in ("S01", "R01", "T01")
    ]
    assert links[3] == f"/patients/{patient_id}/plan"


def test_unknown_activity_is_said(therapist: TestClient, patient_id: int) -> None:
    assert add(therapist, patient_id, "Z99") == 422
    assert chosen(therapist, patient_id) == []
