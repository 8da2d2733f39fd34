"""A phone is paired by a link that works once, and is signed out when it is removed."""

import html
import re
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from fastapi import FastAPI
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.lan.place import Place
from app.settings import Settings
from app.storage.audit import AuditEntry, verify
from app.storage.database import read_session, write_session
from app.storage.devices import NO_PIN, Device
from app.storage.links import OneTimeLink
from app.web.deps import Site
from app.web.phone_address import doubt
from app.web.phones import called
from tests.conftest import Clock, client_of, found, person_by, running
from tests.make import NOW, PASSPHRASE, make_person
from tests.qr_reading import of_svg, read
from tests.web.test_account import unlock

SignIn_as = Callable[[str], TestClient]
AGAIN = {"passphrase": PASSPHRASE}
PIN = "739154"
ANDROID = "Mozilla/5.0 (Linux; Android 15; K) AppleWebKit/537.36 Mobile Safari/537.36"


@pytest.fixture
def phone(app: FastAPI) -> TestClient:
    """A phone that nobody is signed in on; it keeps its cookies."""
    browser = client_of(app)
    browser.headers["user-agent"] = ANDROID
    return browser


def link_of(desktop: TestClient) -> str:
    """The path of a new pairing link."""
    shown = desktop.post("/account/pair", data=AGAIN).text
    return re.sub(r"^https?://[^/]+", "", found(shown, "#pair-link").text())


def paired(desktop: TestClient, phone: TestClient, name: str = "") -> None:
    answer = phone.post(link_of(desktop), data={"name": name})
    assert answer.headers["location"] == "/account/phone", answer.text


def phones(site: Site) -> list[Device]:
    with read_session(site.engine) as session:
        return list(session.exec(select(Device)))


def test_phone_is_paired_named_and_asked_for_a_pin(
    therapist: TestClient, phone: TestClient, site: Site
) -> None:
    link = link_of(therapist)
    asked = phone.get(link).text
    answer = phone.post(link, data={"name": "Ward phone 2"})
    pin_page = phone.get("/account/phone").text
    easy = phone.post("/account/phone", data={"pin": "123456"})
    chosen = phone.post("/account/phone", data={"pin": PIN})
    (device,) = phones(site)

    assert "therapist" in asked.lower()
    assert found(asked, "#name").attributes["value"] == "Android phone"
    assert answer.status_code == 303
    assert "Ward phone 2" in pin_page
    assert easy.status_code == 422
    assert "easy to guess" in found(easy.text, "#pin-error").text()
    assert chosen.headers["location"] == "/home"
    assert (device.name, device.has_pin) == ("Ward phone 2", True)
    phone.post("/lock")
    assert unlock(phone, "204680") == 422
    assert unlock(phone, PIN) == 303


def test_picture_on_the_page_is_the_printed_address(therapist: TestClient) -> None:
    shown = therapist.post("/account/pair", data=AGAIN).text
    link = found(shown, "#pair-link").text()
    svg = re.search(r"<svg[^>]*class=\"qr\".*?</svg>", shown, re.DOTALL)

    assert svg
    assert read(of_svg(svg[0])) == link
    assert len(link) <= 60


def test_link_asks_for_the_passphrase_and_keeps_only_a_hash(
    therapist: TestClient, site: Site
) -> None:
    refused = therapist.post("/account/pair", data={"passphrase": "a wrong one here"})
    token = link_of(therapist).rpartition("/")[2]
    with read_session(site.engine) as session:
        (kept,) = session.exec(select(OneTimeLink)).all()

    assert refused.status_code == 422
    assert "not your passphrase" in found(refused.text, "#passphrase-error").text()
    assert token not in str(kept.model_dump())
    assert kept.person_id == kept.made_by


def test_opening_changes_nothing_and_using_works_once(
    therapist: TestClient, phone: TestClient, client: TestClient, site: Site
) -> None:
    link = link_of(therapist)
    looked = [phone.get(link) for _ in range(3)] + [phone.head(link)]
    before = phones(site)
    first, second = phone.post(link), client.post(link)

    assert [answer.status_code for answer in looked] == [200] * 4
    assert not any("set-cookie" in answer.headers for answer in looked)
    assert before == []
    assert first.status_code == 303
    assert second.status_code == 404
    assert "scan the new picture" in " ".join(second.text.split())
    assert "set-cookie" not in second.headers
    assert len(phones(site)) == 1


