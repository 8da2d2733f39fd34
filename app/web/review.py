"""Reading what a student handed in: the events beside the text, decided once."""

from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.access import may
from app.clinical.note import SECTIONS
from app.clinical.visiting import KINDS
from app.storage.errors import NotFound
from app.storage.people import Person, actor
from app.storage.review import (
    CHECKLIST,
    PRESENCE,
    VisitText,
    comment,
    comments_on,
    decide,
    decision_of,
    text_for,
    texts_of,
)
from app.storage.visits import visit_for
from app.web.dates import moment_words
from app.web.deps import (
    Form,
    FormDep,
    FormProblem,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    Site,
    WriteSession,
    page,
    site_of,
)
from app.web.reauth import PassphraseFault
from app.web.visit_events import events_of

router = APIRouter()
#: What a reviewer's button means.
DECISIONS: Final = {"return": "returned", "approve": "approved", "co_sign": "co_signed"}


@router.get("/review")
def queue() -> RedirectResponse:
    """The desk holds the queue, the oldest first."""
    return RedirectResponse("/desk", 303)


@router.get("/visits/{visit_id}/review")
def show(
    request: Request, me: SignedIn, session: ReadSession, visit_id: RowId
) -> HTMLResponse:
    visit, _ = visit_for(session, me, visit_id)
    texts = texts_of(session, visit)
    if not texts:
        raise NotFound("Nothing has been handed in of this visit yet.")
    return _page(request, session, me, texts[-1], Form(), {})


def _page(
    request: Request,
    session: Session,
    me: Person,
    text: VisitText,
    typed: Form,
    errors: dict[str, str],
) -> HTMLResponse:
    site = site_of(request)
    visit, patient = visit_for(session, me, text.visit_id)
    return page(
        request,
        "review/show.html",
        status=422 if errors else 200,
        visit=visit,
        patient=patient,
        text=text,
        author=_name(session, text.author_id),
        written=moment_words(text.written_at, site.zone),
        events=events_of(session, site.catalogue, visit),
        clock=lambda at: moment_words(at, site.zone).partition(", ")[2],
        comments=_comments(session, site, text),
        headings=_headings(text),
        worded=[p for p in text.parts or () if p["made"] and p["text"] != p["made"]],
        made=decision_of(session, text),
        by=lambda number: _name(session, number),
        earlier=texts_of(session, visit)[:-1],
        reviews=may_review(me, patient.is_demo),
        kinds=KINDS,
        checklist=CHECKLIST,
        presence=PRESENCE,
        typed=typed,
        errors=errors,
    )


def _headings(text: VisitText) -> frozenset[str]:
    """The lines of a note that are headings; a text of before has none."""
    return frozenset(f"{w}:" for w in SECTIONS.values()) if text.parts else frozenset()


def may_review(me: Person, is_demo: bool) -> bool:
    return me.is_demo == is_demo and may(actor(me), "see_desk", None)


def _name(session: Session, person_id: int) -> str:
    return session.get_one(Person, person_id).name


def _comments(
    session: Session, site: Site, text: VisitText
) -> dict[int, list[tuple[str, str]]]:
    found: dict[int, list[tuple[str, str]]] = {}
    for row in comments_on(session, text):
        at = moment_words(row.written_at, site.zone)
        who = f"{_name(session, row.person_id)}, {at}"
        found.setdefault(row.line, []).append((row.words, who))
    return found


@router.post("/review/{text_id}/comments")
def add_comment(
    form: FormDep, me: SignedIn, session: WriteSession, now: Now, text_id: RowId
) -> RedirectResponse:
    """On one line, for the author; never part of the record."""
    text, visit, _ = text_for(session, me, text_id, "review")
    line, words = form.text("line"), form.text("words")
    if not (line.isascii() and line.isdigit() and int(line[:6]) <= len(text.lines)):
        raise FormProblem("Which line do you mean?")
    if not 1 <= len(words) <= 500:
        raise FormProblem("Write up to 500 letters.")
    comment(session, me, text, int(line), words, now)
    return RedirectResponse(f"/visits/{visit.id}/review#line-{line}", 303)


@router.post("/review/{text_id}/decision", response_model=None)
def make_decision(
    request: Request,
    form: FormDep,
    me: SignedIn,
    fault: PassphraseFault,
    session: WriteSession,
    now: Now,
    text_id: RowId,
) -> Response:
    """Return for change, approve, or co-sign with one's own statement."""
    text, visit, _ = text_for(session, me, text_id, "co_sign")
    errors = _errors(form)
    if fault and form.text("decision") == "co_sign":
        errors["passphrase"] = fault
    if errors:
        return _page(request, session, me, text, form, errors)
    minutes = form.text("minutes")
    decide(
        session,
        me,
        text,
        DECISIONS[form.text("decision")],
        statement=form.text("statement"),
        presence=form.text("presence") or None,
        minutes=int(minutes) if minutes else None,
        checked=[key for key in form.every("checked") if key in CHECKLIST],
        now=now,
    )
    return RedirectResponse(f"/visits/{visit.id}/review", 303)


def _errors(form: Form) -> dict[str, str]:
    errors = {}
    decision, statement = form.text("decision"), form.text("statement")
    if decision not in DECISIONS:
        errors["decision"] = "Return it, approve it or co-sign it."
    if decision in ("return", "co_sign") and not statement:
        errors["statement"] = (
            "Say it in your own words: this is your part of the record."
        )
    if len(statement) > 2000:
        errors["statement"] = "At most 2000 letters."
    if form.text("presence") and form.text("presence") not in PRESENCE:
        errors["presence"] = "Choose one."
    if decision == "co_sign" and not form.text("presence"):
        errors["presence"] = "How were you there? Only you can say."
    minutes = form.text("minutes")
    if (
        minutes and not (minutes.isascii() and minutes.isdigit() and len(minutes) < 4)
    ) or (minutes and int(minutes) > 600):
        errors["minutes"] = "Whole minutes, up to 600."
    return errors
