"""The guard every request passes: known host, own origin, a small body, safe headers.

Plain ASGI, outermost, so that headers stand on errors too and the request's number is
known everywhere. A fault no handler knew is answered here.
"""

import logging
import re
import time
from collections.abc import Callable
from ipaddress import ip_address
from secrets import token_hex

from fastapi import Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.requests import ClientDisconnect
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.lan.place import Place, host_in
from app.settings import Settings
from app.web.errors import UNREADABLE, Problem, Refused
from app.web.plain_door import is_open, is_plain_from_elsewhere, turned_away

log = logging.getLogger("tapeline.requests")
LARGEST_BODY = 256 * 1024
#: Files of a caseload are larger than any form; nothing else comes that way.
LARGEST_FILES = 1024 * 1024 + 16 * 1024
FILES_AT = "/caseload/import/check"
#: A larger body is still read so far, since a browser shows no answer to a request
#: whose connection was cut while it was sending.
LARGEST_DISCARDED = 8 * 1024 * 1024
#: Browsers send forms of our pages in UTF-8. Another alphabet would be looked up by its
#: name when the form is parsed, and some of those names are programs of their own.
OTHER_CHARSET = re.compile(r"charset(?!\s*=\s*\"?utf-?8\"?\s*(?:;|$))", re.IGNORECASE)
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
STATIC = "/static/"
CONTENT_POLICY = "; ".join(
    [
        "default-src 'none'",
        *(
            f"{kind}-src 'self'"
            for kind in ("script", "style", "img", "connect", "font")
        ),
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    ]
)
HEADERS = [
    (b"content-security-policy", CONTENT_POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"cross-origin-resource-policy", b"same-origin"),
]
#: They speak of pages alone; a phone pays for each byte of every file.
OF_PAGES = [
    (b"cross-origin-opener-policy", b"same-origin"),
    (
        b"permissions-policy",
        b"camera=(), geolocation=(), microphone=(), payment=(), usb=()",
    ),
]
NO_STORE = (b"cache-control", b"no-store")
#: Their address is a secret as long as it works, so no request names it as its origin.
LINKS = ("/pair/", "/set-up/", "/join/")
REFERRER = b"referrer-policy"

UNKNOWN_HOST = Problem(
    400,
    "This name is not known here",
    "The site was asked for under a name it does not answer to.",
    "Nothing was changed.",
    "Use the address the program printed, or add the name to TAPELINE_TRUSTED_HOSTS.",
    None,
)
OTHER_SITE = Problem(
    403,
    "Refused: it came from another site",
    "This change was not sent from a page of this program.",
    "Nothing was changed.",
    "Open the page here and do it again.",
)
TOO_LARGE = Problem(
    413,
    "That is too much at once",
    f"More than {LARGEST_BODY // 1024} kilobytes were sent, or more than "
    f"{LARGEST_FILES // 1024} of files.",
    "Nothing was saved. What you typed is still in the form: go back to it.",
    "Shorten it and send it again.",
)

Answer = Callable[[Request, Exception], Response]


