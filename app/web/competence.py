"""Timing and scoring: one's own progress, and what supervisors see and sign off."""

from collections import Counter
from datetime import date, datetime
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.practice.competence import SCOPE, Standing, months_after, standing
from app.storage.competence import (
    LONGEST_WORDS,
    MOST_LISTED,
    learner,
    list_of,
    set_list,
    sign,
    sign_off_for,
    withdraw,
)
from app.storage.errors import NotFound, StorageProblem
from app.storage.people import Person
from app.storage.practice import rows_of
from app.storage.practice_shared import keep_shared, keys_waiting, share
from app.web.dates import day_words
from app.web.deps import (
    Form,
    FormDep,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    SiteDep,
    WriteSession,
    Zone,
    page,
    site_of,
)
from app.web.practice_asked import asked_of
from app.web.practised import (
    key_edition,
    own_attempts,
    own_stopped,
    practised_tests,
    shared_by,
    stopped_by,
    unit_of,
)
from app.web.reauth import PassphraseFault
from app.web.standing_view import (
    MET,
    STATES,
    StandingView,
    figures_of,
    rule_of,
    standing_views,
)

router = APIRouter()


@router.get("/practice/progress")
def progress(
    request: Request, me: SignedIn, session: ReadSession, site: SiteDep, now: Now,
    zone: Zone,
) -> HTMLResponse:  # fmt: skip
    """One's own figures, over everything one tried; nobody else gets this page."""
    attempts, stopped = own_attempts(session, me), own_stopped(session, me)
    today = now.astimezone(zone).date()
    edition = key_edition()
    shared = [a for a in attempts if a.shared]
    views = standing_views(
        session, site.catalogue, me, attempts, edition, today, zone, stopped=stopped
    )
    return page(
        request,
        "practice/progress.html",
        views=views,
        shared={v.measure: standing(shared, v.measure, edition, v.rule) for v in views},
        kept=Counter(
            a.measure
            for a in (*attempts, *stopped)
            if a.edition == edition and not a.shared
        ),
        listed=asked_of(session, me, site.catalogue, rows_of(session, me)),
        earlier=sum(a.edition != edition for a in attempts),
        **_words(edition),
    )


@router.post("/practice/share", response_model=None)
def share_all(
    request: Request, form: FormDep, me: SignedIn, session: WriteSession, now: Now,
) -> Response:  # fmt: skip
    """All of one's own of one test at once, so that nobody picks the better ones.

    Those that were stopped to make safe, too: else stops too many stayed unseen.
    """
    measure, edition = form.text("measure"), key_edition()
    if measure not in practised_tests(site_of(request).catalogue):
        raise NotFound("There is no timed practice of such a test.")
    for each in (*own_attempts(session, me), *own_stopped(session, me)):
        if (each.measure, each.edition, each.shared) == (measure, edition, False):
            share(session, me, each.id, shared=True, now=now)
    return RedirectResponse(f"/practice/progress#{measure}", 303)


def _words(edition: str) -> dict[str, Any]:
    return {
        "scope": SCOPE, "edition": edition, "states": STATES, "met": MET,
        "longest": LONGEST_WORDS,
    }  # fmt: skip


@router.get("/practice/people/{person_id}")
def show(
    request: Request, me: SignedIn, session: ReadSession, now: Now, person_id: RowId
) -> HTMLResponse:
    person = learner(session, me, person_id)
    return _page(request, session, me, person, now, Form(), {})


def _page(
    request: Request,
    session: Session,
    me: Person,
    person: Person,
    now: datetime,
    typed: Form,
    errors: dict[str, str],
) -> HTMLResponse:
    """`typed` and `errors` belong to the form that `typed` names in `form`."""
    site, edition = site_of(request), key_edition()
    today = now.astimezone(site.zone).date()
    row = list_of(session, person)
    until = _until(request, today)
    return page(
        request,
        "practice/person.html",
        status=422 if errors else 200,
        person=person,
        views=_views(request, session, person, today),
        waiting=keys_waiting(session, me, person, edition),
        tests=practised_tests(site.catalogue),
        list_row=row,
        list_day=day_words(row.set_at.astimezone(site.zone).date(), today)
        if row
        else "",
        until=day_words(until, today) if until else "",
        mine=me.id == person.id,
        most=MOST_LISTED,
        uid=Form().uid(),
        typed=typed,
        errors=errors,
        **_words(edition),
    )


