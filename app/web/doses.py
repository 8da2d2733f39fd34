"""What was done of each activity, session by session: a record, and no verdict."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from app.catalogue.load import Catalogue
from app.clinical.activity import Activity
from app.clinical.assistance import LEVELS
from app.clinical.doing import HAND_SUPPORT, OUTCOMES, DoneSet
from app.clinical.make_safe import SYMPTOMS
from app.storage.errors import NotFound
from app.storage.patients import patient_for
from app.web.activity_words import grade_value
from app.web.dates import day_words
from app.web.deps import Now, ReadSession, RowId, SignedIn, SiteDep, Zone, page
from app.web.done_sets import done_sets
from app.web.dose_picture import Bout, DoseView, Session, dose_picture
from app.web.open_visit import open_visit_of

router = APIRouter()
#: Outcomes in which something was done.
TRIED: Final = ("done", "stopped")
LANES: Final = ("hands", "help", "effort")


@dataclass(frozen=True, slots=True)
class DoseLine:
    """Sets of one session at one grade, done in one way."""

    visit_id: int
    day: str
    grade: str
    sets: str
    errors: str
    hands: str
    help: str
    effort: str
    symptoms: str
    stopped: str


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
    label = f"{name}: {_count(len(by_visit), 'session')}, as in the table."
    picture = None
    if activity is not None:
        drawn = [_session(visit, today) for visit in by_visit]
        picture = dose_picture(activity.grade, drawn, LANES, label)
    return DoseHistory(key, name, len(by_visit), tuple(reversed(lines)), picture)


def _alike(done: DoneSet) -> tuple[object, ...]:
    """What makes sets of a session one line."""
    return done.grade, done.outcome, done.hand_support, done.level


def _lines(
    activity: Activity | None, visit: Sequence[DoneSet], today: date
) -> list[DoseLine]:
    return [
        _line(activity, list(same), today) for _, same in groupby(visit, key=_alike)
    ]


def _line(activity: Activity | None, sets: Sequence[DoneSet], today: date) -> DoseLine:
    first = sets[0]
    grade = "" if first.grade is None else f"{first.grade.normalize():f}"
    if activity and first.grade is not None:
        grade = grade_value(activity.grade, first.grade)
    tried = first.outcome in TRIED
    return DoseLine(
        visit_id=first.visit_id,
        day=day_words(first.on, today),
        grade=grade,
        sets=_sets_words(sets) if tried else OUTCOMES[first.outcome],
        errors=_numbers(sets, lambda done: done.errors),
        hands=HAND_SUPPORT.get(first.hand_support, ""),
        help=LEVELS[first.level].words if first.level else "",
        effort=_efforts(sets),
        symptoms=_symptoms(sets),
        stopped="stopped for safety" if first.outcome == "stopped" else "",
    )


def amount(done: DoneSet) -> str:
    """What one set held, the first of these that was counted: `10`, `20 s`, `6 ft`."""
    for name, unit in (("reps", ""), ("steps", " steps"), ("passes", " passes")):
        if name in done.numbers:
            return f"{done.numbers[name]}{unit}"
    if done.holds_ms:
        return f"{max(done.holds_ms) / 1000:.0f} s"
    if "correct" in done.numbers:
        return f"{done.numbers['correct']} of {done.numbers.get('calls', '?')}"
    if "time_ms" in done.numbers:
        return f"{done.numbers['time_ms'] / 1000:.0f} s"
    if done.distance is not None:
        return f"{done.distance.normalize():f} {done.distance_unit}"
    return ""


def _sets_words(sets: Sequence[DoneSet]) -> str:
    """`3 x 10`, or `3 sets: 10, 8, 6`."""
    amounts = [amount(done) for done in sets]
    if len(set(amounts)) == 1:
        return _times(len(sets), amounts[0], " x ")
    told = ", ".join(words or "not counted" for words in amounts)
    return f"{_count(len(sets), 'set')}: {told}"


def _times(sets: int, amount: str, by: str) -> str:
    """`3 x 10` of a bare count; `1 set, 19 s`, which is no 19 repetitions."""
    if amount.isdecimal():
        return f"{sets}{by}{amount}"
    return ", ".join(filter(None, (_count(sets, "set"), amount)))


def _count(number: int, what: str) -> str:
    return f"{number} {what}" + ("" if number == 1 else "s")


def _numbers(sets: Sequence[DoneSet], of: Callable[[DoneSet], int | None]) -> str:
    """Set by set; nobody said it: a dash between others, nothing when never said."""
    found = [of(done) for done in sets]
    if all(number is None for number in found):
        return ""
    return ", ".join("-" if number is None else str(number) for number in found)


def _efforts(sets: Sequence[DoneSet]) -> str:
    scales = {done.effort_scale for done in sets if done.effort is not None}
    said = _numbers(sets, lambda done: done.effort)
    return f"{said} on {' and '.join(sorted(scales))}" if said else ""


def _symptoms(sets: Sequence[DoneSet]) -> str:
    found = {SYMPTOMS[s]: None for done in sets for s in done.symptoms}
    if found:
        return ", ".join(found)
    return "none" if any(done.no_symptom for done in sets) else ""


def _session(visit: Sequence[DoneSet], today: date) -> Session:
    """A part of the picture: what was declined or not done draws nothing."""
    graded = [d for d in visit if d.outcome in TRIED and d.grade is not None]
    groups = (list(same) for _, same in groupby(graded, key=_alike))
    return Session(day_words(visit[0].on, today), tuple(map(_bout, groups)))


def _bout(sets: Sequence[DoneSet]) -> Bout:
    first = sets[0]
    assert first.grade is not None
    amounts = {amount(done) for done in sets}
    same = amounts.pop() if len(amounts) == 1 else ""
    efforts = [done.effort for done in sets if done.effort is not None]
    ends = sorted({min(efforts), max(efforts)}) if efforts else []
    return Bout(
        first.grade,
        _times(len(sets), same, "\u00d7"),
        (
            HAND_SUPPORT.get(first.hand_support, ""),
            LEVELS[first.level].words if first.level else "",
            "-".join(map(str, ends)),
        ),
        sum(done.errors or 0 for done in sets),
        first.outcome == "stopped",
    )
