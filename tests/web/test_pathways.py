"""Pathway pages: own answers, what is missing and where to do it, where it leads."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import pytest
from selectolax.lexbor import LexborHTMLParser
from starlette.testclient import TestClient

from app.storage.database import write_session
from app.storage.episodes import Episode
from app.storage.patients import Patient, PatientFact
from app.web.deps import Site
from tests.conftest import Clock, found
from tests.web.bedside import a_round, done, send

TUG = "timed_up_and_go"
SignIn = Callable[[str], TestClient]


def text_of(html: str, css: str) -> str:
    return " ".join(found(html, css).text().split())


def fell(site: Site, patient_id: int, falls: str) -> None:
    """What the page "Who this is" keeps of falls."""
    with write_session(site.engine) as session:
        patient = session.get_one(Patient, patient_id)
        session.add(PatientFact(patient_id=patient.id, key="fall_history", value=falls))


def page(client: TestClient, patient_id: int, pathway: str) -> str:
    answer = client.get(f"/patients/{patient_id}/pathways/{pathway}")
    assert answer.status_code == 200
    return answer.text


def say(client: TestClient, patient_id: int, pathway: str, **said: str) -> int:
    url = f"/patients/{patient_id}/pathways/{pathway}"
    status: int = client.post(url, data=said).status_code
    return status


def outcome(html: str) -> str:
    return text_of(html, "section[aria-label='Where it leads']")


def test_list_shows_every_pathway_and_its_gaps(
    therapist: TestClient, patient_id: int
) -> None:
    html = therapist.get(f"/patients/{patient_id}/pathways").text
    cards = [" ".join(c.text().split()) for c in LexborHTMLParser(html).css(".card")]

    assert len(cards) == 4
    assert all("Still missing" in c for c in cards)
    assert sum("levels" in c for c in cards) == 3


def test_brief_leads_to_the_pathways(therapist: TestClient, patient_id: int) -> None:
    html = therapist.get(f"/patients/{patient_id}").text

    assert found(html, f"a[href='/patients/{patient_id}/pathways']")


def test_answers_are_kept_and_reach_a_level(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    fell(site, patient_id, "none")
    assert say(therapist, patient_id, "cdc", unsteady="no", worried="no") == 303
    html = page(therapist, patient_id, "cdc")

    assert "This source's level: Not at risk" in outcome(html)
    assert "Not at risk is not no risk: 41.3 %" in outcome(html)
    checked = LexborHTMLParser(html).css("input[name=unsteady]:checked")
    assert [c.attributes["value"] for c in checked] == ["no"]


def test_falls_are_kept_in_one_place(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    """Falls stand with who the person is: not asked here, and not overwritten here."""
    fell(site, patient_id, "one")
    say(therapist, patient_id, "cdc", falls_12_months="none")
    html = page(therapist, patient_id, "cdc")

    assert "Falls in the past 12 months: one" in text_of(
        html, "section[aria-label=Questions]"
    )
    assert not LexborHTMLParser(html).css("input[name=falls_12_months]")
    assert "This source's level: At risk" in outcome(html)


def test_answers_of_one_pathway_serve_the_other(
    therapist: TestClient, patient_id: int
) -> None:
    say(therapist, patient_id, "cdc", worried="yes")

    assert "Worried about falling: yes" in text_of(
        page(therapist, patient_id, "cdc_three_level"), "section[aria-label^=Step]"
    )


def test_missing_leads_to_where_it_is_done(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    fell(site, patient_id, "one")
    html = page(therapist, patient_id, "cdc")
    links = {
        a.text(): a.attributes["href"] for a in LexborHTMLParser(html).css(".links a")
    }

    assert links["Timed Up and Go"] == f"/patients/{patient_id}/measures/{TUG}/ready"
    assert links["Dizzy on standing up"] == (
        f"/patients/{patient_id}/pathways/cdc#dizzy_on_standing"
    )
    assert found(html, "#dizzy_on_standing")


def test_test_that_is_not_here_is_missing_without_a_link(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    fell(site, patient_id, "one")
    here = {
        k: m for k, m in site.catalogue.measures.items() if k != "four_stage_balance"
    }
    site.catalogue = replace(site.catalogue, measures=here)
    html = page(therapist, patient_id, "cdc")

    assert "Four stage balance: not among the tests here" in outcome(html)


def test_latest_score_is_taken_with_its_day(
    therapist: TestClient,
    patient_id: int,
    site: Site,
    clock: Clock,
    sign_in_as: SignIn,
) -> None:
    fell(site, patient_id, "one")
    done(therapist, patient_id, TUG, "13.1")
    html = page(therapist, patient_id, "cdc")

    assert "Found: Gait, strength or balance problem" in outcome(html)
    assert "13.1 s, 2 Mar)" in text_of(html, "section[aria-label^=Step]")
    clock.move(days=15)
    html = page(sign_in_as("therapist"), patient_id, "cdc")
    assert "older than the retest interval of 14 days" in text_of(
        html, "section[aria-label^=Step]"
    )


def test_score_of_another_setup_is_read_by_no_rule(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    """A high seat is easier: its quick time must not say that all is well."""
    fell(site, patient_id, "one")
    high = {"fact-seat_height": "23.5", "unit-seat_height": "in"}
    url = a_round(therapist, patient_id, TUG, **high)
    send(therapist, url, typed="13.1")
    html = page(therapist, patient_id, "cdc")

    assert "not the published set-up, so no rule reads it" in text_of(
        html, "section[aria-label^=Step]"
    )
    assert "Found:" not in outcome(html)


def test_unable_is_told_and_is_no_number(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    fell(site, patient_id, "one")
    url = a_round(therapist, patient_id, TUG)
    send(therapist, url, outcome="unable", reason="physical")
    html = page(therapist, patient_id, "cdc")

    assert "Timed Up and Go: tried, unable" in outcome(html)


def test_recalled_rule_is_unconfirmed(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    fell(site, patient_id, "two_or_more")
    html = page(therapist, patient_id, "world2022")

    assert "This source's level: High" in outcome(html)
    assert "rests on a rule that was recalled, not read" in outcome(html)


def test_nice_shows_an_action_and_never_a_percentage(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    fell(site, patient_id, "two_or_more")
    html = page(therapist, patient_id, "nice2025")

    assert "Found: Look closer" in outcome(html)
    assert "%" not in text_of(html, "main")
    assert "of 100" not in text_of(html, "main")


def test_screen_says_its_chance_only_where_people_and_time_match(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    """Three key questions, USA: 27 of 100 within a year, 38 with any yes."""
    fell(site, patient_id, "one")
    html = page(therapist, patient_id, "cdc")
    said = text_of(html, "main")

    assert (
        "about 27 had one or more falls within a year; among 100 with such answers "
        "about 38 (Burns 2022)."
    ) in said
    assert "such answers" not in text_of(
        page(therapist, patient_id, "cdc_three_level"), "main"
    )


@pytest.mark.parametrize("typed", ["15", "abc", "-1", "4.5"])
def test_bad_total_comes_back_beside_its_field(
    therapist: TestClient, patient_id: int, typed: str
) -> None:
    url = f"/patients/{patient_id}/pathways/cdc"
    answer = therapist.post(url, data={"self_check": typed, "worried": "yes"})

    assert answer.status_code == 422
    assert found(answer.text, "#self_check-error").text() == (
        "Type a whole number from 0 to 14."
    )
    assert found(answer.text, "#self_check-typed").attributes["value"] == typed
    assert found(answer.text, "input[name=worried]:checked").attributes["value"] == (
        "yes"
    )
    assert "Worried about falling: yes" not in page(therapist, patient_id, "cdc")


def test_unknown_choice_is_refused(therapist: TestClient, patient_id: int) -> None:
    assert say(therapist, patient_id, "cdc", unsteady="perhaps") == 422


def test_answer_of_another_day_is_told_and_asked_anew(
    therapist: TestClient, patient_id: int, clock: Clock, sign_in_as: SignIn
) -> None:
    say(therapist, patient_id, "cdc", unsteady="yes")
    clock.move(days=3)
    html = page(sign_in_as("therapist"), patient_id, "cdc")

    assert not LexborHTMLParser(html).css("input[name=unsteady]:checked")
    assert "Last answer, 2 Mar: yes. Ask again?" in text_of(html, "#unsteady")
    assert "This source's level: At risk" in outcome(html)


def test_answer_can_be_taken_back(therapist: TestClient, patient_id: int) -> None:
    say(therapist, patient_id, "cdc", unsteady="yes")
    say(therapist, patient_id, "cdc", unsteady="take_back")

    assert "This source's level" not in outcome(page(therapist, patient_id, "cdc"))


def test_unknown_pathway_is_not_found(therapist: TestClient, patient_id: int) -> None:
    assert therapist.get(f"/patients/{patient_id}/pathways/none").status_code == 404
    assert say(therapist, patient_id, "none", unsteady="yes") == 404


def test_others_find_no_pathways(sign_in_as: SignIn, patient_id: int) -> None:
    for who in ("outsider", "colleague", "student"):
        client = sign_in_as(who)
        assert client.get(f"/patients/{patient_id}/pathways").status_code == 404
        assert say(client, patient_id, "cdc", unsteady="yes") == 404


def test_closed_patient_without_episode_still_has_the_page(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    with write_session(site.engine) as session:
        episode = session.get_one(Episode, 1)
        episode.closed_on = date(2026, 3, 2)
        session.add(episode)
    html = page(therapist, patient_id, "world2022")

    assert "Setting of care" not in outcome(html) or "Still missing" in outcome(html)
