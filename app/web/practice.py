"""Practice on simulated people: choose a trial, time it, and see it beside its key.

A trial is seen once, timed with the stopwatch of a round, and sent with what was seen.
Only then the key is served. Everybody may practise; nothing here is about a patient.
"""

import secrets
import uuid
from functools import cache

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.practice.coming_back import next_trial
from app.practice.faults import kinds_of
from app.practice.motion import motion
from app.storage.people import Person
from app.storage.practice import (
    PracticeShowing,
    begun_as,
    draw,
    rows_of,
    said_of,
    send,
    sent_of,
    showing_for,
)
from app.storage.practice_shared import attempt_for, share
from app.web.dates import moment_words
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
from app.web.practice_asked import asked_of, open_checks
from app.web.practice_book import book, scene_of, timeline_of
from app.web.practice_form import Errors, read_said, was_watched
from app.web.practice_list import Rules, listed, weights_of
from app.web.practice_scene import begun, measure_of, scene_for, sent_to
from app.web.practice_view import result_of, seconds
from app.web.practised import unit_of
from app.web.standing_view import rule_of
from app.web.trial_form import SAVED

router = APIRouter()


@router.get("/practice")
def index(request: Request, me: SignedIn, session: ReadSession) -> HTMLResponse:
    """Cases to choose, what was done, and what comes back."""
    site = site_of(request)
    pairs = rows_of(session, me)
    return page(
        request,
        "practice/index.html",
        **listed(
            book().cases, site.catalogue.measures, pairs, _rules(request, session, me)
        ),
        asked=asked_of(session, me, site.catalogue, pairs),
        checks=open_checks(session, me, site.catalogue),
        when=lambda at: moment_words(at, site.zone),
    )


def _rules(request: Request, session: Session, me: Person) -> Rules:
    """What a sign-off of each test asks for, looked up once a test."""
    shelf = site_of(request).catalogue
    return cache(
        lambda test: rule_of(session, me, test, book().edition, unit_of(shelf, test))
    )


@router.get("/practice/next")
def next_one(request: Request, me: SignedIn, session: ReadSession) -> RedirectResponse:
    """Any trial by chance, the weak ones more often."""
    rules = _rules(request, session, me)
    weighed = weights_of(book().cases, rows_of(session, me), rules)
    case, trial = next_trial(weighed, secrets.randbelow(10**6) / 10**6)
    return RedirectResponse(f"/practice/{case}/{trial}", 303)


@router.get("/practice/showings/{showing_id}", response_model=None)
def read(
    request: Request, me: SignedIn, session: ReadSession, showing_id: RowId
) -> Response:
    """The trial in words, to be read instead of watched; without script, too.

    One that was watched is not told: its words with their moments are the key.
    """
    showing = showing_for(session, me, showing_id)
    sent = sent_of(session, showing)
    if sent is not None:
        return RedirectResponse(f"/practice/attempts/{sent.id}", 303)
    if begun_as(showing) == "watched":
        return page(request, "practice/watched.html", showing=showing)
    return _words(request, showing, Form())


def _words(
    request: Request,
    showing: PracticeShowing,
    typed: Form,
    errors: Errors | None = None,
) -> HTMLResponse:
    """In words; or, where it was watched, the questions alone with the kept times."""
    watched = was_watched(typed, begun_as(showing))
    return page(
        request,
        "practice/answer.html" if watched else "practice/words.html",
        status=422 if errors else 200,
        **scene_for(request, showing.case_id, showing.trial),
        showing=showing,
        lines=() if watched else timeline_of(showing).words,
        seconds=seconds,
        typed=typed,
        errors=errors or {},
    )


@router.post("/practice/showings/{showing_id}/attempt", response_model=None)
def answer(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    showing_id: RowId,
) -> Response:
    """Keep what was timed and seen, once; then the key may be served."""
    showing = showing_for(session, me, showing_id)
    measure = measure_of(request, showing.measure)
    errors: Errors = {}
    kinds = {rule.kind for rule in kinds_of(showing.measure)}
    watched = was_watched(form, begun_as(showing))
    said = read_said(measure, kinds, form, watched, errors)
    if errors:
        return _words(request, showing, form, errors)
    if showing.edition != book().edition:
        raise FormProblem(
            "The cases were changed while you practised, so that there is no key to "
            "this trial any more. It cannot be compared: practise it again."
        )
    attempt = send(session, me, showing, said, timeline_of(showing).key, now=now)
    if showing.check_id is not None:  # said before it began
        share(session, me, attempt.id, shared=True, now=now)
    answered = sent_to(request, f"/practice/attempts/{attempt.id}")
    answered.headers[SAVED] = showing.uid
    return answered


@router.get("/practice/attempts/{attempt_id}")
def result(
    request: Request, me: SignedIn, session: ReadSession, attempt_id: RowId
) -> HTMLResponse:
    """The attempt beside its key, with the rule behind each fault, and the replay."""
    attempt, showing = attempt_for(session, me, attempt_id, edition=book().edition)
    measure = measure_of(request, showing.measure)
    known = showing.edition == book().edition
    timeline = timeline_of(showing) if known else None
    case = book().cases.get(showing.case_id)
    return page(
        request,
        "practice/result.html",
        attempt=attempt,
        showing=showing,
        measure=measure,
        title=case.title if case else showing.case_id,
        mine=attempt.person_id == me.id,
        name=session.get_one(Person, attempt.person_id).name,
        at=moment_words(attempt.sent_at, site_of(request).zone),
        view=result_of(said_of(attempt), attempt, measure, timeline),
        figure=motion(timeline) if timeline else None,
        scene=scene_of(timeline) if timeline else {},
        replay=True,
    )


@router.post("/practice/attempts/{attempt_id}/share")
def sharing(
    form: FormDep, me: SignedIn, session: WriteSession, now: Now, attempt_id: RowId
) -> RedirectResponse:
    """Show it to supervisors, or take it back."""
    share(session, me, attempt_id, shared=form.text("shared") == "yes", now=now)
    return RedirectResponse(f"/practice/attempts/{attempt_id}#share", 303)


@router.get("/practice/{case}/{trial}")
def show(request: Request, _me: SignedIn, case: str, trial: RowId) -> HTMLResponse:
    """Who and what will be seen; nothing of it is drawn yet."""
    return page(
        request,
        "practice/show.html",
        **scene_for(request, case, trial),
        begins_at=f"/practice/{case}/{trial}",
        uid=uuid.uuid4().hex,
    )


@router.post("/practice/{case}/{trial}", response_model=None)
def begin(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    case: str,
    trial: RowId,
) -> Response:
    """Draw a showing; then the figure with the stopwatch, or the trial in words."""
    showing, _ = draw(
        session,
        me,
        case=case,
        measure=book().case(case, trial).measure,
        trial=trial,
        edition=book().edition,
        uid=form.uid(),
        now=now,
    )
    return begun(request, session, form, showing)
