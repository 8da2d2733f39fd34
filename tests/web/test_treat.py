"""The treat page: offers with their reasons, nothing hidden, orders past nobody."""

from collections.abc import Callable
from decimal import Decimal

import pytest
from selectolax.lexbor import LexborHTMLParser
from starlette.testclient import TestClient

from app.catalogue.load import catalogue
from app.clinical.precautions import PRECAUTIONS
from app.clinical.vocabulary import ROOM_ITEMS
from app.web.activity_words import deficit_words
from app.web.deps import Site
from tests.conftest import Clock, found
from tests.web.bedside import a_round, send
from tests.web.treating import (
    add,
    chosen,
    did,
    in_force,
    lifted,
    line,
    on_the_list,
    treat,
    words,
)

SHELF = catalogue()
NAMED = deficit_words(SHELF)
ORDERS = [t for t, p in PRECAUTIONS.items() if p.kind == "order"]
RISKS = [
    t for t, p in PRECAUTIONS.items()
    if p.kind == "risk" and any(t in a.must_not for a in SHELF.activities.values())
]  # fmt: skip
TODAY = {"can": "stands", "help": "contact", "people": "1", "minutes": "15"}


def say(client: TestClient, patient_id: int, **said: str | list[str]) -> int:
    form = {**TODAY, "kit": [*ROOM_ITEMS], **said}
    return client.post(f"/patients/{patient_id}/treat", data=form).status_code


def barred(tag: str) -> list[str]:
    return [key for key, a in SHELF.activities.items() if tag in a.must_not]


def test_every_activity_stands_on_the_page(
    therapist: TestClient, patient_id: int
) -> None:
    page = treat(therapist, patient_id)

    listed = [node.attributes["id"] for node in page.css("ul.acts > li")]
    assert sorted(listed, key=str) == sorted(SHELF.activities)
    assert "Choose a test" in words(page)


@pytest.mark.parametrize("key", NAMED)
def test_deficit_leads_to_all_that_answer_it(
    therapist: TestClient, patient_id: int, key: str
) -> None:
    """The result's link is the first touch, its line here the second: the card."""
    page = treat(therapist, patient_id, f"?deficit={key}")

    links = {
        (n.attributes["id"], a.attributes["href"])
        for n in page.css("ul.acts > li")
        if (a := n.css_first("a.act"))
    }
    assert links == {
        (k, f"/patients/{patient_id}/activities/{k}")
        for k, a in SHELF.activities.items()
        if key in a.answers
    }
    assert found(page.html or "", "h1").text() == NAMED[key]


def test_result_leads_to_every_activity_that_answers_it_in_three_touches(
    therapist: TestClient, patient_id: int
) -> None:
    url = a_round(therapist, patient_id, "five_times_sit_to_stand")
    send(therapist, url, typed="24.0")
    result = LexborHTMLParser(therapist.get(url).text)
    touch = f"/patients/{patient_id}/treat?deficit=slow_sit_to_stand"
    links = [(n.attributes["href"] or "").partition("#")[0] for n in result.css("a")]
    assert touch in links

    page = treat(therapist, patient_id, "?deficit=slow_sit_to_stand")
    cards = {n.attributes["href"] for n in page.css("ul.acts a.act")}
    assert cards == {
        f"/patients/{patient_id}/activities/{key}"
        for key, a in SHELF.activities.items()
        if "slow_sit_to_stand" in a.answers
    }
    assert "24.0 s" in words(page)


def test_what_a_test_showed_is_offered_with_its_because(
    therapist: TestClient, patient_id: int
) -> None:
    url = a_round(therapist, patient_id, "five_times_sit_to_stand")
    send(therapist, url, typed="24.0")
    page = treat(therapist, patient_id)

    shown = [n.text() for n in page.css("ol.shown a")]
    assert NAMED["slow_sit_to_stand"] in shown
    first = page.css(".body > ul.acts > li")
    assert 3 <= len(first) <= 6
    for row in first:
        assert words(row.css_first("details.why summary") or row).startswith("For: ")
    assert "Answers “Slow or few stands”: Five times sit to stand 24.0 s" in words(page)


def test_each_deficit_is_a_link_from_the_page(
    therapist: TestClient, patient_id: int
) -> None:
    links = {n.attributes["href"] for n in treat(therapist, patient_id).css("a")}

    for key in NAMED:
        assert f"/patients/{patient_id}/treat?deficit={key}" in links


def test_no_such_deficit(therapist: TestClient, patient_id: int) -> None:
    answer = therapist.get(f"/patients/{patient_id}/treat?deficit=weak_knees")

    assert answer.status_code == 404


