"""Hostile input at every form and address: answered in words, never with a fault.

`TAPELINE_TEST_LONG=1` sends every value to every field that a page shows, which takes
many minutes; else each form gets one value in one field, in turn, and all at once.
"""

import logging
import os
import re
from collections.abc import Collection, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from urllib.parse import quote, urlencode

import pytest
from fastapi import FastAPI
from httpx2 import Response
from selectolax.lexbor import LexborHTMLParser
from sqlalchemy import Engine
from sqlmodel import Session, select
from starlette.testclient import TestClient

from app.logs import start_log
from app.settings import Settings
from app.storage import people
from app.storage.database import read_session, write_session
from app.storage.patients import Patient
from app.storage.staged import StagedFile
from app.web import deps
from tests.cluster import KINDS
from tests.conftest import BASE, Clock, cast_database, client_of, person_by, running
from tests.make import PASSPHRASE
from tests.web.hostile import (
    BREAKING,
    CLASSES,
    RUNNING,
    SCRIPT,
    UNSEEN,
    Pairs,
    harvest,
    is_off_site,
    live,
)
from tests.web.test_every_route import ROWS, filled, make_world

FORM = {"content-type": "application/x-www-form-urlencoded"}
LONG = bool(os.environ.get("TAPELINE_TEST_LONG"))
#: They end what the others need, and take nothing that is typed.
LEFT_OUT = {"/sign-out", "/lock"}


@dataclass
class Attacked:
    """The site, and who is signed in."""

    app: FastAPI
    data: Path
    nobody: TestClient
    browsers: dict[str, TestClient]
    clock: Clock


#: By who is shown them, and by address: the fields of a form and what they hold.
Forms = dict[str, dict[str, dict[str, Pairs]]]


def problems(answer: Response, said: str = "") -> list[str]:
    """What is wrong with an answer, whatever was asked."""
    found = []
    if answer.status_code >= 500:
        found.append(f"{answer.status_code}")
    if is_off_site(answer.headers.get("location", "")):
        found.append(f"off to {answer.headers['location']}")
    if "html" in answer.headers.get("content-type", ""):
        found += live(answer.text)
        if answer.status_code >= 400 and not told(answer.text):
            found.append(f"{answer.status_code} without a word")
    set_cookie = answer.headers.get("set-cookie", "")
    if set_cookie and not set_cookie.startswith("tapeline"):
        found.append(f"cookie {set_cookie}")
    return [f"{said}: {what}"[:300] for what in found]


def told(html: str) -> bool:
    """A sentence that says what is wrong, beside its field or as a page."""
    page = LexborHTMLParser(html)
    told = page.css(".problem p, .error, [role=alert], .wrong, [aria-invalid]")
    return bool(told)


@contextmanager
def undone(engine: Engine) -> Iterator[Session]:
    """A transaction whose statements are all run, and then taken back."""
    with write_session(engine) as session:
        yield session
        session.flush()
        session.rollback()


@pytest.fixture(scope="module", params=KINDS)
def attacked(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Attacked]:
    data, clock = tmp_path_factory.mktemp("attacked"), Clock()
    with ExitStack() as stack:
        address = stack.enter_context(cast_database(request, request.param, data))
        settings = Settings(
            data_dir=data, database_url=address, site_timezone="UTC", idle_minutes=0
        )
        app = stack.enter_context(running(settings, clock))
        site, browsers = app.state.site, {}
        with read_session(site.engine) as session:
            patient = session.get(Patient, 1)
            assert patient is not None
        make_world(site, 1)
        for who in ("therapist", "supervisor"):
            browsers[who] = client_of(app)
            with write_session(site.engine) as session:
                me = person_by(session, who)
                token = people.start_sign_in(session, me, clock())
            browsers[who].cookies.set("tapeline", token, domain="localhost.local")
        yield Attacked(app, data, client_of(app), browsers, clock)


@pytest.fixture(scope="module")
def forms(attacked: Attacked) -> Forms:
    """The supervisor's where the therapist is shown no page."""
    every = {path for _, path in ROWS}
    pages = shown(attacked.browsers["therapist"], every)
    others = {path for path in every if filled(path) not in pages}
    theirs = shown(attacked.browsers["supervisor"], others)
    return {"therapist": harvest(pages), "supervisor": harvest(theirs)}


def shown(browser: TestClient, paths: Collection[str]) -> dict[str, str]:
    """Every page among these addresses that this browser is shown."""
    wanted = [filled(path) for way, path in ROWS if way == "GET" and path in paths]
    answers = {at: browser.get(at) for at in wanted}
    return {
        at: answer.text
        for at, answer in answers.items()
        if answer.status_code == 200 and "html" in answer.headers["content-type"]
    }