class Guard:
    """The outermost middleware. `answer` turns a fault into a response."""

    def __init__(
        self,
        app: ASGIApp,
        *,
        settings: Settings,
        answer: Answer,
        lan: Place | None = None,
    ) -> None:
        self.app = app
        self.settings = settings
        self.answer = answer
        self.lan = lan

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        exchange = _Exchange(scope, receive, send)
        try:
            await self._handle(exchange)
        except ClientDisconnect:
            pass  # Nobody is left to answer, and nothing was committed.
        finally:
            exchange.write_log()

    async def _handle(self, exchange: "_Exchange") -> None:
        try:
            await self._check(exchange)
            await self.app(exchange.scope, exchange.receive, exchange.send)
        except Exception as fault:
            if exchange.status or isinstance(fault, ClientDisconnect):
                raise
            request = Request(exchange.scope)
            response = await run_in_threadpool(self.answer, request, fault)
            await response(exchange.scope, exchange.receive, exchange.send)

    async def _check(self, exchange: "_Exchange") -> None:
        headers = Headers(scope=exchange.scope)
        plain = is_plain_from_elsewhere(exchange.scope, self.settings)
        if plain and not is_open(exchange.scope["path"], self.settings):
            await discard(exchange.client_receive)
            raise Refused(turned_away(exchange.scope["path"], self.lan))
        # Over plain http a name opens only what anybody may see.
        lan = self.lan if exchange.scope["scheme"] == "https" else None
        if not (plain and self.lan) and not is_known_host(
            self.settings, headers.get("host", ""), lan
        ):
            raise Refused(UNKNOWN_HOST)
        if exchange.asked not in SAFE_METHODS and not self._is_ours(exchange, headers):
            raise Refused(OTHER_SITE)
        if OTHER_CHARSET.search(headers.get("content-type", "")):
            raise Refused(UNREADABLE)
        length = headers.get("content-length", "0")
        if length.isdecimal() and int(length) > exchange.largest:
            await discard(exchange.client_receive)
            raise Refused(TOO_LARGE)

    def _is_ours(self, exchange: "_Exchange", headers: Headers) -> bool:
        """Sent by our own page: the browser's word, else an Origin that is ours."""
        fetched_from = headers.get("sec-fetch-site")
        if fetched_from is not None:
            return fetched_from in ("same-origin", "none")
        tls = self.settings.secure_cookies or exchange.scope["scheme"] == "https"
        ours = f"{'https' if tls else 'http'}://{headers['host']}"
        return headers.get("origin", "").lower() == ours.lower()


class _Exchange:
    """One request and its answer, as they pass the guard."""

    def __init__(self, scope: Scope, receive: Receive, send: Send) -> None:
        self.asked: str = scope["method"]
        # HEAD is asked of routes as GET; the body is dropped on the way out.
        self.scope = {**scope, "method": "GET"} if self.asked == "HEAD" else scope
        self.number = token_hex(8)
        self.scope.setdefault("state", {})["request_id"] = self.number
        self.client_receive = receive
        self.client_send = send
        self.status = 0
        self.received = 0
        takes_files = scope["path"] == FILES_AT
        self.largest = LARGEST_FILES if takes_files else LARGEST_BODY
        self.started = time.monotonic()

    async def receive(self) -> Message:
        message = await self.client_receive()
        self.received += len(message.get("body", b""))
        if self.received > self.largest:
            if message.get("more_body"):
                await discard(self.client_receive)
            raise Refused(TOO_LARGE)
        return message

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.status = message["status"]
            message = {**message, "headers": self._headers(message)}
        elif self.asked == "HEAD":
            message = {**message, "body": b""}
        await self.client_send(message)

    def _headers(self, message: Message) -> list[tuple[bytes, bytes]]:
        own: list[tuple[bytes, bytes]] = list(message.get("headers", ()))
        is_file = self.status < 400 and self.scope["path"].startswith(STATIC)
        if not is_file:
            own = [pair for pair in own if pair[0] != b"cache-control"] + [NO_STORE]
            own += OF_PAGES
        is_link = self.scope["path"].startswith(LINKS)
        referrer = b"strict-origin" if is_link else b"same-origin"
        number = (b"x-request-id", self.number.encode())
        return [*own, *HEADERS, (REFERRER, referrer), number]

    def write_log(self) -> None:
        """The route's pattern, not the path: an address may hold anything typed."""
        route = getattr(self.scope.get("route"), "path", "-")
        took = (time.monotonic() - self.started) * 1000
        log.info(
            "%s %s %s %s %.0f ms", self.number, self.asked, route, self.status, took
        )


async def discard(receive: Receive) -> None:
    """Read the rest of a body and forget it, up to a bound."""
    left = LARGEST_DISCARDED
    while left > 0:
        message = await receive()
        if not message.get("more_body"):
            return
        left -= len(message.get("body", b""))


def is_known_host(settings: Settings, host: str, lan: Place | None = None) -> bool:
    """A name of ours, or a number: a hostile name can point here, a number cannot.

    Numbers of other machines are taken only when the site listens beyond this one. Over
    its own TLS (`lan`) it answers to what its certificate is for, and nothing else.
    """
    name = host_in(host)
    if lan is not None:
        return lan.knows(name)
    if name in ("localhost", settings.host.lower(), *settings.trusted_hosts):
        return True
    try:
        return ip_address(name).is_loopback or not _is_loopback(settings.host)
    except ValueError:
        return False


def _is_loopback(host: str) -> bool:
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