@pytest.mark.parametrize("tag", ORDERS)
def test_order_hides_and_nobody_plans_past_it(
    sign_in_as: Callable[[str], TestClient], site: Site, patient_id: int, tag: str
) -> None:
    in_force(site, patient_id, tag)
    on_the_list(site, patient_id)
    label = PRECAUTIONS[tag].label
    for who in ("therapist", "supervisor", "student"):
        client = sign_in_as(who)
        page = treat(client, patient_id)
        for key in barred(tag):
            row = line(page, key)
            assert "Blocked" in words(row)
            assert f"{label}. Only a changed order lifts this." in words(row)
            assert not row.css("[form=plan-it]")
            assert not row.css("input[name=reason]")
        for key in barred(tag)[:3]:
            assert add(client, patient_id, key, reason="the family asks") == 422
        assert chosen(client, patient_id) == []


@pytest.mark.parametrize("tag", RISKS)
def test_risk_takes_a_therapists_reason(
    sign_in_as: Callable[[str], TestClient], site: Site, patient_id: int, tag: str
) -> None:
    in_force(site, patient_id, tag)
    on_the_list(site, patient_id)
    key = barred(tag)[0]
    student, therapist = sign_in_as("student"), sign_in_as("therapist")

    row = line(treat(student, patient_id), key)
    assert "Only a therapist may go on" in words(row)
    assert not row.css("input[name=reason], [form=plan-it]")
    assert add(student, patient_id, key, reason="steady") == 422
    assert chosen(student, patient_id) == []

    row = line(treat(therapist, patient_id), key)
    assert "You may go on with a typed reason" in words(row)
    assert add(therapist, patient_id, key) == 422
    assert add(therapist, patient_id, key, reason="   ") == 422
    assert chosen(therapist, patient_id) == []
    assert add(therapist, patient_id, key, reason="steady since noon") == 303
    assert chosen(therapist, patient_id) == [key]


