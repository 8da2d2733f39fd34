"""The page of a note: worded line by line, finished, then read and added to."""

from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import (
    HTMLResponse,
    PlainTextResponse,
    RedirectResponse,
    Response,
)
from sqlmodel import Session

from app.access import STUDENT, Subject, may
from app.clinical.note import NOTE_KINDS
from app.clinical.skill_words import VERBS
from app.storage.episodes import Visit
from app.storage.errors import NotAllowed, NotFound
from app.storage.notes import LONGEST_LINE, LONGEST_REASON, add_to, is_open
from app.storage.patients import Patient
from app.storage.people import Person, actor
from app.storage.review import VisitText, decision_of, texts_of
from app.storage.visits import visit_for
from app.web.dates import day_words, moment_words
from app.web.deps import (
    Form,
    FormDep,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    SiteDep,
    WriteSession,
    page,
    site_of,
    wants_fragment,
)
from app.web.note_draft import Draft, blank_lines, cleared, draft
from app.web.note_links import note_path
from app.web.note_makers import report_of
from app.web.note_rights import SIGNING, hours_late, known_note, right
from app.web.note_saving import CHANGED, Typed, changed_since, keep_lines
from app.web.note_signed import NOT_VALID, earlier_notes, signed_note
from app.web.note_writing import finish
from app.web.reauth import PassphraseFault
from app.web.visit_events import events_of

router = APIRouter()
PAGE = "/visits/{visit_id}/notes/{note}"


@router.get(PAGE)
def show(
    request: Request, me: SignedIn, session: ReadSession, now: Now, visit_id: RowId,
    note: str,
) -> HTMLResponse:  # fmt: skip
    """The draft while it can be worded, else the text that stands."""
    visit, patient = visit_for(session, me, visit_id)
    known_note(visit, note)
    if is_open(session, visit, note):
        return _draft_page(request, session, me, visit, patient, note, now)
    return _signed_page(request, session, me, visit, patient, note)


def _draft_page(
    request: Request,
    session: Session,
    me: Person,
    visit: Visit,
    patient: Patient,
    note: str,
    now: datetime,
    typed: Typed | None = None,
    errors: dict[str, str] | None = None,
) -> HTMLResponse:
    site = site_of(request)
    texts = texts_of(session, visit, note)
    made = draft(session, site, visit, note, typed.texts if typed else {}, errors)
    return page(
        request,
        "notes/show.html",
        status=422 if errors else 200,
        draft=made,
        blank=blank_lines(made),
        right=right(session, me, visit, patient, note),
        unfit=_unfit(session, visit, note),
        returned=decision_of(session, texts[-1]) if texts else None,
        events=events_of(session, site.catalogue, visit),
        clock=lambda at: moment_words(at, site.zone).partition(", ")[2],
        late=hours_late(visit, now),
        verbs=VERBS,
        errors=errors or {},
        report=report_of(session, site, visit, note),
        folded=True,
        **_of(visit, patient, note),
    )


def _unfit(session: Session, visit: Visit, note: str) -> str:
    """What a student's own note says of itself before it is handed in."""
    author = session.get_one(Person, visit.person_id)
    return NOT_VALID if note == "visit" and author.role == STUDENT else ""


def _of(visit: Visit, patient: Patient, note: str) -> dict[str, Any]:
    return {
        "visit": visit,
        "patient": patient,
        "note": note,
        "title": NOTE_KINDS[note].capitalize(),
        "day": day_words(visit.local_date),
        "path": note_path(visit, note),
    }


@router.post(PAGE, response_model=None)
def save(
    request: Request, form: FormDep, me: SignedIn, session: WriteSession, now: Now,
    visit_id: RowId, note: str,
) -> Response:  # fmt: skip
    """One line at its tap, or without script all of them."""
    visit, patient = _to_word(session, me, visit_id, note)
    before = draft(session, site_of(request), visit, note)
    typed, errors = keep_lines(session, me, visit, before, form, now)
    if wants_fragment(request):
        return _kept(request, session, visit, before, typed, errors, now)
    if errors:
        return _draft_page(
            request, session, me, visit, patient, note, now, typed, errors
        )
    return RedirectResponse(note_path(visit, note), 303)


def _to_word(
    session: Session, me: Person, visit_id: int, note: str
) -> tuple[Visit, Patient]:
    """A visit whose note `me` may word."""
    visit, patient = visit_for(session, me, visit_id, "record_visit")
    known_note(visit, note)
    if not right(session, me, visit, patient, note).edits:
        raise NotAllowed("This is a colleague's visit: its note is theirs.")
    return visit, patient


