"""The goals of an episode: how each goes; signing it, how it stands, closing it."""

import uuid
from datetime import date
from typing import Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.clinical.goal_progress import Progress, of_times, plateau_words
from app.clinical.goals import CLOSES, REPLACED, STANDINGS, TimesSeen
from app.storage.episodes import Episode, episodes_of
from app.storage.errors import NotAllowed, StorageProblem
from app.storage.goal_rows import LONGEST_REASON, GoalRow, Standing
from app.storage.goals import (
    GoalIsClosed,
    body_of,
    close_goal,
    goal_for,
    say_standing,
    sign_goal,
)
from app.storage.patients import Patient, patient_for
from app.storage.people import Person
from app.web.deps import (
    Form,
    FormDep,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    WriteSession,
    Zone,
    page,
)
from app.web.goal_book import GoalBook, book_of, goal_of, may_sign
from app.web.goal_form import Errors, read_trials
from app.web.goal_view import goal_view
from app.web.reauth import PassphraseFault
from app.web.versions import version_in

router = APIRouter()
#: Ends that open no other goal.
ENDS: Final = {key: words for key, words in CLOSES.items() if key not in REPLACED}


@router.get("/patients/{patient_id}/goals")
def show_all(
    request: Request, me: SignedIn, session: ReadSession, now: Now, zone: Zone,
    patient_id: RowId,
) -> HTMLResponse:  # fmt: skip
    """Of the open episode, else of the last one."""
    patient = patient_for(session, me, patient_id)
    today = now.astimezone(zone).date()
    episode = (*episodes_of(session, patient), None)[0]
    views = []
    if episode is not None:
        book = book_of(request, session, patient, episode)
        views = [(row.closed_on, goal_view(book, row, today)) for row in book.goals]
    return page(
        request,
        "goals/list.html",
        patient=patient,
        episode=episode,
        open_goals=[view for closed, view in views if closed is None],
        closed_goals=[view for closed, view in views if closed is not None],
        signs=may_sign(me, patient),
    )


@router.get("/goals/{goal_id}")
def show(
    request: Request, me: SignedIn, session: ReadSession, now: Now, zone: Zone,
    goal_id: RowId,
) -> HTMLResponse:  # fmt: skip
    goal, episode = goal_for(session, me, goal_id)
    today = now.astimezone(zone).date()
    return _page(request, session, me, goal, episode, today)


def _page(
    request: Request,
    session: Session,
    me: Person,
    goal: GoalRow,
    episode: Episode,
    today: date,
    typed: Form | None = None,
    errors: Errors | None = None,
    wrong: str = "",
) -> HTMLResponse:
    patient = session.get_one(Patient, episode.patient_id)
    book = book_of(request, session, patient, episode)
    return page(
        request,
        "goals/show.html",
        status=422 if errors else 409 if wrong else 200,
        patient=patient,
        goal=goal_view(book, goal, today),
        out_of=goal.out_of,
        is_open=goal.closed_on is None and episode.closed_on is None,
        signed=goal.signed_at is not None,
        signs=may_sign(me, patient),
        standings=STANDINGS,
        ends=ENDS,
        typed=typed or Form(),
        errors=errors or {},
        wrong=wrong,
        uid=(typed.text("uid") if typed else "") or uuid.uuid4().hex,
    )


@router.post("/goals/{goal_id}/sign", response_model=None)
def sign(
    request: Request,
    form: FormDep,
    me: SignedIn,
    fault: PassphraseFault,
    session: WriteSession,
    now: Now,
    zone: Zone,
    goal_id: RowId,
) -> Response:
    """As it reads now: whoever signs has the version that they read."""
    goal, episode = goal_for(session, me, goal_id, "sign_goals")
    today = now.astimezone(zone).date()
    if fault:
        errors = {"passphrase": fault}
        return _page(request, session, me, goal, episode, today, form, errors)
    try:
        sign_goal(session, me, goal, version=version_in(form), now=now)
    except StorageProblem as refused:
        wrong = refused.sentence
        return _page(request, session, me, goal, episode, today, form, wrong=wrong)
    return RedirectResponse(_back(episode, goal), 303)


