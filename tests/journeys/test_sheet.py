"""The bedside sheet: orders first, kept on the phone, attached to its patient once."""

import json
from datetime import UTC, datetime
from typing import Any

import pytest
from playwright.sync_api import expect

from app.storage.database import write_session
from app.storage.episodes import Visit
from app.storage.trials import Round, Trial
from app.web.bedside import ORDERS
from tests.conftest import person_by
from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.deeds import forgive
from tests.journeys.sheet import (
    STANDS,
    attach_first,
    back_to_list,
    kept_on_phone,
    no_network,
    open_gate,
    open_test,
    orders_allow,
    reach,
    rows,
    time_it,
    worker_ready,
)
from tests.make import PASSPHRASE, make_episode, make_patient

NO_DISK = (
    "Object.defineProperty(window, 'indexedDB', {get() { throw new Error('off'); }})"
)


@pytest.mark.usefixtures("today")  # before the phone signs in
def test_result_taken_offline_is_attached_once(
    phone: Phone, patient_id: int, today: datetime
) -> None:
    phone.goto("/caseload")
    worker_ready(phone.page)
    with no_network(phone):
        phone.goto("/bedside")
        open_test(phone, "Five times", "window bed")
        time_it(phone)
        back_to_list(phone)
        assert "1 waiting" in phone.page.locator("[data-kept]").first.inner_text()
        phone.page.reload()
        phone.page.locator("[data-kept] li").first.wait_for()
    phone.goto("/caseload")
    phone.follow(phone.page.get_by_role("link", name="1 result from the bedside"))
    phone.axe("attach")
    phone.fits()
    attach_first(phone, patient_id)

    (trial,), (visit,) = rows(phone, Trial), rows(phone, Visit)
    assert 3300 <= trial.raw_ms <= 15_000  # how exact it is: test_timing.py
    assert visit.local_date == today.date()
    assert trial.clocks["sheet"]["at"] == pytest.approx(trial.clocks["start"]["wall"])
    phone.axe("attached")
    phone.page.reload()
    phone.page.locator("[data-none]:visible").wait_for()
    assert "window bed" not in kept_on_phone(phone.page)
    phone.goto("/caseload")
    expect(phone.page.locator("[data-waits]")).to_be_hidden()
    assert len(rows(phone, Trial)) == 1


@pytest.mark.usefixtures("today")
def test_answer_lost_on_the_way_makes_no_second_row(
    phone: Phone, patient_id: int
) -> None:
    phone.goto("/bedside")
    open_test(phone, "Functional reach", "by the door")
    reach(phone, "9.5")
    phone.goto("/bedside/attach")
    sent = []

    def swallow(route: Any) -> None:
        sent.append(route.fetch().status)
        route.abort()

    phone.page.route("**/bedside/attach", swallow, times=1)
    card = phone.page.locator("[data-attach] > section").first
    card.locator("select").select_option(str(patient_id))
    card.locator("[data-sure]").check()
    card.get_by_role("button", name="Attach").tap()
    expect(phone.page.locator("#message")).not_to_be_empty()
    phone.page.wait_for_timeout(800)
    card.get_by_role("button", name="Attach").tap()
    phone.page.locator("[data-attached]").wait_for()

    assert sent == [200]
    assert len(rows(phone, Trial)) == len(rows(phone, Round)) == 1
    forgive(phone)


@pytest.mark.usefixtures("today")
def test_two_of_one_day_are_each_confirmed_once_more(
    phone: Phone, patient_id: int
) -> None:
    other = second_patient(phone)
    phone.goto("/bedside")
    for word, inches in (("by the door", "9.5"), ("window bed", "7")):
        open_test(phone, "Functional reach", word)
        reach(phone, inches)
        phone.page.locator("[data-next-person]").tap()
        back_to_list(phone)
    phone.goto("/bedside/attach")
    cards = phone.page.locator("[data-attach] > section")
    expect(cards).to_have_count(2)
    first = cards.first
    assert "by the door" in first.inner_text()
    first.locator("select").select_option(str(patient_id))
    first.locator("[data-sure]").check()
    first.get_by_role("button", name="Attach").tap()
    phone.page.wait_for_timeout(500)
    assert rows(phone, Trial) == []  # not without the second yes

    phone.axe("two of one day")
    first.locator("[data-again] input").check()
    first.locator("select").select_option(str(other))
    assert not first.locator("[data-again] input").is_checked()
    first.locator("select").select_option(str(patient_id))
    first.locator("[data-again] input").check()
    first.get_by_role("button", name="Attach").tap()
    phone.page.locator("[data-attached]").wait_for()

    (trial,) = rows(phone, Trial)
    assert (trial.raw_value, trial.raw_unit) == ("9.5", "in")
    assert "window bed" in kept_on_phone(phone.page)
    assert "by the door" not in kept_on_phone(phone.page)


def second_patient(phone: Phone) -> int:
    with write_session(phone.live.app.state.site.engine) as session:
        owner = person_by(session, "therapist")
        patient = make_patient(session, owner, label="Green 2")
        make_episode(session, owner, patient)
        return patient.id


