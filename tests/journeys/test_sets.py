"""An activity's card by touch: one hand, no network, taken back, and stopped."""

import pytest
from playwright.sync_api import Page, expect
from sqlmodel import col, select

from app.catalogue.load import catalogue
from app.storage.activity_sets import ActivitySet
from app.storage.database import read_session, write_session
from app.storage.episodes import open_episode
from app.storage.patients import Patient
from app.web.deps import Site
from tests.conftest import person_by
from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.deeds import all_sent, forgive, no_network, on_disk, says
from tests.journeys.test_make_safe import wait_until
from tests.make import make_precaution

pytestmark = pytest.mark.usefixtures("today")
ACTIVITIES = tuple(catalogue().activities)


def sets(site: Site) -> list[ActivitySet]:
    with read_session(site.engine) as session:
        return list(session.exec(select(ActivitySet).order_by(col(ActivitySet.id))))


def open_card(phone: Phone, patient_id: int, activity: str = "T01") -> Page:
    phone.goto(f"/patients/{patient_id}/activities/{activity}")
    return phone.page


def watch_styles(page: Page) -> None:
    """Counts what the content policy refuses of inline style from now on.

    A field has a style of the browser's own, as a text area that was pulled larger.
    """
    page.evaluate(
        """() => {
          window.refusedStyles = 0;
          document.getElementById("errors").style.width = "9rem";
          document.addEventListener("securitypolicyviolation", (event) => {
            if (event.violatedDirective.startsWith("style")) window.refusedStyles += 1;
          });
        }"""
    )


def refused_styles(page: Page) -> int:
    refused: int = page.evaluate("window.refusedStyles")
    return refused


def count(page: Page, name: str, times: int = 1) -> None:
    for _ in range(times):
        page.locator(f".tally-pad[data-add={name}]").tap()


def save(page: Page) -> None:
    page.get_by_role("button", name="Save this set").tap()


def test_set_is_saved_by_thumb_and_the_next_is_ready(
    phone: Phone, patient_id: int, site: Site
) -> None:
    page = open_card(phone, patient_id)
    watch_styles(page)
    phone.axe("card")
    count(page, "reps", 3)
    count(page, "errors")
    page.get_by_text("harder: ring radius 13 in", exact=True).tap()
    page.get_by_text("fingertips").tap()
    page.get_by_text("Asked: no symptom").tap()
    save(page)
    expect(page.locator("#set > h2")).to_have_text("Set 2 of 2")
    assert refused_styles(page) == 0

    (row,) = sets(site)
    assert (row.reps, row.errors, row.grade) == (3, 1, "13")
    assert (row.hand_support, row.no_symptom) == ("fingertip", True)
    expect(page.locator(".grade-line")).to_have_text("Ring radius 13 in")
    expect(page.locator("#set > h2")).to_be_in_viewport()
    expect(page.get_by_label("Repetitions", exact=True)).to_have_value("")
    expect(page.locator("[name=hand_support]:checked")).to_have_value("fingertip")
    phone.axe("after a set")


def test_saved_set_can_be_undone_for_ten_seconds(
    phone: Phone, patient_id: int, site: Site
) -> None:
    page = open_card(phone, patient_id)
    count(page, "reps")
    save(page)
    page.locator("form.undo-set").get_by_role("button").tap()
    expect(page.locator("#set > h2")).to_have_text("Set 1 of 2")
    assert sets(site)[0].void_reason == "Saved by mistake"

    count(page, "reps")
    save(page)
    expect(page.locator("form.undo-set")).to_be_visible()
    expect(page.locator("form.undo-set")).to_be_hidden(timeout=12_000)
    assert sets(site)[1].voided_at is None


def test_without_network_a_set_waits_and_is_sent(
    open_phone: OpenPhone, patient_id: int, site: Site
) -> None:
    phone = open_phone(service_workers="block")
    page = open_card(phone, patient_id)
    with no_network(phone):
        count(page, "reps", 2)
        save(page)
        says(phone, "[data-waiting]", "1 waiting to send")
        says(phone, "[data-kept]", "Set kept on this phone: reps 2. It is sent when")
        expect(page.locator("[data-kept]")).to_be_in_viewport(ratio=1)
        expect(page.locator("[data-uncounted]")).to_have_text(
            "1 waits to be sent: not yet counted here."
        )
        expect(page.locator("[data-kept-rest] [data-rests=yes]")).to_be_in_viewport()
        expect(page.get_by_label("Repetitions", exact=True)).to_have_value("")
        assert [item["round"] for item in on_disk(phone)] == [
            f"patients/{patient_id}/activities/T01"
        ]
        assert sets(site) == []
    all_sent(phone)
    expect(page.locator("#set > h2")).to_have_text("Set 2 of 2", timeout=20_000)

    assert [row.reps for row in sets(site)] == [2]
    forgive(phone)


