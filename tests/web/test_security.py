"""What stands at the door: headers, origin, hosts, body caps, who needs a sign-in."""

import asyncio
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from fastapi import FastAPI
from sqlalchemy import text
from sqlmodel import select
from starlette.routing import BaseRoute
from starlette.testclient import TestClient
from starlette.types import Message

from app.resources import folder
from app.settings import Settings
from app.storage.database import read_session, write_session
from app.storage.people import Person
from app.web.deps import FormDep, ReadSession, Site, WriteSession
from app.web.security import is_known_host
from tests.conftest import BASE, client_of, found

#: The only addresses that answer somebody who is not signed in.
PUBLIC = {
    ("GET", "/"),
    ("GET", "/healthz"),
    ("GET", "/sign-in"),
    ("POST", "/sign-in"),
    # 401 and nothing else.
    ("GET", "/session"),
    ("GET", "/demo"),
    ("POST", "/demo/enter"),
    ("GET", "/static"),
    ("GET", "/sw.js"),
    ("GET", "/bedside"),
    # Links that work once.
    ("GET", "/set-up/{token}"),
    ("POST", "/set-up/{token}"),
    ("GET", "/join/{token}"),
    ("POST", "/join/{token}"),
    ("GET", "/pair/{token}"),
    ("POST", "/pair/{token}"),
    # Not Found where the site is not served on a network.
    ("GET", "/trust"),
    ("GET", "/trust/tapeline-authority.crt"),
    ("GET", "/trust/tapeline-authority.pem"),
}


def fail() -> None:
    raise RuntimeError("Mrs Example could not be saved")


def save_what_cannot_be_committed(session: WriteSession) -> dict[str, str]:
    """The row is taken now and refused at the commit."""
    session.connection().execute(text("PRAGMA defer_foreign_keys = ON"))
    session.connection().execute(
        text(
            "INSERT INTO sign_in (token_hash, person_id, started_at, last_seen_at) "
            "VALUES (:token, 99999, '2026-03-02 09:30:00', '2026-03-02 09:30:00')"
        ),
        {"token": "a" * 64},
    )
    return {"saved": "yes"}


def write_while_reading(session: ReadSession) -> dict[str, str]:
    session.connection().execute(text("UPDATE person SET name = 'changed'"))
    session.commit()
    return {"saved": "yes"}


def echo(form: FormDep) -> dict[str, Any]:
    return {"fields": len(form.pairs), **form}


@pytest.fixture
def open_app(app: FastAPI) -> FastAPI:
    """The site with a few routes of this test's own."""
    app.add_api_route("/fail", fail)
    app.add_api_route("/echo", echo, methods=["POST"])
    app.add_api_route("/uncommitted", save_what_cannot_be_committed, methods=["POST"])
    app.add_api_route("/written", write_while_reading)
    return app


@pytest.fixture
def open_client(open_app: FastAPI) -> TestClient:
    return client_of(open_app)


@pytest.mark.parametrize(
    ("method", "path", "headers", "status"),
    [
        ("GET", "/healthz", {}, 200),
        ("HEAD", "/healthz", {}, 200),
        ("GET", "/sign-in", {}, 200),
        ("GET", "/", {}, 303),
        ("GET", "/nowhere", {}, 404),
        ("GET", "/static/nothing.css", {}, 404),
        ("DELETE", "/healthz", {}, 405),
        ("POST", "/sign-out", {}, 303),
        ("POST", "/sign-out", {"hx-request": "true"}, 401),
        ("POST", "/sign-in", {"sec-fetch-site": "cross-site"}, 403),
        ("GET", "/healthz", {"host": "evil.example"}, 400),
        ("POST", "/sign-in", {"content-length": "999999"}, 413),
        ("GET", "/fail", {}, 500),
    ],
)
def test_every_answer_carries_the_headers(
    open_client: TestClient,
    method: str,
    path: str,
    headers: dict[str, str],
    status: int,
) -> None:
    answer = open_client.request(method, path, headers=headers)

    assert answer.status_code == status
    policy = answer.headers["content-security-policy"].split("; ")
    assert "default-src 'none'" in policy
    assert "script-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert not any("unsafe" in rule or "*" in rule for rule in policy)
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "same-origin"
    assert answer.headers["cache-control"] == "no-store"
    assert len(answer.headers["x-request-id"]) == 16
    assert "clear-site-data" not in answer.headers
    assert answer.headers["cross-origin-opener-policy"] == "same-origin"
    assert answer.headers["permissions-policy"].startswith("camera=()")


