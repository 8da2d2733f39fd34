"""How much help a task took, in the trade's words, and the federal six levels.

The share is the patient's part of the effort. Bands after teaching tables (secondary;
several agree; facilities differ at contact guard). The six-level list is that of the
federal assessment item LOINC 89405-5 (full text); the bands and that list do not line
up at their edges, so the code offered is a proposal to be confirmed.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final


@dataclass(frozen=True, slots=True)
class Level:
    """One level: its words, what it means, the patient's share in percent if given."""

    words: str
    short: str
    means: str
    share: tuple[int, int] | None = None


LEVELS: Final[Mapping[str, Level]] = MappingProxyType(
    {
        "independent": Level("independent", "I", "nobody, safely, in reasonable time"),
        "modified": Level(
            "modified independent", "Mod I", "nobody, but with a device or more time"
        ),
        "set_up": Level("set-up or clean-up", "set-up", "help before or after only"),
        "supervision": Level("supervision", "S", "somebody there, cues, no touch"),
        "stand_by": Level("stand-by", "SBA", "somebody within reach, no touch"),
        "contact": Level("contact guard", "CGA", "a hand on person or belt, no lift"),
        "minimal": Level("minimal", "Min A", "patient does 75 % or more", (75, 99)),
        "moderate": Level("moderate", "Mod A", "patient does 50 to 74 %", (50, 74)),
        "maximal": Level("maximal", "Max A", "patient does 25 to 49 %", (25, 49)),
        "total": Level("total", "Total A", "patient does less than 25 %", (0, 24)),
    }
)
#: Nobody's hand, voice or eye is needed.
ALONE: Final = ("independent", "modified")
CUE_KINDS: Final = MappingProxyType(
    {
        "verbal": "verbal",
        "visual": "visual",
        "tactile": "tactile",
        "gestural": "gestural",
        "environment": "of the surroundings",
    }
)
#: How much of the task was cued. Common practice; facilities differ.
CUE_AMOUNTS: Final = MappingProxyType(
    {
        "occasional": "occasional, under 25 % of the task",
        "moderate": "moderate, 25 to 50 %",
        "maximal": "maximal, over 50 %",
    }
)
#: LOINC 89405-5, full text.
FEDERAL: Final = MappingProxyType(
    {
        "06": "independent",
        "05": "set-up or clean-up",
        "04": "supervision or touching",
        "03": "partial or moderate: the helper does less than half",
        "02": "substantial or maximal: the helper does more than half",
        "01": "dependent: the helper does all, or two or more helpers",
        "07": "not attempted: refused",
        "09": "not attempted: not applicable, did not do it before",
        "10": "not attempted: surroundings",
        "88": "not attempted: medical condition or safety",
    }
)


@dataclass(frozen=True, slots=True)
class Proposal:
    """The federal code a level most likely is, with its grounds; confirmed each time.

    Without a code it asks: `because` then says what is missing.
    """

    code: str | None
    because: str


#: The list is read in full; which level goes to which of its lines is common practice.
PROPOSAL_SOURCE: Final = (
    "List: LOINC 89405-5, full text; which level goes where: common practice"
)
_LINES: Final = MappingProxyType(
    {
        "independent": ("06", "nobody helped"),
        "modified": ("06", "nobody helped"),
        "set_up": ("05", "help came before or after only"),
        "supervision": ("04", "somebody watched or cued"),
        "stand_by": ("04", "somebody stood by"),
        "contact": ("04", "contact guard is touching"),
        "minimal": ("03", "the patient did most: the helper less than half"),
        "maximal": ("02", "the patient did under half: the helper more than half"),
    }
)


def proposed(
    level: str, helpers: int, share: int | None = None, cued: bool = False
) -> Proposal:
    """The federal code that a level most likely is; to be confirmed each time.

    >>> proposed("moderate", 1, share=55).code, proposed("moderate", 1, share=50).code
    ('03', '02')
    >>> proposed("moderate", 1).code is None
    True
    """
    if level in ALONE and (cued or helpers > 0):
        return Proposal(None, "settle first whether somebody helped or cued")
    if helpers > 1:
        return Proposal("01", "two or more helped")
    if level == "total":
        if not share:
            return Proposal("01", "total is usually 01: the helper does all of it")
        return Proposal(
            "01",
            f"total is usually 01, but the patient did {share} %: where the helper did "
            "not do all of it, look at 02",
        )
    if level == "moderate":
        return _moderate(share)
    return Proposal(*_LINES[level])


def _moderate(share: int | None) -> Proposal:
    """Its band lies on both sides of the list's half, so the share decides."""
    if share is None:
        return Proposal(None, "moderate may be 03 or 02: enter the patient's share")
    helper = f"the patient did {share} %, the helper {100 - share} %"
    if share > 50:
        return Proposal("03", f"{helper}: less than half")
    return Proposal("02", f"{helper}: at exactly half the lower code is usual")


def contradictions(level: str, helpers: int, cued: bool) -> tuple[str, ...]:
    """What cannot both be true of one task; said, never refused."""
    words = LEVELS[level].words
    said = []
    if level in ALONE and cued:
        said.append(f"{words.capitalize()} and cued: cueing is supervision.")
    if level in ALONE and helpers > 0:
        said.append(f"{words.capitalize()} with a helper: which of the two?")
    if level not in (*ALONE, "set_up") and helpers == 0:
        said.append(f"{words.capitalize()} without a helper: how many were there?")
    return tuple(said)
