"""The list a day starts from: people under what is owed to them next."""

from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from app.access import may
from app.catalogue.load import Catalogue
from app.clinical import change as changes
from app.clinical.precautions import PRECAUTIONS
from app.storage.caseload import CaseloadRow, LastScore, caseload_for
from app.storage.held_requests import held_of
from app.storage.people import actor
from app.storage.safety import students_stops
from app.web.deps import Now, ReadSession, SignedIn, SiteDep, Zone, page
from app.web.due import due_tests
from app.web.last_scores import value_words
from app.web.person_words import age_words, condition_words
from app.web.score_tape import list_tape
from app.web.stops import stop_views
from app.web.tape import SmallTape

router = APIRouter()


@dataclass(frozen=True, slots=True)
class PersonLine:
    """One patient on the list, with the latest score."""

    patient_id: int
    label: str
    who: str
    score: str
    tape: SmallTape | None
    due: str
    group: str


#: A latest result that asks for a look before anything else.
TROUBLE = (changes.REAL_LOSS, changes.NEWLY_UNABLE)


@router.get("/home")
def home(me: SignedIn) -> RedirectResponse:
    """Where a day starts: the supervisor's desk, or one's own list."""
    oversees = may(actor(me), "see_desk", None)
    return RedirectResponse("/desk" if oversees else "/caseload", 303)


@router.get("/caseload")
def show(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
) -> HTMLResponse:
    today = now.astimezone(zone).date()
    rows = caseload_for(session, me, demo=me.is_demo, day=today)
    lines = [person_line(site.catalogue, row, today) for row in rows]
    titles = ("Find out first", "Test again", "Not tested yet", "Nothing owed today")
    groups = [(title, [x for x in lines if x.group == title]) for title in titles]
    return page(
        request,
        "caseload/list.html",
        groups=groups,
        count=len(lines),
        may_add=may(actor(me), "add_patient", None),
        stops=stop_views(students_stops(session, me), me, site.catalogue, zone, today),
        from_page="caseload",
        held=len(held_of(session, me, now)),
    )


def person_line(shelf: Catalogue, row: CaseloadRow, today: date) -> PersonLine:
    """One row: who, the newest score with its tape, and the test owed first."""
    due = due_tests(shelf, row.last_scores, row.precautions, today)
    known = [s for s in row.last_scores if s.measure in shelf.measures]
    newest = known[0] if known else None
    who = age_words(row.birth_date, row.birth_year, row.sex, today)
    about = condition_words(row.conditions) or (row.reason or "")
    orders = [PRECAUTIONS[t] for t in row.precautions if PRECAUTIONS[t].kind == "order"]
    order = f"order: {orders[0].label.lower()}" if orders else ""
    return PersonLine(
        patient_id=row.patient_id,
        label=row.label,
        who=" · ".join(part for part in (who, about, order) if part),
        score=_score(shelf, newest) if newest else "no score yet",
        tape=list_tape(shelf.measures[newest.measure], newest.value, newest.unit)
        if newest
        else None,
        due=f"{due[0].measure.short} due" if due else "",
        group=_group(row, bool(due)),
    )


def _group(row: CaseloadRow, due: bool) -> str:
    """What is owed to this person next."""
    last = row.last_scores
    if any(s.outcome == "stopped" or s.change_verdict in TROUBLE for s in last):
        return "Find out first"
    if due:
        return "Test again"
    return "Nothing owed today" if last else "Not tested yet"


def _score(shelf: Catalogue, newest: LastScore) -> str:
    said = value_words(newest.outcome, newest.value, newest.unit)
    return f"{shelf.measures[newest.measure].short}: {said}"
