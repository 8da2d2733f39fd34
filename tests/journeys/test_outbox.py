"""The outbox in a real browser: no network, a lost answer, an ended session.

Whatever happens between a trial and its answer, the trial is on the server once.
"""

import json

import pytest
from playwright.sync_api import Route

from app.storage.database import read_session
from tests.conftest import Clock, person_by
from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.deeds import (
    REACH,
    STANDS,
    all_sent,
    end_sessions,
    forgive,
    no_network,
    on_disk,
    open_round,
    reach,
    says,
    sign_in_again,
    switch_person,
    time_it,
    trials,
)
from tests.journeys.test_make_safe import wait_until


@pytest.fixture
def phone(open_phone: OpenPhone) -> Phone:
    """Without a worker: what passes one escapes the answers these journeys fake."""
    return open_phone(service_workers="block")


def test_five_trials_without_network_arrive_once_in_order(
    phone: Phone, patient_id: int
) -> None:
    open_round(phone, patient_id, REACH)
    values = ["9.5", "9", "10", "10.5", "8.5"]
    with no_network(phone):
        for number, inches in enumerate(values, 1):
            reach(phone, inches)
            says(phone, "[data-waiting]", f"{number} waiting to send")
            says(phone, "[data-kept]", f"{inches} in")
        assert trials(phone) == []
        assert len(on_disk(phone)) == 5
    phone.page.reload()
    all_sent(phone)

    assert [t.raw_value for t in trials(phone)] == values
    assert on_disk(phone) == []
    phone.page.wait_for_selector(".value")
    forgive(phone)


def test_time_kept_is_ready_for_the_next_and_read_when_sent(
    phone: Phone, patient_id: int
) -> None:
    open_round(phone, patient_id, STANDS)
    with no_network(phone):
        time_it(phone, 3000)
        says(phone, "[data-kept]", "s (raw). The reading comes when it is sent.")
        assert phone.page.locator("form[data-state=idle] [data-pad]").is_visible()
        (item,) = on_disk(phone)
        assert (item["v"], item["tries"]) == (1, 1)
    phone.page.wait_for_selector(".value", timeout=20_000)
    (trial,) = trials(phone)

    assert trial.uid == item["uid"]
    assert 3000 <= (trial.raw_ms or 0) <= 15_000  # how exact it is: test_timing.py
    forgive(phone)


def test_list_shows_what_waits_and_sends_it(phone: Phone, patient_id: int) -> None:
    open_round(phone, patient_id, REACH)
    phone.context.set_offline(True)
    reach(phone, "9.5")
    says(phone, "[data-waiting]", "1 waiting to send")
    phone.page.locator("[data-waiting]").tap()
    says(phone, "[data-waiting-list] li", "9.5 in")
    phone.axe("what waits")
    phone.fits()
    phone.context.set_offline(False)
    phone.page.get_by_role("button", name="Send now").tap()
    says(phone, "[data-waiting-list] li", "All sent")

    assert len(trials(phone)) == 1
    forgive(phone)


def test_answer_lost_after_the_commit_is_one_row(phone: Phone, patient_id: int) -> None:
    open_round(phone, patient_id, REACH)
    lost = []

    def lose(route: Route) -> None:
        route.fetch()  # the server stores it and answers
        lost.append(len(trials(phone)))
        route.abort()

    phone.page.route("**/trials", lose, times=2)
    reach(phone, "9.5")
    says(phone, "[data-waiting]", "1 waiting to send")
    phone.page.locator("[data-waiting]").tap()
    phone.page.get_by_role("button", name="Send now").tap()
    phone.page.wait_for_timeout(500)
    phone.page.get_by_role("button", name="Send now").tap()
    all_sent(phone)

    assert lost == [1, 1]
    assert len(trials(phone)) == 1
    forgive(phone)


def test_server_that_fails_keeps_the_trial_here(phone: Phone, patient_id: int) -> None:
    open_round(phone, patient_id, REACH)
    phone.page.route("**/trials", lambda route: route.fulfill(status=503), times=1)
    reach(phone, "9.5")
    says(phone, "[data-kept]", "Kept on this phone: 9.5 in")
    phone.page.wait_for_selector("text=trial 2 of 3", timeout=20_000)

    assert len(trials(phone)) == 1
    forgive(phone, "503")


def test_a_network_that_answers_for_itself_takes_nothing(
    phone: Phone, patient_id: int
) -> None:
    """A sign-on page of a public network answers 200 to everything."""
    open_round(phone, patient_id, REACH)
    page = "<html><body>Welcome, please accept</body></html>"
    phone.page.route("**/trials", lambda r: r.fulfill(status=200, body=page), times=1)
    reach(phone, "9.5")
    says(phone, "[data-kept]", "Kept on this phone: 9.5 in")
    all_sent(phone)

    assert len(trials(phone)) == 1


