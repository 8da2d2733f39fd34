"""Goal attainment scaling of an episode: five steps for each goal, ratings, one T."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.clinical.goal_scaling import (
    SOURCE,
    STEPS,
    NoScale,
    shown_t,
    step_words,
    t_score,
)
from app.clinical.goals import sentence
from app.storage.episodes import Episode, episodes_of
from app.storage.errors import NotAllowed, StorageProblem
from app.storage.goal_rows import GoalRow
from app.storage.goal_scales import (
    COLUMNS,
    HEAVIEST,
    LONGEST_STEP,
    GoalScale,
    levels_of,
    rate,
    rated_days,
    scales_of,
    set_scale,
)
from app.storage.goals import body_of, goal_for
from app.storage.patients import Patient, patient_for
from app.storage.people import Person
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
)
from app.web.goal_book import GoalBook, book_of, goal_of, may_sign
from app.web.goal_form import Errors
from app.web.versions import version_in

router = APIRouter()
#: `-2` to `+2` in a field's name and value.
KEYS: Final = {step: COLUMNS[step] for step in STEPS}


@dataclass(frozen=True, slots=True)
class ScaleView:
    """One goal, its steps and what it was rated, newest first."""

    goal_id: int
    number: int
    sentence: str
    closed: bool
    version: int
    weight: int
    steps: Mapping[int, str]
    ratings: tuple[tuple[str, str], ...]
    uid: str


@dataclass(frozen=True, slots=True)
class TView:
    """The T of one day: over the goals rated by then, of all that have steps."""

    day: str
    t: str
    rated: int
    of: int


@router.get("/patients/{patient_id}/goals/scale")
def show(
    request: Request, me: SignedIn, session: ReadSession, patient_id: RowId
) -> HTMLResponse:
    patient = patient_for(session, me, patient_id)
    return _page(request, session, me, patient)


def _page(
    request: Request,
    session: Session,
    me: Person,
    patient: Patient,
    typed: Form | None = None,
    errors: Errors | None = None,
    wrong: str = "",
    at: int = 0,
) -> HTMLResponse:
    """`at`: the goal whose form was refused; its fields keep what was typed."""
    episode = (*episodes_of(session, patient), None)[0]
    views, ts = _views(request, session, patient, episode) if episode else ([], [])
    return page(
        request,
        "goals/scale.html",
        status=422 if errors else 409 if wrong else 200,
        patient=patient,
        views=views,
        ts=ts,
        signs=may_sign(me, patient) and episode is not None,
        typed=typed or Form(),
        errors=errors or {},
        wrong=wrong,
        at=at,
        columns=KEYS,
        steps=STEPS,
        step_words=step_words,
        heaviest=HEAVIEST,
        longest=LONGEST_STEP,
        source=SOURCE,
    )


def _views(
    request: Request, session: Session, patient: Patient, episode: Episode
) -> tuple[list[ScaleView], list[TView]]:
    book = book_of(request, session, patient, episode)
    scales, levels = scales_of(session, book.goals), levels_of(session, book.goals)
    views = [
        _view(book, goal, scales.get(goal.id), levels.get(goal.id, {}))
        for goal in book.goals
        if goal.closed_on is None or goal.id in scales
    ]
    days = [_t_on(day, scales, levels) for day in reversed(rated_days(levels))]
    return views, days


def _view(
    book: GoalBook, goal: GoalRow, scale: GoalScale | None, levels: Mapping[date, int]
) -> ScaleView:
    body = body_of(goal)
    return ScaleView(
        goal_id=goal.id,
        number=goal.number,
        sentence=sentence(goal_of(body), book.measure(body)),
        closed=goal.closed_on is not None,
        version=scale.version if scale else 0,
        weight=scale.weight if scale else 1,
        steps={s: getattr(scale, c) for s, c in COLUMNS.items()} if scale else {},
        ratings=tuple(
            (day_words(day), step_words(level))
            for day, level in sorted(levels.items(), reverse=True)
        ),
        uid=uuid.uuid4().hex,
    )


def _t_on(
    day: date,
    scales: Mapping[int, GoalScale],
    levels: Mapping[int, Mapping[date, int]],
) -> TView:
    """With each goal's newest rating up to that day."""
    rated = []
    for goal_id, scale in scales.items():
        known = [d for d in levels.get(goal_id, {}) if d <= day]
        if known:
            rated.append((levels[goal_id][max(known)], scale.weight))
    try:
        said = str(shown_t(t_score(rated)))
    except NoScale as none:
        said = str(none)
    return TView(day_words(day), said, len(rated), len(scales))


@router.post("/goals/{goal_id}/scale", response_model=None)
def word_steps(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    goal_id: RowId,
) -> Response:
    """Five steps in words and a weight; they stand once somebody was rated on them."""
    goal, episode = goal_for(session, me, goal_id, "sign_goals")
    patient = session.get_one(Patient, episode.patient_id)
    steps, weight, errors = _read(form)
    if errors:
        return _page(request, session, me, patient, form, errors, at=goal.id)
    try:
        set_scale(
            session, me, goal, steps, weight, version=version_in(form), now=now
        )  # fmt: skip
    except NotAllowed:
        raise
    except StorageProblem as refused:
        wrong = refused.sentence
        return _page(request, session, me, patient, form, wrong=wrong, at=goal.id)
    return RedirectResponse(_back(patient, goal), 303)


def _read(form: Form) -> tuple[dict[int, str], int, Errors]:
    errors: Errors = {}
    steps = {step: form.text(column) for step, column in KEYS.items()}
    for step, words in steps.items():
        if not 1 <= len(words) <= LONGEST_STEP:
            errors[KEYS[step]] = f"Say it in up to {LONGEST_STEP} letters."
    typed = form.text("weight")
    plain = typed.isascii() and typed.isdigit() and len(typed) < 3
    weight = int(typed) if plain else 0
    if not 1 <= weight <= HEAVIEST:
        errors["weight"] = f"A whole number from 1 to {HEAVIEST}."
    return steps, weight, errors


@router.post("/goals/{goal_id}/level")
def rate_goal(
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
    goal_id: RowId,
) -> RedirectResponse:
    """Where it came out today."""
    goal, episode = goal_for(session, me, goal_id, "sign_goals")
    patient = session.get_one(Patient, episode.patient_id)
    levels = {str(step): step for step in STEPS}
    if form.text("level") not in levels:
        raise FormProblem("Choose one of the five steps.")
    rate(
        session, me, goal, levels[form.text("level")], uid=form.uid(),
        on=now.astimezone(zone).date(), now=now,
    )  # fmt: skip
    return RedirectResponse(_back(patient, goal), 303)


def _back(patient: Patient, goal: GoalRow) -> str:
    return f"/patients/{patient.id}/goals/scale#goal-{goal.number}"
