"""A page in one of the engines: touched, typed into, and its faults overheard."""

import base64
import json
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from tests.engines.wire import Engine, EngineError
from tests.journeys.conftest import Live

#: Where the point of an element that shows these words is, once nothing covers it.
WHERE = """const [css, words] = arguments;
const one = [...document.querySelectorAll(css)].find((e) =>
  e.getClientRects().length && getComputedStyle(e).visibility === "visible"
  && (e.innerText || e.getAttribute("aria-label") || "").includes(words));
if (!one || one.matches(":disabled")) return one ? "disabled" : "no such element";
one.scrollIntoView({ block: "center", behavior: "instant" });
const { left, top, width, height } = one.getClientRects()[0];
const [x, y] = [left + width / 2, top + height / 2];
const hit = document.elementFromPoint(x, y);
if (!one.contains(hit)) return `covered by ${hit?.outerHTML.slice(0, 120)}`;
return [Math.round(x), Math.round(y)];"""
SHOWN = """const [css, words] = arguments;
return [...document.querySelectorAll(css)].some((e) =>
  e.getClientRects().length && getComputedStyle(e).visibility === "visible"
  && (e.innerText || "").replace(/\\s+/g, " ").includes(words));"""
#: Enter and the like, as W3C WebDriver's table of keys has them (from memory).
KEYS = {"Enter": "\ue007", "Escape": "\ue00c", "Space": " "}
#: Tells the server what went wrong on a page; runs before any script of the page's own.
LISTENER = b"""{
  const tell = (what) =>
    navigator.sendBeacon("/overheard", `${location.pathname}: ${what}`);
  addEventListener("error", (event) => {
    const { target, message, filename, lineno } = event;
    tell(message ? `${message} (${filename}:${lineno})`
      : `did not load ${target.src || target.href}`);
  }, true);
  addEventListener("unhandledrejection", ({ reason }) => tell(`refused: ${reason}`));
  addEventListener("securitypolicyviolation", (event) =>
    tell(`policy: ${event.violatedDirective} ${event.blockedURI}`));
  const { error } = console;
  console.error = (...words) => { tell(words.join(" ")); error(...words); };
}"""


#: When an act was asked for and when it was done, s: it happened between the two.
Between = tuple[float, float]


@dataclass
class Overheard:
    """Between a site and its browser: every page of it reports its faults.

    Neither engine hands its console to WebDriver's plain commands.
    """

    app: ASGIApp
    said: list[str]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["path"] not in ("/overheard", LISTEN):
            await self.app(plain(scope), receive, Added(send))
            return
        if scope["path"] == "/overheard":
            self.said.append((await receive()).get("body", b"").decode())
        kind = [(b"content-type", b"text/javascript")]
        await send({"type": "http.response.start", "status": 200, "headers": kind})
        await send({"type": "http.response.body", "body": LISTENER})


LISTEN = "/overheard.js"


def plain(scope: Scope) -> Scope:
    """The same request, answered without compression."""
    if scope["type"] != "http":
        return scope
    kept = [(k, v) for k, v in scope["headers"] if k != b"accept-encoding"]
    return {**scope, "headers": kept}


@dataclass
class Added:
    """An answer on its way out: a whole page gets the listener into its head."""

    send: Send
    start: Message | None = None
    body: bytes = b""

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            if dict(message["headers"]).get(b"content-type", b"")[:9] != b"text/html":
                await self.send(message)
            else:
                self.start = message
        elif self.start is None:
            await self.send(message)
        else:
            self.body += message.get("body", b"")
            if not message.get("more_body"):
                await self._finish(self.start)

    async def _finish(self, start: Message) -> None:
        tag = b'<head><script src="%s"></script>' % LISTEN.encode()
        body = self.body.replace(b"<head>", tag, 1)
        kept = [(k, v) for k, v in start["headers"] if k != b"content-length"]
        kept.append((b"content-length", b"%d" % len(body)))
        await self.send({**start, "headers": kept})
        await self.send({"type": "http.response.body", "body": body})


