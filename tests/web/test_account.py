"""Wrong guesses, one's own sign-ins, this phone's PIN, a new passphrase."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from app.settings import Settings
from app.storage.database import read_session
from app.storage.devices import Device, is_pin
from app.storage.people import SignIn, matches
from app.web.deps import Site
from tests.conftest import Clock, client_of, found, running
from tests.make import PASSPHRASE

SignIn_as = Callable[[str], TestClient]
NEW = "seven grey herons wade"
PIN = "739154"


def try_it(client: TestClient, passphrase: str, handle: str = "therapist") -> str:
    """The sentence of a refused sign-in; empty when it let them in."""
    sent = {"handle": handle, "passphrase": passphrase}
    answer = client.post("/sign-in", data=sent)
    return "" if answer.status_code == 303 else found(answer.text, ".error").text()


def test_thirty_wrong_guesses_wait_ever_longer_and_survive_a_restart(
    settings: Settings, clock: Clock
) -> None:
    told = []
    with running(settings, clock) as app:
        for _ in range(30):
            told.append(try_it(client_of(app), "a wrong one entirely"))
            clock.move(seconds=1)
    with running(settings, clock) as app:
        right_at_once = try_it(client_of(app), PASSPHRASE)
        others = try_it(client_of(app), PASSPHRASE, "colleague")
        unknown = try_it(client_of(app), PASSPHRASE, "nobody-here")
        clock.move(minutes=16)
        right_later = try_it(client_of(app), PASSPHRASE)

    assert all("do not belong together" in words for words in told[:5])
    waits = [words for words in told if "Too many wrong tries" in words]
    assert len(waits) > 15
    assert "Too many wrong tries" in right_at_once
    assert others == ""
    assert "do not belong together" in unknown
    assert right_later == ""


def test_handle_nobody_has_waits_alike(client: TestClient) -> None:
    told = [try_it(client, "a wrong one entirely", "nobody-here") for _ in range(6)]

    assert "do not belong together" in told[4]
    assert "Wait 5 seconds" in told[5]


def test_unlocking_waits_too(therapist: TestClient, clock: Clock) -> None:
    therapist.post("/lock")
    for _ in range(5):
        therapist.post("/unlock", data={"passphrase": "a wrong one entirely"})
    told = therapist.post("/unlock", data={"passphrase": PASSPHRASE})
    clock.move(seconds=6)
    opened = therapist.post("/unlock", data={"passphrase": PASSPHRASE})

    assert "Too many wrong tries" in told.text
    assert opened.status_code == 303


def test_guesses_at_the_door_stop_nobody_at_a_bedside(
    therapist: TestClient, client: TestClient
) -> None:
    for _ in range(10):
        try_it(client, "a wrong one entirely")
    therapist.post("/lock")

    assert "Too many wrong tries" in try_it(client, PASSPHRASE)
    opened = therapist.post("/unlock", data={"passphrase": PASSPHRASE})
    assert opened.status_code == 303


def test_empty_field_is_no_guess(therapist: TestClient, client: TestClient) -> None:
    for _ in range(12):
        client.post("/sign-in", data={"handle": "therapist", "passphrase": ""})
        therapist.post("/account/passphrase", data={})

    assert try_it(client, PASSPHRASE) == ""
    sent = {"passphrase": PASSPHRASE, "new_passphrase": NEW}
    assert therapist.post("/account/passphrase", data=sent).status_code == 303


def test_asking_again_waits_too(therapist: TestClient, clock: Clock) -> None:
    wrong = {"passphrase": "a wrong one entirely", "new_passphrase": NEW}
    right = {"passphrase": PASSPHRASE, "new_passphrase": NEW}
    for _ in range(5):
        therapist.post("/account/passphrase", data=wrong)
    told = therapist.post("/account/passphrase", data=right)
    clock.move(seconds=5)

    assert "Wait 5 seconds" in found(told.text, "#passphrase-error").text()
    assert therapist.post("/account/passphrase", data=right).status_code == 303


@pytest.mark.parametrize("back", [{"minutes": 10}, {"days": 400}], ids=str)
def test_clock_set_back_keeps_a_wait_as_long_as_it_was(
    client: TestClient, clock: Clock, back: dict[str, float]
) -> None:
    for _ in range(5):
        try_it(client, "a wrong one entirely")
    clock.now -= timedelta(**back)
    at_once = try_it(client, PASSPHRASE)
    clock.move(seconds=5)

    assert "Wait 5 seconds" in at_once
    assert try_it(client, PASSPHRASE) == ""


def test_one_who_tries_every_handle_waits_and_is_told_why(
    client: TestClient, therapist: TestClient
) -> None:
    told = [try_it(client, "a wrong one", f"person{n}") for n in range(21)]
    therapist.post("/lock")

    assert "do not belong together" in told[19]
    assert "from this network. Wait 5 seconds" in told[20]
    assert "Nobody else" not in told[20]
    opened = therapist.post("/unlock", data={"passphrase": PASSPHRASE})
    assert opened.status_code == 303


def test_ended_elsewhere_is_out_at_once(sign_in_as: SignIn_as) -> None:
    here, there = sign_in_as("therapist"), sign_in_as("therapist")
    page = here.get("/account").text
    assert page.count("Another browser") == 1
    here.post("/account/sign-ins/end-others")

    assert there.get("/session").status_code == 401
    assert here.get("/session").status_code == 204
    assert "Another browser" not in here.get("/account").text


def test_one_of_several_is_ended(sign_in_as: SignIn_as, site: Site) -> None:
    here, there = sign_in_as("therapist"), sign_in_as("therapist")
    with read_session(site.engine) as session:
        last = session.exec(select(SignIn.id).order_by(SignIn.id.desc())).first()  # type: ignore[attr-defined]
    here.post(f"/account/sign-ins/{last}/end")

    assert there.get("/session").status_code == 401
    assert here.get("/session").status_code == 204


def test_another_persons_sign_in_is_not_found(sign_in_as: SignIn_as) -> None:
    theirs = sign_in_as("therapist")
    assert sign_in_as("colleague").post("/account/sign-ins/1/end").status_code == 404
    assert theirs.get("/session").status_code == 204


def test_new_passphrase_ends_every_other_sign_in(
    sign_in_as: SignIn_as, client: TestClient
) -> None:
    here, there = sign_in_as("therapist"), sign_in_as("therapist")
    sent = {"passphrase": PASSPHRASE, "new_passphrase": NEW}
    answer = here.post("/account/passphrase", data=sent)

    assert answer.status_code == 303
    assert there.get("/session").status_code == 401
    assert here.get("/session").status_code == 204
    assert try_it(client, NEW) == ""
    assert "do not belong together" in try_it(client, PASSPHRASE)


@pytest.mark.parametrize(
    ("sent", "field", "says"),
    [
        ({"passphrase": "wrong", "new_passphrase": NEW}, "passphrase", "not your"),
        ({"passphrase": PASSPHRASE, "new_passphrase": "short"}, "new_passphrase", "15"),
        ({}, "passphrase", "Type your passphrase"),
    ],
)
def test_passphrase_is_changed_only_by_who_knows_the_old_one(
    therapist: TestClient,
    client: TestClient,
    sent: dict[str, str],
    field: str,
    says: str,
) -> None:
    answer = therapist.post("/account/passphrase", data=sent)

    assert answer.status_code == 422
    assert says in found(answer.text, f"#{field}-error").text()
    assert try_it(client, PASSPHRASE) == ""


def with_pin(client: TestClient, pin: str = PIN) -> None:
    sent = {"passphrase": PASSPHRASE, "pin": pin}
    answer = client.post("/account/pin", data=sent)
    assert answer.status_code == 303, answer.text
    client.cookies.set(
        "tapeline-device", answer.cookies["tapeline-device"], domain="localhost.local"
    )


def unlock(client: TestClient, pin: str) -> int:
    return client.post("/unlock", data={"pin": pin}).status_code


def test_pin_opens_a_locked_page_on_this_phone_alone(
    sign_in_as: SignIn_as, patient_id: int
) -> None:
    here, there = sign_in_as("therapist"), sign_in_as("therapist")
    with_pin(here)
    here.post("/lock")
    there.post("/lock")
    assert "PIN of this phone" in here.get("/caseload").text
    assert "PIN of this phone" not in there.get("/caseload").text

    assert unlock(here, PIN) == 303
    assert unlock(there, PIN) == 422
    assert here.get(f"/patients/{patient_id}").status_code == 200


def test_pin_of_somebody_else_opens_nothing(sign_in_as: SignIn_as) -> None:
    mine, theirs = sign_in_as("therapist"), sign_in_as("colleague")
    with_pin(mine)
    theirs.cookies.set(
        "tapeline-device",
        mine.cookies.get("tapeline-device", domain="localhost.local") or "",
        domain="localhost.local",
    )
    theirs.post("/lock")

    assert unlock(theirs, PIN) == 422


def test_five_wrong_pins_leave_only_the_passphrase(
    therapist: TestClient, clock: Clock
) -> None:
    with_pin(therapist)
    therapist.post("/lock")
    told = [therapist.post("/unlock", data={"pin": "204680"}).text for _ in range(5)]

    assert "4 tries are left" in told[0]
    assert "1 try is left" in told[3]
    assert "forgotten it" in told[4]
    assert unlock(therapist, PIN) == 422
    assert "PIN of this phone" not in therapist.get("/caseload").text
    clock.move(seconds=5)
    assert unlock(therapist, PIN) == 422
    opened = therapist.post("/unlock", data={"passphrase": PASSPHRASE})
    assert opened.status_code == 303


def test_wrong_pin_is_told_beside_the_pin(therapist: TestClient) -> None:
    with_pin(therapist)
    therapist.post("/lock")
    told = therapist.post("/unlock", data={"pin": "204680"}).text
    after = therapist.post("/unlock", data={"passphrase": "a wrong one entirely"}).text

    assert found(told, "#pin").attributes["aria-invalid"] == "true"
    assert "aria-invalid" not in found(told, "#passphrase").attributes
    assert found(after, "#passphrase").attributes["aria-invalid"] == "true"
    assert "aria-invalid" not in found(after, "#pin").attributes


def test_database_alone_does_not_tell_the_pin(
    therapist: TestClient, site: Site
) -> None:
    """Six digits are tried out in minutes, so the browser's own key is hashed too."""
    with_pin(therapist)
    key = therapist.cookies.get("tapeline-device", domain="localhost.local") or ""
    with read_session(site.engine) as session:
        device = session.exec(select(Device)).one()

    assert not matches(device.pin_hash, PIN)
    assert is_pin(device, key, PIN)
    assert not is_pin(device, "x" * len(key), PIN)
    assert key not in device.key_hash + device.pin_hash


