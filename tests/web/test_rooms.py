"""Home and bedside: measured in a few taps, said at once, changed, measured again."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import httpx2
import pytest
from selectolax.lexbor import LexborHTMLParser
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.storage.database import read_session, write_session
from app.storage.patients import PatientDetails, edit_patient
from app.storage.room_measurements import RoomChange, RoomChangeStep, RoomMeasure
from app.web.deps import Site
from tests.conftest import Clock, found, person_by
from tests.make import (
    NOW,
    make_episode,
    make_patient,
    make_room_change,
    make_room_measure,
    make_visit,
)

SEAT = {"room": "bathroom", "thing": "toilet_seat", "value": "16", "unit": "in"}
GRAB = {"room": "bathroom", "change": "grab_bar", "who": "landlord"}


def rows(site: Site, table: Any) -> list[Any]:
    with read_session(site.engine) as session:
        return list(session.exec(select(table).order_by(col(table.id))))


def measure(client: TestClient, patient_id: int, **said: str) -> httpx2.Response:
    data = {"uid": uuid4().hex, **SEAT, **said}
    return client.post(f"/patients/{patient_id}/rooms", data=data)


def words_of(page: str, css: str) -> str:
    """The text of an element, each run of blanks as one."""
    return " ".join(found(page, css).text().split())


@pytest.fixture
def url(patient_id: int) -> str:
    return f"/patients/{patient_id}/rooms"


@pytest.fixture
def tall(site: Site, patient_id: int) -> None:
    """The patient's lower leg is 16 in, and they stand 63 in."""
    details = PatientDetails(
        "Blue 7", birth_year=1948, sex="female",
        sizes={"lower_leg": ("16", "in"), "height": ("63", "in")},
    )  # fmt: skip
    with write_session(site.engine) as session:
        edit_patient(
            session, person_by(session, "therapist"), patient_id, details, version=1,
            now=NOW,
        )  # fmt: skip


def test_measured_thing_is_said_against_its_section(
    therapist: TestClient, patient_id: int, url: str, site: Site
) -> None:
    answer = measure(therapist, patient_id, value="16 1/2", note="wobbles")
    page = therapist.get(answer.headers["location"]).text
    (row,) = rows(site, RoomMeasure)

    assert answer.status_code == 303
    assert answer.headers["location"] == f"{url}?room=bathroom#latest"
    assert (row.value, row.unit, row.phase) == ("16.5", "in", "before")
    latest = words_of(page, "#latest")
    assert "Toilet seat, before: 16.5 in (41.9 cm) 2 Mar" in latest
    assert "0.5 in (1.3 cm) below." in latest
    assert (
        "Reference for accessible public places, section 604.4: 17 to 19 in; "
        "not law for a private home. · full text"
    ) in latest
    assert "Note: wobbles" in latest


@pytest.mark.usefixtures("tall")
def test_persons_own_height_comes_first(
    therapist: TestClient, patient_id: int, url: str
) -> None:
    measure(therapist, patient_id, value="17")
    page = therapist.get(url).text
    latest = words_of(page, "#latest")

    own = latest.index("2.2 in (5.6 cm) below this person's starting point, 19.2 in")
    assert own < latest.index("Within. The person's own height comes first.")
    assert "(1.2 times the lower leg: from memory)" in latest
    person = words_of(page, "#person")
    assert "Start trying at 19.2 in (48.8 cm)." in person
    assert "unconfirmed" in person
    assert "Between percentile 75 and 90 among 1986 fit women" in person
    assert "one would expect about 38 cm barefoot" in person
    assert "seat 17 in (43 cm), half an inch either way" in person
    assert "Weiner 1993 · abstract" in person


@pytest.mark.usefixtures("tall")
def test_barefoot_measure_allows_for_shoes(
    therapist: TestClient, patient_id: int, url: str
) -> None:
    page = therapist.get(f"{url}?shoes=off").text
    answer = measure(therapist, patient_id, shoes="off")

    assert "20.1 in (51.2 cm) to 20.6 in (52.4 cm)" in words_of(page, "#person")
    assert answer.headers["location"] == f"{url}?room=bathroom&shoes=off#latest"