def test_two_at_once_are_one(therapist: TestClient, app: FastAPI, site: Site) -> None:
    link = link_of(therapist)
    browsers = [client_of(app) for _ in range(4)]

    with ThreadPoolExecutor(4) as pool:
        codes = list(pool.map(lambda b: b.post(link).status_code, browsers))

    assert sorted(codes) == [303, 404, 404, 404]
    assert len(phones(site)) == 1
    assert sum(b.get("/session").status_code == 204 for b in browsers) == 1


@pytest.mark.parametrize(
    ("after", "status"),
    [
        (timedelta(minutes=10) - timedelta(seconds=1), 303),
        (timedelta(minutes=10), 404),
        (-timedelta(seconds=1), 404),
    ],
    ids=str,
)
def test_link_is_good_for_ten_minutes(
    therapist: TestClient,
    phone: TestClient,
    clock: Clock,
    after: timedelta,
    status: int,
) -> None:
    link = link_of(therapist)
    clock.now += after

    assert phone.post(link).status_code == status


def test_newer_link_and_new_passphrase_end_the_one_before(
    therapist: TestClient, phone: TestClient
) -> None:
    first, second = link_of(therapist), link_of(therapist)
    of_replaced = phone.post(first).status_code
    therapist.post(
        "/account/passphrase",
        data={**AGAIN, "new_passphrase": "seven grey herons wade"},
    )

    assert of_replaced == 404
    assert phone.post(second).status_code == 404


def test_signed_out_everywhere_means_that_no_link_lets_in(
    therapist: TestClient, supervisor: TestClient, phone: TestClient, site: Site
) -> None:
    link = link_of(therapist)
    with read_session(site.engine) as session:
        someone = person_by(session, "therapist").id
    supervisor.post(f"/people/{someone}/sign-ins/end")

    assert phone.post(link).status_code == 404


def test_links_of_other_kinds_do_not_pair(
    supervisor: TestClient, phone: TestClient, site: Site
) -> None:
    with read_session(site.engine) as session:
        someone = person_by(session, "therapist").id
    shown = supervisor.post(f"/people/{someone}/link", data=AGAIN).text
    token = found(shown, "#link").text().rpartition("/")[2]
    to_pair = link_of(supervisor).rpartition("/")[2]

    assert phone.post(f"/pair/{token}").status_code == 404
    assert phone.get(f"/join/{to_pair}").status_code == 404
    assert phone.get(f"/join/{token}").status_code == 200


def test_guesses_wait_and_the_right_link_works_after_it(
    therapist: TestClient, phone: TestClient, clock: Clock
) -> None:
    link = link_of(therapist)
    told = [phone.get(f"/pair/{'0' * 19}{n % 10}").status_code for n in range(20)]
    guess, right = phone.post(f"/pair/{'z' * 20}"), phone.post(link)
    clock.move(seconds=6)

    assert told == [404] * 20
    assert (guess.status_code, right.status_code) == (429, 429)
    assert "Wait 5 seconds" in right.text
    assert phone.post(link).status_code == 303


def test_used_link_is_no_guess(therapist: TestClient, phone: TestClient) -> None:
    used, link = link_of(therapist), link_of(therapist)
    for _ in range(25):
        assert phone.get(used).status_code == 404

    assert phone.post(link).status_code == 303


def test_secret_is_in_no_header_of_an_answer(
    therapist: TestClient, phone: TestClient
) -> None:
    link = link_of(therapist)
    token = link.rpartition("/")[2]
    answers = [phone.get(link), phone.post(link), phone.post(link)]
    after = phone.get("/account/phone")

    for answer in answers:
        assert answer.headers["referrer-policy"] == "strict-origin"
        assert token not in str(answer.headers)
    assert token not in answers[0].text
    assert token not in after.text
    assert after.headers["referrer-policy"] == "same-origin"


def test_someone_else_who_was_signed_in_is_told_and_out(
    therapist: TestClient, colleague: TestClient
) -> None:
    link = link_of(therapist)
    asked = html.unescape(colleague.get(link).text)
    colleague.post(link)

    assert "is signed in here now, and will be signed out" in asked
    listed = colleague.get("/account").text
    assert "sign in as <b>therapist</b>" in listed


