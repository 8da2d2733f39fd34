"""What a demo visit holds besides its tests: answers, vital signs, tasks, the end.

Read by the pages' own readers: what a form would refuse is refused here, by its key.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import time, timedelta
from typing import Final

from app.catalogue.fields import Table
from app.catalogue.load import Catalogue
from app.clinical.assistance import FEDERAL
from app.clinical.visiting import HAND_OFF_TO, KINDS, MINUTES, STRIP_STATES
from app.commands.demo_forms import Reader, Said, read_form
from app.commands.demo_rooms import (
    DemoChange,
    DemoMeasure,
    read_change,
    read_measured,
)
from app.web import visit_forms

SYMPTOMS: Final = ("agreed", "pain", "dizzy", "fell", "slept", "words")
VITALS: Final = (
    "position", "systolic", "diastolic", "heart_rate", "saturation", "breathing",
    "pain", "dizziness", "carrier", "flow", "arm", "effort", "effort_scale",
)  # fmt: skip
TASK: Final = (
    "task", "level", "share", "helpers", "cue_kind", "cue_amount", "device_kind",
    "device", "set_up_kind", "set_up", "note", "not_done",
)  # fmt: skip
#: How long each thing takes, and what is written after the door.
EACH: Final = timedelta(minutes=2)


@dataclass(frozen=True, slots=True)
class DemoTask:
    """One task and the code it was given, if it was given one."""

    said: Said
    code: str


@dataclass(frozen=True, slots=True)
class DemoEnd:
    """How a visit was closed. `own_words`: what was handed in or signed with them."""

    until: time
    minutes: Mapping[str, int]
    hand_off: str
    strip: str
    left_without: str
    own_words: str


@dataclass(frozen=True, slots=True)
class DemoContent:
    """All that a visit holds besides its tests; one without an end stays open."""

    kind: str = "treatment"
    symptoms: tuple[Said, ...] = ()
    vitals: tuple[Said, ...] = ()
    tasks: tuple[DemoTask, ...] = ()
    rooms: tuple[DemoMeasure, ...] = ()
    changes: tuple[DemoChange, ...] = ()
    end: DemoEnd | None = None


def read_content(t: Table, shelf: Catalogue) -> DemoContent:
    """Take these keys out of a visit's table; raise CatalogueError."""
    rooms = tuple(read_measured(row, shelf) for row in t.tables("room"))
    return DemoContent(
        kind=t.word("kind", [kind for kind in KINDS if kind != "missed"], "treatment"),
        symptoms=_rows(t, "symptoms", SYMPTOMS, visit_forms.symptoms),
        vitals=_rows(t, "vitals", VITALS, visit_forms.vitals),
        tasks=tuple(_task(row) for row in t.tables("task")),
        rooms=rooms,
        changes=tuple(read_change(row, rooms) for row in t.tables("change")),
        end=_end(t) if t.has("until") else None,
    )


def _rows(
    t: Table, key: str, fields: tuple[str, ...], read: Reader
) -> tuple[Said, ...]:
    found = []
    for row in t.tables(key):
        found.append(read_form(row, fields, read))
        row.done()
    return tuple(found)


def _task(row: Table) -> DemoTask:
    said = read_form(row, TASK, visit_forms.task)
    made = DemoTask(said, row.word("code", FEDERAL) if row.has("code") else "")
    row.done()
    return made


def _end(t: Table) -> DemoEnd:
    try:
        until = time.fromisoformat(t.text("until"))
    except ValueError as fault:
        raise t.wrong("until", "write a time of day like 10:25") from fault
    spent = Table(t.table("minutes"), f"{t.where}: minutes")
    minutes = {name: spent.whole(name) or 0 for name in MINUTES if spent.has(name)}
    spent.done()
    left = t.text("left_without", "")
    hand_off = "" if left else t.word("hand_off", HAND_OFF_TO)
    strip = t.word("strip", STRIP_STATES, "removed")
    return DemoEnd(until, minutes, hand_off, strip, left, t.text("own_words", ""))
