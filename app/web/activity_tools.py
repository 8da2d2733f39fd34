"""The tools for doing an activity, each on its own, to try: nothing is kept."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated, Final

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from app.clinical.activity import CALLERS, Caller
from app.storage.errors import NotFound
from app.web.deps import SignedIn, page

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Tool:
    """One tool to try; `caller` when it is one that calls."""

    key: str
    name: str
    about: str
    caller: Caller | None = None


_SIDES: Final = ("left", "right")
_ROUND: Final = ("front", "right", "back", "left")
TOOLS: Final = (
    Tool("count", "Counting", "A pad that counts at the touch, and one for errors."),
    Tool("hold", "Holds", "One pad starts and stops, several times in a set."),
    Tool("time", "Time of a set", "One clock for the whole set."),
    Tool("rest", "Rest", "Counts down after a set."),
    Tool("distance", "Distance", "Inches or centimetres of the strip, step by step."),
    Tool("beat", "Beat", "Heard, seen or felt, 40 to 140 a minute."),
    Tool(
        "clock",
        "Caller: clock positions",
        "Calls an hour of the ring.",
        Caller("clock", tuple(str(hour) for hour in range(1, 13))),
    ),
    Tool(
        "directions",
        "Caller: directions",
        "Calls where to step.",
        Caller("directions", _ROUND),
    ),
    Tool(
        "go_stop",
        "Caller: go or stop",
        "Calls a side, or stop; by the opposite rule too.",
        Caller("go_stop", _SIDES, calls=12),
    ),
    Tool(
        "sequence",
        "Caller: a sequence to remember",
        "Calls several places, then: now.",
        Caller("sequence", _ROUND, calls=4),
    ),
    Tool(
        "subtract",
        "Caller: counting down",
        "Gives a number to count down from, aloud.",
        Caller("subtract"),
    ),
    Tool(
        "marks",
        "Caller: marks of the strip",
        "Calls an inch mark.",
        Caller("marks", ("6", "12", "18", "24"), pace_s=Decimal(3)),
    ),
)


@router.get("/activities/tools")
def show(
    request: Request,
    _me: SignedIn,
    tool: Annotated[str, Query(max_length=12)] = "",
) -> HTMLResponse:
    """All tools, or the one that is asked for."""
    chosen = next((each for each in TOOLS if each.key == tool), None)
    if tool and chosen is None:
        raise NotFound("There is no such tool.")
    return page(
        request, "activities/tools.html", tools=TOOLS, tool=chosen, callers=CALLERS
    )