@pytest.mark.parametrize("by", ["own", "supervisor"])
def test_removed_phone_is_out_at_its_next_tap_and_its_pin_gone(
    sign_in_as: SignIn_as, phone: TestClient, site: Site, by: str
) -> None:
    desktop = sign_in_as("therapist")
    paired(desktop, phone, "Ward phone 2")
    phone.post("/account/phone", data={"pin": PIN})
    (device,) = phones(site)
    path = f"/people/{device.person_id}" if by == "supervisor" else "/account"
    who = sign_in_as("supervisor") if by == "supervisor" else desktop
    listed = who.get(path).text
    answer = who.post(f"{path}/devices/{device.id}/remove")
    (after,) = phones(site)

    assert "Ward phone 2" in listed
    assert "with a PIN" in listed
    assert answer.headers["location"] == path
    assert phone.get("/home").headers["location"].startswith("/sign-in")
    assert unlock(phone, PIN) == 303  # to the sign-in
    assert after.pin_hash == NO_PIN
    assert "Ward phone 2" not in who.get(path).text
    assert desktop.get("/session").status_code == 204


def test_later_sign_in_on_a_paired_phone_ends_with_it_too(
    therapist: TestClient, phone: TestClient, site: Site
) -> None:
    paired(therapist, phone)
    phone.post("/sign-out")
    phone.post("/sign-in", data={"handle": "therapist", "passphrase": PASSPHRASE})
    before = phone.get("/session").status_code
    (device,) = phones(site)
    therapist.post(f"/account/devices/{device.id}/remove")

    assert before == 204
    assert phone.get("/session").status_code == 401


def test_nobody_removes_a_phone_of_others(
    sign_in_as: SignIn_as, phone: TestClient, site: Site
) -> None:
    paired(sign_in_as("therapist"), phone)
    (device,) = phones(site)
    other, student = sign_in_as("colleague"), sign_in_as("student")
    theirs = f"/people/{device.person_id}/devices/{device.id}/remove"
    with read_session(site.engine) as session:
        another = person_by(session, "colleague").id
    mixed = f"/people/{another}/devices/{device.id}/remove"

    assert other.post(f"/account/devices/{device.id}/remove").status_code == 404
    assert student.post(theirs).status_code == 403
    assert sign_in_as("supervisor").post(mixed).status_code == 404
    assert phone.get("/session").status_code == 204


def test_first_pin_is_set_without_the_passphrase_for_minutes_only(
    therapist: TestClient, phone: TestClient, clock: Clock, site: Site
) -> None:
    paired(therapist, phone)
    elsewhere = therapist.get("/account/phone")
    clock.move(minutes=4)
    phone.get("/account")
    clock.move(minutes=4)
    phone.get("/account")
    clock.move(minutes=2)
    late = phone.post("/account/phone", data={"pin": PIN})

    assert late.headers["location"] == "/account"
    assert [d.has_pin for d in phones(site)] == [False]
    assert elsewhere.headers["location"] == "/account"


@pytest.mark.parametrize(("minutes", "takes"), [(-1, False), (0, True), (10, False)])
def test_clock_set_back_gives_no_more_time_for_a_first_pin(
    minutes: int, takes: bool
) -> None:
    device = Device(key_hash="0" * 64, person_id=1, pin_hash=NO_PIN, made_at=NOW)

    assert device.takes_first_pin(NOW + timedelta(minutes=minutes)) is takes


def test_pin_of_a_paired_phone_is_changed_only_with_the_passphrase(
    therapist: TestClient, phone: TestClient, site: Site
) -> None:
    paired(therapist, phone, "Ward phone 2")
    phone.post("/account/phone", data={"pin": PIN})
    again = phone.post("/account/phone", data={"pin": "268495"})
    phone.post("/account/pin", data={**AGAIN, "pin": "268495"})
    phone.post("/lock")

    assert again.headers["location"] == "/account"
    assert unlock(phone, "268495") == 303
    assert [d.name for d in phones(site)] == ["Ward phone 2"]


def test_five_wrong_pins_leave_the_phone_on_the_list(
    therapist: TestClient, phone: TestClient
) -> None:
    paired(therapist, phone, "Ward phone 2")
    phone.post("/account/phone", data={"pin": PIN})
    phone.post("/lock")
    told = [phone.post("/unlock", data={"pin": "204680"}).text for _ in range(5)]

    assert "forgotten it" in told[4]
    assert "no PIN" in therapist.get("/account").text


def test_all_of_it_stands_in_the_audit_trail(
    therapist: TestClient, phone: TestClient, site: Site
) -> None:
    paired(therapist, phone)
    phone.post("/account/phone", data={"pin": PIN})
    therapist.post("/account/devices/1/remove")
    with read_session(site.engine) as session:
        in_turn = select(AuditEntry).order_by(col(AuditEntry.id))
        deeds = [e.deed for e in session.exec(in_turn)]
        sound = verify(session) is None

    assert sound
    wanted = ["made_pairing_link", "used_link", "paired_phone", "signed_in", "set_pin"]
    assert [d for d in deeds if d in wanted][-5:] == wanted
    assert deeds[-2:] == ["removed_phone", "ended_sign_in"]