def test_without_the_lower_leg_only_references_are_said(
    therapist: TestClient, patient_id: int, url: str
) -> None:
    measure(therapist, patient_id)
    page = therapist.get(url).text

    assert "starting point" not in words_of(page, "#latest")
    assert "The lower leg is not known" in words_of(page, "#person")


def test_bed_has_no_published_number(
    therapist: TestClient, patient_id: int, url: str
) -> None:
    measure(therapist, patient_id, room="bedroom", thing="bed", value="20")
    latest = words_of(therapist.get(f"{url}?room=bedroom").text, "#latest")

    assert "No number is published for the height of a bed. · memory" in latest
    assert "section" not in latest


def test_same_form_five_times_is_one_row(
    sign_in_as: Callable[[str], TestClient], patient_id: int, site: Site, clock: Clock
) -> None:
    uid, first = uuid4().hex, sign_in_as("therapist")
    sent = [measure(first, patient_id, uid=uid) for _ in range(4)]
    clock.move(hours=15)  # past midnight
    later = sign_in_as("therapist")
    late = measure(later, patient_id, uid=uid)
    other = measure(later, patient_id, uid=uid, value="17")

    assert {a.status_code for a in (*sent, late)} == {303}
    assert other.status_code == 409
    assert len(rows(site, RoomMeasure)) == 1


@pytest.mark.parametrize(
    ("said", "field", "says"),
    [
        ({"thing": ""}, "thing", "Choose what was measured."),
        ({"thing": "ramp_slope"}, "thing", "Choose what was measured."),
        ({"value": ""}, "value", "Type what the tape says."),
        ({"value": "16,5"}, "value", "a point, not a comma"),
        ({"value": "430", "unit": "cm"}, "value", "cannot be right here"),
        ({"unit": "mm"}, "value", "Choose inches or centimetres."),
        ({"phase": "during"}, "phase", "Choose one."),
        ({"room": "attic"}, "room", "Choose one."),
        ({"note": "x" * 201}, "note", "At most 200 letters; these are 201."),
    ],
)
def test_bad_field_is_named_and_everything_typed_kept(
    therapist: TestClient, patient_id: int, site: Site, said: dict[str, str],
    field: str, says: str,
) -> None:  # fmt: skip
    typed = {"uid": uuid4().hex, "note": "wobbles", **said}
    answer = measure(therapist, patient_id, **typed)
    page = answer.text

    assert answer.status_code == 422
    assert says in found(page, f"#add #{field}-error").text()
    kept = {"value": said.get("value", "16"), "note": typed["note"]}
    for name, value in kept.items():
        assert found(page, f"#add [name={name}]").attributes["value"] == value
    assert found(page, "#add [name=uid]").attributes["value"] == typed["uid"]
    if field != "thing":
        checked = found(page, "#add [name=thing][checked]").attributes["value"]
        assert checked == "toilet_seat"
    assert rows(site, RoomMeasure) == []


def test_things_of_the_room_are_offered_first_and_all_others_a_tap_away(
    therapist: TestClient, url: str
) -> None:
    page = LexborHTMLParser(therapist.get(f"{url}?room=stairs").text)
    usual = page.css("#add fieldset > .choices [name=thing]")
    others = page.css("#add fieldset details [name=thing]")

    assert [n.attributes["value"] for n in usual] == ["step_height", "handrail_height"]
    assert len(usual) + len(others) == 63  # all but the two slopes, worked out


def test_unknown_room_shows_the_first(therapist: TestClient, url: str) -> None:
    page = therapist.get(f"{url}?room=attic").text

    assert "Measure in the bathroom" in page


