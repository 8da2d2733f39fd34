"""All tests of a visit side by side, and the ways that lead there."""

from collections.abc import Callable

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from app.storage.database import read_session
from app.storage.episodes import Visit
from app.storage.scores import Score
from app.web.deps import Site
from tests.conftest import Clock, found
from tests.web.bedside import a_round, send

STANDS, STEP = "five_times_sit_to_stand", "four_square_step"
TUG = "timed_up_and_go"
LINK = "side by side"


def do(client: TestClient, patient_id: int, measure: str, **trial: str) -> str:
    """One trial of a test by its quickest rule; the address of its round."""
    url = a_round(client, patient_id, measure, variant="single")
    sent = send(client, url, **trial)
    assert sent.status_code == 303, sent.text
    return url


def visit_ids(site: Site) -> list[int]:
    with read_session(site.engine) as session:
        return list(session.exec(select(Visit.id).order_by(Visit.id)))  # type: ignore[arg-type]


def picture(client: TestClient, site: Site) -> str:
    [visit_id] = visit_ids(site)
    answer = client.get(f"/visits/{visit_id}/picture")
    assert answer.status_code == 200, answer.text
    return answer.text


def words(text: str, css: str) -> str:
    return " ".join(found(text, css).text(separator=" ").split())


def two_tests(client: TestClient, patient_id: int) -> None:
    do(client, patient_id, STANDS, typed="22.0")
    url = a_round(client, patient_id, STEP)
    for typed in ("24.0", "22.0"):
        send(client, url, typed=typed)


def test_each_test_stands_in_its_domain_with_tape_and_lead(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    two_tests(therapist, patient_id)
    text = picture(therapist, site)

    assert [h.text() for h in found(text, "main").css(".domains h2")] == [
        "Transfers",
        "Stepping",
    ]
    cards = found(text, "main").css(".domains .card")
    names = found(text, "main").css(".domains h3")
    assert [h.text() for h in names] == ["Five-times stands", "Four square step"]
    assert all(card.css_first("svg.tape") for card in cards)
    with read_session(site.engine) as session:
        leads = [s.lead_says for s in session.exec(select(Score).order_by(Score.id))]  # type: ignore[arg-type]
    assert all(leads)
    assert all(lead in c.text() for lead, c in zip(leads, cards, strict=True))


def test_where_they_agree_is_said(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    two_tests(therapist, patient_id)

    said = words(picture(therapist, site), "section[aria-labelledby=together]")
    assert "both results lie beyond their limits" in said
    assert "Five-times stands and Four square step" in said


def test_unable_comes_first_among_what_was_not_read(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, STEP)
    send(therapist, url, typed="22.0")
    do(therapist, patient_id, STANDS, outcome="unable", reason="pain")

    text = picture(therapist, site)
    unread = words(text, "section[aria-labelledby=unread]")
    assert unread.index("Five-times stands Unable: pain.") < unread.index("Four square")
    assert "Not finished. 1 of 2 counted trials" in unread
    assert "Unable" in words(text, ".value.words")


def test_what_they_cannot_say_is_said(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    two_tests(therapist, patient_id)

    said = words(picture(therapist, site), "section[aria-labelledby=cannot]")
    assert "no sum of these answers is a score" in said
    assert "clears nobody who has fallen" in said


def test_repeated_test_is_shown_and_counts_once(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    do(therapist, patient_id, STANDS, typed="22.0")
    do(therapist, patient_id, STANDS, typed="21.0")

    text = picture(therapist, site)
    assert text.count("the later one counts below") == 1
    said = words(text, "section[aria-labelledby=together]")
    assert "one result speaks of it" in said


def test_only_the_tests_of_that_visit_stand_there(
    sign_in_as: Callable[[str], TestClient], patient_id: int, site: Site, clock: Clock
) -> None:
    do(sign_in_as("therapist"), patient_id, STANDS, typed="22.0")
    clock.move(days=7)
    therapist = sign_in_as("therapist")
    do(therapist, patient_id, TUG, typed="14")
    first, second = visit_ids(site)

    then = therapist.get(f"/visits/{first}/picture").text
    now = therapist.get(f"/visits/{second}/picture").text
    assert "Five-times stands" in then
    assert "Timed Up and Go" not in then
    assert "Timed Up and Go" in now
    assert "Five-times stands" not in now


def test_visit_without_a_test_says_so(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    therapist.post(f"/patients/{patient_id}/visit", data={"uid": "a" * 32})
    text = picture(therapist, site)

    assert "No test of this visit has a result yet." in text
    assert "cannot say" not in text


def test_brief_visit_and_result_lead_there_once_two_tests_were_done(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    first = do(therapist, patient_id, STANDS, typed="22.0")
    [visit_id] = visit_ids(site)
    pages = [f"/patients/{patient_id}", f"/visits/{visit_id}", first]
    assert not any(LINK in therapist.get(page).text for page in pages)

    two_tests(therapist, patient_id)
    for page in pages:
        links = found(therapist.get(page).text, "main").css("a.link")
        there = [a.attributes["href"] for a in links if LINK in a.text()]
        assert there == [f"/visits/{visit_id}/picture"], page


@pytest.mark.parametrize("who", ["colleague", "outsider", "student"])
def test_nobody_else_sees_it(
    request: pytest.FixtureRequest,
    therapist: TestClient,
    patient_id: int,
    site: Site,
    who: str,
) -> None:
    two_tests(therapist, patient_id)
    [visit_id] = visit_ids(site)
    other: TestClient = request.getfixturevalue(who)

    assert other.get(f"/visits/{visit_id}/picture").status_code == 404
