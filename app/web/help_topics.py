"""What the help says: one topic for each screen, the keys, what each version changed.

Read strictly from `help.toml` and `changes.toml` beside this file.
"""

from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path

import tomli

from app.clinical.days import full_day

HERE = Path(__file__).parent


@dataclass(frozen=True, slots=True)
class Topic:
    """One help text: its lines, and the page templates it belongs to."""

    id: str
    title: str
    screens: tuple[str, ...]
    text: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Keys:
    """Keys that do the same in one place; named as `KeyboardEvent.key` names them."""

    where: str
    press: tuple[str, ...]
    does: str


@dataclass(frozen=True, slots=True)
class Release:
    """One version, the day it was made (ISO) and what it changed for a user."""

    version: str
    day: str
    changed: tuple[str, ...]
    before: tuple[str, ...]


@cache
def topics() -> dict[str, Topic]:
    """All topics by id, in the order of the file."""
    read = _file("help.toml")["topic"]
    made = [
        Topic(t["id"], t["title"], tuple(t["screens"]), tuple(t["text"])) for t in read
    ]
    return {topic.id: topic for topic in made}


@cache
def keyboard() -> tuple[Keys, ...]:
    """The keyboard map."""
    return tuple(
        Keys(k["where"], tuple(k["press"]), k["does"])
        for k in _file("help.toml")["keys"]
    )


@cache
def releases() -> tuple[Release, ...]:
    """What each version changed, the newest first."""
    return tuple(
        Release(
            r["version"],
            full_day(date.fromisoformat(r["day"])),
            tuple(r["changed"]),
            tuple(r.get("before", ())),
        )
        for r in _file("changes.toml")["release"]
    )


@cache
def _by_screen() -> dict[str, Topic]:
    return {screen: t for t in topics().values() for screen in t.screens}


def topic_of(template: str) -> Topic | None:
    """The topic of a page's template; None where there is none, as for a fragment."""
    return _by_screen().get(template)


@cache
def _file(name: str) -> dict[str, list[dict[str, str]]]:
    return tomli.loads((HERE / name).read_text(encoding="utf-8"))
