"""What is known of treating: a published figure, how it is known, what it is about.

Nothing here judges a person: it stands beside a dose, and says where it comes from.
"""

from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

#: What a fact is about.
TOPICS: Final = MappingProxyType(
    {
        "falls": "falls and exercise",
        "dose": "how much, how often",
        "stepping": "stepping",
        "sitting": "sitting",
        "rising": "rising from a seat",
        "practice": "how much practice people get",
        "daily": "dressing and self-care",
        "cueing": "cues and Parkinson disease",
        "dual_task": "two things at once",
        "flexibility": "flexibility",
        "home": "at home",
        "rules": "orders and safety",
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceFact:
    """One claim with its figure. `how` says how well it is known.

    `sources` are keys of publications; `read_in` the one it was read in, where that is
    another; `differs` the key of a fact that says otherwise, which is kept too.
    """

    key: str
    topic: str
    claim: str
    figure: str
    how: str
    sources: tuple[str, ...]
    read_in: str = ""
    differs: str = ""
    note: str = ""

    @property
    def confirmed(self) -> bool:
        """False for what was recalled and not read."""
        return self.how != "memory"


@dataclass(frozen=True, slots=True)
class IcfCode:
    """A code of the classification of functioning, its label in our own words."""

    code: str
    label: str
    how: str