def test_pin_waits_like_the_passphrase(therapist: TestClient, clock: Clock) -> None:
    with_pin(therapist)
    therapist.post("/lock")
    for _ in range(5):
        therapist.post("/unlock", data={"passphrase": "a wrong one entirely"})
    told = therapist.post("/unlock", data={"pin": PIN}).text
    clock.move(seconds=5)

    assert "Wait 5 seconds" in found(told, "#wrong").text()
    assert unlock(therapist, PIN) == 303


def test_right_pin_counts_anew(therapist: TestClient) -> None:
    with_pin(therapist)
    for _ in range(3):
        therapist.post("/lock")
        assert [unlock(therapist, "204680") for _ in range(4)] == [422] * 4
        assert unlock(therapist, PIN) == 303


def test_pin_opens_no_ended_sign_in(therapist: TestClient, clock: Clock) -> None:
    with_pin(therapist)
    clock.now += timedelta(hours=12, minutes=1)

    answer = therapist.post("/unlock", data={"pin": PIN})
    assert answer.headers["location"].startswith("/sign-in")


def test_pin_needs_the_passphrase_and_is_no_easy_one(therapist: TestClient) -> None:
    wrong = therapist.post("/account/pin", data={"passphrase": "x", "pin": PIN})
    easy = therapist.post(
        "/account/pin", data={"passphrase": PASSPHRASE, "pin": "123456"}
    )

    assert "not your passphrase" in found(wrong.text, "#pin_passphrase-error").text()
    assert "easy to guess" in found(easy.text, "#pin-error").text()


def test_pin_never_stands_in_for_the_passphrase(therapist: TestClient) -> None:
    with_pin(therapist)
    answer = therapist.post(
        "/account/passphrase", data={"passphrase": PIN, "new_passphrase": NEW}
    )

    assert answer.status_code == 422


def test_removed_phone_is_signed_out_and_its_pin_opens_nothing(
    therapist: TestClient,
) -> None:
    with_pin(therapist)
    therapist.post("/account/devices/1/remove")
    told = therapist.post("/unlock", data={"pin": PIN})

    assert told.headers["location"].startswith("/sign-in")
    assert therapist.get("/session").status_code == 401