@pytest.mark.usefixtures("tall")
def test_picture_is_to_scale_and_its_sentence_says_the_same(
    therapist: TestClient, patient_id: int, url: str
) -> None:
    measure(therapist, patient_id, value="12")
    measure(therapist, patient_id, thing="tub_rim", value="61", unit="cm")
    measure(therapist, patient_id, value="18", phase="after")
    page = LexborHTMLParser(therapist.get(url).text)
    says = (
        "Heights from the floor, to scale: Toilet seat 18 in (45.7 cm), before 12 in "
        "(30.5 cm), reference 17 to 19 in; Tub rim 61 cm (24.02 in). "
        "Knee fold 16 in (40.6 cm)."
    )

    (picture,) = page.css(".elevation")
    assert picture.attributes["aria-label"] == says
    assert says in " ".join((page.body or picture).text().split())
    heights = [float((n.attributes["height"] or "")[:-2]) for n in page.css(".thing")]
    (was,) = [float((n.attributes["height"] or "")[:-2]) for n in page.css(".was")]
    assert heights[0] / heights[1] == pytest.approx(18 / (61 / 2.54), abs=0.001)
    assert was / heights[0] == pytest.approx(12 / 18, abs=0.001)
    floor = float((page.css(".floor")[0].attributes["y1"] or "")[:-2])
    knee = float((page.css(".knee")[0].attributes["y1"] or "")[:-2])
    assert (floor - knee) / heights[0] == pytest.approx(16 / 18, abs=0.001)
    shade = page.css(".panel rect.spread")[0].attributes
    low = float((shade["y"] or "")[:-2]) + float((shade["height"] or "")[:-2])
    assert (floor - low) / heights[0] == pytest.approx(17 / 18, abs=0.001)


def test_voided_measure_stays_and_no_longer_counts(
    therapist: TestClient, patient_id: int, url: str
) -> None:
    measure(therapist, patient_id)
    bare = therapist.post("/room-measures/1/void", data={"void_reason": " "})
    gone = therapist.post("/room-measures/1/void", data={"void_reason": "other seat"})
    page = therapist.get(url).text

    assert bare.status_code == 422
    assert gone.status_code == 303
    assert "void: other seat" in words_of(page, "#latest")
    assert "below" not in words_of(page, "#latest")
    assert "From the side" not in page


def test_change_is_agreed_done_and_measured_again(
    therapist: TestClient, patient_id: int, url: str, site: Site
) -> None:
    measure(therapist, patient_id)
    added = therapist.post(
        f"{url}/changes", data={"uid": uuid4().hex, **GRAB, "before": "1"}
    )
    agreed = therapist.post("/room-changes/1/state", data={"state": "agreed"})
    between = words_of(therapist.get(url).text, "#changes")
    form = therapist.get(f"{url}?after=1").text
    after = measure(therapist, patient_id, value="18", phase="after", of="1")
    page = therapist.get(url).text

    assert [a.status_code for a in (added, agreed, after)] == [303] * 3
    assert "Bathroom: grab bar. By: landlord. Agreed since 2 Mar" in between
    assert "Before: 16 in (40.6 cm). After: not measured." in between
    assert found(form, "#add [name=of]").attributes["value"] == "1"
    assert found(form, "#add [name=phase][checked]").attributes["value"] == "after"
    said = words_of(page, "#changes")
    assert "Done since 2 Mar" in said
    assert "Before: 16 in (40.6 cm). After: 18 in (45.7 cm)." in said
    assert words_of(page, "#measured .pair") == (
        "Toilet seat: 16 in (40.6 cm) before, 18 in (45.7 cm) after."
    )
    states = [step.state for step in rows(site, RoomChangeStep)]
    assert states == ["proposed", "agreed", "done"]


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"change": ""}, "change"),
        ({"change": "paint"}, "change"),
        ({"who": ""}, "who"),
        ({"change": "other"}, "words"),
        ({"words": "x" * 201}, "words"),
        ({"before": "77"}, "before"),
    ],
)
def test_bad_change_is_named_and_kept(
    therapist: TestClient, url: str, site: Site, said: dict[str, str], field: str
) -> None:
    typed = {"uid": uuid4().hex, **GRAB, "words": "left of it", **said}
    if said.get("change") == "other":
        typed["words"] = ""
    answer = therapist.post(f"{url}/changes", data=typed)

    assert answer.status_code == 422
    assert found(answer.text, f"#changes #{field}-error").text()
    kept = found(answer.text, "#changes [name=words]").attributes["value"]
    assert kept == typed["words"]
    assert rows(site, RoomChange) == []


