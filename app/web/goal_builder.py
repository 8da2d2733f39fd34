"""Building a goal in a few taps: from something measured, its sentence in sight."""

import uuid
from dataclasses import replace
from datetime import date, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.clinical.assistance import CUE_AMOUNTS, CUE_KINDS, LEVELS
from app.clinical.goals import (
    CLOSES,
    KINDS,
    NO_CUES,
    PLACES,
    REPLACED,
    SURFACES,
    TERMS,
    WHO,
    sentence,
)
from app.clinical.visiting import DEVICES, TASKS
from app.identifiers import warning
from app.storage.episodes import Episode, open_episode
from app.storage.errors import NotFound, StaleVersion
from app.storage.goal_rows import (
    LONGEST_PHRASE,
    LONGEST_REASON,
    LONGEST_SO_THAT,
    GoalBody,
    GoalRow,
)
from app.storage.goals import (
    GoalIsClosed,
    GoalIsSigned,
    add_goal,
    body_of,
    edit_goal,
    goal_for,
    replace_goal,
)
from app.storage.patients import Patient, patient_for
from app.storage.people import Person
from app.web.comparing import Compare, compared
from app.web.dates import day_words
from app.web.deps import (
    Form,
    FormDep,
    FormProblem,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    WriteSession,
    Zone,
    page,
    site_of,
)
from app.web.goal_book import GoalBook, book_of, goal_of
from app.web.goal_form import STEPS, Errors, first_form, read_goal, typed_as
from app.web.goal_starts import Start, key_of, start_of, starts
from app.web.goal_view import doubt_views
from app.web.reauth import PassphraseFault
from app.web.versions import version_in

router = APIRouter()
StartKey = Annotated[str, Query(max_length=20, pattern=r"^[a-z0-9-]*$")]
#: What an address says for a goal that begins at nothing measured here.
NONE = "none"
#: Fields that lie folded until something is wrong in one.
MORE = {
    "place", "surface", "device", "cue_kind", "cue_amount", "help", "times", "out_of",
    "who", "term", "parent",
}  # fmt: skip
LISTS = {
    "kinds": {key: words for key, words in KINDS.items() if key != "score"},
    "who": WHO,
    "terms": TERMS,
    "tasks": TASKS,
    "places": PLACES,
    "surfaces": SURFACES,
    "devices": DEVICES,
    "cue_kinds": {NO_CUES: "none", **CUE_KINDS},
    "cue_amounts": CUE_AMOUNTS,
    "levels": {key: level.words for key, level in LEVELS.items()},
    "longest": {
        "phrase": LONGEST_PHRASE, "so_that": LONGEST_SO_THAT, "reason": LONGEST_REASON,
    },
}  # fmt: skip


@router.get("/patients/{patient_id}/goals/new")
def new(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    now: Now,
    zone: Zone,
    patient_id: RowId,
    start: StartKey = "",
    instead: Annotated[int, Query(ge=0, le=2**31 - 1)] = 0,
    word: Annotated[str, Query(max_length=12, pattern=r"^[a-z]*$")] = "",
) -> HTMLResponse:
    """Choose where it begins, then its form; `instead` of another with that word."""
    patient = patient_for(session, me, patient_id, "record_visit")
    book = book_of(request, session, patient, open_episode(session, patient))
    today = now.astimezone(zone).date()
    if instead:
        return _instead(
            request, book, _replaced(session, me, book, instead), word, today
        )
    if not start:
        found = starts(book)
        return page(request, "goals/starts.html", patient=patient, starts=found)
    begins = None if start == NONE else _known(book, start)
    form = first_form(begins, book.plan_end, today)
    return _page(request, book, form, begins, {}, today)


def _known(book: GoalBook, key: str) -> Start:
    found = start_of(book, key)
    if found is None:
        raise NotFound("That is no score or task of this episode.")
    return found


def _replaced(
    session: Session, me: Person, book: GoalBook, goal_id: int
) -> GoalRow:  # fmt: skip
    goal, episode = goal_for(session, me, goal_id, "sign_goals")
    if episode.id != book.episode.id or goal.signed_at is None:
        raise NotFound
    return goal


