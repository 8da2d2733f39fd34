"""Oxygen, limits, device and set-up by closed lists."""

import pytest
from starlette.testclient import TestClient

from app.storage.observations import TaskObservation, VitalSigns
from app.web.deps import Site
from tests.conftest import found
from tests.web.test_visits import TASK, begin, put, rows


@pytest.fixture
def visit(therapist: TestClient, patient_id: int) -> str:
    return begin(therapist, patient_id)


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"carrier": "room_air"}, "saturation 94 % on room air"),
        ({"carrier": "nasal", "flow": "1.5"}, "94 % on 1.5 L/min, nasal cannula"),
        ({"carrier": "ventilator"}, "94 % on ventilator"),
        ({}, "Saturation on what?"),
    ],
)
def test_saturation_says_what_was_breathed(
    therapist: TestClient, visit: str, said: dict[str, str], words: str
) -> None:
    put(therapist, visit, "vitals", position="sitting", saturation="94", **said)

    assert words in therapist.get(visit).text


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"carrier": "nasal"}, "flow"),
        ({"carrier": "nasal", "flow": "61"}, "flow"),
        ({"carrier": "nasal", "flow": "0"}, "flow"),
        ({"carrier": "nasal", "flow": "two"}, "flow"),
        ({"carrier": "room_air", "flow": "2"}, "flow"),
        ({"flow": "2"}, "carrier"),
        ({"carrier": "balloon", "flow": "2"}, "carrier"),
    ],
)
def test_bad_oxygen_is_named(
    therapist: TestClient, visit: str, site: Site, said: dict[str, str], field: str
) -> None:
    sent = {"position": "sitting", "saturation": "94", **said}
    answer = therapist.post(f"{visit}/vitals", data=sent)

    assert answer.status_code == 422
    assert found(answer.text, f"#{field}-error").text()
    assert rows(site, VitalSigns) == []


def test_outside_the_order_says_what_to_follow(
    therapist: TestClient, visit: str
) -> None:
    put(therapist, visit, "limits", heart_rate_high="110", set_by="physician")
    put(therapist, visit, "vitals", position="sitting", heart_rate="110")
    inside = therapist.get(visit).text
    put(therapist, visit, "vitals", position="sitting", heart_rate="111")
    page = therapist.get(visit).text

    assert "follow the order and local policy" not in inside
    assert page.count("Outside the order&#39;s limits: follow the order and local") == 1
    assert "Heart rate 111 /min is above the order&#39;s limit of 110 /min." in page


def test_device_and_set_up_are_said(therapist: TestClient, visit: str) -> None:
    put(
        therapist, visit, "tasks", **TASK, device_kind="grab_bar",
        set_up_kind="other", set_up="sock rolled half over the toes",
    )  # fmt: skip
    page = therapist.get(visit).text

    assert "grab bar or rail, sock rolled half over the toes" in page


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"device_kind": "other"}, "device"),
        ({"device_kind": "skateboard"}, "device_kind"),
        ({"set_up_kind": "other"}, "set_up"),
        ({"set_up_kind": "upside_down"}, "set_up_kind"),
    ],
)
def test_bad_device_or_set_up_is_named(
    therapist: TestClient, visit: str, site: Site, said: dict[str, str], field: str
) -> None:
    answer = therapist.post(f"{visit}/tasks", data=TASK | said)

    assert answer.status_code == 422
    assert found(answer.text, f"#{field}-error").text()
    assert rows(site, TaskObservation) == []


def test_limit_lifted_by_the_order_no_longer_holds(
    therapist: TestClient, visit: str
) -> None:
    put(therapist, visit, "limits", heart_rate_high="110", set_by="physician")
    put(therapist, visit, "vitals", position="sitting", heart_rate="120")
    put(therapist, visit, "limits", set_by="physician")

    assert "above the order" not in therapist.get(visit).text
