"""What a test asks of the person and of the room: closed keys, for choosing.

A composite states neither: it needs what its parts need.
"""

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

from app.catalogue.fields import CatalogueError, Table
from app.clinical.composite import Component
from app.clinical.measure import Measure
from app.clinical.vocabulary import ABILITIES, KIT_ITEMS

#: The least demanding first.
LEAST_FIRST = tuple(ABILITIES)


def needs_of(t: Table) -> dict[str, Any]:
    """The three keys as written; empty where the file is silent."""
    metres = t.number("walk_metres")
    if metres is not None and metres <= 0:
        raise t.wrong("walk_metres", "must be metres above zero")
    return {
        "needs": t.word("needs", ABILITIES) if t.has("needs") else "",
        "walk_metres": metres,
        "kit_items": t.words("kit_items", KIT_ITEMS),
    }


def check_needs(m: Measure, name: str) -> None:
    """Every test says what it needs, and in agreement with its kind and posture."""
    made = m.kind == "composite"
    kit = set(m.kit_items)
    asks = {
        "needs: a composite has none of its own": not (made and m.needs),
        "needs: is missing": bool(made or m.needs),
        "needs: a seated test asks no standing": m.posture != "seated"
        or m.needs == "sits",
        "kit_items: a composite has none of its own": not (made and kit),
        "kit_items: a test that is timed takes a stopwatch": not (
            m.timed or m.window_seconds
        )
        or "stopwatch" in kit,
        "kit_items: pressures take a cuff": m.kind != "pressure" or "cuff" in kit,
        "walk_metres: only who walks has a walk": m.walk_metres is None
        or m.needs == "walks",
        "walk_metres: a speed has its courses": m.walk_metres is None
        or m.kind != "speed",
    }
    for says, fine in asks.items():
        if not fine:
            raise CatalogueError(f"{name}: {says}")


def followed(m: Measure, others: Mapping[str, Measure]) -> Measure:
    """The measure with what follows: the shortest course, and the needs of parts.

    A total takes every part; a power takes one, so the easiest part is enough.
    """
    if m.kind == "speed":
        return replace(m, walk_metres=min(m.course.values()))
    if m.kind != "composite":
        return m
    parts = [(others[c.measure], _walk(c, others[c.measure])) for c in m.components]
    if m.formula != "points":
        parts = [min(parts, key=lambda p: LEAST_FIRST.index(p[0].needs))]
    walks = [metres for _, metres in parts if metres is not None]
    kit = {item for part, _ in parts for item in part.kit_items}
    return replace(
        m,
        needs=max((part.needs for part, _ in parts), key=LEAST_FIRST.index),
        walk_metres=max(walks, default=None),
        kit_items=tuple(item for item in KIT_ITEMS if item in kit),
    )


def _walk(part: Component, other: Measure) -> Decimal | None:
    """How far the part is walked at least: its shortest course that has points."""
    courses = [metres for name, metres in other.course.items() if name in part.bands]
    return min(courses) if courses else other.walk_metres