@pytest.mark.usefixtures("today")
def test_two_trials_of_one_set_up_are_one_round(phone: Phone, patient_id: int) -> None:
    phone.goto("/bedside")
    open_gate(phone, "Functional reach")
    orders_allow(phone)
    phone.page.locator("label", has_text="cane").first.tap()
    phone.page.get_by_role("button", name="Open the test").tap()
    reach(phone, "9.5")
    reach(phone, "8")
    phone.goto("/bedside/attach")
    attach_first(phone, patient_id)

    (round,) = rows(phone, Round)
    assert round.facts == {"device": "cane"}
    assert [t.raw_value for t in rows(phone, Trial)] == ["9.5", "8"]


@pytest.mark.usefixtures("today")
def test_older_than_a_week_can_only_be_discarded(phone: Phone) -> None:
    phone.goto("/bedside")
    open_test(phone, "Functional reach", "chair")
    reach(phone, "9.5")
    phone.page.clock.set_fixed_time(datetime.now(UTC).replace(year=2027))
    phone.goto("/bedside/attach")
    card = phone.page.locator("[data-attach] > section").first
    expect(card.locator("[data-old]")).to_be_visible()
    expect(card.locator("form")).to_be_hidden()

    card.locator("[data-discard]").tap()
    assert "9.5" in kept_on_phone(phone.page)
    card.locator("[data-discard]").tap()
    expect(phone.page.locator("[data-attach] > section")).to_have_count(0)
    assert '"9.5"' not in kept_on_phone(phone.page)


def test_unknown_order_stops_it(phone: Phone) -> None:
    phone.goto("/bedside")
    open_gate(phone, "Five times")
    opens = phone.page.get_by_role("button", name="Open the test")
    opens.tap()
    phone.page.wait_for_timeout(300)
    assert phone.page.locator("[data-pad]").count() == 0  # unanswered
    orders_allow(phone)
    for order in ORDERS:
        answers = phone.page.locator(f"input[name=order-{order}]")
        answers.nth(1).check()
        opens.tap()
        expect(phone.page.locator("[data-stop]")).to_be_visible()
        assert phone.page.locator("[data-pad]").count() == 0
        answers.nth(0).check()
    expect(phone.page.locator("[data-stop]")).to_be_hidden()
    opens.tap()

    expect(phone.page.locator("[data-pad]")).to_be_visible()


def test_running_trial_on_the_sheet_survives_a_reload(phone: Phone) -> None:
    phone.goto("/bedside")
    open_test(phone, "Five times", "chair")
    phone.page.locator("[data-pad]").tap()
    phone.page.wait_for_timeout(700)
    phone.page.reload()

    phone.page.wait_for_selector("form[data-state=running]")
    assert "chair" in phone.page.locator("[data-place]:visible").inner_text()


def test_undone_stop_is_taken_back(phone: Phone) -> None:
    phone.goto("/bedside")
    open_test(phone, "Five times", "chair")
    time_it(phone)
    phone.page.locator("[data-undo-stop]").tap()
    phone.page.wait_for_selector("form[data-state=running]")
    assert float(phone.page.locator("[data-clock]").inner_text()) > 3.4
    expect(phone.page.locator("[data-kept-here]")).to_be_hidden()
    phone.page.wait_for_timeout(500)
    phone.page.locator("[data-pad]").tap()
    phone.page.locator("[data-said-kept]:visible").wait_for()

    kept = json.loads(kept_on_phone(phone.page))["tapeline-bedside/waiting"]
    assert len(kept) == 1
    assert float(kept[0]["raw"]) > 3.8


def test_make_safe_on_the_sheet_says_what_to_do(phone: Phone) -> None:
    phone.goto("/bedside")
    open_test(phone, "Five times", "chair")
    phone.page.locator("[data-pad]").tap()
    phone.page.wait_for_timeout(600)
    phone.page.locator("[data-safe]").tap()

    expect(phone.page.locator("[data-made-safe]")).to_be_visible()
    phone.axe("made safe")
    (item,) = json.loads(kept_on_phone(phone.page))["tapeline-bedside/waiting"]
    assert (item["outcome"], item["raw"]) == ("stopped", "stopped for safety")


@pytest.mark.usefixtures("today")
def test_without_a_disk_it_says_so_and_keeps_it_in_sight(phone: Phone) -> None:
    phone.context.add_init_script(NO_DISK)
    phone.goto("/bedside")
    open_test(phone, "Functional reach", "chair")
    reach(phone, "9.5")

    assert "loses it" in phone.page.locator("[data-said-kept]").inner_text()
    back_to_list(phone)
    kept = phone.page.locator("[data-kept]:visible")
    expect(kept).to_contain_text("closing it loses them")
    expect(kept).to_contain_text("9.5 in")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_sheet_is_accessible_and_fits(open_phone: OpenPhone, scheme: str) -> None:
    for width in (320, 390, 1280):
        phone = open_phone(
            viewport={"width": width, "height": 844}, color_scheme=scheme
        )
        phone.goto("/bedside")
        phone.axe("list")
        phone.fits()
        for name in ("Five times", "Functional reach"):
            open_gate(phone, name)
            phone.axe(f"{name}: orders")
            phone.fits()
            orders_allow(phone)
            phone.page.get_by_role("button", name="Open the test").tap()
            phone.page.locator("[data-next-person]").wait_for()
            phone.axe(f"{name}: test")
            phone.fits()
            back_to_list(phone)


