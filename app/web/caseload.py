"""The list a day starts from: people under what is owed to them next."""

from dataclasses import dataclass
from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from app.access import may
from app.catalogue.load import Catalogue
from app.storage.caseload import CaseloadRow, LastScore, caseload_for
from app.storage.people import actor
from app.web.deps import Now, ReadSession, SignedIn, SiteDep, Zone, page
from app.web.due import due_tests
from app.web.last_scores import value_words
from app.web.person_words import age_words, condition_words
from app.web.score_tape import list_tape
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
    groups = [
        ("Test again", [line for line in lines if line.due]),
        ("Nothing owed today", [line for line in lines if not line.due]),
    ]
    return page(
        request,
        "caseload/list.html",
        groups=groups,
        count=len(lines),
        may_add=may(actor(me), "add_patient", None),
    )


def person_line(shelf: Catalogue, row: CaseloadRow, today: date) -> PersonLine:
    """One row: who, the newest score with its tape, and the test owed first."""
    due = due_tests(shelf, row.last_scores, row.precautions, today)
    newest = row.last_scores[0] if row.last_scores else None
    who = age_words(row.birth_date, row.birth_year, row.sex, today)
    about = condition_words(row.conditions) or (row.reason or "")
    return PersonLine(
        patient_id=row.patient_id,
        label=row.label,
        who=" · ".join(part for part in (who, about) if part),
        score=_score(shelf, newest) if newest else "no score yet",
        tape=list_tape(shelf.measures[newest.measure], newest.value, newest.unit)
        if newest
        else None,
        due=f"{due[0].measure.short} due" if due else "",
    )


def _score(shelf: Catalogue, newest: LastScore) -> str:
    said = value_words(newest.outcome, newest.value, newest.unit)
    return f"{shelf.measures[newest.measure].short}: {said}"
