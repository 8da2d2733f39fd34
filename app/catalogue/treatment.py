"""What is known of treating: activities, what asks for them, and what is published."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from app.catalogue.activities import activity, check_answers
from app.catalogue.deficits import deficits
from app.catalogue.evidence import Evidence, check_cited, known_of
from app.catalogue.fields import CatalogueError
from app.clinical.activity import Activity
from app.clinical.deficit import Deficits
from app.clinical.evidence import IcfCode
from app.clinical.measure import Measure
from app.clinical.source import Source

Read = Callable[[Path], Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class Treatment:
    """Everything of treating in a catalogue's folder; each part may be absent."""

    activities: Mapping[str, Activity]
    deficits: Deficits
    evidence: Evidence
    icf: Mapping[str, IcfCode]

    @property
    def cited(self) -> dict[str, Mapping[str, Source]]:
        """The sources by the file that lists them."""
        return {
            "deficits.toml": self.deficits.sources,
            "evidence.toml": self.evidence.sources,
        }


def treatment(folder: Path, read: Read, measures: Mapping[str, Measure]) -> Treatment:
    """Read it; what an activity answers and cites must be there."""
    activities = _activities(folder / "activities", read)
    path = folder / "deficits.toml"
    asked = deficits(read(path), path.name, measures) if path.exists() else Deficits()
    if asked.named and activities:
        check_answers(activities, asked.named)
    known, codes = known_of(folder, read)
    check_cited(activities, known, codes)
    return Treatment(activities, asked, known, codes)


def _activities(folder: Path, read: Read) -> dict[str, Activity]:
    found: dict[str, Activity] = {}
    for path in sorted(folder.glob("*.toml")):
        made = activity(read(path), path)
        if made.id in found:
            raise CatalogueError(
                f"activities/{path.name}: id: {made.id} is there twice"
            )
        found[made.id] = made
    return found