def test_ended_session_asks_over_the_page_and_loses_nothing(
    phone: Phone, patient_id: int
) -> None:
    open_round(phone, patient_id, STANDS)
    phone.page.locator("[data-pad]").tap()
    end_sessions(phone)
    phone.page.wait_for_timeout(3000)
    assert not phone.page.locator("dialog[data-sign-in]").is_visible()
    phone.page.locator("[data-pad]").tap()
    phone.page.locator("dialog[data-sign-in]").wait_for(state="visible")
    phone.axe("sign in again")
    sign_in_again(phone)
    phone.page.wait_for_selector(".value")

    assert len(trials(phone)) == 1
    forgive(phone, "401")


def test_other_deed_waits_for_the_sign_in_and_is_done_once(
    phone: Phone, patient_id: int
) -> None:
    open_round(phone, patient_id, REACH)
    reach(phone, "9.5")
    phone.page.wait_for_selector("text=trial 2 of 3")
    phone.page.get_by_text("Void this trial").tap()
    phone.page.get_by_text("Another reason, written below").tap()
    phone.page.locator("[name=void_other]").fill("foot moved")
    end_sessions(phone)
    phone.page.get_by_role("button", name="Void it and repeat").tap()
    dialog = phone.page.locator("dialog[data-sign-in]")
    dialog.wait_for(state="visible")
    dialog.get_by_label("Passphrase").fill("wrong")
    dialog.get_by_role("button", name="Sign in and go on").tap()
    says(phone, "dialog [data-wrong]", "do not belong together")
    sign_in_again(phone)
    phone.page.wait_for_selector("text=void: foot moved")

    (trial,) = trials(phone)
    assert trial.void_reason == "foot moved"
    forgive(phone, "401", "422")


def test_another_person_neither_sees_nor_sends_it(
    phone: Phone, patient_id: int, clock: Clock
) -> None:
    open_round(phone, patient_id, REACH)
    round_url = phone.page.url
    with no_network(phone):
        reach(phone, "9.5")
        says(phone, "[data-waiting]", "1 waiting to send")
        # Signs in on the same phone while the first one's page is still open.
        switch_person(phone, "colleague", clock)
    dialog = phone.page.locator("dialog[data-sign-in]")
    dialog.wait_for(state="visible", timeout=20_000)
    assert trials(phone) == []
    sign_in_again(phone, "colleague")
    phone.page.wait_for_url("**/caseload")
    phone.page.wait_for_timeout(1500)
    assert not phone.page.locator("[data-waiting]").is_visible()
    assert trials(phone) == []

    switch_person(phone, "therapist", clock)
    phone.page.goto(round_url)
    # At first nothing is said to wait: the page has not looked yet.
    wait_until(phone.page, lambda: len(trials(phone)) == 1)
    all_sent(phone)
    (trial,) = trials(phone)
    with read_session(phone.live.app.state.site.engine) as session:
        assert trial.recorded_by == person_by(session, "therapist").id
    forgive(phone, "401")


@pytest.mark.parametrize(
    "broken",
    [
        "Object.defineProperty(window, 'indexedDB', { value: undefined })",
        "IDBFactory.prototype.open = () => { throw new Error('off'); }",
        "IDBFactory.prototype.open = () => ({})",
    ],
    ids=["missing", "throwing", "silent"],
)
def test_without_a_disk_it_waits_in_the_page_and_says_so(
    open_phone: OpenPhone, patient_id: int, broken: str
) -> None:
    phone = open_phone()
    phone.page.add_init_script(broken)
    open_round(phone, patient_id, REACH)
    with no_network(phone):
        reach(phone, "9.5")
        says(phone, "[data-kept]", "leave this page open until it is sent")
        assert "warn" in (phone.page.get_attribute("[data-waiting]", "class") or "")
    phone.page.wait_for_selector("text=trial 2 of 3", timeout=20_000)

    assert [t.raw_value for t in trials(phone)] == ["9.5"]
    forgive(phone)


def test_free_text_never_lies_on_the_disk(phone: Phone, patient_id: int) -> None:
    open_round(phone, patient_id, REACH)
    with no_network(phone):
        phone.page.get_by_text("Could not, or not done").tap()
        phone.page.get_by_text("declined", exact=True).tap()
        phone.page.get_by_label("Why", exact=True).fill("Mr Example was too tired")
        phone.page.get_by_role("button", name="Record as not done").tap()
        says(phone, "[data-waiting]", "1 waiting to send")
        assert on_disk(phone) == []
    all_sent(phone)

    (trial,) = trials(phone)
    assert (trial.outcome, trial.reason) == ("declined", "Mr Example was too tired")
    forgive(phone)


