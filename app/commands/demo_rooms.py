"""What a demo visit measures in rooms and would change there."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from app.catalogue.fields import Table
from app.catalogue.load import Catalogue
from app.clinical.room_changes import STATES
from app.commands.demo_forms import Said, read_form
from app.web import room_form
from app.web.deps import Form

ROOM: Final = ("room", "thing", "value", "unit", "phase", "note")
CHANGE: Final = ("room", "change", "who", "words")


@dataclass(frozen=True, slots=True)
class DemoMeasure:
    """One length in a room. `of` names the change whose outcome it is."""

    said: Said
    of: str


@dataclass(frozen=True, slots=True)
class DemoChange:
    """Something to change: `state` is how far it got in this visit.

    `before` is the thing measured in this visit that shows why.
    """

    name: str
    said: Said
    before: str
    state: str


def read_measured(row: Table, shelf: Catalogue) -> DemoMeasure:
    def read(form: Form, errors: dict[str, str]) -> dict[str, Any]:
        return room_form.measure(form, errors, shelf.dimensions.things)

    made = DemoMeasure(read_form(row, ROOM, read), row.text("of", ""))
    if made.of and made.said["phase"] != "after":
        raise row.wrong("of", "only what was measured after it")
    row.done()
    return made


def read_change(row: Table, rooms: tuple[DemoMeasure, ...]) -> DemoChange:
    made = DemoChange(
        row.text("name"),
        read_form(row, CHANGE, room_form.change),
        row.word("before", [m.said["thing"] for m in rooms]),
        row.word("state", STATES, "proposed"),
    )
    row.done()
    return made


def check_changes(
    t: Table,
    visits: Iterable[tuple[tuple[DemoMeasure, ...], tuple[DemoChange, ...]]],
) -> None:
    """Nothing is measured after a change that no earlier visit named."""
    named = {""}
    for measures, changes in visits:
        for measured in measures:
            if measured.of not in named:
                raise t.wrong("room: of", f"no change {measured.of!r} before")
        named |= {change.name for change in changes}
