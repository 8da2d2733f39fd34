"""Team checks: the same showings set for several people, and done by each of them."""

import secrets
import uuid
from itertools import cycle, islice

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.storage.competence import learners
from app.storage.people import Person
from app.storage.practice import SEEDS, draw
from app.storage.team_check_rows import Shown
from app.storage.team_checks import (
    FEWEST,
    MOST,
    check_for,
    set_check,
    shown_in,
)
from app.web.deps import (
    Form,
    FormDep,
    FormProblem,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    WriteSession,
    page,
    site_of,
)
from app.web.practice_asked import check_of
from app.web.practice_book import book
from app.web.practice_scene import begun, scene_for, sent_to
from app.web.practised import key_edition, practised_tests

router = APIRouter()
#: Of sorting keys for chance.
_ANY = 2**32


@router.get("/practice/checks/new")
def new(
    request: Request, me: SignedIn, session: ReadSession, measure: str = ""
) -> HTMLResponse:
    """Which test, how many trials, and who."""
    people = learners(session, me)
    typed = Form([("measure", measure), ("many", str(FEWEST)), ("uid", Form().uid())])
    return _form_page(request, people, typed, {})


def _form_page(
    request: Request, people: object, typed: Form, errors: dict[str, str]
) -> HTMLResponse:
    return page(
        request,
        "practice/check_new.html",
        status=422 if errors else 200,
        people=people,
        tests=practised_tests(site_of(request).catalogue),
        fewest=FEWEST,
        most=MOST,
        typed=typed,
        errors=errors,
    )


@router.post("/practice/checks/new", response_model=None)
def set_it(
    request: Request, form: FormDep, me: SignedIn, session: WriteSession, now: Now
) -> Response:
    """The program chooses the showings; the supervisor sees as little as the others."""
    people = learners(session, me)
    measure, many = form.text("measure"), form.text("many")
    chosen = [p.id for p in people if str(p.id) in form.every("person")]
    errors = {}
    if measure not in practised_tests(site_of(request).catalogue):
        errors["measure"] = "Choose the test."
    whole = many.isascii() and many.isdigit() and len(many) < 4
    if not whole or not FEWEST <= int(many) <= MOST:
        errors["many"] = f"A whole number, from {FEWEST} to {MOST}."
    if len(chosen) < 2:
        errors["person"] = "Choose at least two people."
    if errors:
        return _form_page(request, people, form, errors)
    row = set_check(
        session, me, uid=form.uid(), measure=measure, edition=key_edition(),
        showings=drawn(measure, int(many)), people=chosen, now=now,
    )  # fmt: skip
    return RedirectResponse(
        f"/practice/agreement?measure={measure}&check={row.id}#check-{row.id}", 303
    )


def drawn(measure: str, many: int) -> tuple[Shown, ...]:
    """Every trial of the test equally often, in no order, each with a seed of its own.

    So clean and faulty ones come in the share in which the cases have them.
    """
    trials = [
        (case.id, plan.number)
        for case in book().cases.values()
        if case.measure == measure
        for plan in case.trials
    ]
    trials.sort(key=lambda _: secrets.randbelow(_ANY))
    chosen = list(islice(cycle(trials), many))
    chosen.sort(key=lambda _: secrets.randbelow(_ANY))
    return tuple((case, trial, secrets.randbelow(SEEDS)) for case, trial in chosen)


@router.get("/practice/checks/{check_id}", response_model=None)
def show(
    request: Request, me: SignedIn, session: ReadSession, check_id: RowId
) -> Response:
    """The next trial of it, or that all were shown."""
    row = check_for(session, me, check_id)
    check = check_of(session, row, me, site_of(request).catalogue)
    if row.edition != key_edition() or not check.place:
        return page(
            request, "practice/check_over.html", check=check,
            ended=row.edition != key_edition(),
        )  # fmt: skip
    case, trial, _ = row.showings[check.place - 1]
    return page(
        request,
        "practice/show.html",
        **scene_for(request, case, trial),
        check=check,
        place=check.place,
        begins_at=f"/practice/checks/{row.id}",
        uid=uuid.uuid4().hex,
    )


@router.post("/practice/checks/{check_id}", response_model=None)
def begin(
    request: Request, form: FormDep, me: SignedIn, session: WriteSession, now: Now,
    check_id: RowId,
) -> Response:  # fmt: skip
    """Show the trial that the page was about: each place of a check once."""
    row = check_for(session, me, check_id)
    if row.edition != key_edition():
        raise FormProblem("The cases were changed: this check has ended.")
    place = _place(session, form, me, check_id, len(row.trials))
    if not place:
        return sent_to(request, f"/practice/checks/{row.id}")
    case, trial, seed = row.showings[place - 1]
    showing, _ = draw(
        session, me, case=case, measure=row.measure, trial=trial, edition=row.edition,
        uid=form.uid(), now=now, seed=seed, of_check=(row.id, place),
    )  # fmt: skip
    return begun(request, session, form, showing)


def _place(session: Session, form: Form, me: Person, check_id: int, of: int) -> int:
    """The place that was asked for; 0 where it has been shown by another page."""
    typed = form.text("place")
    if not (typed.isascii() and typed.isdigit() and 1 <= int(typed) <= of):
        raise FormProblem("This page was damaged. Open the check again.")
    shown = shown_in(session, check_for(session, me, check_id), me)
    again = shown.get(int(typed), form.text("uid")) == form.text("uid")
    return int(typed) if again else 0
