"""Two engines spoken to in the commands of W3C WebDriver, each over its own wire.

Commands and their parameters: W3C, WebDriver, https://www.w3.org/TR/webdriver2/ (from
memory, and answered by both engines as sent here). WebKit takes them over HTTP from
WebKitWebDriver. Firefox takes the same ones over TCP, named and framed as its
Marionette does (from memory, and answered), so that no driver has to be fetched for it.
"""

import json
import os
import shutil
import socket
import subprocess
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Any, Protocol, TypeVar

import httpx

Found = TypeVar("Found")
PHONE = (390, 844)
#: Set when the engines are asked for; names the folder for pictures.
ASKED = "TAPELINE_TEST_ENGINES"
#: A deadline for a machine under load, not a budget.
LONGEST_S = 60
#: What is asked of an engine: by its name in Marionette, by method and path over HTTP.
COMMANDS = {
    "go": ("WebDriver:Navigate", "POST", "url"),
    "again": ("WebDriver:Refresh", "POST", "refresh"),
    "script": ("WebDriver:ExecuteScript", "POST", "execute/sync"),
    "act": ("WebDriver:PerformActions", "POST", "actions"),
    "picture": ("WebDriver:TakeScreenshot", "GET", "screenshot"),
    "cookie": ("WebDriver:AddCookie", "POST", "cookie"),
    "no_cookies": ("WebDriver:DeleteAllCookies", "DELETE", "cookie"),
}
#: Nothing leaves this machine: whatever is not local goes to a port nobody listens on.
PREFERENCES: dict[str, object] = {
    "marionette.port": 0,
    "ui.useOverlayScrollbars": 1,  # as on a phone
    "network.proxy.type": 1,
    "network.proxy.http": "127.0.0.1",
    "network.proxy.http_port": 9,
    "network.proxy.ssl": "127.0.0.1",
    "network.proxy.ssl_port": 9,
    "services.settings.server": "data:,",
    "app.update.enabled": False,
    "datareporting.policy.dataSubmissionEnabled": False,
    "browser.shell.checkDefaultBrowser": False,
}
#: Firefox has no window this narrow; the page in it may be.
NARROW = """const { style } = gBrowser.selectedBrowser;
for (const [side, px] of [["width", arguments[0]], ["height", arguments[1]]]) {
  for (const what of [side, `min-${side}`, `max-${side}`]) {
    style.setProperty(what, `${px}px`);
  }
}"""
#: Nor has WebKit's plain browser, but for a window that a page opens without bars;
#: its title takes a part of the height.
TITLE = 38
OPENER = (
    "data:text/html,<button onclick=\"open('about:blank','',"
    f"'width={PHONE[0]},height={PHONE[1] + TITLE},toolbar=no,location=no')\">open"
)
MINI = "webkit2gtk-4.1/MiniBrowser"


class EngineError(Exception):
    """What an engine answered instead of doing it."""


class Engine(Protocol):
    """A browser with one window of a phone's size."""

    name: str
    version: str

    def ask(self, command: str, **what: Any) -> Any:
        """Do one of COMMANDS; EngineError with the engine's own words."""

    def close(self) -> None: ...


def missing(name: str) -> str | None:
    """Why this engine cannot run here, or None."""
    needs = {
        "firefox": {"firefox-esr": "firefox-esr"},
        "webkit": {"WebKitWebDriver": "webkit2gtk-driver", "Xvfb": "xvfb"},
    }[name]
    lacking = [package for tool, package in needs.items() if not shutil.which(tool)]
    return f"not installed: Debian's {', '.join(lacking)}" if lacking else None


def soon(look: Callable[[], Found | None], what: str) -> Found:
    end = time.monotonic() + LONGEST_S
    while time.monotonic() < end:
        found = look()
        if found is not None:
            return found
        time.sleep(0.05)
    raise EngineError(f"{what}: waited {LONGEST_S} s in vain")


def run(
    stack: ExitStack, log: Path, *command: str, **environment: str
) -> subprocess.Popen[bytes]:
    """A program that is ended with the stack; what it says goes to a file."""
    said = stack.enter_context(log.open("wb"))
    process = subprocess.Popen(
        command,
        stdout=said,
        stderr=said,
        env={**os.environ, **environment},
    )
    stack.callback(process.wait, LONGEST_S)
    stack.callback(process.terminate)
    return process