def test_moving_a_change_twice_or_backwards(
    therapist: TestClient, url: str, site: Site
) -> None:
    therapist.post(f"{url}/changes", data={"uid": uuid4().hex, **GRAB})
    codes = [
        therapist.post("/room-changes/1/state", data={"state": state}).status_code
        for state in ("done", "done", "declined", "lost")
    ]

    assert codes == [303, 303, 409, 422]
    assert len(rows(site, RoomChangeStep)) == 2


def test_visit_says_what_was_measured_and_proposed(
    therapist: TestClient, patient_id: int, url: str
) -> None:
    measure(therapist, patient_id, note="wobbles")
    therapist.post(f"{url}/changes", data={"uid": uuid4().hex, **GRAB, "words": "left"})
    visit = therapist.post(f"/patients/{patient_id}/visit", data={"uid": uuid4().hex})
    page = therapist.get(visit.headers["location"]).text
    told = words_of(page, "#timeline")

    assert "Bathroom, toilet seat, before: 16 in (40.6 cm); wobbles" in told
    assert "To change, bathroom: grab bar (left), by: landlord" in told
    assert f'href="{url}"' in page
    assert f'href="{url}"' in therapist.get(f"/patients/{patient_id}").text


def test_ramp_is_worked_out_from_its_rise(therapist: TestClient, url: str) -> None:
    whole = therapist.get(f"{url}/ramp", params={"rise": "60"}).text
    part = therapist.get(
        f"{url}/ramp", params={"rise": "7", "run": "70"}, headers={"hx-request": "true"}
    ).text

    assert "720 in (1828.8 cm, 60 ft) of slope at 1:12, in 2 runs" in whole
    # Level 60, run 360, landing 60, run 360, level 60; the rise goes up to 0.
    path = found(whole, ".ramp path").attributes["d"]
    assert path == "M0 60 60 60 420 30 480 30 840 0 900 0 900 60Z"
    assert "<html" not in part
    assert "1:10, steeper than 1:12" in part
    assert "rise, 405.8: handrails above 6 in · secondary" in " ".join(part.split())


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"rise": "x"}, "rise"),
        ({"rise": "0"}, "rise"),
        ({"run": "70"}, "rise"),
        ({"rise": "7", "run": "long"}, "run"),
        ({"rise": "7", "run": "0"}, "run"),
    ],
)
def test_ramp_that_cannot_be_is_said_beside_its_field(
    therapist: TestClient, url: str, asked: dict[str, str], field: str
) -> None:
    answer = therapist.get(f"{url}/ramp", params=asked)

    assert answer.status_code == 422
    assert found(answer.text, f"#{field}-error").text()
    for name, value in asked.items():
        assert found(answer.text, f"#{name}").attributes["value"] == value


@pytest.mark.parametrize("who", ["outsider", "colleague", "student"])
def test_others_measure_nothing(
    sign_in_as: Callable[[str], TestClient], patient_id: int, url: str, site: Site,
    who: str,
) -> None:  # fmt: skip
    other = sign_in_as(who)

    assert other.get(url).status_code == 404
    assert measure(other, patient_id).status_code == 404
    assert rows(site, RoomMeasure) == []


def test_supervisor_sees_and_measures_too(
    supervisor: TestClient, patient_id: int, url: str, site: Site
) -> None:
    assert measure(supervisor, patient_id).status_code == 303
    assert "16 in (40.6 cm)" in supervisor.get(url).text
    assert len(rows(site, RoomMeasure)) == 1


def test_another_patients_measurement_cannot_be_named(
    therapist: TestClient, patient_id: int, url: str, site: Site
) -> None:
    """Neither as the reason of a change, nor its change as what was measured after."""
    with write_session(site.engine) as session:
        owner = person_by(session, "outsider")
        other = make_patient(session, owner, label="Green 2")
        visit = make_visit(session, owner, make_episode(session, owner, other))
        theirs = make_room_measure(session, owner, visit)
        make_room_change(session, owner, visit, before=theirs)
    named = {"uid": uuid4().hex, **GRAB, "before": str(theirs.id)}
    refused = therapist.post(f"{url}/changes", data=named)
    taken = measure(therapist, patient_id, phase="after", of="1")

    assert (refused.status_code, taken.status_code) == (422, 303)
    assert [step.state for step in rows(site, RoomChangeStep)] == ["proposed"]
