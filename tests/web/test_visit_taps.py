"""Answers of a visit saved at each tap: none lost, none doubled."""

from uuid import uuid4

import pytest
from starlette.testclient import TestClient

from app.storage.observations import SymptomCheck
from app.storage.visits import ExitItem
from app.web.deps import Site
from tests.conftest import Clock, found
from tests.web.test_visits import begin, put, rows


@pytest.fixture
def visit(therapist: TestClient, patient_id: int) -> str:
    return begin(therapist, patient_id)


TAP = {"hx-request": "true", "hx-request-type": "partial"}


def tap(client: TestClient, visit: str, part: str, **said: str) -> str:
    """The whole form as htmx sends it at a tap; the fragment that comes back."""
    answer = client.post(f"{visit}/{part}", data=said, headers=TAP)
    assert answer.status_code == 200, answer.text
    assert "<html" not in answer.text
    return str(answer.text)


def test_each_answer_is_saved_as_it_is_tapped(
    therapist: TestClient, visit: str, site: Site
) -> None:
    form = {"uid": uuid4().hex, "agreed": "yes"}
    first = tap(therapist, visit, "symptoms", **form)
    form["pain"] = "3"
    tap(therapist, visit, "symptoms", **form)
    again = tap(therapist, visit, "symptoms", **form)  # a double tap
    stored = rows(site, SymptomCheck)
    page = therapist.get(visit).text

    assert "Saved 09:30: agreed." in first
    assert "agreed, pain 3 of 10." in again
    assert [(r.agreed, r.pain) for r in stored] == [("yes", None), (None, 3)]
    assert page.count("<p>09:30 agreed, pain 3 of 10</p>") == 1
    assert 'name="pain" value="3" checked' in page
    assert f'value="{form["uid"]}"' in page


def test_answer_tapped_anew_keeps_the_first_in_sight(
    therapist: TestClient, visit: str, site: Site
) -> None:
    form = {"uid": uuid4().hex, "pain": "3", "dizzy": "no"}
    tap(therapist, visit, "symptoms", **form)
    tap(therapist, visit, "symptoms", **form | {"pain": "6"})

    assert len(rows(site, SymptomCheck)) == 2
    said = "pain 6 of 10, not dizzy (before that: pain 3 of 10)"
    assert said in therapist.get(visit).text


def test_asking_later_begins_a_line_of_its_own(
    therapist: TestClient, visit: str, clock: Clock
) -> None:
    form = {"uid": uuid4().hex, "pain": "3"}
    tap(therapist, visit, "symptoms", **form)
    for _ in range(3):
        clock.move(minutes=4)
        page = therapist.get(visit).text
    tap(therapist, visit, "symptoms", uid=uuid4().hex, pain="3")

    assert 'name="pain" value="3" checked' not in page
    assert f'value="{form["uid"]}"' not in page
    assert "Ask again" in page
    assert therapist.get(visit).text.count("<p>09:30 pain 3 of 10</p>") == 1
    assert "<p>09:42 pain 3 of 10</p>" in therapist.get(visit).text


def test_form_of_taps_says_what_it_cannot_keep(
    therapist: TestClient, visit: str, site: Site
) -> None:
    sent = {"uid": uuid4().hex, "pain": "4", "words": "x" * 301}
    answer = therapist.post(f"{visit}/symptoms", data=sent, headers=TAP)

    assert answer.status_code == 422
    assert found(answer.text, "#symptoms #words-error").text()
    assert 'name="pain" value="4" checked' in answer.text
    assert rows(site, SymptomCheck) == []


def test_exit_list_is_saved_line_by_line(
    therapist: TestClient, visit: str, site: Site, clock: Clock
) -> None:
    first = tap(therapist, visit, "exit", **{"exit-bell": "done"})
    at = rows(site, ExitItem)[0].recorded_at
    clock.move(minutes=1)
    both = {"exit-bell": "done", "exit-hand_off": "aide"}
    second = tap(therapist, visit, "exit", **both)
    tap(therapist, visit, "exit", **both)
    stored = {r.item: (r.state, r.told_role) for r in rows(site, ExitItem)}

    assert "strip and tape out of the way" in first
    assert "bell in reach" not in first
    assert "hand-off" not in second
    assert stored == {"bell": ("done", None), "hand_off": ("done", "aide")}
    assert rows(site, ExitItem)[0].recorded_at == at
    assert "hand-off given: nursing aide" in therapist.get(visit).text


def test_hand_off_goes_to_a_role_of_the_list(
    therapist: TestClient, visit: str, site: Site
) -> None:
    for word in ("done", "janitor"):
        assert put(therapist, visit, "exit", **{"exit-hand_off": word}) == 422
    put(therapist, visit, "exit", **{"exit-hand_off": "family"})
    put(therapist, visit, "exit", **{"exit-hand_off": "not_applicable"})
    (row,) = rows(site, ExitItem)

    assert (row.state, row.told_role) == ("not_applicable", None)