def test_reason_that_is_refused_stays_typed(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    in_force(site, patient_id, "dizzy_uncontrolled")
    url, typed = f"/patients/{patient_id}/plan/add", "x" * 301
    answer = therapist.post(url, data={"activity": "T01", "reason": typed})

    assert answer.status_code == 422
    assert "at most 300" in found(answer.text, "#reason-T01-error").text()
    assert found(answer.text, "#reason-T01").attributes["value"] == typed
    assert found(answer.text, "details.card[open] li#T01")


def test_lifted_order_frees_it(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    in_force(site, patient_id, "nwb_le")
    assert add(therapist, patient_id, "T01") == 422
    lifted(site, "nwb_le")

    assert add(therapist, patient_id, "T01") == 303


def test_today_is_folded_once_said_and_sorts(
    therapist: TestClient, patient_id: int
) -> None:
    before = treat(therapist, patient_id, "?deficit=slow_sit_to_stand")
    assert before.css_first("details[open] select[name=help]")
    assert say(therapist, patient_id, minutes="5") == 303
    page = treat(therapist, patient_id, "?deficit=slow_sit_to_stand")

    assert not page.css_first("details[open] select[name=help]")
    assert "Today: stands alone, help: contact guard, one to guard, 5 min" in words(
        page
    )
    for key, a in SHELF.activities.items():
        if "slow_sit_to_stand" in a.answers:
            told = f"takes about {a.minutes} min, 5 are left" in words(line(page, key))
            assert told == (a.minutes > 5)


def test_today_is_kept_beside_that_of_the_tests(
    therapist: TestClient, patient_id: int
) -> None:
    say(therapist, patient_id, kit=["chair", "strip"])
    tests = f"/patients/{patient_id}/measures"
    page = LexborHTMLParser(therapist.get(tests).text)
    pressed = [n.attributes["value"] for n in page.css("[aria-pressed=true]")]
    assert pressed == ["stands"]

    therapist.post(tests, data={"can": "stands", "kit": ["tape"], "minutes": "15"})
    after = treat(therapist, patient_id)
    assert "contact guard, one to guard, 15 min, not all kit" in words(after)
    ticked = [n.attributes["value"] for n in after.css("input[name=kit][checked]")]
    assert ticked == ["strip"]  # the chair is one thing for both

    therapist.post(tests, data={"can": "walks", "kit": ["tape"]})
    assert "contact guard" not in words(treat(therapist, patient_id).css("summary")[1])


def test_today_ends_with_the_day_and_is_ones_own(
    sign_in_as: Callable[[str], TestClient], patient_id: int, clock: Clock
) -> None:
    say(sign_in_as("therapist"), patient_id)

    assert "Today: nothing said yet" in words(
        treat(sign_in_as("supervisor"), patient_id)
    )
    clock.move(days=1)
    assert "Today: nothing said yet" in words(
        treat(sign_in_as("therapist"), patient_id)
    )


@pytest.mark.parametrize(
    ("field", "value"),
    [("can", "flies"), ("can", ""), ("help", "much"), ("people", "3"),
     ("minutes", "7"), ("kit", "hammer")],
)  # fmt: skip
def test_words_outside_the_lists_come_back_beside_the_field(
    therapist: TestClient, patient_id: int, site: Site, field: str, value: str
) -> None:
    answer = therapist.post(
        f"/patients/{patient_id}/treat", data=TODAY | {field: value}
    )

    assert answer.status_code == 422
    assert found(answer.text, f"#{field}-error").text()
    assert not site.today
    if field != "minutes":
        assert found(answer.text, "input[name=minutes][value='15'][checked]")


def test_search_finds_by_plain_words(therapist: TestClient, patient_id: int) -> None:
    url = f"/patients/{patient_id}/treat/search"
    answer = therapist.post(url, data={"words": "toilet ladder"})
    page = LexborHTMLParser(answer.text)

    assert answer.status_code == 200
    assert [n.attributes["id"] for n in page.css("ul.acts > li")] == ["R01"]
    assert found(answer.text, "#words").attributes["value"] == "toilet ladder"


def test_search_that_finds_nothing_says_what_to_do(
    therapist: TestClient, patient_id: int
) -> None:
    url = f"/patients/{patient_id}/treat/search"
    answer = therapist.post(url, data={"words": "<b>zebra"})

    assert "Nothing has these words" in answer.text
    assert "<b>zebra" not in answer.text


def test_star_offers_it_and_is_ones_own(
    therapist: TestClient, supervisor: TestClient, patient_id: int
) -> None:
    url = f"/patients/{patient_id}/treat/favourite"
    answer = therapist.post(url, data={"activity": "S01", "star": "on"})
    assert answer.headers["location"] == f"/patients/{patient_id}/treat#S01"
    page = treat(therapist, patient_id)

    row = page.css(".body > ul.acts > li")[0]
    assert row.attributes["id"] == "S01"
    assert "A favourite of yours" in words(row)
    assert found(row.html or "", "[aria-pressed=true]").text().strip() == "★favourite"
    assert not treat(supervisor, patient_id).css(".acts [aria-pressed=true]")

    therapist.post(url, data={"activity": "S01", "star": "off"})
    assert not treat(therapist, patient_id).css(".acts [aria-pressed=true]")


def test_what_was_done_lately_says_how_to_go_on(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    did(site, patient_id, "S01", "3", days_ago=2)

    row = words(line(treat(therapist, patient_id), "S01"))
    grade = SHELF.activities["S01"].grade.words(Decimal(3))
    assert f"Done on 28 Feb: go on at {grade}" in row


def test_offered_first_are_six_at_most(therapist: TestClient, patient_id: int) -> None:
    for key in ("S01", "S02", "S03", "S04", "S05", "S06", "R01"):
        url = f"/patients/{patient_id}/treat/favourite"
        therapist.post(url, data={"activity": key, "star": "on"})
    page = treat(therapist, patient_id)

    assert len(page.css(".body > ul.acts > li")) == 6
    assert "More that fit (1)" in words(page)


def test_added_says_so_and_comes_back_to_the_same_place(
    therapist: TestClient, patient_id: int
) -> None:
    url = f"/patients/{patient_id}/plan/add"
    said = {"activity": "R01", "deficit": "slow_sit_to_stand"}
    answer = therapist.post(url, data=said)

    back = f"/patients/{patient_id}/treat?deficit=slow_sit_to_stand"
    assert answer.headers["location"] == f"{back}#R01"
    page = treat(therapist, patient_id, "?deficit=slow_sit_to_stand")
    assert "✓ in the plan" in words(line(page, "R01"))
    minutes = SHELF.activities["R01"].minutes
    assert f"Plan: 1 chosen, {minutes} of 30 min" in words(page)


def test_way_back_is_never_somebodys_words(
    therapist: TestClient, patient_id: int
) -> None:
    url = f"/patients/{patient_id}/plan/add"
    answer = therapist.post(url, data={"activity": "R01", "deficit": "my words"})

    assert answer.headers["location"] == f"/patients/{patient_id}/treat#R01"


@pytest.mark.parametrize("who", ["colleague", "outsider", "student"])
def test_nobody_else_sees_or_says_anything(
    sign_in_as: Callable[[str], TestClient], patient_id: int, who: str, site: Site
) -> None:
    client = sign_in_as(who)

    assert client.get(f"/patients/{patient_id}/treat").status_code == 404
    assert say(client, patient_id) == 404
    assert add(client, patient_id, "S01") == 404
    assert not site.today


def test_brief_and_visit_lead_here(therapist: TestClient, patient_id: int) -> None:
    brief = therapist.get(f"/patients/{patient_id}").text
    assert found(brief, f"a[href='/patients/{patient_id}/treat']").text() == "Treat"

    begun = therapist.post(f"/patients/{patient_id}/visit").headers["location"]
    assert (
        found(therapist.get(begun).text, "#treatment a").text() == "Choose activities"
    )