def test_file_carries_what_is_not_of_pages_alone(client: TestClient) -> None:
    style = found(client.get("/sign-in").text, "link[rel=stylesheet]")
    answer = client.get(style.attributes["href"] or "")

    assert answer.status_code == 200
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"
    assert "immutable" in answer.headers["cache-control"]


def test_request_numbers_differ(client: TestClient) -> None:
    numbers = {client.get("/healthz").headers["x-request-id"] for _ in range(20)}

    assert len(numbers) == 20


def test_static_files_are_kept_for_ever(app: FastAPI, client: TestClient) -> None:
    address = app.state.site.templates.globals["asset"]("app.css")
    answer = client.get(address)

    assert answer.status_code == 200
    assert "immutable" in answer.headers["cache-control"]


def test_static_file_of_another_edition_is_asked_for_again(client: TestClient) -> None:
    answer = client.get("/static/0123456789ab/app.css")

    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "no-cache"


@pytest.mark.parametrize(
    "path", ["/static/x/../../pyproject.toml", "/static/x/%2e%2e/%2e%2e/pyproject.toml"]
)
def test_static_serves_nothing_beside_it(client: TestClient, path: str) -> None:
    assert client.get(path).status_code == 404


@pytest.mark.parametrize(
    "headers",
    [
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "cross-site", "origin": BASE},
        {"origin": "https://evil.example"},
        {"origin": "http://localhost:9999"},
        {"origin": "null"},
        {"referer": "http://localhost:8765/sign-in"},
        {},
    ],
    ids=str,
)
def test_change_from_another_site_is_refused(
    open_app: FastAPI, headers: dict[str, str]
) -> None:
    client = TestClient(open_app, base_url=BASE)
    answer = client.post("/echo", data={"a": "1"}, headers=headers)

    assert answer.status_code == 403
    assert "another site" in answer.text


@pytest.mark.parametrize(
    "headers",
    [{"sec-fetch-site": "same-origin"}, {"sec-fetch-site": "none"}, {"origin": BASE}],
    ids=str,
)
def test_change_from_our_own_page_is_taken(
    open_app: FastAPI, headers: dict[str, str]
) -> None:
    client = TestClient(open_app, base_url=BASE)
    answer = client.post("/echo", data={"a": "1"}, headers=headers)

    assert answer.json() == {"fields": 1, "a": "1"}


def test_refused_sign_out_leaves_the_session(therapist: TestClient) -> None:
    therapist.post("/sign-out", headers={"sec-fetch-site": "cross-site"})

    assert therapist.post("/sign-out").headers["location"] == "/sign-in"


@pytest.mark.parametrize(
    ("listening", "host", "known"),
    [
        ("127.0.0.1", "localhost:8765", True),
        ("127.0.0.1", "LOCALHOST", True),
        ("127.0.0.1", "127.0.0.1:8765", True),
        ("127.0.0.1", "[::1]:8765", True),
        ("127.0.0.1", "ward.example", True),
        ("127.0.0.1", "evil.example", False),
        ("127.0.0.1", "localhost.evil.example", False),
        ("127.0.0.1", "192.168.1.20:8765", False),
        ("127.0.0.1", "", False),
        ("127.0.0.1", "[", False),
        ("0.0.0.0", "192.168.1.20:8765", True),
        ("0.0.0.0", "evil.example", False),
    ],
)
def test_site_answers_to_its_own_names(listening: str, host: str, known: bool) -> None:
    settings = Settings(host=listening, trusted_hosts=("ward.example",))

    assert is_known_host(settings, host) is known


