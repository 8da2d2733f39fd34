"""An episode on one time axis: tests, activities, stops and goals; and as a table."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from app.clinical.timeline import Seen, Tick, axis
from app.clinical.timeline_rows import RowView
from app.clinical.vocabulary import EPISODE_ENDS
from app.storage.episodes import episode_for
from app.storage.errors import NotFound
from app.storage.patients import patient_for
from app.web.care_doses import dose_lanes
from app.web.care_facts import Care, Fact, Facts, care_of
from app.web.care_lanes import CareLane, KeyLine, shapes_of
from app.web.care_rows import CareBar, Said, goal_bars, happening_rows, order_bars
from app.web.care_scores import score_lanes
from app.web.dates import day_words
from app.web.deps import Now, ReadSession, RowId, SignedIn, SiteDep, Zone, page
from app.web.dose_lines import count_words
from app.web.open_visit import open_visit_of

router = APIRouter()
#: Stops and falls told in words; those before stand in the table.
MOST_SAID: Final = 3
#: What each mark of a lane means, in the order they are told.
KEY: Final = {
    "latest": "the latest",
    "pin": "before it, and compares with it",
    "other": "in another set-up: does not compare",
    "error": "what measuring alone can do to the latest",
    "unable": "unable: no number",
    "stopped": "stopped for safety",
    "declined": "declined or not done",
    "goal": "a goal, at the day it is due",
    "dashes": "one dash for each set of that day",
    "off": "an arrowhead: beyond the end of the tape",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CarePicture:
    """The whole page, ready to print."""

    since: str
    summary: str
    axis: tuple[Seen[Tick], ...]
    rows: tuple[RowView, ...]
    said: tuple[Said, ...]
    said_before: int
    tests: tuple[CareLane, ...]
    activities: tuple[CareLane, ...]
    goals: tuple[CareBar, ...]
    orders: tuple[CareBar, ...]
    key: tuple[KeyLine, ...]
    table: tuple[Fact, ...]

    @property
    def is_empty(self) -> bool:
        """Nothing was done yet: orders and goals alone make no picture of care."""
        return not (self.rows or self.tests or self.activities)


@router.get("/patients/{patient_id}/episodes/{episode_id}/picture")
def show(
    request: Request, me: SignedIn, session: ReadSession, site: SiteDep, now: Now,
    zone: Zone, patient_id: RowId, episode_id: RowId,
) -> HTMLResponse:  # fmt: skip
    patient = patient_for(session, me, patient_id)
    episode = episode_for(session, me, episode_id)
    if episode.patient_id != patient.id:
        raise NotFound
    today = now.astimezone(zone).date()
    care = care_of(session, site.catalogue, patient, episode, today)
    return page(
        request,
        "episodes/picture.html",
        patient=patient,
        episode=episode,
        ended=EPISODE_ENDS.get(episode.end_reason or "", ""),
        view=care_picture(care, today),
        open_visit=open_visit_of(request, session, patient.id),
    )


def care_picture(care: Care, today: date) -> CarePicture:
    """The picture and its table, from the same facts."""
    facts, span = Facts(care.span.last), care.span
    rows, said = happening_rows(care, facts)
    goals, dues = goal_bars(care, facts)
    tests = score_lanes(care, facts, dues)
    activities = dose_lanes(care, facts)
    orders = order_bars(care, facts)
    return CarePicture(
        since=day_words(span.first, today),
        summary=_summary(care, rows, today),
        axis=axis(span, "today" if span.last == today else ""),
        rows=tuple(rows),
        said=tuple(said[:MOST_SAID]),
        said_before=max(0, len(said) - MOST_SAID),
        tests=tuple(tests),
        activities=tuple(activities),
        goals=tuple(goals),
        orders=tuple(orders),
        key=tuple(_key([*tests, *activities])),
        table=tuple(facts.table()),
    )


def _summary(care: Care, rows: Sequence[RowView], today: date) -> str:
    """`35 days to today: 9 visits, 1 missed; no stop, no fall.`"""
    counts = {row.name: _count(row) for row in rows}
    visits = count_words(counts.get("Visits", 0), "visit")
    missed = f", {counts['Missed']} missed" if "Missed" in counts else ""
    unsafe = ", ".join(
        count_words(counts[name], one) if name in counts else f"no {one}"
        for name, one in (("Stops", "stop"), ("Falls", "fall"))
    )
    until = "today" if care.span.last == today else day_words(care.span.last, today)
    days = count_words(care.span.days + 1, "day")
    return f"{days} to {until}: {visits}{missed}; {unsafe}."


def _count(row: RowView) -> int:
    """Facts of a row, however many of them one mark stands for."""
    return len({fact for seen in row.marks for fact in seen.it.of})


def _key(lanes: Sequence[CareLane]) -> Iterator[KeyLine]:
    """Only what is drawn on this page."""
    drawn = {shape for lane in lanes for shape in shapes_of(lane)}
    for shape, words in KEY.items():
        if shape in drawn:
            yield KeyLine(shape, words)
