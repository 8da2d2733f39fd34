"""The shelf of activities: all by domain, found by words, one card, the evidence."""

import html

import pytest
from selectolax.lexbor import LexborHTMLParser
from starlette.testclient import TestClient

from app.catalogue.load import catalogue
from app.clinical.precautions import PRECAUTIONS
from tests.conftest import found

SHELF = catalogue()


def ids_on(page: str) -> list[str]:
    links = LexborHTMLParser(page).css("main a.person")
    return [str(link.attributes["href"]).rsplit("/", 1)[1] for link in links]


def test_all_stand_there_by_domain(therapist: TestClient) -> None:
    page = therapist.get("/activities").text

    assert sorted(ids_on(page)) == sorted(SHELF.activities)
    assert "58 activities" in page
    assert "Stepping (6)" in page
    assert 'href="/activities"' in found(page, "nav").html  # type: ignore[operator]


def test_words_find_and_never_stand_in_an_address(therapist: TestClient) -> None:
    answer = therapist.post("/activities", data={"words": "towel sl", "position": ""})

    assert answer.status_code == 200
    assert "U02" in ids_on(answer.text)
    assert len(ids_on(answer.text)) < 10
    assert found(answer.text, "#words").attributes["value"] == "towel sl"
    assert found(answer.text, "form[action='/activities']").attributes["method"] == (
        "post"
    )


def test_nothing_found_keeps_what_was_typed(therapist: TestClient) -> None:
    answer = therapist.post("/activities", data={"words": "<zebra>"})

    assert ids_on(answer.text) == []
    assert "0 found" in answer.text
    assert 'value="&lt;zebra&gt;"' in answer.text


def test_closed_words_narrow_the_list(therapist: TestClient) -> None:
    page = therapist.get(
        "/activities", params={"deficit": "lb_dressing_dependent", "position": "seated"}
    ).text

    assert set(ids_on(page)) == {
        a.id
        for a in SHELF.activities.values()
        if "lb_dressing_dependent" in a.answers and a.position == "seated"
    }
    assert found(page, "#deficit option[selected]").attributes["value"] == (
        "lb_dressing_dependent"
    )


def test_unknown_closed_word_asks_for_nothing(therapist: TestClient) -> None:
    page = therapist.get("/activities", params={"deficit": "sad", "position": "up"})

    assert len(ids_on(page.text)) == 58


@pytest.mark.parametrize("activity", SHELF.activities.values(), ids=lambda a: a.id)
def test_card_shows_all_of_an_activity(therapist: TestClient, activity: object) -> None:
    a = SHELF.activities[activity.id]  # type: ignore[attr-defined]
    page = therapist.get(f"/activities/{a.id}")
    text = html.unescape(page.text)

    assert page.status_code == 200
    for said in (a.name, a.setup, *a.steps, a.guard, a.easier, a.harder, a.skill):
        assert said in text
    for tag in (*a.must_not, *a.caution):
        assert f"<b>{PRECAUTIONS[tag].label}.</b>" in text
    for code in a.icf:
        assert f"{code} {SHELF.icf[code].label}" in text
    assert text.count("start here") == 1


def test_order_and_risk_stand_under_their_own_heads(therapist: TestClient) -> None:
    page = therapist.get("/activities/T01").text
    blocked, _, rest = page.partition("A therapist only, with a reason")
    risks, _, cautions = rest.partition("Mind, and change the set-up")

    orders = [PRECAUTIONS[t] for t in SHELF.activities["T01"].must_not]
    for tag in orders:
        assert (f"<b>{tag.label}.</b>" in blocked) == (tag.kind == "order")
        assert (f"<b>{tag.label}.</b>" in risks) == (tag.kind == "risk")
    for key in SHELF.activities["T01"].caution:
        assert f"<b>{PRECAUTIONS[key].label}.</b>" in cautions


def test_dose_says_what_it_rests_on_and_how_it_is_known(therapist: TestClient) -> None:
    page = therapist.get("/activities/S02").text
    plain = therapist.get("/activities/S01").text

    assert "Dean 1997, Dean 2007: two weeks" in page
    assert "read in the paper&#39;s abstract" in page
    assert 'class="link" href="/activities/evidence#dean2007"' in page
    assert "Common practice, no single source" in plain


def test_evidence_shows_every_fact_and_marks_the_recalled(
    therapist: TestClient,
) -> None:
    page = therapist.get("/activities/evidence").text
    text = html.unescape(page)

    for fact in SHELF.evidence.facts:
        assert fact.claim in text
        assert fact.figure in text
    recalled = found(page, "#balance_response").text()
    assert "unconfirmed: recalled, not read" in recalled
    assert "unconfirmed" not in found(page, "#stepping").text()
    assert "Differs from: Older advice" in found(page, "#falls_dose").text()
    assert "Differs from: The dose" in found(page, "#falls_dose_older").text()
    assert "a dose for visual search training" in text


def test_no_such_activity(therapist: TestClient) -> None:
    assert therapist.get("/activities/Z99").status_code == 404
