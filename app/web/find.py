"""Finding people by what is typed. It travels in the body, so no address holds it."""

from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from app.clinical.vocabulary import CONDITIONS
from app.storage.finding import Found, find_patients
from app.web.deps import Form, FormDep, Now, ReadSession, SignedIn, Zone, page
from app.web.person_words import age_words, condition_words

router = APIRouter()
MOST: Final = 50
#: What is asked about what is owed; anything else asks for everybody.
DUE: Final = {"due": True, "not_due": False}


@router.get("/patients/find")
def show(request: Request) -> HTMLResponse:
    return _page(request, Form(), None)


@router.post("/patients/find")
def find(
    request: Request, form: FormDep, me: SignedIn, session: ReadSession, now: Now,
    zone: Zone,
) -> HTMLResponse:  # fmt: skip
    """Changes nothing, though it is a POST: a GET would write the label in a log."""
    today = now.astimezone(zone).date()
    condition = form.text("condition")
    found = find_patients(
        session,
        me,
        words=form.text("words").split(),
        condition=condition if condition in CONDITIONS else "",
        archived=form.text("archived") == "yes",
        due=DUE.get(form.text("due")),
        day=today,
        most=MOST + 1,
    )
    lines = [
        (
            f.patient_id,
            f.label,
            " · ".join(
                part
                for part in (
                    age_words(f.birth_date, f.birth_year, f.sex, today),
                    condition_words(f.conditions),
                    _state(f),
                )
                if part
            ),
        )
        for f in found[:MOST]
    ]
    return _page(request, form, lines, more=len(found) > MOST)


def _state(found: Found) -> str:
    if found.archived:
        return "archived"
    return "closed" if found.closed else ""


def _page(
    request: Request,
    typed: Form,
    lines: list[tuple[int, str, str]] | None,
    more: bool = False,
) -> HTMLResponse:
    return page(
        request,
        "patients/find.html",
        typed=typed,
        lines=lines,
        more=more,
        most=MOST,
        conditions=CONDITIONS,
    )