def _kept(
    request: Request,
    session: Session,
    visit: Visit,
    before: Draft,
    typed: Typed,
    errors: dict[str, str],
    now: datetime,
) -> HTMLResponse:
    """The answer to a tap: how that line stands now, and what is open in the whole."""
    site = site_of(request)
    made = draft(session, site, visit, before.note, typed.texts, errors)
    key = next(iter(typed.texts), "")
    line = made.lines.get(key) or cleared(key, typed.form.text(f"section-{key}"))
    added = line.added and bool(line.text) and key not in before.lines
    return page(
        request,
        "notes/_kept.html",
        status=422 if errors else 200,
        draft=made,
        line=line,
        next=blank_lines(made)[line.line.section] if added else None,
        path=note_path(visit, before.note),
        at=moment_words(now, site.zone).partition(", ")[2],
    )


@router.post(PAGE + "/sign", response_model=None)
def sign(
    request: Request,
    form: FormDep,
    me: SignedIn,
    fault: PassphraseFault,
    session: WriteSession,
    now: Now,
    visit_id: RowId,
    note: str,
) -> Response:
    """Sign with one's passphrase; a student hands in. The fields are kept first."""
    site = site_of(request)
    visit, patient = _to_word(session, me, visit_id, note)
    ends = right(session, me, visit, patient, note)
    if not ends.ends:
        raise NotAllowed(ends.why)
    before = draft(session, site, visit, note)
    typed, errors = keep_lines(session, me, visit, before, form, now)
    if ends.ends == "sign" and fault:
        errors["passphrase"] = fault
    if changed_since(before, typed):
        errors["changed"] = CHANGED
    if errors:
        return _draft_page(
            request, session, me, visit, patient, note, now, typed, errors
        )
    if is_open(session, visit, note):
        made = draft(session, site, visit, note)
        finish(session, site, me, visit, made, now)
    return RedirectResponse(note_path(visit, note), 303)


def _signed_page(
    request: Request,
    session: Session,
    me: Person,
    visit: Visit,
    patient: Patient,
    note: str,
    typed: Form | None = None,
    errors: dict[str, str] | None = None,
) -> HTMLResponse:
    site, text = site_of(request), texts_of(session, visit, note)[-1]
    signed = signed_note(session, site, visit, text)
    whom = Subject(patient.is_demo, assigned=True)
    return page(
        request,
        "notes/signed.html",
        status=422 if errors else 200,
        signed=signed,
        plain=signed.plain(patient.label) if signed.valid else "",
        not_valid=NOT_VALID,
        earlier=earlier_notes(session, site, visit, note),
        may_add=signed.valid and may(actor(me), SIGNING[note], whom),
        typed=typed or Form(),
        errors=errors or {},
        report=report_of(session, site, visit, note),
        **_of(visit, patient, note),
    )


@router.get(PAGE + "/text")
def plain_text(
    me: SignedIn, session: ReadSession, site: SiteDep, visit_id: RowId, note: str
) -> PlainTextResponse:
    """What stands, to be copied; never what nobody answers for yet."""
    visit, patient, text = _standing(session, me, visit_id, note, "see_patient")
    signed = signed_note(session, site, visit, text)
    if not signed.valid:
        raise NotAllowed(NOT_VALID)
    return PlainTextResponse(signed.plain(patient.label))


def _standing(
    session: Session, me: Person, visit_id: int, note: str, deed: str
) -> tuple[Visit, Patient, VisitText]:
    """The text that stands; NotFound while the note is a draft."""
    visit, patient = visit_for(session, me, visit_id, deed)
    known_note(visit, note)
    if is_open(session, visit, note):
        raise NotFound("This note is not signed yet.")
    return visit, patient, texts_of(session, visit, note)[-1]


@router.post(PAGE + "/addenda", response_model=None)
def add(
    request: Request,
    form: FormDep,
    me: SignedIn,
    fault: PassphraseFault,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    visit_id: RowId,
    note: str,
) -> Response:
    """An addendum: what, why, and the passphrase again. The text itself stays."""
    known = SIGNING.get(note, "see_patient")
    visit, patient, text = _standing(session, me, visit_id, note, known)
    if not signed_note(session, site, visit, text).valid:
        raise NotAllowed(NOT_VALID)
    errors = _wrong(form)
    if fault:
        errors["passphrase"] = fault
    if errors:
        return _signed_page(request, session, me, visit, patient, note, form, errors)
    words, reason = form.text("words"), form.text("reason")
    add_to(session, me, text, words=words, reason=reason, now=now)
    return RedirectResponse(f"{note_path(visit, note)}#addenda", 303)


def _wrong(form: Form) -> dict[str, str]:
    errors = {}
    for name, asks, most in (
        ("words", "What is to be added?", LONGEST_LINE),
        ("reason", "Why is it added now?", LONGEST_REASON),
    ):
        size = len(form.text(name))
        if not size:
            errors[name] = asks
        elif size > most:
            errors[name] = f"At most {most} letters; these are {size}."
    return errors
