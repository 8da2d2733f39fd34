"""Plain http from another machine, the trust page, and what an open address costs."""

from collections.abc import Iterator
from datetime import timedelta
from ipaddress import ip_address

import pytest
from cryptography import x509
from fastapi import FastAPI
from starlette.testclient import TestClient

from app.lan.keeper import Found, Keeper, keeper
from app.main import create_app
from app.settings import Settings
from app.storage import people
from app.storage.database import write_session
from app.web.security import is_known_host
from tests.conftest import Clock, client_of, found, person_by
from tests.make import NOW, PASSPHRASE

NAME, ADDRESS, OTHER = "ward.local", ip_address("192.0.2.7"), ip_address("10.0.0.9")
PHONE = ("192.0.2.50", 40000)
SECURE, PLAIN = f"https://{NAME}:8766", f"http://{ADDRESS}:8765"
INSIDE = (
    "/sign-in",
    "/caseload",
    "/bedside",
    "/sw.js",
    "/session",
    "/nowhere",
    "/demo",
)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Keeper:
    here = Found((NAME,), (ADDRESS,))
    folder = tmp_path_factory.mktemp("site")
    made = keeper(folder, here, NOW, ports=(8765, 8766))
    made.look(Found((NAME,), (ADDRESS, OTHER)), NOW + timedelta(hours=1))
    return made


@pytest.fixture
def lan_app(settings: Settings, clock: Clock, kept: Keeper) -> Iterator[FastAPI]:
    app = create_app(settings, kept.place)
    app.state.site.clock = clock
    yield app
    app.state.site.engine.dispose()


def phone(app: FastAPI, base: str, client: tuple[str, int] = PHONE) -> TestClient:
    return TestClient(app, base_url=base, client=client, follow_redirects=False)


@pytest.fixture
def plain(lan_app: FastAPI) -> TestClient:
    return phone(lan_app, PLAIN)


@pytest.fixture
def secure(lan_app: FastAPI) -> TestClient:
    return phone(lan_app, SECURE)


@pytest.mark.parametrize("path", INSIDE)
def test_plain_from_elsewhere_only_explains(plain: TestClient, path: str) -> None:
    answers = [plain.get(path), plain.post(path, data={"passphrase": "x" * 20})]

    for answer in answers:
        assert answer.status_code == 403
        assert "This address is not secure" in answer.text
        assert f"{SECURE}/" in answer.text
        assert 'type="password"' not in answer.text
        assert "set-cookie" not in answer.headers
        assert answer.headers["content-security-policy"].startswith(
            "default-src 'none'"
        )
    assert found(answers[0].text, ".problem a").attributes["href"] == "/trust"


def test_start_explains_itself(plain: TestClient) -> None:
    answer = plain.get("/")

    assert answer.status_code == 200
    assert "there is no sign-in here" in answer.text


def test_script_is_answered_in_place(plain: TestClient) -> None:
    answer = plain.post("/sign-in", headers={"hx-request": "true"})

    assert answer.status_code == 403
    assert "<html" not in answer.text


def test_session_sent_in_the_open_opens_nothing(
    lan_app: FastAPI, plain: TestClient, secure: TestClient, clock: Clock
) -> None:
    with write_session(lan_app.state.site.engine) as session:
        token = people.start_sign_in(session, person_by(session, "therapist"), clock())
    cookies = {"cookie": f"tapeline={token}; __Host-tapeline={token}"}

    assert plain.get("/caseload", headers=cookies).status_code == 403
    assert secure.get("/caseload", headers=cookies).status_code == 200


def test_what_a_page_needs_and_the_health_check_are_open(plain: TestClient) -> None:
    page = plain.get("/trust")
    style = found(page.text, "link[rel=stylesheet]").attributes["href"]

    assert page.status_code == 200
    assert plain.get(str(style)).status_code == 200
    assert plain.get("/healthz").json()["status"] == "ok"


@pytest.mark.parametrize("path", ["/static/../sign-in", "/trust/../sign-in", "/trusty"])
def test_no_way_round(plain: TestClient, path: str) -> None:
    answer = plain.get(path)

    assert answer.status_code in (403, 404)
    assert 'type="password"' not in answer.text


