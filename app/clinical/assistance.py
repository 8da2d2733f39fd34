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


def proposed(level: str, helpers: int, share: int | None = None) -> str:
    """The federal code that a level most likely is; to be confirmed each time.

    >>> proposed("moderate", 1, share=55), proposed("moderate", 1, share=50)
    ('03', '02')
    """
    if helpers > 1 or level == "total":
        return "01"
    if level in ALONE:
        return "06"
    if level == "set_up":
        return "05"
    if level in ("supervision", "stand_by", "contact"):
        return "04"
    if level == "minimal":
        return "03"
    # At exactly half the list says neither: the lower level is proposed.
    return "03" if level == "moderate" and (share or 0) > 50 else "02"


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