def test_sheet_can_be_read_without_script(open_phone: OpenPhone) -> None:
    phone = open_phone(java_script_enabled=False)
    phone.goto("/bedside")

    assert phone.page.get_by_text("Chair braced against the wall").first.count() == 1
    expect(phone.page.get_by_text("needs script", exact=False).first).to_be_visible()
    assert phone.page.locator("form").count() == 0


@pytest.mark.usefixtures("today")
def test_next_person_waits_for_the_running_trial(phone: Phone) -> None:
    """Else the next person's stopwatch would already run."""
    phone.goto("/bedside")
    open_test(phone, "Five times", "chair")
    phone.page.locator("[data-pad]").tap()
    phone.page.wait_for_timeout(500)
    phone.page.locator("[data-next-person]").tap()
    expect(phone.page.locator("[data-problem]")).to_contain_text("stop and keep it")
    phone.page.wait_for_selector("form[data-state=running]")

    back_to_list(phone)
    expect(phone.page.locator("[data-runs=five_times_sit_to_stand]")).to_be_visible()
    phone.page.locator("[data-list] .person", has_text="Five times").tap()
    phone.page.wait_for_selector("form[data-state=running]")


@pytest.mark.usefixtures("today")
def test_half_typed_field_never_costs_a_time(phone: Phone, patient_id: int) -> None:
    phone.goto("/bedside")
    open_test(phone, "Five times", "chair")
    phone.page.evaluate(
        "document.querySelector('[data-place] input[name=typed]').value = 'abc'"
    )
    time_it(phone)
    phone.goto("/bedside/attach")
    attach_first(phone, patient_id)

    assert rows(phone, Trial)[0].raw_ms > 3000


def test_typed_value_that_is_no_number_is_not_kept(phone: Phone) -> None:
    phone.goto("/bedside")
    open_test(phone, "Functional reach", "chair")
    phone.page.fill("#distance", "about ten")
    phone.page.get_by_role("button", name="Save this reach").tap()

    expect(phone.page.locator("[data-problem]")).to_contain_text("plain number")
    assert phone.page.input_value("#distance") == "about ten"
    phone.axe("refused")
    phone.page.wait_for_timeout(700)
    reach(phone, "9,5".replace(",", "."))
    (item,) = json.loads(kept_on_phone(phone.page))["tapeline-bedside/waiting"]
    assert (item["raw"], item["unit"]) == ("9.5", "in")


@pytest.mark.usefixtures("today")
def test_ended_session_is_renewed_over_the_page(phone: Phone, patient_id: int) -> None:
    phone.goto("/bedside")
    open_test(phone, "Functional reach", "chair")
    reach(phone, "9.5")
    phone.goto("/bedside/attach")
    phone.context.clear_cookies()
    card = phone.page.locator("[data-attach] > section").first
    card.locator("select").select_option(str(patient_id))
    card.locator("[data-sure]").check()
    card.get_by_role("button", name="Attach").tap()
    again = phone.page.locator("dialog[data-sign-in]")
    again.locator("input[name=passphrase]").fill(PASSPHRASE)
    again.get_by_role("button", name="Sign in").tap()
    phone.page.locator("[data-attached]").wait_for()

    assert len(rows(phone, Trial)) == 1
    phone.forgive("401")


def test_address_told_twice_asks_the_orders_once(phone: Phone) -> None:
    """A tap before the script was there: the page and the event both name the test."""
    phone.goto(f"/bedside#{STANDS}")
    phone.page.locator("[data-gate-form]:visible").wait_for()
    orders_allow(phone)
    phone.page.evaluate("dispatchEvent(new HashChangeEvent('hashchange'))")
    phone.page.wait_for_timeout(300)

    answered = phone.page.locator("input[value=allows]:checked")
    expect(answered).to_have_count(len(ORDERS))


def test_unlikely_typed_time_is_kept_when_saved_once_more(phone: Phone) -> None:
    phone.goto("/bedside")
    open_test(phone, "Five times", "chair")
    phone.page.get_by_text("Type the time").tap()
    phone.page.fill("#typed", "1.5")
    phone.page.get_by_role("button", name="Save typed time").tap()
    said = phone.page.locator("[data-problem]:visible")
    said.filter(has_text="outside what is usual for this test (3 to 180 s)").wait_for()
    phone.page.get_by_role("button", name="Save typed time").tap()
    phone.page.locator("[data-said-kept]:visible").wait_for()

    (kept,) = json.loads(kept_on_phone(phone.page))["tapeline-bedside/waiting"]
    assert ["range_ok", "yes"] in kept["fields"]