@pytest.mark.parametrize(
    ("link", "demo", "lan", "says"),
    [
        ("http://localhost:8765/pair/x", False, False, "on this computer alone"),
        ("http://localhost:8765/pair/x", False, True, "on no network just now"),
        ("http://192.168.1.20:8765/pair/x", False, False, "is turned away"),
        ("http://192.168.1.20:8765/pair/x", True, False, "could read"),
        ("https://ward.local:8766/pair/x", False, True, ""),
    ],
)
def test_what_stands_against_a_link(
    settings: Settings, link: str, demo: bool, lan: bool, says: str
) -> None:
    place = Place(8766, 8765, b"", "") if lan else None
    said = doubt(settings.model_copy(update={"demo": demo}), link, place)

    assert says in said
    assert bool(says) is bool(said)


@pytest.mark.parametrize(
    ("host", "says"),
    [
        ("localhost:8765", "works on this computer alone"),
        ("192.168.1.20:8765", "not encrypted"),
    ],
)
def test_page_says_when_it_is_not_safe_or_not_reached(
    settings: Settings, clock: Clock, host: str, says: str
) -> None:
    listens = "0.0.0.0" if host[0].isdigit() else "127.0.0.1"
    open_site = settings.model_copy(update={"host": listens})
    with running(open_site, clock) as app:
        desktop = client_of(app)
        desktop.base_url = f"http://{host}"
        desktop.post("/sign-in", data={"handle": "therapist", **AGAIN})
        shown = desktop.post("/account/pair", data=AGAIN).text
        link = found(shown, "#pair-link").text()
        asked = desktop.get(link).text

    assert says in shown
    assert ("not encrypted" in asked) == host[0].isdigit()


def test_over_tls_there_is_nothing_to_warn_of(settings: Settings, clock: Clock) -> None:
    tls = settings.model_copy(update={"host": "0.0.0.0", "secure_cookies": True})
    with running(tls, clock) as app:
        desktop = client_of(app)
        desktop.base_url = "https://192.168.1.20:8765"
        desktop.post("/sign-in", data={"handle": "therapist", **AGAIN})
        shown = desktop.post("/account/pair", data=AGAIN).text
        answer = desktop.post(found(shown, "#pair-link").text())

    assert "not encrypted" not in shown
    assert found(shown, "#pair-link").text().startswith("https://192.168.1.20:8765/")
    assert "__Host-tapeline=" in str(answer.headers)
    assert "__Host-tapeline-device=" in str(answer.headers)


@pytest.mark.parametrize(
    ("agent", "taken", "name"),
    [
        ("Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X)", (), "iPhone"),
        (ANDROID, (), "Android phone"),
        (ANDROID, ("Android phone", "Android phone 2"), "Android phone 3"),
        ("Mozilla/5.0 (Linux; Android 15) Safari", (), "Android tablet"),
        ("Mozilla/5.0 (Macintosh; Intel Mac OS X 10_15_7)", (), "Mac or iPad"),
        ("Mozilla/5.0 (X11; Linux x86_64)", (), "Linux computer"),
        ("", ("Phone",), "Phone 2"),
    ],
)
def test_phone_is_called_what_it_says_it_is(
    agent: str, taken: tuple[str, ...], name: str
) -> None:
    assert called(agent, taken) == name


def test_desk_and_account_offer_it_and_part_of_a_page_is_swapped(
    supervisor: TestClient,
) -> None:
    for path in ("/desk", "/account"):
        form = found(supervisor.get(path).text, "#pair-phone form")
        assert form.attributes["action"] == "/account/pair"
    part = supervisor.post("/account/pair", data=AGAIN, headers={"hx-request": "true"})

    assert part.text.lstrip().startswith("<section")
    assert found(part.text, "#pair-link").text().startswith("http")


def test_demo_pairs_without_a_pin(settings: Settings, clock: Clock) -> None:
    with running(settings.model_copy(update={"demo": True}), clock) as app:
        with write_session(app.state.site.engine) as session:
            make_person(session, "invented", is_demo=True)
        desktop, phone = client_of(app), client_of(app)
        desktop.post("/demo/enter", data={"role": "therapist"})
        link = found(desktop.post("/account/pair").text, "#pair-link").text()
        answer = phone.post(link)

        assert answer.headers["location"] == "/home"
        assert phone.get("/session").status_code == 204
