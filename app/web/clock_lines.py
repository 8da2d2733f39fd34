"""The clocks of an episode as the brief shows them: how far they ran, and by whom."""

from dataclasses import dataclass
from datetime import date
from typing import Final

from fastapi import Request
from sqlmodel import Session

from app.clinical.owing import (
    REASSESS_SOURCE,
    RECERTIFY_SOURCE,
    REPORT_SOURCE,
    owed_by,
)
from app.storage.episodes import Episode
from app.storage.owing import last_events, treatment_days
from app.web.dates import day_words
from app.web.deps import site_of

WORDS: Final = {
    "report": ("Progress report", "Report written today", REPORT_SOURCE),
    "recertify": ("Recertification", "Recertified today", RECERTIFY_SOURCE),
    "reassess": ("Reassessment", "Reassessed today", REASSESS_SOURCE),
}


@dataclass(frozen=True, slots=True)
class ClockLine:
    """One clock as it is shown."""

    kind: str
    title: str
    says: str
    due: bool
    answer: str
    source: str


def clock_lines(
    session: Session, request: Request, episode: Episode | None, today: date
) -> list[ClockLine]:
    """Nothing before the first treatment."""
    if episode is None:
        return []
    last = last_events(session, episode)
    found = owed_by(
        treatment_days(session, episode),
        clocks=site_of(request).settings.clocks,
        reported=last.get("report"),
        certified=last.get("recertify"),
        reassessed=last.get("reassess"),
    )
    lines = []
    for owed in found:
        title, answer, source = WORDS[owed.kind]
        says = owed.words if owed.kind == "report" else ""
        if owed.due_on is not None and owed.kind != "report":
            says = f"due {day_words(owed.due_on, today)}"
        due = owed.due_on is not None and owed.due_on <= today
        lines.append(ClockLine(owed.kind, title, says, due, answer, source))
    return lines