def test_refused_on_replay_stays_and_asks_for_a_person(
    phone: Phone, patient_id: int
) -> None:
    """The same id with another body: the server keeps the first, the phone this."""
    open_round(phone, patient_id, REACH)
    uid = phone.page.input_value("form[data-outbox] input[name=uid] >> nth=0")
    reach(phone, "9.5")
    phone.page.wait_for_selector("text=trial 2 of 3")
    with no_network(phone):
        field = "form[data-outbox] input[name=uid]"
        phone.page.locator(field).first.evaluate("(e, uid) => { e.value = uid; }", uid)
        reach(phone, "8")
        says(phone, "[data-waiting]", "1 waiting to send")
    says(phone, "[data-waiting]", "1 needs you")
    phone.page.locator("[data-waiting]").tap()
    says(phone, "[data-waiting-list] li", "Already saved differently")
    phone.axe("needs you")
    assert len(on_disk(phone)) == 1
    discard = phone.page.locator("[data-waiting-list] button")
    discard.tap()
    assert len(on_disk(phone)) == 1
    discard.tap()
    says(phone, "[data-waiting-list] li", "All sent")

    assert on_disk(phone) == []
    assert [t.raw_value for t in trials(phone)] == ["9.5"]
    forgive(phone, "409")


def test_newer_item_is_kept_and_not_sent(phone: Phone, patient_id: int) -> None:
    open_round(phone, patient_id, REACH)
    me = phone.page.get_attribute("body", "data-person")
    phone.context.set_offline(True)
    reach(phone, "9.5")
    says(phone, "[data-waiting]", "1 waiting to send")
    (item,) = on_disk(phone)
    newer = {**item, "v": 99, "uid": "e" * 32, "person": me}
    phone.page.evaluate(
        """(item) => new Promise((done) => {
          const ask = indexedDB.open("tapeline.outbox");
          ask.onsuccess = () => {
            const deed = ask.result.transaction("items", "readwrite");
            deed.objectStore("items").put(item);
            deed.oncomplete = () => { ask.result.close(); done(); };
          };
        })""",
        newer,
    )
    phone.context.set_offline(False)
    phone.page.reload()
    says(phone, "[data-waiting]", "1 waiting to send")
    phone.page.locator("[data-waiting]").tap()
    says(phone, "[data-waiting-list] li", "newer version")
    phone.page.get_by_role("button", name="Send now").tap()
    phone.page.wait_for_timeout(500)

    assert on_disk(phone) == [newer]
    assert len(trials(phone)) == 1
    forgive(phone)


def test_sign_out_with_items_waiting_asks(
    phone: Phone, patient_id: int, clock: Clock
) -> None:
    open_round(phone, patient_id, REACH)
    phone.page.route("**/trials", lambda route: route.fulfill(status=503))
    reach(phone, "9.5")
    says(phone, "[data-waiting]", "1 waiting to send")
    phone.page.locator(".menu summary").tap()
    phone.page.get_by_role("button", name="Sign out").first.tap()
    box = phone.page.locator("dialog[data-sign-out]")
    says(phone, "dialog[data-sign-out]", "1 trial waits on this phone")
    phone.axe("sign out")
    box.get_by_role("button", name="Send, then").tap()
    says(phone, "[data-outcome]", "1 could not be sent")
    with phone.page.expect_navigation():
        box.get_by_role("button", name="Keep for me").tap()
    assert len(on_disk(phone)) == 1

    phone.page.unroute("**/trials")
    switch_person(phone, "therapist", clock)
    phone.goto("/caseload")
    all_sent(phone)
    assert len(trials(phone)) == 1
    forgive(phone, "503")


def test_sign_out_can_discard_after_asking_twice(phone: Phone, patient_id: int) -> None:
    open_round(phone, patient_id, REACH)
    phone.page.route("**/trials", lambda route: route.fulfill(status=503))
    reach(phone, "9.5")
    says(phone, "[data-waiting]", "1 waiting to send")
    phone.page.locator(".menu summary").tap()
    phone.page.get_by_role("button", name="Sign out").first.tap()
    discard = phone.page.locator("dialog[data-sign-out] [data-discard]")
    discard.tap()
    assert len(on_disk(phone)) == 1
    with phone.page.expect_navigation():
        discard.tap()

    assert on_disk(phone) == []
    forgive(phone, "503")


def test_storage_names_nobody_during_and_after(phone: Phone, patient_id: int) -> None:
    phone.goto(f"/patients/{patient_id}")
    label = phone.page.locator(".who").inner_text()
    me = phone.page.locator("form[action='/sign-out']").first.text_content() or ""
    name = me.replace("Sign out", "").strip()
    assert label
    assert name
    open_round(phone, patient_id, STANDS)

    def dump() -> str:
        kept: str = phone.page.evaluate(
            "JSON.stringify([{...localStorage}, {...sessionStorage}])"
        )
        return kept + json.dumps(on_disk(phone))

    with no_network(phone):
        time_it(phone, 3000)
        says(phone, "[data-waiting]", "1 waiting to send")
        during = dump()
    all_sent(phone)
    phone.page.locator(".menu summary").tap()
    with phone.page.expect_navigation():
        phone.page.get_by_role("button", name="Sign out").first.tap()
    after = dump()

    assert "raw_ms" in during
    assert "raw_ms" not in after
    for text in (during, after):
        assert label not in text
        assert name not in text
    forgive(phone)
