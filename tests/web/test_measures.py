"""Choosing a test and getting it ready."""

from uuid import uuid4

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from app.storage.database import read_session, write_session
from app.storage.episodes import open_episode
from app.storage.patients import Patient
from app.storage.scores import Score
from app.storage.trials import Round
from app.web.deps import Site
from tests.conftest import found, person_by
from tests.make import make_precaution
from tests.web.bedside import a_round, begin, done, send

STANDS = "five_times_sit_to_stand"


def rounds(site: Site) -> list[Round]:
    with read_session(site.engine) as session:
        return list(session.exec(select(Round)))


@pytest.fixture
def order(site: Site, patient_id: int) -> str:
    """A weight-bearing order on the patient's episode."""
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        patient = session.get_one(Patient, patient_id)
        make_precaution(session, owner, open_episode(session, patient), "ttwb_le")
    return "Leg: toe-touch only"


def test_every_test_is_offered(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    text = therapist.get(f"/patients/{patient_id}/measures").text

    for measure in site.catalogue.measures.values():
        assert measure.name in text
    assert "Blocked" not in text


def test_blocked_test_says_which_order_blocks_it(
    therapist: TestClient, patient_id: int, order: str
) -> None:
    text = therapist.get(f"/patients/{patient_id}/measures").text

    assert "Blocked" in text
    assert order in text


def test_blocked_test_cannot_be_begun(
    therapist: TestClient, patient_id: int, order: str, site: Site
) -> None:
    answer = begin(therapist, patient_id, STANDS)

    assert answer.status_code == 422
    assert order in answer.text
    assert rounds(site) == []


def test_blocked_test_may_be_recorded_as_not_done(
    therapist: TestClient, patient_id: int, order: str, site: Site
) -> None:
    answer = therapist.post(
        f"/patients/{patient_id}/measures/{STANDS}/not-done",
        data={"outcome": "not_done", "reason": order},
    )

    assert answer.status_code == 303
    with read_session(site.engine) as session:
        assert [s.outcome for s in session.exec(select(Score))] == ["not_done"]


def test_untouched_setup_is_not_recorded(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    a_round(therapist, patient_id, STANDS)

    assert [r.facts for r in rounds(site)] == [{}]


def test_setup_is_kept_with_its_unit(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    a_round(
        therapist, patient_id, STANDS,
        **{"fact-seat_height": "17.5", "unit-seat_height": "in",
           "fact-arms_used": "no"},
    )  # fmt: skip

    assert rounds(site)[0].facts == {"seat_height": "17.5 in", "arms_used": "no"}


@pytest.mark.parametrize("height", ["tall", "-17", "0", "17,5"])
def test_bad_seat_height_comes_back_beside_its_field(
    therapist: TestClient, patient_id: int, site: Site, height: str
) -> None:
    answer = begin(therapist, patient_id, STANDS, **{"fact-seat_height": height})

    assert answer.status_code == 422
    assert found(answer.text, "#fact-seat_height-error").text()
    assert found(answer.text, "#fact-seat_height").attributes["value"] == height
    assert rounds(site) == []


def test_something_not_ok_holds_the_test(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    answer = begin(therapist, patient_id, STANDS, not_ok="1")

    assert answer.status_code == 422
    assert "not ok" in found(answer.text, "#ready-error").text()
    assert rounds(site) == []


def test_same_setup_is_taken_over_when_said(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, STANDS, **{"fact-seat_height": "17"})
    send(therapist, url, typed="16.2")
    assert (
        "seat height 17 in"
        in therapist.get(f"/patients/{patient_id}/measures/{STANDS}/ready").text
    )
    a_round(therapist, patient_id, STANDS, same="yes")

    assert [r.facts for r in rounds(site)] == [{"seat_height": "17 in"}] * 2


def test_same_without_an_earlier_setup_is_told(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    answer = begin(therapist, patient_id, STANDS, same="yes")

    assert answer.status_code == 422
    assert rounds(site) == []


def test_double_tap_begins_one_round(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    uid = uuid4().hex
    first = begin(therapist, patient_id, STANDS, uid=uid)
    second = begin(therapist, patient_id, STANDS, uid=uid)

    assert first.headers["location"] == second.headers["location"]
    assert len(rounds(site)) == 1


def test_declined_needs_a_reason(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = f"/patients/{patient_id}/measures/{STANDS}/not-done"
    answer = therapist.post(url, data={"outcome": "declined", "reason": " "})

    assert answer.status_code == 422
    assert found(answer.text, "#reason-error").text()
    assert rounds(site) == []


def test_history_draws_every_score(therapist: TestClient, patient_id: int) -> None:
    done(therapist, patient_id, STANDS, "19.9")
    done(therapist, patient_id, STANDS, "16.2")
    text = therapist.get(f"/patients/{patient_id}/measures/{STANDS}").text

    assert "19.9 s" in text
    assert "16.2 s" in text
    assert found(text, "svg.tape")


def test_history_without_a_test_is_no_blank(
    therapist: TestClient, patient_id: int
) -> None:
    text = therapist.get(f"/patients/{patient_id}/measures/{STANDS}").text

    assert "has not been done yet" in text


def test_unknown_test_is_not_found(therapist: TestClient, patient_id: int) -> None:
    for path in ("juggling", "juggling/ready"):
        answer = therapist.get(f"/patients/{patient_id}/measures/{path}")

        assert answer.status_code == 404


@pytest.mark.parametrize("who", ["colleague", "outsider", "student"])
@pytest.mark.parametrize("path", ["measures", f"measures/{STANDS}",
                                  f"measures/{STANDS}/ready"])  # fmt: skip
def test_nobody_else_sees_the_pages(
    request: pytest.FixtureRequest, patient_id: int, who: str, path: str
) -> None:
    other: TestClient = request.getfixturevalue(who)

    assert other.get(f"/patients/{patient_id}/{path}").status_code == 404


def test_same_setup_does_not_swallow_a_not_ok(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    """Both buttons send one form: what is marked not ok holds either."""
    send(therapist, a_round(therapist, patient_id, STANDS), typed="16.2")
    text = therapist.get(f"/patients/{patient_id}/measures/{STANDS}/ready").text
    same = found(text, "form#ready button[name=same]")

    answer = begin(therapist, patient_id, STANDS, same="yes", not_ok="1")

    assert same.attributes["value"] == "yes"
    assert answer.status_code == 422
    assert len(rounds(site)) == 1


def test_seat_that_cannot_be_is_refused(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    answer = begin(therapist, patient_id, STANDS, **{"fact-seat_height": "200"})

    assert answer.status_code == 422
    assert "cannot be" in found(answer.text, "#fact-seat_height-error").text()
    assert rounds(site) == []


def test_declined_round_is_no_setup_to_repeat(
    therapist: TestClient, patient_id: int
) -> None:
    """A decline states no set-up; the one last tried in is remembered."""
    url = a_round(therapist, patient_id, STANDS, **{"fact-device": "walker"})
    send(therapist, url, typed="16.2")
    base = f"/patients/{patient_id}/measures/{STANDS}"
    therapist.post(f"{base}/not-done", data={"outcome": "declined", "reason": "tired"})

    text = therapist.get(f"{base}/ready").text
    assert "walker" in found(text, "form#ready .card").text()