def _instead(
    request: Request, book: GoalBook, goal: GoalRow, word: str, today: date
) -> HTMLResponse:
    """The old goal's words, from where the person stands now; its target is open."""
    body = body_of(goal)
    newest = [
        s for s in starts(book)
        if (s.measure and s.measure.id == body.measure)
        or (body.kind == "level" and s.task == body.task)
    ]  # fmt: skip
    begins = newest[0] if newest else start_of(book, key_of(body))
    kept = [p for p in typed_as(body).pairs if p[0] not in ("target", "level", "start")]
    own = [("start", begins.key if begins else ""), ("instead", str(goal.id))]
    fresh = first_form(begins, book.plan_end, today)
    pairs = [*kept, *own, ("word", word), ("by_date", fresh.text("by_date"))]
    return _page(request, book, Form(pairs), begins, {}, today, replaced=goal)


def _page(
    request: Request,
    book: GoalBook,
    typed: Form,
    begins: Start | None,
    errors: Errors,
    today: date,
    *,
    goal: GoalRow | None = None,
    replaced: GoalRow | None = None,
    compare: Compare | None = None,
    fragment: str | None = None,
) -> HTMLResponse:
    """The form. `goal` is the one being worded anew, `replaced` the one it replaces."""
    long = [g for g in book.goals if g.term == "long" and g.closed_on is None]
    return page(
        request,
        "goals/build.html",
        fragment,
        status=422 if errors else 409 if compare else 200,
        patient=book.patient,
        start=begins,
        base_says=f"{goal.base_says}, {day_words(goal.base_on)}"
        if goal and goal.base_on else "",
        typed=typed,
        errors=errors,
        compare=compare,
        goal=goal,
        replaced=replaced,
        replaces={key: CLOSES[key] for key in REPLACED},
        parents=[g for g in long if g is not goal],
        step=STEPS.get(begins.unit, "1") if begins else "1",
        uid=typed.text("uid") or uuid.uuid4().hex,
        more_open=bool(MORE & errors.keys()),
        preview=_preview(request, book, typed, begins, today),
        lists=LISTS,
    )  # fmt: skip


def _preview(
    request: Request, book: GoalBook, typed: Form, begins: Start | None, today: date
) -> dict[str, Any]:
    """The sentence and what a reader would ask; or what is still open."""
    open_still: Errors = {}
    body = read_goal(typed, begins, today, open_still)
    if body is None:
        return {"sentence": "", "open": list(open_still.values()), "doubts": ()}
    measure = book.measure(body)
    return {
        "sentence": sentence(goal_of(body), measure),
        "open": [],
        "doubts": doubt_views(book, body, today),
        "measure_id": measure.id if measure else "",
        "tells": _tells(request, body),
    }


def _tells(request: Request, body: GoalBody) -> str:
    """A word about what could tell who this is."""
    if site_of(request).settings.identifiers == "full":
        return ""
    return warning({"the task": body.phrase, "in order to": body.so_that})


@router.post("/patients/{patient_id}/goals/preview")
def preview(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: ReadSession,
    now: Now,
    zone: Zone,
    patient_id: RowId,
) -> HTMLResponse:
    """The sentence while it is built; nothing is stored. By hand: the form again."""
    patient = patient_for(session, me, patient_id, "record_visit")
    book = book_of(request, session, patient, open_episode(session, patient))
    today = now.astimezone(zone).date()
    begins = start_of(book, form.text("start"))
    goal, replaced = (_named(book, form, name) for name in ("goal", "instead"))
    return _page(
        request, book, form, begins, {}, today, goal=goal, replaced=replaced,
        fragment="goals/_preview.html",
    )  # fmt: skip


def _named(book: GoalBook, form: Form, name: str) -> GoalRow | None:
    """The goal of this episode that a hidden field names; None for none."""
    return next((g for g in book.goals if str(g.id) == form.text(name)), None)


