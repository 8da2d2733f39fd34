"""What a page costs the network, as the browser received it, against the budgets."""

from collections import Counter
from collections.abc import Callable
from typing import Any

from tests.journeys.conftest import OpenPhone, Phone
from tests.journeys.deeds import STANDS, open_round

KB = 1000
FIRST_LOAD, LATER_PAGE, OWN_SCRIPT = 60 * KB, 20 * KB, 25 * KB


class Meter:
    """Counts bytes on the wire, answers' headers included, until it is read."""

    def __init__(self, phone: Phone) -> None:
        self.phone = phone
        self.bytes: Counter[str] = Counter()
        self.paths: dict[str, str] = {}
        wire = phone.context.new_cdp_session(phone.page)
        wire.send("Network.enable")
        wire.on("Network.responseReceived", self._seen)
        wire.on("Network.loadingFinished", self._done)

    def _seen(self, event: dict[str, Any]) -> None:
        self.paths[event["requestId"]] = event["response"]["url"]

    def _done(self, event: dict[str, Any]) -> None:
        kind = kind_of(self.paths.get(event["requestId"], ""))
        self.bytes[kind] += int(event["encodedDataLength"])

    def read(self) -> Counter[str]:
        """What came since the last reading, by kind; the page has come to rest."""
        self.phone.page.wait_for_load_state("networkidle")
        found, self.bytes = self.bytes, Counter()
        return found


def kind_of(url: str) -> str:
    if "/static/" not in url:
        return "page"
    return "own script" if "/js/" in url else "style, icons, htmx"


def test_pages_are_light(
    open_phone: OpenPhone,
    patient_id: int,
    record_property: Callable[[str, object], None],
) -> None:
    phone = open_phone(service_workers="block")
    meter = Meter(phone)
    phone.goto("/caseload")
    first = meter.read()
    open_round(phone, patient_id, STANDS)
    meter.read()
    later: dict[str, int] = {}
    for name, path in {
        "round": phone.page.url.removeprefix(phone.live.url),
        "brief": f"/patients/{patient_id}",
        "choose a test": f"/patients/{patient_id}/measures",
        "ready list": f"/patients/{patient_id}/measures/{STANDS}/ready",
        "caseload": "/caseload",
    }.items():
        phone.goto(path)
        later[name] = meter.read().total()

    fresh = open_phone(service_workers="block")
    meter = Meter(fresh)
    open_round(fresh, patient_id, STANDS)
    script = meter.read()["own script"]
    lines = [f"first load {first.total() / KB:.1f} of {FIRST_LOAD / KB:.0f} KB "
             f"({', '.join(f'{k} {v / KB:.1f}' for k, v in first.items())})",
             f"own script of a round {script / KB:.2f} of {OWN_SCRIPT / KB:.0f} KB",
             *(f"{name} {size / KB:.1f} of {LATER_PAGE / KB:.0f} KB"
               for name, size in later.items())]  # fmt: skip
    for line in lines:
        record_property("page weight", line)

    assert first["own script"] > 5 * KB, "nothing was measured"
    assert all(size > KB / 2 for size in later.values()), "nothing was measured"
    assert first.total() <= FIRST_LOAD, lines
    assert script <= OWN_SCRIPT, lines
    assert max(later.values()) <= LATER_PAGE, lines
