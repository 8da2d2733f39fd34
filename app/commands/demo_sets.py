"""Sets of activities in a demo visit, read as strictly as the bedside takes them."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from app.catalogue.fields import CatalogueError, Table
from app.catalogue.load import Catalogue
from app.clinical.activity import Activity
from app.clinical.allowing import permit
from app.clinical.assistance import CUE_AMOUNTS, CUE_KINDS, LEVELS
from app.clinical.doing import HAND_SUPPORT, OUTCOMES
from app.clinical.make_safe import SYMPTOMS
from app.clinical.visiting import EFFORT_SCALES, NOT_DONE
from app.storage.activity_sets import SetBody

MOST: Final = 9999
#: Whole numbers of a set, as a demo file names them.
WHOLE: Final = ("reps", "steps", "passes", "calls", "correct", "errors", "helpers")


@dataclass(frozen=True, slots=True)
class DemoSet:
    """One set as a phone would have sent it. `voided` is the reason, if it was."""

    activity: str
    body: SetBody
    voided: str


def read_sets(t: Table, shelf: Catalogue) -> tuple[DemoSet, ...]:
    """Take `[[visit.set]]` out of a visit; `times` says how many alike there were."""
    return tuple(made for row in t.tables("set") for made in _sets(row, shelf))


def _sets(t: Table, shelf: Catalogue) -> list[DemoSet]:
    activity = shelf.activities[t.word("activity", shelf.activities)]
    times = t.whole("times") if t.has("times") else 1
    if times is None or not 1 <= times <= 10:
        raise t.wrong("times", "must be 1 to 10")
    outcome = t.word("outcome", OUTCOMES, "done")
    told: dict[str, Any] = {
        "outcome": outcome,
        "reason": t.word("reason", NOT_DONE) if outcome == "not_done" else None,
        "grade": _grade(t, activity),
        **{name: _whole(t, name) for name in WHOLE if t.has(name)},
        **_seconds(t),
        **_effort(t),
        **{
            name: t.word(name, allowed)
            for name, allowed in _CHOICES.items()
            if t.has(name)
        },
        "symptoms": t.words("symptoms", SYMPTOMS),
        "no_symptom": t.flag("no_symptom"),
        "note": t.text("note", ""),
        "override": t.text("override", ""),
    }
    voided = t.text("voided", "")
    t.done()
    return [DemoSet(activity.id, SetBody(**told), voided)] * times


_CHOICES: Final[dict[str, Collection[str]]] = {
    "hand_support": HAND_SUPPORT, "level": LEVELS, "cue_kind": CUE_KINDS,
    "cue_amount": CUE_AMOUNTS,
}  # fmt: skip


def _grade(t: Table, activity: Activity) -> str | None:
    grade = t.number("grade")
    if grade is None:
        return None
    if not activity.grade.within(grade):
        raise t.wrong("grade", f"lies outside the ladder of {activity.id}")
    return f"{grade.normalize():f}"


def _whole(t: Table, key: str) -> int:
    number = t.whole(key)
    if number is None or not 0 <= number <= MOST:
        raise t.wrong(key, f"must be 0 to {MOST}")
    return number


def _seconds(t: Table) -> dict[str, Any]:
    time = t.number("time_s")
    return {
        "time_ms": None if time is None else _ms(time),
        "holds_ms": [_ms(held) for held in t.numbers("holds_s")],
    }


def _ms(seconds: Decimal) -> int:
    return int(seconds * 1000)


def _effort(t: Table) -> dict[str, Any]:
    if not t.has("effort"):
        return {}
    scale = t.word("effort_scale", EFFORT_SCALES, "0-10")
    low, high = EFFORT_SCALES[scale]
    effort = t.whole("effort")
    if effort is None or not low <= effort <= high:
        raise t.wrong("effort", f"must be {low} to {high}")
    return {"effort": effort, "effort_scale": scale}


def check_sets(
    where: str,
    sets: Iterable[DemoSet],
    shelf: Catalogue,
    tags: Iterable[str],
    *,
    may_override: bool,
) -> None:
    """No set that an order or a risk in force kept from being done."""
    held = list(tags)
    for made in sets:
        if made.body.outcome in ("declined", "not_done"):
            continue
        found = permit(shelf.activities[made.activity], held)
        if not found.allows(may_override=may_override, reason=made.body.override):
            against = (*found.orders, *found.risks)[0]
            raise CatalogueError(f"{where}: {made.activity}: in force: {against.label}")