@router.post("/patients/{patient_id}/goals/new", response_model=None)
def add(
    request: Request,
    form: FormDep,
    me: SignedIn,
    fault: PassphraseFault,
    session: WriteSession,
    now: Now,
    zone: Zone,
    patient_id: RowId,
) -> Response:
    """Keep it, not signed yet. In place of another: that one is closed with it."""
    patient = patient_for(session, me, patient_id, "record_visit")
    book = book_of(request, session, patient, open_episode(session, patient))
    today = now.astimezone(zone).date()
    key = form.text("start")
    begins, errors = (_known(book, key) if key else None), Errors()
    body = read_goal(form, begins, today, errors)
    replaced = _named(book, form, "instead")
    if form.text("instead"):
        replaced = _replaced(session, me, book, replaced.id if replaced else 0)
        _ask_why(form, fault, errors)
    if body is None or errors:
        return _page(request, book, form, begins, errors, today, replaced=replaced)
    goal = _keep(session, me, book.episode, replaced, body, form, today, now)
    return RedirectResponse(f"/patients/{patient.id}/goals#goal-{goal.number}", 303)


def _ask_why(form: Form, fault: str, errors: Errors) -> None:
    if form.text("word") not in REPLACED:
        errors["word"] = "Harder or easier than the old one?"
    if not 1 <= len(form.text("reason")) <= LONGEST_REASON:
        errors["reason"] = f"Say why, in up to {LONGEST_REASON} letters."
    if fault:
        errors["passphrase"] = fault


def _keep(
    session: Session,
    me: Person,
    episode: Episode,
    replaced: GoalRow | None,
    body: GoalBody,
    form: Form,
    today: date,
    now: datetime,
) -> GoalRow:
    uid = form.uid()
    if replaced is None:
        return add_goal(session, me, episode, body, uid=uid, on=today, now=now)
    try:
        return replace_goal(
            session, me, replaced, body, word=form.text("word"),
            reason=form.text("reason"), uid=uid, on=today, version=version_in(form),
            now=now,
        )  # fmt: skip
    except (GoalIsClosed, StaleVersion) as refused:
        raise FormProblem(refused.sentence) from refused


@router.get("/goals/{goal_id}/edit")
def reword(
    request: Request, me: SignedIn, session: ReadSession, now: Now, zone: Zone,
    goal_id: RowId,
) -> HTMLResponse:  # fmt: skip
    book, goal = _unsigned(request, session, me, goal_id)
    typed, today = typed_as(body_of(goal)), now.astimezone(zone).date()
    begins = start_of(book, typed.text("start"))
    return _page(request, book, typed, begins, {}, today, goal=goal)


def _unsigned(
    request: Request, session: Session, me: Person, goal_id: int
) -> tuple[GoalBook, GoalRow]:
    goal, episode = goal_for(session, me, goal_id, "record_visit")
    if goal.signed_at is not None:
        raise FormProblem(GoalIsSigned.sentence)
    if goal.closed_on is not None:
        raise FormProblem(GoalIsClosed.sentence)
    patient = session.get_one(Patient, episode.patient_id)
    return book_of(request, session, patient, episode), goal


@router.post("/goals/{goal_id}/edit", response_model=None)
def save(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
    goal_id: RowId,
) -> Response:
    book, goal = _unsigned(request, session, me, goal_id)
    today, errors = now.astimezone(zone).date(), Errors()
    begins = start_of(book, key_of(body_of(goal)))
    body = read_goal(form, begins, today, errors)
    if body is None:
        return _page(request, book, form, begins, errors, today, goal=goal)
    body = _same_start(body_of(goal), body)
    try:
        edit_goal(session, me, goal, body, version=version_in(form), now=now)
    except StaleVersion:
        was = body_of(goal)
        if was != body:
            compare = compared(
                session, goal.edited_by, goal.edited_at, _said(book, was),
                _said(book, body), zone,
            )  # fmt: skip
            return _page(
                request, book, form, begins, {}, today, goal=goal, compare=compare
            )
    return RedirectResponse(
        f"/patients/{book.patient.id}/goals#goal-{goal.number}", 303
    )


def _same_start(was: GoalBody, body: GoalBody) -> GoalBody:
    """A count that nobody changed was made on its first day, not on this one."""
    counted = (body.base_times, body.out_of) == (was.base_times, was.out_of)
    return replace(body, base_on=was.base_on) if counted else body


def _said(book: GoalBook, body: GoalBody) -> dict[str, str]:
    """A goal in words, to lay two beside each other."""
    return {
        "Goal": sentence(goal_of(body), book.measure(body)),
        "Term": TERMS[body.term],
    }
