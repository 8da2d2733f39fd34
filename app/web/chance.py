"""The chance section of a result: natural frequencies, and one's own figure before.

Nothing typed here is stored: the figure stands in the address as a plain number, so the
page can be printed or reloaded, and it is gone with the page.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from app.clinical.base_rate import BaseRate
from app.clinical.chance import rate_words
from app.clinical.quantities import BadNumber, parse, rounded
from app.clinical.reading import Result
from app.clinical.readings import Reading
from app.clinical.vocabulary import EVENTS, HOWS
from app.web.deps import Form

FIELD: Final = "pretest"
#: Side of a figure's cell and how many stand in a row; the picture holds a hundred.
CELL, ROW, ALL = 10, 10, 100
#: Who had it: a filled diamond. Who had not: a ring. Two shapes, no colour needed.
_FILLED: Final = "M{x} {y}l4 4-4 4-4-4z"
_RING: Final = "M{x} {y}a2.6 2.6 0 1 0 5.2 0a2.6 2.6 0 1 0-5.2 0"


@dataclass(frozen=True, slots=True)
class Picture:
    """A hundred figures, ten by ten, as two paths; `label` says the same in words."""

    title: str
    label: str
    filled: str
    ring: str


@dataclass(frozen=True, slots=True)
class ChanceView:
    """What the section shows. `says` is empty when `why_not` says why there is none."""

    says: str
    detail: str
    why_not: str
    pictures: tuple[Picture, ...]
    base: BaseRate | None
    base_says: str
    base_how: str
    own: str
    takes_own: bool


def chance_view(result: Result, form: Form) -> ChanceView | None:
    """None when nobody would ask: no limit about falls leads, and nothing was typed."""
    chance = next((r for r in result.readings if r.kind == "chance"), None)
    lead, typed = result.leading, form.text(FIELD)
    if chance is None and not typed and (lead is None or lead.outcome_type != "falls"):
        return None
    base = chance.base if chance else None
    return ChanceView(
        says=chance.says if chance else "",
        detail=chance.detail if chance else "",
        why_not="" if chance else result.no_chance_because,
        pictures=_pictures(chance) if chance else (),
        base=base,
        base_says=f"{EVENTS[base.event]}, {base.over}: {rate_words(base)}"
        if base
        else "",
        base_how=HOWS[base.how] if base else "",
        own=typed,
        takes_own=result.takes_pretest,
    )


def read_percent(text: str) -> Decimal:
    """A chance of 0.1 to 99.9 per cent as a share; else BadNumber says what to type."""
    value, _ = parse(text.strip().removesuffix("%"), ("%",))
    if not Decimal("0.1") <= value <= Decimal("99.9"):
        raise BadNumber("Type a number above 0 and below 100, like 27.")
    return value / 100


def _pictures(chance: Reading) -> tuple[Picture, ...]:
    """Before and after, side by side; none where no chance after is defined."""
    if chance.pre is None or chance.post is None:
        return ()
    return (
        _picture("Before the test", chance.pre),
        _picture("With such a score", chance.post),
    )


def _picture(title: str, share: Decimal) -> Picture:
    had = int(rounded(share * 100, 0))
    places = [(CELL * (i % ROW), CELL * (i // ROW)) for i in range(ALL)]
    filled = "".join(_FILLED.format(x=x + 5, y=y + 1) for x, y in places[:had])
    ring = "".join(_RING.format(x=f"{x + 2.4:g}", y=y + 5) for x, y in places[had:])
    return Picture(title, f"{title}: {had} of 100", filled, ring)
