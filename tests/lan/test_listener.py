"""Both doors of one running server, and a certificate that changes under way."""

import socket
import ssl
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from ipaddress import ip_address
from pathlib import Path

import pytest
import uvicorn
from starlette.types import Receive, Scope, Send

from app.lan import listener
from app.lan.keeper import Found, keeper

NAME = "ward.local"
FIRST, SECOND = ip_address("127.0.0.1"), ip_address("127.0.0.2")
DEADLINE_S = 20


async def says_how_it_was_asked(scope: Scope, _receive: Receive, send: Send) -> None:
    assert scope["type"] == "http"
    body = scope["scheme"].encode()
    headers = [(b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": 200, "headers": headers})
    await send({"type": "http.response.body", "body": body})


def asked(door: socket.socket, context: ssl.SSLContext | None = None) -> str:
    """The answer's last line; over TLS, for the address that was asked."""
    host, port = door.getsockname()
    talk = socket.create_connection((host, port), 10)
    if context:
        talk = context.wrap_socket(talk, server_hostname=host)
    with talk:
        talk.sendall(b"GET / HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
        answer = b""
        while more := talk.recv(4096):
            answer += more
        return answer.decode().splitlines()[-1]


def test_two_doors_one_app_and_a_new_certificate_without_a_restart(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    caplog: pytest.LogCaptureFixture,
) -> None:
    """Whatever fails once while it looks, it goes on looking."""
    monkeypatch.setattr(listener, "LOOK_EVERY_S", 0.05)
    both, one = Found((NAME,), (FIRST, SECOND)), Found((NAME,), (SECOND,))
    now = datetime.now(UTC)
    kept = keeper(tmp_path, both, now, ports=(1, 2))
    kept.look(one, now)
    found = [one]
    plain, first = (socket.create_server((str(FIRST), 0)) for _ in range(2))
    config = uvicorn.Config(
        says_how_it_was_asked, lifespan="off", log_level="critical", ws="none"
    )
    server = listener.TwoDoors(config, first, kept, lambda: found[0])
    running = threading.Thread(target=server.run, kwargs={"sockets": [plain]})
    running.start()
    until(lambda: server.looking is not None)
    trusting = ssl.create_default_context(cadata=kept.place.certificate_pem)
    told = iter([ValueError("nobody thought of it"), OSError(28, "full disk")])

    def look() -> Found:
        if fault := next(told, None):
            raise fault
        return found[0]

    server.find = look
    try:
        assert asked(plain) == "http"
        with pytest.raises(ssl.SSLCertVerificationError):
            asked(first, trusting)  # not yet one of its addresses
        found[0] = both
        until(lambda: kept.place.knows(str(FIRST)))
        assert asked(first, trusting) == "https"
        assert asked(plain) == "http"
    finally:
        server.should_exit = True
        running.join(DEADLINE_S)
    assert not running.is_alive()
    said = capsys.readouterr().out
    assert "could not be renewed: the site's log says where" in said
    assert "could not be renewed: full disk." in said
    assert "The addresses of this machine changed." in said
    assert "could not be looked after" in caplog.text


def until(true: Callable[[], bool]) -> None:
    end = time.monotonic() + DEADLINE_S
    while not true():
        assert time.monotonic() < end, "it did not happen"
        time.sleep(0.02)