def fields_of(forms: Forms, who: str, path: str) -> dict[str, Pairs]:
    """The fields that pages send to such an address, whatever row they name."""
    like = re.compile(re.sub(r"\\?\{\w+\\?\}", "[^/]+", re.escape(path)))
    for action, fields in forms[who].items():
        if action == filled(path) or like.fullmatch(action):
            return fields
    return {}


def attempts(
    fields: dict[str, Pairs], turn: Iterator[int], *, shown: bool
) -> Iterator[Pairs]:
    """Forms with one field that is hostile, and such with all of them.

    Of an address whose form no page shows just now nobody knows the fields, so that one
    of all those there are gets every value: each would be half a million forms.
    """
    every = BREAKING + UNSEEN + RUNNING
    each = LONG and shown
    for name in fields if each else list(fields)[next(turn) % len(fields) :][:1]:
        for value in every if LONG else [every[next(turn) * 7 % len(every)]]:
            yield tuple(
                pair
                for key, held in fields.items()
                for pair in ([(name, value)] if key == name else held)
            )
    for values in CLASSES.values() if LONG else [every]:
        start = next(turn) * 11
        yield tuple(
            (name, values[(start + n) % len(values)]) for n, name in enumerate(fields)
        )


def test_no_form_is_broken_by_what_is_typed(
    attacked: Attacked, forms: Forms, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is kept, so that each form is met as the page showed it."""
    monkeypatch.setattr(deps, "write_session", undone)
    found: list[str] = []
    for who, path, pairs in walk(forms):
        sent = urlencode(pairs)
        answer = attacked.browsers[who].post(filled(path), content=sent, headers=FORM)
        found += problems(answer, f"{path} {str(pairs)[:200]}")
    attacked.clock.move(minutes=20)  # waits after wrong passphrases are over

    log = (attacked.data / "tapeline.log").read_text()
    tokens = [browser.cookies["tapeline"] for browser in attacked.browsers.values()]
    assert found == []
    assert "POST /patients/{patient_id}/goals/new" in log
    assert "ERROR" not in log
    for secret in (PASSPHRASE, *tokens, "Blue 7", "alert(1)", "evil", "calc", "x" * 9):
        assert secret not in log


def walk(forms: Forms) -> Iterator[tuple[str, str, Pairs]]:
    """Who sends what where: every address that takes a form.

    Where no page shows one just now, every name that any form has is sent.
    """
    theirs = forms["therapist"].values()
    anything = {name: held for form in theirs for name, held in form.items()}
    turn = count()
    for way, path in ROWS:
        if way == "POST" and path not in LEFT_OUT:
            offered = {w: fields_of(forms, w, path) for w in forms}
            who = "supervisor" if offered["supervisor"] else "therapist"
            fields = offered[who]
            for pairs in attempts(fields or anything, turn, shown=bool(fields)):
                yield who, path, pairs


def test_every_form_is_walked(forms: Forms) -> None:
    paths = {path for way, path in ROWS if way == "POST"}

    assert {path for _, path, _ in walk(forms)} == paths - LEFT_OUT
    assert sum(len(of) for of in forms.values()) > 60


#: Bodies that are no form, each under a name of what it is.
PART = b'--x\r\nContent-Disposition: form-data; name="label"\r\n\r\n%s\r\n--x--\r\n'
MULTI = "multipart/form-data; boundary=x"
BODIES = [
    ("application/json", b"{"),
    ("text/plain", b"\x00\xff\xfe"),
    ("", b"label=x"),
    ("\xff\xfe", b"label=x"),
    ("application/x-www-form-urlencoded", b"%ED%A0%80=%&&==;"),
    ("application/x-www-form-urlencoded; charset=utf-16", b"label=x"),
    ("multipart/form-data", PART % b"x"),
    ("multipart/form-data; boundary=", PART % b"x"),
    (MULTI, b""),
    (MULTI, b"--x\r\n\r\n"),
    (MULTI, (PART % b"cut short")[:-9]),
    (MULTI, b"--x\r\nContent-Disposition: form-data\r\n\r\nx\r\n--x--\r\n"),
    (MULTI, b"--x\r\n" + b"a: b\r\n" * 200 + b"\r\nx\r\n--x--\r\n"),
    (MULTI, PART % b"x" * 1001),
    *(
        (f"{MULTI}; charset={name}", PART % b"..\\ud800+2AA-\xff")
        for name in ("unicode_escape", "idna", "utf-7", "punycode", "undefined", "hex")
    ),
]


@pytest.mark.parametrize(("kind", "body"), BODIES, ids=lambda v: str(v)[:40])
def test_what_is_no_form_is_told_so(attacked: Attacked, kind: str, body: bytes) -> None:
    headers = {b"content-type": kind.encode("latin-1")} if kind else {}
    for path in ("/people/new", "/caseload/import/check"):
        answer = attacked.browsers["supervisor"].post(
            path, content=body, headers=headers
        )

        assert problems(answer, path) == []
        assert answer.status_code in (400, 422)
        assert told(answer.text)


def test_name_of_a_file_is_no_path_and_no_mark(attacked: Attacked) -> None:
    name = "../../etc/\0\x1b\u202evsc.<script>alert(1)</script>"
    body = PART.replace(b'"label"', f'"files"; filename="{name}"'.encode()) % b"label"
    browser, kind = attacked.browsers["supervisor"], {"content-type": MULTI}
    answer = browser.post("/caseload/import/check", content=body, headers=kind)
    with read_session(attacked.app.state.site.engine) as session:
        kept = session.exec(select(StagedFile.name)).all()
    shown = browser.get("/caseload/import/progress").text

    assert answer.headers["location"] == "/caseload/import/progress"
    assert kept == ["../../etc/vsc.<script>alert(1)</script>"]
    assert live(shown) == []
    assert [path.name for path in attacked.data.rglob("*script*")] == []


@pytest.mark.parametrize("charset", ["utf-8", '"UTF-8"', "Utf8"])
def test_forms_in_utf_8_may_say_so(attacked: Attacked, charset: str) -> None:
    kind = {"content-type": f"{FORM['content-type']};charset={charset}"}
    sent = urlencode({"handle": "Ångström", "name": ""})
    answer = attacked.browsers["supervisor"].post(
        "/people/new", content=sent, headers=kind
    )

    assert answer.status_code == 422
    assert "Ångström" in answer.text


ELSEWHERE = [
    "//evil.example", "https:evil.example", "https://evil.example/", "/\\evil.example",
    "\\\\evil.example", "javascript:alert(1)", "/\t/evil.example", "\t//evil.example",
    "/%0d%0aSet-Cookie:x=1", "/\r\nSet-Cookie: x=1", "///evil.example",
    "data:text/html,x", "/@evil.example", "/.//evil.example", "http://localhost@evil.example",
    "\0//evil",
]  # fmt: skip


@pytest.mark.parametrize("next", ELSEWHERE)
def test_next_never_leads_off_the_site(attacked: Attacked, next: str) -> None:
    """With the right passphrase: who signs in is where such a link aims at."""
    page = attacked.nobody.get("/sign-in", params={"next": next})
    kept = LexborHTMLParser(page.text).css_first("input[name=next]")
    browser, typed = client_of(attacked.app), {"next": next, "passphrase": PASSPHRASE}
    answer = browser.post("/sign-in", data={"handle": "colleague", **typed})
    locked = browser.post("/unlock", data=typed)

    assert kept is not None
    assert not is_off_site(kept.attributes["value"] or "")
    for told_to in (answer, locked):
        assert told_to.status_code == 303
        assert problems(told_to, next) == []


TRICKS = [
    "//evil.example/x", "/\\evil.example", "/%5c%5cevil.example", "/%", "/%00", "/;x",
    "/static/..%2f..%2fpyproject.toml", "/static/%00.css", "/static//etc/passwd",
    "/patients/..%2f..%2fetc", "/patients/1%00", "/patients/%D9%A1", "/patients/1e3",
    "/patients/" + "9" * 5000, "/visits/1/%0d%0aSet-Cookie:x=1", "/help/%ED%A0%80",
    "/patients/1/measures/" + quote(SCRIPT, safe=""), "/activities/%E2%80%AE",
    "/activities/tools?tool=" + quote(SCRIPT), "/desk/table?number=" + "9" * 5000,
    "/desk/table?view=" + "9" * 30, "/audit?who=" + "9" * 30, "/audit?deed=%00",
    "/bedside/attach?patient=" + "9" * 30, "/bedside?patient=" + "9" * 30,
    "/practice/agreement?measure=%00",
]  # fmt: skip


@pytest.mark.parametrize("path", TRICKS, ids=lambda v: str(v)[:40])
def test_tricks_with_addresses_are_answered(attacked: Attacked, path: str) -> None:
    for browser in (attacked.nobody, *attacked.browsers.values()):
        answer = browser.get(BASE + path)

        assert problems(answer, path) == []
        assert SCRIPT not in answer.text
        assert "[build-system]" not in answer.text


@pytest.mark.parametrize(
    "host",
    ["evil.example", "localhost@evil.example", "localhost.evil.example", "", "["],
)
def test_other_host_is_refused_and_never_repeated(
    attacked: Attacked, host: str
) -> None:
    headers = {"host": host, "x-forwarded-host": "evil.example"}
    answer = attacked.browsers["therapist"].get("/account/pair", headers=headers)

    assert answer.status_code == 400
    assert told(answer.text)
    assert "evil" not in answer.text


def test_headers_of_a_proxy_are_not_believed(attacked: Attacked) -> None:
    """Nobody in front was told of: whoever sends them made them up."""
    headers = {"x-forwarded-host": "evil.example", "forwarded": "host=evil.example"}
    answer = attacked.browsers["therapist"].get("/account/pair", headers=headers)

    assert answer.status_code == 200
    assert "evil" not in answer.text


def test_other_origins_are_allowed_nothing(attacked: Attacked) -> None:
    headers = {"origin": "https://evil.example"}
    for path in ("/", "/caseload", "/healthz", "/session"):
        answer = attacked.browsers["therapist"].get(path, headers=headers)

        assert "access-control-allow-origin" not in answer.headers
        assert answer.headers["cross-origin-resource-policy"] == "same-origin"


@pytest.mark.parametrize("way", ["TRACE", "PUT", "DELETE", "PATCH", "OPTIONS", "X"])
def test_other_methods_are_refused(attacked: Attacked, way: str) -> None:
    answer = attacked.browsers["therapist"].request(way, "/caseload")

    assert answer.status_code == 405
    assert "Blue 7" not in answer.text


def test_passphrase_fields_are_masked_and_may_be_filled_in(attacked: Attacked) -> None:
    therapist = attacked.browsers["therapist"]
    pages = [attacked.nobody.get("/sign-in").text, therapist.get("/account").text]
    asked = [
        field.attributes
        for page in pages
        for field in LexborHTMLParser(page).css("input[name*=passphrase]")
    ]

    assert len(asked) >= 3
    assert {field["type"] for field in asked} == {"password"}
    assert {"current-password", "new-password"} >= {
        field["autocomplete"] for field in asked
    }
    # A new one that is cut short unseen would be another than was typed.
    assert all(
        "maxlength" not in f for f in asked if f["autocomplete"] == "new-password"
    )
    assert all(int(f.get("maxlength") or 256) >= 256 for f in asked)


def test_every_page_lets_one_sign_out(attacked: Attacked) -> None:
    for path in ("/caseload", "/patients/1", "/rounds/1", "/account", "/help"):
        page = attacked.browsers["therapist"].get(path)

        assert LexborHTMLParser(page.text).css("form[action='/sign-out'] button")


def test_log_takes_no_line_and_no_message_of_others(tmp_path: Path) -> None:
    """However it got there: a message of several lines, a fault that quotes a row."""
    log = logging.getLogger("tapeline.problems")
    start_log(tmp_path)
    try:
        raise ValueError("Blue 7\n2026-01-01 INFO forged")
    except ValueError:
        log.exception("an import failed\r\n2026-01-01 INFO forged too")
    kept = (tmp_path / "tapeline.log").read_text()

    assert kept.count("\n") == 1
    assert "an import failed" in kept
    assert "ValueError at " in kept
    assert "test_hostile.py" in kept
    assert "Blue 7" not in kept


def test_what_no_keyboard_sends_is_taken_out(attacked: Attacked) -> None:
    """A label that turns the direction would turn the numbers beside it too."""
    typed = {"label": "\u202eTeal\x07 \u2066Kite\u200f\x00", "birth_year": "now"}
    answer = attacked.browsers["therapist"].post("/patients/new", data=typed)
    field = LexborHTMLParser(answer.text).css_first("input[name=label]")

    assert answer.status_code == 422
    assert field is not None
    assert field.attributes["value"] == "Teal Kite\u200f"


def test_last_of_a_field_sent_twice_counts(attacked: Attacked) -> None:
    """And what stands in the address counts for nothing."""
    answer = attacked.browsers["supervisor"].post(
        "/people/new?name=Address", content="handle=&name=First&name=Last", headers=FORM
    )

    assert answer.status_code == 422
    assert 'value="Last"' in answer.text
    assert "First" not in answer.text
    assert "Address" not in answer.text


def test_field_that_is_not_asked_for_changes_nothing(attacked: Attacked) -> None:
    fields = {"id": "1", "is_demo": "1", "active": "", "passphrase_hash": "x",
              "version": "99", "role": "supervisor", "handle": "boss"}  # fmt: skip
    with read_session(attacked.app.state.site.engine) as session:
        before = person_by(session, "therapist").model_dump()
    attacked.browsers["therapist"].post("/account/passphrase", data=fields)
    attacked.browsers["therapist"].post("/people/1", data=fields)
    with read_session(attacked.app.state.site.engine) as session:
        after = person_by(session, "therapist").model_dump()

    assert after == before


def test_file_sent_out_is_named_by_its_day_alone(attacked: Attacked) -> None:
    browser = client_of(attacked.app)
    browser.post("/sign-in", data={"handle": "supervisor", "passphrase": PASSPHRASE})
    answer = browser.post("/patients/1/fhir", data={"passphrase": PASSPHRASE})
    named = answer.headers["content-disposition"]

    assert answer.status_code == 200
    assert re.fullmatch(r'attachment; filename="[a-z0-9-]+\.(fhir\.)?json"', named)
