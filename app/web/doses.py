"""What was done of each activity, session by session: a record, and no verdict."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from app.catalogue.load import Catalogue
from app.clinical.activity import Activity
from app.clinical.assistance import LEVELS
from app.clinical.doing import HAND_SUPPORT, DoneSet
from app.storage.errors import NotFound
from app.storage.patients import patient_for
from app.web.dates import day_words
from app.web.deps import Now, ReadSession, RowId, SignedIn, SiteDep, Zone, page
from app.web.done_sets import done_sets
from app.web.dose_lines import (
    TRIED,
    DoseLine,
    alike_sets,
    amount,
    count_words,
    dose_line,
    times_words,
)
from app.web.dose_picture import Bout, DoseView, Session, dose_picture
from app.web.open_visit import open_visit_of

router = APIRouter()
LANES: Final = ("hands", "help", "effort")


@dataclass(frozen=True, slots=True)
class DoseHistory:
    """One activity of one patient: its lines newest first, and the picture."""

    id: str
    name: str
    sessions: int
    lines: tuple[DoseLine, ...]
    picture: DoseView | None


@router.get("/patients/{patient_id}/doses")
def show(
    request: Request, me: SignedIn, session: ReadSession, site: SiteDep, now: Now,
    zone: Zone, patient_id: RowId, activity: str = "",
) -> HTMLResponse:  # fmt: skip
    """All activities, or one by its id."""
    patient = patient_for(session, me, patient_id)
    if activity and activity not in site.catalogue.activities:
        raise NotFound
    today = now.astimezone(zone).date()
    sets = done_sets(session, patient.id, activity)
    return page(
        request,
        "doses/show.html",
        patient=patient,
        histories=histories(site.catalogue, sets, today),
        one=site.catalogue.activities.get(activity),
        open_visit=open_visit_of(request, session, patient.id),
    )


def histories(
    shelf: Catalogue, sets: Sequence[DoneSet], today: date
) -> list[DoseHistory]:
    """By activity, what was done latest first. `sets` come oldest first."""
    by_activity: dict[str, list[DoneSet]] = {}
    for done in reversed(sets):
        by_activity.setdefault(done.activity, []).insert(0, done)
    return [
        _history(shelf.activities.get(key), key, found, today)
        for key, found in by_activity.items()
    ]


def _history(
    activity: Activity | None, key: str, sets: Sequence[DoneSet], today: date
) -> DoseHistory:
    by_visit = [list(same) for _, same in groupby(sets, lambda s: s.visit_id)]
    lines = [line for visit in by_visit for line in _lines(activity, visit, today)]
    name = activity.name if activity else key
    label = f"{name}: {count_words(len(by_visit), 'session')}, as in the table."
    picture = None
    if activity is not None:
        drawn = [_session(visit, today) for visit in by_visit]
        picture = dose_picture(activity.grade, drawn, LANES, label)
    return DoseHistory(key, name, len(by_visit), tuple(reversed(lines)), picture)


def _lines(
    activity: Activity | None, visit: Sequence[DoneSet], today: date
) -> list[DoseLine]:
    return [dose_line(activity, same, today) for same in alike_sets(visit)]


def _session(visit: Sequence[DoneSet], today: date) -> Session:
    """A part of the picture: what was declined or not done draws nothing."""
    graded = [d for d in visit if d.outcome in TRIED and d.grade is not None]
    return Session(day_words(visit[0].on, today), tuple(map(_bout, alike_sets(graded))))


def _bout(sets: Sequence[DoneSet]) -> Bout:
    first = sets[0]
    assert first.grade is not None
    amounts = {amount(done) for done in sets}
    same = amounts.pop() if len(amounts) == 1 else ""
    efforts = [done.effort for done in sets if done.effort is not None]
    ends = sorted({min(efforts), max(efforts)}) if efforts else []
    return Bout(
        first.grade,
        times_words(len(sets), same, "\u00d7"),
        (
            HAND_SUPPORT.get(first.hand_support, ""),
            LEVELS[first.level].words if first.level else "",
            "-".join(map(str, ends)),
        ),
        sum(done.errors or 0 for done in sets),
        first.outcome == "stopped",
    )
