"""Which press counts when two phones work one stopwatch.

The owner's phone opened the round and is the truth of what ran: it can always start and
stop by itself. The helper's phone asks. Of two presses in one state the one that came
first counts; the other is too late. What is told here is told in order of arrival.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from math import ceil
from typing import Final

from app.clinical.two_clocks import Ran, Stamp, between

OWNER, HELPER = "owner", "helper"
SIDES: Final = (OWNER, HELPER)
KINDS: Final = ("start", "stop", "safe", "clear")
#: An owner who starts this soon after the helper meant the same start.
SAME_START_MS: Final = 3_000.0


@dataclass(frozen=True, slots=True)
class Press:
    """One thing told: `clear` says that the owner's pad is ready for another trial."""

    trial: str
    kind: str
    side: str
    person: int
    stamp: Stamp


@dataclass(frozen=True, slots=True)
class Standing:
    """What runs now. `heard`: kinds the owner's phone has said of this trial itself."""

    phase: str = "idle"
    trial: str = ""
    start: Press | None = None
    stop: Press | None = None
    heard: frozenset[str] = frozenset()
    #: The last press that came too late, and the last stop that counted.
    late: Press | None = None
    ended: Press | None = None

    @property
    def ran(self) -> Ran | None:
        if self.start is None or self.stop is None:
            return None
        return between(self.start.stamp, self.stop.stamp)

    @property
    def waits_for_owner(self) -> bool:
        """The owner's phone has not said yet that it knows of the helper's press."""
        last = self.stop or self.start
        return bool(last and last.side == HELPER and last.kind not in self.heard)


def standing(
    presses: Iterable[Press], stored: Collection[str] = frozenset()
) -> Standing:
    """Where all presses so far have led to; `stored` are trials that are saved."""
    now = Standing()
    for press in presses:
        if now.phase == "stopped" and now.trial in stored and press.kind == "start":
            now = Standing(
                ended=now.ended
            )  # saved from the helper's phone, and the owner's is away
        now = after(now, press)
    return now


def after(now: Standing, press: Press) -> Standing:
    """What follows from one more press."""
    act = {"start": _start, "stop": _stop, "safe": _stop, "clear": _clear}[press.kind]
    led_to = act(now, press)
    if led_to is not None:
        return led_to
    heard = now.heard
    if press.side == OWNER and press.trial == now.trial:
        heard = heard | {press.kind}  # an echo of what the helper did
    late = now.late
    if press.side == HELPER and press.kind != "clear":
        late = press
    return replace(now, heard=heard, late=late)


def _start(now: Standing, press: Press) -> Standing | None:
    if press.side == HELPER:
        free = now.phase == "idle"
    else:
        free = press.trial != now.trial and not _meant_the_same(now, press)
    if not free:
        return None
    heard = frozenset({"start"} if press.side == OWNER else ())
    return Standing("running", press.trial, press, None, heard, ended=now.ended)


def _meant_the_same(now: Standing, press: Press) -> bool:
    """The helper had started it a moment before, and this phone did not know yet."""
    start = now.start
    if now.phase != "running" or start is None or start.side == OWNER:
        return False
    if "start" in now.heard:
        return False
    ran = between(start.stamp, press.stamp)
    return ran is not None and 0 <= ran.ms <= SAME_START_MS


def _stop(now: Standing, press: Press) -> Standing | None:
    """A stop for safety counts also when nothing runs, or after a plain stop."""
    safe = press.kind == "safe"
    known = press.trial == now.trial
    if not (safe or (known and now.phase == "running")):
        return None
    if safe and now.stop is not None and now.stop.kind == "safe" and known:
        return None
    start = now.start if known else None
    heard = (now.heard if known else frozenset()) - {"stop", "safe"}
    if press.side == OWNER:
        heard = heard | {press.kind}
    return Standing("stopped", press.trial, start, press, heard, ended=press)


def _clear(now: Standing, press: Press) -> Standing | None:
    if press.side != OWNER or press.trial != now.trial:
        return None
    return Standing(late=now.late, ended=now.ended)


def pressed_words(pressed: Mapping[str, str], bound_ms: float | None) -> str:
    """Who pressed and how sure the time is, as it stands beside a trial.

    >>> pressed_words({"start": "helper", "stop": "owner"}, 18.2)
    "start by helper's phone, stop by owner's phone, +/- 0.02 s"
    """
    start, stop = pressed.get("start", ""), pressed.get("stop", "")
    if start == stop:
        who = f"start and stop by {start}'s phone"
    else:
        parts = [
            f"{k} by {s}'s phone" for k, s in (("start", start), ("stop", stop)) if s
        ]
        who = ", ".join(parts)
    if bound_ms is None:
        return f"{who}, clocks not compared"
    if bound_ms == 0:
        return f"{who}: one clock"
    return f"{who}, +/- {max(1, ceil(bound_ms / 10)) / 100:.2f} s"