@router.post("/goals/{goal_id}/close", response_model=None)
def close(
    request: Request,
    form: FormDep,
    me: SignedIn,
    fault: PassphraseFault,
    session: WriteSession,
    now: Now,
    zone: Zone,
    goal_id: RowId,
) -> Response:
    """Met, not met or discontinued, with what it rests on."""
    goal, episode = goal_for(session, me, goal_id, "record_visit")
    if goal.signed_at is not None:
        goal_for(session, me, goal_id, "sign_goals")
    today = now.astimezone(zone).date()
    patient = session.get_one(Patient, episode.patient_id)
    progress = book_of(request, session, patient, episode).progress(goal)
    word, reason, errors = _end(form, progress)
    if goal.signed_at is not None and fault:
        errors["passphrase"] = fault
    if errors:
        return _page(request, session, me, goal, episode, today, form, errors)
    try:
        close_goal(
            session, me, goal, word=word, reason=reason, on=today,
            version=version_in(form), now=now,
        )  # fmt: skip
    except NotAllowed:
        raise
    except StorageProblem as refused:
        wrong = refused.sentence
        return _page(request, session, me, goal, episode, today, form, wrong=wrong)
    return RedirectResponse(f"/patients/{episode.patient_id}/goals", 303)


def _end(form: Form, progress: Progress) -> tuple[str, str, Errors]:
    """A target that was reached is its own evidence; everything else is said."""
    errors: Errors = {}
    word, reason = form.text("close_word"), form.text("close_reason")
    if word not in ENDS:
        errors["close_word"] = "Choose how it ends."
    if word == "met" and not reason and progress.state == "reached":
        reason = progress.says[:LONGEST_REASON]
    if not 1 <= len(reason) <= LONGEST_REASON:
        errors["close_reason"] = f"By what, or why? Up to {LONGEST_REASON} letters."
    return word, reason, errors


@router.post("/goals/{goal_id}/words", response_model=None)
def say(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
    goal_id: RowId,
) -> Response:
    """How it stands, with the evidence that is here filled in."""
    goal, episode = goal_for(session, me, goal_id, "record_visit")
    today = now.astimezone(zone).date()
    patient = session.get_one(Patient, episode.patient_id)
    book, errors = book_of(request, session, patient, episode), Errors()
    said = _standing(book, goal, form, today, errors)
    if said is None:
        return _page(request, session, me, goal, episode, today, form, errors)
    try:
        say_standing(session, me, goal, said, uid=form.uid(), on=today, now=now)
    except GoalIsClosed as refused:
        wrong = refused.sentence
        return _page(request, session, me, goal, episode, today, form, wrong=wrong)
    return RedirectResponse(_back(episode, goal), 303)


def _standing(
    book: GoalBook, goal: GoalRow, form: Form, today: date, errors: Errors
) -> Standing | None:
    word, says = form.text("word"), form.text("says")
    if word not in STANDINGS:
        errors["word"] = "Choose how it stands."
        return None
    if len(says) > LONGEST_REASON:
        errors["says"] = f"At most {LONGEST_REASON} letters."
    trials: dict[str, int | None] = {"times": None, "out_of": None}
    if goal.kind == "times" and word == "progressing":
        trials |= read_trials(form, errors, low=0)
        if trials["times"] is None:
            errors.setdefault("times", f"How often of {goal.out_of}?")
    if word == "on_hold" and not says:
        errors["says"] = "Say why it rests."
    if errors:
        return None
    told = _told(book, goal, word, trials, today)
    if word == "plateau" and not told.get("says"):
        errors["word"] = "A plateau takes two measures that compare."
        return None
    told["says"] = says or told.get("says", "")
    times, out_of = trials["times"], trials["out_of"]
    return Standing(word=word, times=times, out_of=out_of, **told)


def _told(
    book: GoalBook, goal: GoalRow, word: str, trials: dict[str, Any], today: date
) -> dict[str, Any]:
    """What the record itself says of the way: words, percent, and where they are."""
    if word not in ("progressing", "plateau"):
        return {}
    progress = book.progress(goal)
    if trials["times"] is not None:
        seen = TimesSeen(today, trials["times"], trials["out_of"])
        body = body_of(goal)
        progress = of_times(goal_of(body).target, book.baseline(body), [seen])
    evidence = book.evidence(goal, progress.on)
    if word == "plateau":
        if progress.on is None or goal.base_on is None or progress.state == "untold":
            return {}
        first = (goal.base_on, goal.base_says)
        return {"says": plateau_words(first, (progress.on, progress.value)), **evidence}
    says = progress.says[:LONGEST_REASON]
    return {"says": says, "percent": progress.percent, **evidence}


def _back(episode: Episode, goal: GoalRow) -> str:
    return f"/patients/{episode.patient_id}/goals#goal-{goal.number}"