def pieces(size: int) -> Iterator[bytes]:
    """A body of `size` bytes whose length is not announced."""
    yield b"a="
    for _ in range(size // 4096):
        yield b"x" * 4096


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ("&".join(f"f{i}=1" for i in range(1001)), 400),
        (";" * 100_000, 200),
        ("a=" + "x" * 2 * 1024 * 1024, 413),
        ("a=" + "x" * (256 * 1024 - 2), 200),
        ("a=" + "x" * (256 * 1024 - 1), 413),
    ],
    ids=["1001 fields", "semicolons", "2 MiB", "at the cap", "one over"],
)
def test_too_much_is_refused_in_words(
    open_client: TestClient, body: str, status: int
) -> None:
    headers = {"content-type": "application/x-www-form-urlencoded"}
    answer = open_client.post("/echo", content=body, headers=headers)

    assert answer.status_code == status
    if status >= 400:
        assert "Nothing was saved" in answer.text
        assert answer.headers["content-type"].startswith("text/html")


@pytest.mark.parametrize(
    ("size", "status"), [(200_000, 200), (300_000, 413), (12_000_000, 413)]
)
def test_body_of_unknown_length_is_capped(
    open_client: TestClient, size: int, status: int
) -> None:
    headers = {"content-type": "application/x-www-form-urlencoded"}
    answer = open_client.post("/echo", content=pieces(size), headers=headers)

    assert answer.status_code == status


def test_file_in_a_form_is_refused(open_client: TestClient) -> None:
    answer = open_client.post("/echo", files={"a": ("a.txt", b"x")})

    assert answer.status_code == 400
    assert "could not be read" in answer.text


def test_form_keeps_what_was_typed(open_client: TestClient) -> None:
    typed = {"note": " ½ step; “good” \n", "empty": "", "nul": "a\0b"}
    answer = open_client.post("/echo", data=typed)

    assert answer.json() == {"fields": 3, **typed, "nul": "ab"}


@pytest.mark.parametrize("path", ["/healthz", "/sign-in", "/", "/nowhere"])
def test_head_answers_as_get(client: TestClient, path: str) -> None:
    got, head = client.get(path), client.head(path)

    assert head.status_code == got.status_code
    assert head.headers.get("content-type") == got.headers.get("content-type")


def bodies_sent(app: FastAPI, method: str) -> bytes:
    """What the site itself sends: a client library would hide a body after HEAD."""
    sent: list[bytes] = []

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Message) -> None:
        sent.append(message.get("body", b""))

    scope = {
        "type": "http",
        "method": method,
        "scheme": "http",
        "path": "/healthz",
        "query_string": b"",
        "headers": [(b"host", b"localhost")],
    }
    # In a thread of its own: where a browser was driven, this one has a loop already.
    with ThreadPoolExecutor(1) as own:
        own.submit(asyncio.run, app(scope, receive, send)).result()
    return b"".join(sent)


def test_head_sends_no_body(app: FastAPI) -> None:
    assert bodies_sent(app, "GET").startswith(b"{")
    assert bodies_sent(app, "HEAD") == b""


@pytest.mark.usefixtures("open_app")
def test_failed_commit_is_not_shown_as_success(
    therapist: TestClient, caplog: pytest.LogCaptureFixture
) -> None:
    answer = therapist.post("/uncommitted")

    assert answer.status_code == 500
    assert "IntegrityError" in caplog.text
    said = found(answer.text, "main").text()
    assert "saved" not in said.replace("Nothing was saved", "")