def test_this_machine_and_tls_work_as_ever(lan_app: FastAPI) -> None:
    for here in ("127.0.0.1", "::1", "::ffff:127.0.0.1"):
        own = phone(lan_app, "http://localhost:8765", (here, 40000))
        assert own.get("/sign-in").status_code == 200
    assert phone(lan_app, SECURE).get("/sign-in").status_code == 200
    mapped = phone(lan_app, PLAIN, ("::ffff:192.0.2.50", 40000))
    assert mapped.get("/sign-in").status_code == 403


def test_without_lan_plain_from_elsewhere_has_no_sign_in_either(app: FastAPI) -> None:
    answer = phone(app, "http://localhost:8765").get("/sign-in")

    assert answer.status_code == 403
    assert "tapeline serve --lan" in answer.text
    assert "/trust" not in answer.text


def test_server_in_front_that_speaks_tls_is_let_through(settings: Settings) -> None:
    behind = settings.model_copy(update={"secure_cookies": True})
    app = create_app(behind)
    answer = phone(app, "http://localhost:8765").get("/sign-in")
    app.state.site.engine.dispose()

    assert answer.status_code == 200


def test_demo_is_open_and_says_what_is_missing(settings: Settings) -> None:
    listening = {"demo": True, "host": "0.0.0.0"}
    app = create_app(settings.model_copy(update=listening))
    answer = phone(app, PLAIN).get("/demo")
    here = client_of(app).get("/demo")
    app.state.site.engine.dispose()

    assert answer.status_code == here.status_code == 200
    said = found(answer.text, ".in-the-open").text()
    assert "may darken its screen" in said
    assert "Everything else works" in said
    assert "in-the-open" not in here.text


@pytest.mark.parametrize(
    ("host", "known"),
    [
        (f"{NAME}:8766", True),
        (NAME.upper(), True),
        (str(ADDRESS), True),
        ("localhost:8766", False),
        ("127.0.0.1", False),
        (str(OTHER), False),
        ("192.0.2.8", False),
        ("other.local", False),
        (f"x.{NAME}", False),
        ("", False),
        ("[", False),
    ],
)
def test_only_what_is_served_is_answered_to(
    kept: Keeper, settings: Settings, host: str, known: bool
) -> None:
    assert is_known_host(settings, host, kept.place) is known


def test_page_tells_steps_fingerprint_and_the_way_back(
    secure: TestClient, kept: Keeper
) -> None:
    text = secure.get("/trust").text
    told = found(text, "main").text()

    assert all(line in told for line in kept.place.fingerprint_lines)
    for words in ("iPhone", "Android", "To take it off", "Local policy", NAME):
        assert words in told
    assert "another address is another site" in told
    assert found(text, "a.btn").attributes["href"] == "/trust/tapeline-authority.crt"


@pytest.mark.parametrize("door", ["plain", "secure"])
def test_certificate_is_the_authoritys_and_no_key(
    request: pytest.FixtureRequest, kept: Keeper, door: str
) -> None:
    client: TestClient = request.getfixturevalue(door)
    der = client.get("/trust/tapeline-authority.crt")
    pem = client.get("/trust/tapeline-authority.pem")

    assert der.headers["content-type"] == "application/x-x509-ca-cert"
    assert x509.load_der_x509_certificate(der.content) == kept.authority.root
    assert x509.load_pem_x509_certificate(pem.content) == kept.authority.root
    assert b"PRIVATE" not in pem.content


@pytest.mark.parametrize(
    "path", ["/trust", "/trust/tapeline-authority.crt", "/trust/tapeline-authority.pem"]
)
def test_site_without_it_has_no_such_page(client: TestClient, path: str) -> None:
    assert client.get(path).status_code == 404


def test_cookie_over_tls_is_locked_to_the_host(secure: TestClient) -> None:
    answer = secure.post(
        "/sign-in",
        data={"handle": "therapist", "passphrase": PASSPHRASE},
        headers={"sec-fetch-site": "same-origin"},
    )
    cookie = answer.headers["set-cookie"].lower()

    assert cookie.startswith("__host-tapeline=")
    for part in ("secure", "httponly", "path=/"):
        assert part in cookie
    assert "domain" not in cookie


def test_menu_leads_to_it_only_where_it_is(
    secure: TestClient, therapist: TestClient, lan_app: FastAPI, clock: Clock
) -> None:
    with write_session(lan_app.state.site.engine) as session:
        token = people.start_sign_in(session, person_by(session, "therapist"), clock())
    page = secure.get("/caseload", headers={"cookie": f"__Host-tapeline={token}"})

    assert 'href="/trust"' in page.text
    assert 'href="/trust"' not in therapist.get("/caseload").text
