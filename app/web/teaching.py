"""Education and teach-back of a visit: one topic to one listener, and what came back.

Its own page holds the same part as the visit's page, so that a refused form is shown
with everything typed, also without script.
"""

import uuid

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.clinical import teaching as lists
from app.clinical.teaching import Taught
from app.identifiers import looks_like
from app.storage.episodes import Visit
from app.storage.patients import Patient
from app.storage.teaching import record_teaching, teaching_for, void_teaching
from app.storage.visits import visit_for
from app.web.dates import day_words, moment_words
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
from app.web.handed_on import passed_on
from app.web.visit_forms import Errors, whole

router = APIRouter()


@router.get("/visits/{visit_id}/teaching")
def show(
    request: Request, me: SignedIn, session: ReadSession, visit_id: RowId
) -> HTMLResponse:
    visit, patient = visit_for(session, me, visit_id)
    return _page(request, session, visit, patient)


def _page(
    request: Request,
    session: Session,
    visit: Visit,
    patient: Patient,
    typed: Form | None = None,
    errors: Errors | None = None,
) -> HTMLResponse:
    zone = site_of(request).zone
    return page(
        request,
        "teaching/show.html",
        status=422 if errors else 200,
        visit=visit,
        patient=patient,
        day=day_words(visit.local_date),
        clock=lambda at: moment_words(at, zone).partition(", ")[2],
        events=list(passed_on(session, visit)),
        teach=lists,
        part="teaching",
        typed=typed or Form(),
        errors=errors or {},
        uid=(typed.text("uid") if typed else "") or uuid.uuid4().hex,
    )


@router.post("/visits/{visit_id}/teaching", response_model=None)
def record(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    visit_id: RowId,
) -> Response:
    """Keep one; also after the visit was closed, as long as the page was open."""
    visit, patient = visit_for(session, me, visit_id, "record_visit")
    errors: Errors = {}
    taught = read_taught(form, errors)
    if errors:
        return _page(request, session, visit, patient, form, errors)
    record_teaching(session, me, visit, taught, uid=form.uid(), now=now)
    return RedirectResponse(f"/visits/{visit.id}#teaching", 303)


def read_taught(form: Form, errors: Errors) -> Taught:
    """What is typed, or sentences beside the fields."""
    said = {name: form.text(name) for name in ("to", "topic", "how", "back")}
    for name, allowed, asks in (
        ("to", lists.TO, "To whom? A role, never a name."),
        ("topic", lists.TOPICS, "What was taught?"),
        ("how", lists.HOW, "Told, shown or practised?"),
        ("back", lists.BACK, "Was it shown back?"),
    ):
        if said[name] not in allowed:
            errors[name] = asks
    prompts = whole(form, "prompts", 1, lists.MOST_PROMPTS, "Prompts", errors)
    if said["back"] == "prompts" and prompts is None:
        errors.setdefault("prompts", "With how many prompts?")
    if said["back"] != "prompts":
        prompts = None
    return Taught(**said, prompts=prompts, words=_words(form, said["topic"], errors))


def _words(form: Form, topic: str, errors: Errors) -> str:
    words = form.text("words")
    if len(words) > lists.LONGEST_WORDS:
        errors["words"] = f"At most {lists.LONGEST_WORDS} letters."
    elif topic == "other" and not words:
        errors["words"] = "Say in a few words what it was."
    elif looks_like(words) and form.text("sure") != "yes":
        errors["words"] = (
            f"This looks like {', '.join(looks_like(words))}. Take it out, or tick "
            "that it tells of nobody."
        )
    return words


@router.post("/teaching/{teaching_id}/void")
def void(
    form: FormDep, me: SignedIn, session: WriteSession, now: Now, teaching_id: RowId
) -> RedirectResponse:
    _, visit = teaching_for(session, me, teaching_id, "record_visit")
    reason = form.text("void_reason")
    if not 1 <= len(reason) <= 200:
        raise FormProblem("Say in a few words why this does not count.")
    void_teaching(session, me, teaching_id, reason=reason, now=now)
    return RedirectResponse(f"/visits/{visit.id}#teaching", 303)