def _views(
    request: Request, session: Session, person: Person, today: date
) -> list[StandingView]:
    """From what they shared, and from nothing else."""
    shared, stopped = shared_by(session, person), stopped_by(session, person)
    site = site_of(request)
    return standing_views(
        session, site.catalogue, person, shared, key_edition(), today, site.zone,
        stopped=stopped,
    )  # fmt: skip


def _until(request: Request, today: date) -> date | None:
    """The last day of a sign-off of today, by the site's setting."""
    months = site_of(request).settings.competence_months
    return months_after(today, months) if months else None


@router.post("/practice/people/{person_id}/sign-off", response_model=None)
def sign_off(
    request: Request, form: FormDep, me: SignedIn, fault: PassphraseFault,
    session: WriteSession, now: Now, person_id: RowId,
) -> Response:  # fmt: skip
    """Sign somebody off on one test, from what they shared, as it is now."""
    person = learner(session, me, person_id)
    measure, edition = form.text("measure"), key_edition()
    shelf = site_of(request).catalogue
    if measure not in practised_tests(shelf):
        raise NotFound("There is no practice of such a test.")
    rule = rule_of(session, person, measure, edition, unit_of(shelf, measure))
    found = standing(shared_by(session, person), measure, edition, rule)
    errors = _sign_errors(form, found, edition)
    if fault:
        errors["passphrase"] = fault
    if errors:
        return _page(request, session, me, person, now, form, errors)
    try:
        sign(
            session, me, person, uid=form.uid(), measure=measure, edition=edition,
            figures=figures_of(found), words=form.text("words"),
            until=_until(request, now.astimezone(site_of(request).zone).date()),
            now=now,
        )  # fmt: skip
    except StorageProblem as refused:
        errors = {"sign": refused.sentence}
        return _page(request, session, me, person, now, form, errors)
    keep_shared(session, (*found.judged, *_stopped(session, person, measure, edition)))
    return RedirectResponse(f"/practice/people/{person.id}#{measure}", 303)


def _stopped(session: Session, person: Person, measure: str, edition: str) -> list[int]:
    """What the page told beside the results: stops without cause, or too late."""
    stopped = stopped_by(session, person)
    return [a.id for a in stopped if (a.measure, a.edition) == (measure, edition)]


def _sign_errors(form: Form, found: Standing, edition: str) -> dict[str, str]:
    errors = {}
    words = form.text("words")
    if form.text("edition") != edition:
        errors["sign"] = "The key has changed since this page was opened. Look again."
    elif not found.enough:
        errors["sign"] = (
            f"{found.n} shared trials; a sign-off takes {found.checks[0].asks}."
        )
    if not found.reached and not words:
        errors["words"] = "Not everything is reached: say why you sign all the same."
    if len(words) > LONGEST_WORDS:
        errors["words"] = f"At most {LONGEST_WORDS} letters."
    return errors


@router.post("/practice/sign-offs/{sign_off_id}/withdraw", response_model=None)
def withdraw_it(
    request: Request, form: FormDep, me: SignedIn, session: WriteSession, now: Now,
    sign_off_id: RowId,
) -> Response:  # fmt: skip
    """Taking it away asks for no passphrase, since it may be urgent; only for why."""
    row = sign_off_for(session, me, sign_off_id)
    reason = form.text("reason")
    if not 1 <= len(reason) <= LONGEST_WORDS:
        person = learner(session, me, row.person_id)
        errors = {"reason": f"Say why, in up to {LONGEST_WORDS} letters."}
        return _page(request, session, me, person, now, form, errors)
    withdraw(session, me, row, reason, now)
    return RedirectResponse(f"/practice/people/{row.person_id}#{row.measure}", 303)


@router.post("/practice/people/{person_id}/list", response_model=None)
def set_practice(
    request: Request, form: FormDep, me: SignedIn, session: WriteSession, now: Now,
    person_id: RowId,
) -> Response:  # fmt: skip
    """What they are asked to practise, instead of the list before."""
    person = learner(session, me, person_id)
    asked, errors = {}, {}
    for measure in practised_tests(site_of(request).catalogue):
        text = form.text(f"trials-{measure}") or "0"
        whole = text.isascii() and text.isdigit() and len(text) <= 3
        if not whole or int(text) > MOST_LISTED:
            errors[f"trials-{measure}"] = f"A whole number, up to {MOST_LISTED}."
        else:
            asked[measure] = int(text)
    if errors:
        return _page(request, session, me, person, now, form, errors)
    set_list(session, me, person, asked, now)
    return RedirectResponse(f"/practice/people/{person.id}#list", 303)