class Firefox:
    """Debian's Firefox without a screen, through its Marionette."""

    name = "firefox"

    def __init__(self, folder: Path) -> None:
        self.stack = ExitStack()
        lines = (
            f"user_pref({json.dumps(key)}, {json.dumps(value)});"
            for key, value in PREFERENCES.items()
        )
        (folder / "user.js").write_text("\n".join(lines))
        run(self.stack, folder / "log", "firefox-esr", "--headless", "--marionette",
            "--remote-allow-system-access", "--no-remote", "--profile", str(folder),
            HOME=str(folder))  # fmt: skip
        self.wire = self._connect(folder / "MarionetteActivePort")
        self.answers = self.stack.enter_context(self.wire.makefile("rb"))
        self.count = 0
        self._receive()
        session = self._send("WebDriver:NewSession", {"capabilities": {}})
        self.version = session["capabilities"]["browserVersion"]
        self._send("Marionette:SetContext", {"value": "chrome"})
        self.ask("script", script=NARROW, args=PHONE, sandbox="system")
        self._send("Marionette:SetContext", {"value": "content"})

    def _connect(self, port: Path) -> socket.socket:
        def look() -> socket.socket | None:
            try:
                wire = socket.create_connection(("127.0.0.1", int(port.read_text())))
            except (OSError, ValueError):
                return None
            return wire

        wire = soon(look, "Firefox")
        wire.settimeout(LONGEST_S)
        return self.stack.enter_context(wire)

    def _receive(self) -> Any:
        size = b""
        while (one := self.answers.read(1)) != b":":
            if not one:
                raise EngineError("Firefox hung up")
            size += one
        return json.loads(self.answers.read(int(size)))

    def _send(self, command: str, what: dict[str, Any]) -> Any:
        self.count += 1
        message = json.dumps([0, self.count, command, what]).encode()
        self.wire.sendall(b"%d:%s" % (len(message), message))
        _, _, error, result = self._receive()
        if error:
            raise EngineError(error["message"])
        return result

    def ask(self, command: str, **what: Any) -> Any:
        result = self._send(COMMANDS[command][0], what)
        return result.get("value") if isinstance(result, dict) else result

    def close(self) -> None:
        self._send("Marionette:Quit", {"flags": ["eForceQuit"]})
        self.stack.close()


class WebKit:
    """Debian's WebKitGTK in its plain browser, on a screen that is not there."""

    name = "webkit"

    def __init__(self, folder: Path) -> None:
        self.stack = ExitStack()
        self.http = self.stack.enter_context(httpx.Client(timeout=LONGEST_S))
        screen = self._screen(folder)
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        run(self.stack, folder / "log", "WebKitWebDriver", f"--port={port}",
            DISPLAY=screen, HOME=str(folder), LIBGL_ALWAYS_SOFTWARE="1",
            XDG_CACHE_HOME=str(folder), XDG_DATA_HOME=str(folder))  # fmt: skip
        self.at = f"http://127.0.0.1:{port}/session"
        asked = {"binary": self._browser(), "args": ["--automation"]}
        wanted = {"alwaysMatch": {"webkitgtk:browserOptions": asked}}
        session = soon(lambda: self._begin(wanted), "WebKit")
        self.version = session["capabilities"]["browserVersion"]
        self.at += f"/{session['sessionId']}"
        self._open_narrow()

    def _screen(self, folder: Path) -> str:
        """The number of an X screen that the server itself found free."""
        log = folder / "screen"
        run(self.stack, log, "Xvfb", "-displayfd", "1", "-screen", "0",
            "1280x1024x24", "-nolisten", "tcp")  # fmt: skip

        def number() -> str | None:
            lines = [line for line in log.read_text().splitlines() if line.isdigit()]
            return f":{lines[0]}" if lines else None

        return soon(number, "Xvfb")

    @staticmethod
    def _browser() -> str:
        return str(next(Path("/usr/lib").glob(f"*/{MINI}")))

    def _begin(self, wanted: dict[str, Any]) -> Any:
        try:
            return self._send("POST", "", {"capabilities": wanted})
        except httpx.ConnectError:
            return None

    def _open_narrow(self) -> None:
        self.ask("go", url=OPENER)
        first = set(self._send("GET", "/window/handles"))
        where = {"using": "css selector", "value": "button"}
        button = self._send("POST", "/element", where)
        self._send("POST", f"/element/{next(iter(button.values()))}/click", {})

        def opened() -> str | None:
            return next(iter({*self._send("GET", "/window/handles")} - first), None)

        self._send("POST", "/window", {"handle": soon(opened, "a narrow window")})

    def _send(self, method: str, path: str, what: dict[str, Any] | None = None) -> Any:
        body = what if method == "POST" else None
        answer = self.http.request(method, self.at + path, json=body)
        value = answer.json()["value"]
        if answer.is_error:
            raise EngineError(value["message"] or value["error"])
        return value

    def ask(self, command: str, **what: Any) -> Any:
        _, method, path = COMMANDS[command]
        return self._send(method, f"/{path}", what)

    def close(self) -> None:
        self._send("DELETE", "")
        self.stack.close()


ENGINES: dict[str, Callable[[Path], Engine]] = {"firefox": Firefox, "webkit": WebKit}