@dataclass
class Page:
    """What one person sees of one live site in one engine."""

    engine: Engine
    live: Live
    said: list[str]
    pictures: Path
    taken: list[str] = field(default_factory=list)
    forgiven: tuple[str, ...] = ()

    def goto(self, path: str) -> None:
        self.engine.ask("go", url=self.live.url + path)

    def reload(self) -> None:
        self.engine.ask("again")

    def js(self, script: str, *args: object) -> Any:
        return self.engine.ask("script", script=script, args=list(args))

    def until(self, look: Callable[[], Any], what: str, seconds: float = 15) -> Any:
        """Its first true answer; an engine that is between two pages is asked again."""
        end, said = time.monotonic() + seconds, ""
        while time.monotonic() < end:
            try:
                if found := look():
                    return found
            except EngineError as error:
                said = str(error)
            time.sleep(0.05)
        raise AssertionError(f"{self.engine.name}: waited in vain for {what} {said}")

    def shows(self, css: str, words: str = "", seconds: float = 15) -> None:
        look = lambda: self.js(SHOWN, css, words)  # noqa: E731
        self.until(look, f"{css} {words!r}", seconds)

    def hides(self, css: str, seconds: float = 15) -> None:
        self.until(lambda: not self.js(SHOWN, css, ""), f"no {css}", seconds)

    def text(self, css: str) -> str:
        found: str = self.js(
            "return document.querySelector(arguments[0])?.innerText || ''", css
        )
        return " ".join(found.split())

    def tap(self, css: str, words: str = "") -> Between:
        """A finger down and up in its middle, once it rests and nothing covers it."""
        at: Any = None

        def free() -> bool:
            nonlocal at
            before, at = at, self.js(WHERE, css, words)
            return isinstance(at, list) and at == before

        try:
            self.until(free, f"a way to tap {css} {words!r}")
        except AssertionError as error:
            raise AssertionError(f"{error}: {at}") from None
        x, y = at
        move = {"type": "pointerMove", "duration": 0, "x": x, "y": y}
        deeds = [move, {"type": "pointerDown", "button": 0},
                 {"type": "pointerUp", "button": 0}]  # fmt: skip
        return self._act("pointer", deeds, parameters={"pointerType": "touch"})

    def _act(self, kind: str, deeds: list[dict[str, Any]], **more: Any) -> Between:
        source = {"type": kind, "id": kind, "actions": deeds, **more}
        asked = time.monotonic()
        self.engine.ask("act", actions=[source])
        return asked, time.monotonic()

    def press(self, *keys: str) -> Between:
        """Keys of a real keyboard, one after another, wherever the focus is."""
        values = [KEYS.get(key, key) for key in keys]
        pairs = [(v, deed) for v in values for deed in ("keyDown", "keyUp")]
        return self._act("key", [{"type": deed, "value": v} for v, deed in pairs])

    def type(self, css: str, words: str) -> None:
        self.tap(css)
        self.press(*words)

    def follow(self, css: str, words: str = "") -> None:
        """Tap what leads to another page, and be there."""
        self.js("window.left = false")
        self.tap(css, words)
        self.arrived()

    def arrived(self) -> None:
        look = "return window.left === undefined && document.readyState === 'complete'"
        self.until(lambda: self.js(look), "another page")

    def at_rest(self) -> None:
        """Nothing of the page is on its way."""
        look = "return !document.querySelector('.htmx-request, [data-busy]')"
        self.until(lambda: self.js(look), "rest")

    def fits(self, where: str) -> None:
        """Nothing pushes the page sideways."""
        wide = self.js(
            "const e = document.documentElement; return [e.scrollWidth, innerWidth]"
        )
        assert wide[0] <= wide[1] == 390, f"{where}: {wide[0]} px on {wide[1]}"

    def picture(self, name: str) -> None:
        png = base64.b64decode(self.engine.ask("picture", full=False))
        name = f"{self.engine.name}-{len(self.taken):02}-{name}.png"
        (self.pictures / name).write_bytes(png)
        self.taken.append(name)

    @contextmanager
    def cable_out(self) -> Iterator[None]:
        """The server is gone, for pages and for the worker alike, and comes back.

        What each engine says by itself of a network that is away is no complaint.
        """
        self.live.stop()
        yield
        self.live.start()
        self.forgive("Load failed", "NetworkError when attempting to fetch")

    def forgive(self, *words: str) -> None:
        """Complaints about what a test did on purpose, now and until its end."""
        self.forgiven += words

    def complaints(self) -> list[str]:
        return [c for c in self.said if not any(word in c for word in self.forgiven)]

    def on_disk(self) -> list[dict[str, Any]]:
        """What IndexedDB holds of unsent trials."""
        found: str = self.until(lambda: self.js(ON_DISK), "the outbox")
        return list(json.loads(found))


ON_DISK = """if (window.held === undefined) {
  window.held = "";
  const ask = indexedDB.open("tapeline.outbox");
  ask.onupgradeneeded = () => ask.transaction.abort();
  ask.onerror = () => { window.held = "[]"; };
  ask.onsuccess = () => {
    const deed = ask.result.transaction("items");
    const all = deed.objectStore("items").getAll();
    deed.oncomplete = () => {
      ask.result.close();
      window.held = JSON.stringify(all.result);
    };
  };
}
const { held } = window;
if (held) delete window.held;
return held;"""
