"""Without the network: the worker keeps one sheet, nobody's page, and is not needed."""

import json
from collections.abc import Iterator
from datetime import datetime

import pytest
from playwright.sync_api import Browser, expect

from app.settings import Settings
from app.storage import people
from app.storage.database import write_session
from app.storage.trials import Trial
from tests.conftest import person_by
from tests.journeys.conftest import PHONE, QUIET, Live, OpenPhone, Phone, chromium_path
from tests.journeys.sheet import (
    STANDS,
    attach_first,
    back_to_list,
    kept_on_phone,
    no_network,
    open_test,
    reach,
    rows,
    worker_ready,
)

NO_WORKER = (
    "Object.defineProperty(Navigator.prototype, 'serviceWorker', {value: undefined})"
)
WARD = "ward.example"


@pytest.fixture
def settings(settings: Settings) -> Settings:
    """Also known by a name that is not this machine's own."""
    return settings.model_copy(update={"trusted_hosts": (WARD,)})


class Ward(Live):
    """The same server under its name in the house network, without TLS."""

    @property
    def url(self) -> str:
        return f"http://{WARD}:{self.port}"


def test_worker_keeps_no_page_of_a_patient(phone: Phone, patient_id: int) -> None:
    phone.goto("/caseload")
    worker_ready(phone.page)
    for path in ("", "/measures", f"/measures/{STANDS}/ready"):
        phone.goto(f"/patients/{patient_id}{path}")
    phone.follow(phone.page.locator("button[form=ready]"))
    phone.page.wait_for_timeout(500)

    kept = json.loads(kept_on_phone(phone.page))
    urls = [key.removeprefix(phone.live.url) for key in kept if "://" in key]
    assert "/bedside" in urls
    assert all(url == "/bedside" or url.startswith("/static/") for url in urls), urls
    assert "Blue 7" not in json.dumps(kept)
    assert "Therapist" not in json.dumps(kept)


def test_offline_reload_shows_the_sheet_and_the_page_comes_back(
    phone: Phone, patient_id: int
) -> None:
    phone.goto(f"/patients/{patient_id}")
    worker_ready(phone.page)
    with no_network(phone):
        phone.page.reload()
        shown = phone.page.locator("[data-no-network]")
        expect(shown).to_be_visible()
        assert "this sheet works without it" in shown.inner_text()
        assert "Blue 7" not in phone.page.content()
        open_test(phone, "Functional reach", "chair")
        phone.axe("sheet in place of a page")
    phone.page.wait_for_timeout(3500)
    expect(phone.page.locator("[data-next-person]")).to_be_visible()  # in use: it stays
    back_to_list(phone)

    phone.page.get_by_text("Blue 7").first.wait_for()  # the page comes back by itself
    assert phone.page.url.rstrip("#").endswith(f"/patients/{patient_id}")


def test_running_trial_outlives_an_offline_reload(
    phone: Phone, patient_id: int
) -> None:
    phone.goto(f"/patients/{patient_id}/measures/{STANDS}/ready")
    phone.follow(phone.page.locator("button[form=ready]"))
    worker_ready(phone.page)
    phone.page.locator("[data-pad]").tap()
    phone.page.wait_for_timeout(400)
    with no_network(phone):
        phone.page.reload()
        expect(phone.page.locator("[data-no-network]")).to_be_visible()

    phone.page.wait_for_selector("form[data-state=running]")


@pytest.mark.usefixtures("today")
def test_ended_session_still_leads_to_sign_in(phone: Phone) -> None:
    """Pages that pass through the worker are still known as pages."""
    phone.goto("/caseload")
    worker_ready(phone.page)
    phone.context.clear_cookies()
    phone.goto("/caseload")

    assert "/sign-in" in phone.page.url
    assert "<html" in phone.page.content()


@pytest.mark.usefixtures("today")
def test_all_else_works_without_a_worker(
    open_phone: OpenPhone, patient_id: int
) -> None:
    phone = open_phone()
    phone.context.add_init_script(NO_WORKER)
    phone.goto("/caseload")
    assert phone.page.evaluate(
        "'serviceWorker' in navigator && !navigator.serviceWorker"
    )
    phone.page.locator(".menu summary").tap()
    expect(phone.page.locator("[data-worker]")).to_contain_text("needs the network")
    phone.axe("menu")
    the_whole_path(phone, patient_id)


def the_whole_path(phone: Phone, patient_id: int) -> None:
    """A timed trial on a patient's page, and one from the sheet to the patient."""
    phone.goto(f"/patients/{patient_id}/measures/{STANDS}/ready")
    phone.follow(phone.page.locator("button[form=ready]"))
    phone.page.locator("[data-pad]").tap()
    phone.page.wait_for_timeout(3300)
    phone.page.locator("[data-pad]").tap()
    phone.page.wait_for_selector(".value")
    phone.goto("/bedside")
    open_test(phone, "Functional reach", "chair")
    reach(phone, "9.5")
    phone.goto("/bedside/attach")
    attach_first(phone, patient_id)
    assert [t.outcome for t in rows(phone, Trial)] == ["completed"] * 2


@pytest.fixture
def plain_phone(browser: Browser, live: Live, today: datetime) -> Iterator[Phone]:
    """A phone for which the site is no secure context."""
    chromium = browser.browser_type.launch(
        executable_path=chromium_path(),
        args=[*QUIET, f"--host-resolver-rules=MAP {WARD} 127.0.0.1"],
    )
    ward = Ward(live.app, live.port)
    context = chromium.new_context(viewport=PHONE, has_touch=True, is_mobile=True)  # type: ignore[arg-type]
    with write_session(live.app.state.site.engine) as session:
        token = people.start_sign_in(session, person_by(session, "therapist"), today)
    context.add_cookies([{"name": "tapeline", "value": token, "url": ward.url}])
    phone = Phone(context.new_page(), context, ward)
    phone.page.on("pageerror", lambda e: phone.complaints.append(str(e)))
    yield phone
    chromium.close()
    assert phone.complaints == []


def test_plain_http_says_what_is_missing_and_works(
    plain_phone: Phone, patient_id: int
) -> None:
    phone = plain_phone
    phone.goto("/caseload")
    has = phone.page.evaluate("[isSecureContext, 'wakeLock' in navigator]")
    assert has == [False, False]
    assert phone.page.locator("#message").inner_text() == ""  # no banner
    expect(phone.page.locator(".in-the-open")).to_contain_text("may darken its screen")
    phone.axe("an address that is not secure")
    phone.page.locator(".menu summary").tap()
    expect(phone.page.locator("[data-worker]")).to_contain_text("not secure")
    the_whole_path(phone, patient_id)
