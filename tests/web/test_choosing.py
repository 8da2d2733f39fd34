"""The choose page: what fits today first, why the others do not, nothing hidden."""

from collections.abc import Callable

import httpx2
import pytest
from selectolax.lexbor import LexborHTMLParser, LexborNode
from starlette.testclient import TestClient

from app.storage.database import write_session
from app.storage.episodes import open_episode
from app.storage.patients import Patient
from app.web.deps import Site
from tests.conftest import Clock, found, person_by
from tests.make import make_precaution
from tests.web.bedside import a_round, send

KIT = ("stopwatch", "chair", "tape", "sticks", "cuff")


def say(
    client: TestClient, patient_id: int, can: str, *kit: str, minutes: str = ""
) -> httpx2.Response:
    said = {"can": can, "kit": list(kit or KIT), "minutes": minutes}
    return client.post(f"/patients/{patient_id}/measures", data=said)


def shown(client: TestClient, patient_id: int) -> LexborHTMLParser:
    return LexborHTMLParser(client.get(f"/patients/{patient_id}/measures").text)


def offered(page: LexborHTMLParser) -> list[str]:
    return [node.text() for node in page.css("ul.people a.person b")]


def others(page: LexborHTMLParser) -> dict[str, str]:
    """Names of what is folded away, with what is said of each."""
    folded = {
        inner(node, "b"): inner(node, ".across")
        for node in page.css("details a.person")
    }
    blocked = {inner(node, "h2"): node.text() for node in page.css("details section")}
    return folded | blocked


def inner(node: LexborNode, css: str) -> str:
    part = node.css_first(css)
    assert part is not None
    return part.text()


def test_one_tap_offers_what_a_sitting_person_can_do(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    assert say(therapist, patient_id, "sits").status_code == 303
    page = shown(therapist, patient_id)

    assert offered(page) == [
        "Seated reach, forward", "Seated reach, to the side",
        "Orthostatic vital signs",
    ]  # fmt: skip
    assert others(page)["Functional reach"] == "needs standing"
    assert others(page)["Timed Up and Go"] == "needs a walk of 3 m"
    assert len(offered(page)) + len(others(page)) == len(site.catalogue.measures)


def test_every_other_test_is_still_a_link(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    say(therapist, patient_id, "sits")
    links = {n.attributes["href"] for n in shown(therapist, patient_id).css("main a")}

    for measure in site.catalogue.measures:
        assert f"/patients/{patient_id}/measures/{measure}/ready" in links


def test_kit_and_minutes_speak_too(therapist: TestClient, patient_id: int) -> None:
    say(therapist, patient_id, "walks", "stopwatch", "chair", "tape", minutes="5")
    said = others(shown(therapist, patient_id))

    assert said["Four square step"] == "no canes or sticks; takes about 8 min"
    assert said["Orthostatic vital signs"] == "no cuff; takes about 12 min"


def test_no_kit_at_all_is_an_answer(therapist: TestClient, patient_id: int) -> None:
    url = f"/patients/{patient_id}/measures"
    therapist.post(url, data={"can": "walks"})
    page = shown(therapist, patient_id)

    assert offered(page) == []
    assert "None fits what was said" in page.text()
    assert not page.css("input[name=kit][checked]")


def test_order_stays_a_block_in_the_fold(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        episode = open_episode(session, session.get_one(Patient, patient_id))
        make_precaution(session, owner, episode, "ttwb_le")
    say(therapist, patient_id, "sits")
    said = others(shown(therapist, patient_id))["Timed Up and Go"]

    assert "Blocked" in said
    assert "Order: Leg: toe-touch only" in said
    assert "Also: needs a walk of 3 m" in said


def test_unable_last_time_is_a_floor(therapist: TestClient, patient_id: int) -> None:
    url = a_round(therapist, patient_id, "timed_up_and_go")
    assert send(therapist, url, outcome="unable", reason="physical").status_code == 303
    say(therapist, patient_id, "walks")

    said = others(shown(therapist, patient_id))
    assert said == {"Timed Up and Go": "floor: unable on 2 Mar"}


def test_whole_hold_is_a_ceiling_by_its_own_limit(
    therapist: TestClient, patient_id: int
) -> None:
    for limit, held in (("30", "30"), ("60", "30")):
        name = {"30": "single_leg_stance", "60": "tandem_stance"}[limit]
        url = a_round(
            therapist, patient_id, name, variant="single", **{"fact-limit": limit}
        )
        assert send(therapist, url, typed=held).status_code == 303
    say(therapist, patient_id, "walks")

    said = others(shown(therapist, patient_id))
    assert said == {
        "One-leg stance": "ceiling: held all 30 s on 2 Mar, try a harder one"
    }


def test_it_is_remembered_for_today_and_no_longer(
    sign_in_as: Callable[[str], TestClient], patient_id: int, clock: Clock
) -> None:
    therapist = sign_in_as("therapist")
    say(therapist, patient_id, "stands", "chair", minutes="15")
    page = shown(therapist, patient_id)
    pressed = [n.attributes["value"] for n in page.css("[aria-pressed=true]")]
    ticked = [n.attributes["value"] for n in page.css("input[checked]")]
    clock.move(days=1)
    next_day = shown(sign_in_as("therapist"), patient_id)

    assert "Choose a test" in next_day.text()
    assert pressed == ["stands"]
    assert ticked == ["chair", "15"]
    assert not next_day.css("[aria-pressed=true]")
    assert not next_day.css("details.card")


def test_it_is_one_persons_own(
    therapist: TestClient, supervisor: TestClient, patient_id: int
) -> None:
    say(therapist, patient_id, "sits")

    assert not shown(supervisor, patient_id).css("[aria-pressed=true]")


def test_all_tests_come_back_on_one_tap(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    say(therapist, patient_id, "sits")
    say(therapist, patient_id, "")
    page = shown(therapist, patient_id)

    assert len(offered(page)) == len(site.catalogue.measures)
    assert others(page) == {}


def test_nothing_said_groups_by_domain(therapist: TestClient, patient_id: int) -> None:
    page = shown(therapist, patient_id)
    titles = [n.text() for n in page.css("main h2")]

    assert titles[:3] == ["Standing balance", "Sitting balance", "Transfers"]
    assert len(page.css("input[name=kit][checked]")) == len(KIT)


@pytest.mark.parametrize(
    ("field", "value"), [("can", "flies"), ("minutes", "7"), ("kit", "hammer")]
)
def test_words_outside_the_lists_come_back_beside_the_field(
    therapist: TestClient, patient_id: int, site: Site, field: str, value: str
) -> None:
    said = {"can": "stands", "kit": "tape", "minutes": "10"} | {field: value}
    answer = therapist.post(f"/patients/{patient_id}/measures", data=said)

    assert answer.status_code == 422
    assert found(answer.text, f"#{field}-error").text()
    assert not site.today
    if field != "minutes":
        assert found(answer.text, "input[name=minutes][value='10'][checked]")


@pytest.mark.parametrize("who", ["colleague", "outsider", "student"])
def test_nobody_else_says_anything(
    sign_in_as: Callable[[str], TestClient], patient_id: int, who: str, site: Site
) -> None:
    assert say(sign_in_as(who), patient_id, "sits").status_code == 404
    assert not site.today