def test_set_undone_before_it_was_sent_arrives_void(
    open_phone: OpenPhone, patient_id: int, site: Site
) -> None:
    phone = open_phone(service_workers="block")
    page = open_card(phone, patient_id)
    with no_network(phone):
        count(page, "reps", 2)
        save(page)
        says(phone, "[data-waiting]", "1 waiting to send")
        page.locator("[data-undo-kept] button").tap()
        expect(page.locator("[data-undo-kept]")).to_be_hidden()
    all_sent(phone)

    (row,) = sets(site)
    assert (row.reps, row.void_reason) == (2, "Saved by mistake")
    forgive(phone)


def test_make_safe_shows_at_the_touch_and_is_noted(
    phone: Phone, patient_id: int, site: Site
) -> None:
    page = open_card(phone, patient_id)
    count(page, "reps", 2)
    page.get_by_role("button", name="Stop - make safe").tap()
    expect(page.locator("#make-safe")).to_be_in_viewport()
    page.get_by_role("button", name="Fell").tap()
    expect(page.locator(".whats [aria-pressed=true]")).to_have_text("Fell")
    phone.axe("stopped")

    (row,) = sets(site)
    assert (row.outcome, row.reps) == ("stopped", 2)


def test_without_network_the_first_steps_show(
    open_phone: OpenPhone, patient_id: int, site: Site
) -> None:
    phone = open_phone(service_workers="block")
    page = open_card(phone, patient_id)
    with no_network(phone):
        page.get_by_role("button", name="Stop - make safe").tap()
        expect(page.locator("[data-first-steps]")).to_be_in_viewport()
        says(phone, "[data-waiting]", "1 waiting to send")
        expect(page.locator("[data-undo-kept]")).to_be_visible()
        steps, bar = (
            page.locator(css).bounding_box()
            for css in ("[data-first-steps]", "[data-undo-kept]")
        )
        assert steps
        assert bar
        assert bar["y"] >= steps["y"] + steps["height"]
    all_sent(phone)

    assert [row.outcome for row in sets(site)] == ["stopped"]
    forgive(phone)


def test_locked_card_keeps_its_red_button(
    phone: Phone, patient_id: int, site: Site
) -> None:
    page = open_card(phone, patient_id)
    page.locator(".menu > summary").tap()
    page.get_by_role("button", name="Lock", exact=True).tap()
    page.locator("[data-cover]").wait_for(state="visible")
    expect(page.get_by_role("button", name="Save this set")).to_be_hidden()
    page.get_by_role("button", name="Stop - make safe").tap()
    expect(page.locator("[data-first-steps]")).to_be_visible()

    wait_until(page, lambda: bool(sets(site)))
    assert sets(site)[0].outcome == "stopped"


def test_risk_opens_the_set_once_a_reason_is_typed(
    phone: Phone, patient_id: int, site: Site
) -> None:
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        episode = open_episode(session, session.get_one(Patient, patient_id))
        make_precaution(session, owner, episode, "high_fall_standing")
    page = open_card(phone, patient_id)
    reps = page.get_by_label("Repetitions", exact=True)
    expect(reps).to_be_hidden()
    page.get_by_label("Why it is right").fill("Two people guard")
    expect(reps).to_be_visible()
    reps.fill("5")
    phone.axe("with a risk")
    save(page)
    expect(page.locator("#set > h2")).to_have_text("Set 2 of 2")

    (row,) = sets(site)
    assert (row.override, row.against, row.reps) == ("Two people guard", "", 5)


def test_no_card_is_wider_than_the_screen(
    open_phone: OpenPhone, patient_id: int
) -> None:
    """Every activity's card on a phone and on the narrowest one."""
    phone = open_phone(service_workers="block")
    wide = []
    for activity in ACTIVITIES:
        page = open_card(phone, patient_id, activity)
        page.evaluate(
            "document.querySelectorAll('main details').forEach(d => d.open = true)"
        )
        for width in (390, 320):
            page.set_viewport_size({"width": width, "height": 844})
            size = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
            if size[0] > size[1] or size[1] > width:
                wide.append((activity, width, size))

    assert len(ACTIVITIES) == 58
    assert wide == []


def test_card_works_without_script(
    open_phone: OpenPhone, patient_id: int, site: Site
) -> None:
    phone = open_phone(java_script_enabled=False)
    page = open_card(phone, patient_id, "B01")
    for fold in page.get_by_text("Type it instead").all():
        fold.click()
    page.get_by_label("Seconds held").fill("10, 12.5")
    page.get_by_label("Errors", exact=True).fill("1")
    page.get_by_role("button", name="Save this set").click()
    expect(page.locator("main .trials")).to_contain_text("held 10.0, 12.5 s, 1 error")
    page.get_by_role("button", name="Stop - make safe").click()
    page.get_by_role("button", name="Seated").click()

    assert page.url.endswith(f"/patients/{patient_id}/activities/B01#make-safe")
    expect(page.locator(".whats [aria-pressed=true]")).to_have_text("Seated")
    assert [row.outcome for row in sets(site)] == ["done", "stopped"]