@pytest.mark.usefixtures("open_app")
def test_reading_request_cannot_write(therapist: TestClient, site: Site) -> None:
    answer = therapist.get("/written")

    with read_session(site.engine) as session:
        names = session.exec(select(Person.name)).all()
    assert answer.status_code == 500
    assert "changed" not in names


def written(session: WriteSession, form: FormDep) -> dict[str, int]:
    """A deed that takes the write lock and, like every route, a thread."""
    session.connection().execute(text("UPDATE person SET version = version + 1"))
    return {"fields": len(form)}


def test_sixty_writers_at_once_are_all_served(
    app: FastAPI, therapist: TestClient, site: Site
) -> None:
    """More than there are threads: who waits must not starve who holds the lock."""
    app.add_api_route("/written", written, methods=["POST"])
    with therapist, ThreadPoolExecutor(60) as pool:
        answers = list(pool.map(therapist.post, ["/written"] * 60))

    with read_session(site.engine) as session:
        versions = set(session.exec(select(Person.version)).all())
    assert {answer.status_code for answer in answers} == {200}
    assert versions == {61}


def test_no_session_without_sign_in(
    app: FastAPI, client: TestClient, site: Site
) -> None:
    """Even where a route forgot to ask."""
    app.add_api_route("/written", written, methods=["POST"])
    app.add_api_route("/read", write_while_reading)
    answers = [client.post("/written"), client.get("/read")]

    with read_session(site.engine) as session:
        versions = set(session.exec(select(Person.version)).all())
    assert [answer.status_code for answer in answers] == [303, 303]
    assert versions == {1}


def test_slow_phone_does_not_hold_the_write_lock(
    app: FastAPI, therapist: TestClient, site: Site
) -> None:
    app.add_api_route("/written", written, methods=["POST"])

    def slowly() -> Iterator[bytes]:
        yield b"a=1"
        with write_session(site.engine) as session:
            session.connection().execute(text("UPDATE person SET name = 'meanwhile'"))
        yield b"&b=2"

    headers = {"content-type": "application/x-www-form-urlencoded"}
    answer = therapist.post("/written", content=slowly(), headers=headers)

    assert answer.json() == {"fields": 2}


def addresses(routes: Iterable[BaseRoute]) -> Iterator[tuple[str, str]]:
    """Every method and path of the site, HEAD and OPTIONS aside."""
    for route in routes:
        # A router that was included is kept whole, as one entry.
        included = getattr(route, "original_router", None)
        if included is not None:
            yield from addresses(included.routes)
            continue
        methods = getattr(route, "methods", None) or {"GET"}
        for method in sorted(methods - {"HEAD", "OPTIONS"}):
            yield method, getattr(route, "path", "no path")


def answers_strangers(client: TestClient, method: str, path: str) -> bool:
    numbered = "/".join("1" if p.startswith("{") else p for p in path.split("/"))
    answer = client.request(method, numbered)
    to_sign_in = answer.headers.get("location", "").startswith("/sign-in")
    return not (answer.status_code == 303 and to_sign_in)


def test_only_public_routes_answer_without_sign_in(
    app: FastAPI, client: TestClient
) -> None:
    everything = set(addresses(app.routes))
    answering = {a for a in everything if answers_strangers(client, *a)}

    assert answering == PUBLIC
    assert ("POST", "/sign-out") in everything


@pytest.mark.parametrize("path", ["/docs", "/redoc", "/openapi.json"])
def test_no_page_describes_the_program(client: TestClient, path: str) -> None:
    assert client.get(path).status_code == 404


def test_browsers_are_asked_not_to_translate(client: TestClient) -> None:
    """A machine's translation may turn an order or a reading round."""
    page = client.get("/sign-in").text

    assert found(page, "html").attributes["translate"] == "no"
    bases = [p for p in folder("templates").rglob("*.html") if "<html" in p.read_text()]
    assert [p.name for p in bases] == ["base.html"]
