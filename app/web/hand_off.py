"""The hand-off card: read aloud in 30 seconds, each line edited before it is given.

What was given is kept in its own words, with who took it and whether they read it back.
The card names nobody; a student's waits for who may sign.
"""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session, col, select

from app.access import STUDENT
from app.clinical.hand_off import (
    AUDIENCES,
    GIVEN_TO,
    MOST_LETTERS,
    MOST_SECONDS,
    PARTS,
    WORDS_A_MINUTE,
    Card,
    HandOffLine,
    card,
    hand_off,
)
from app.clinical.visiting import HAND_OFF_TO
from app.identifiers import looks_like
from app.storage.episodes import Visit
from app.storage.errors import NotFound
from app.storage.hand_offs import NOT_YET, HandOff, HandOffBody, give, hand_offs_in
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.visits import visit_for
from app.web.dates import day_words, moment_words
from app.web.deps import (
    Form,
    FormDep,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    WriteSession,
    page,
    site_of,
)
from app.web.hand_off_facts import hand_off_facts
from app.web.handed_on import hand_off_words
from app.web.visit_forms import Errors

router = APIRouter()
LINE: Final = "line-"
#: Of lines that were left out: said only where they are ticked.
MORE: Final = "more-"


@dataclass(frozen=True, slots=True)
class LineView:
    """A line as it is edited; `taken`: one that was left out is said as well."""

    name: str
    part: str
    text: str
    asks: str
    is_safety: bool
    taken: bool = False

    @property
    def rows(self) -> int:
        """Where a browser does not fit a field to its text: about 24 letters a row."""
        return 1 + len(self.text) // 24


@dataclass(frozen=True, slots=True)
class GivenView:
    """A hand-off as it was given."""

    at: str
    says: str
    by: str
    lines: tuple[str, ...]


@router.get("/visits/{visit_id}/hand-off/{to}")
def show(
    request: Request, me: SignedIn, session: ReadSession, now: Now, visit_id: RowId,
    to: str,
) -> HTMLResponse:  # fmt: skip
    visit, patient = visit_for(session, me, visit_id)
    return _page(request, session, me, visit, patient, to, now)


def _page(
    request: Request,
    session: Session,
    me: Person,
    visit: Visit,
    patient: Patient,
    to: str,
    now: datetime,
    typed: Form | None = None,
    errors: Errors | None = None,
) -> HTMLResponse:
    if to not in AUDIENCES:
        raise NotFound
    site, form = site_of(request), typed or Form()
    made = card(hand_off(hand_off_facts(session, site, visit, to, now), to))
    today = now.astimezone(site.zone).date()
    return page(
        request,
        "hand_off/show.html",
        status=422 if errors else 200,
        visit=visit,
        patient=patient,
        to=to,
        audiences=AUDIENCES,
        day="" if visit.local_date == today else day_words(visit.local_date, today),
        lines=_views(made, form),
        left_out=[_view(line, form, MORE) for line in made.left_out],
        seconds=made.seconds,
        most=MOST_SECONDS,
        rate=WORDS_A_MINUTE,
        longest=MOST_LETTERS,
        roles=[(role, HAND_OFF_TO[role]) for role in GIVEN_TO[to]],
        given=list(_given(session, request, visit)),
        not_yet=NOT_YET if me.role == STUDENT else "",
        typed=form,
        errors=errors or {},
        uid=form.text("uid") or uuid.uuid4().hex,
    )


def _views(made: Card, form: Form) -> list[LineView]:
    """As made, or as typed; a typed line that is no longer made stands at the end."""
    views = [_view(line, form, LINE) for line in made.lines]
    known = {view.name for view in views}
    late = [name for name in form if name.startswith(LINE) and name not in known]
    return views + [
        LineView(name, PARTS["ask"], form.text(name), "", is_safety=False)
        for name in late
        if form.text(name)
    ]


def _view(line: HandOffLine, form: Form, prefix: str) -> LineView:
    name = f"{prefix}{line.key}"
    return LineView(
        name, PARTS[line.part], form.get(name, line.says), line.asks, line.is_safety,
        taken=line.key in form.every("take"),
    )  # fmt: skip


def _given(session: Session, request: Request, visit: Visit) -> Iterable[GivenView]:
    rows = hand_offs_in(session, visit)
    wanted = select(Person.id, Person.name).where(
        col(Person.id).in_({row.given_by for row in rows})
    )
    names = dict(session.exec(wanted).all())
    zone = site_of(request).zone
    for row in rows:
        yield _given_view(row, moment_words(row.given_at, zone), names[row.given_by])


def _given_view(row: HandOff, at: str, by: str) -> GivenView:
    return GivenView(at, hand_off_words(row), by, tuple(row.lines))


@router.post("/visits/{visit_id}/hand-off/{to}", response_model=None)
def record(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    visit_id: RowId,
    to: str,
) -> Response:
    """It was given: in these words, to this role, read back or not."""
    visit, patient = visit_for(session, me, visit_id, "record_visit")
    if to not in AUDIENCES:
        raise NotFound
    lines, errors = said_lines(form), dict[str, str]()
    body = HandOffBody(
        audience=to,
        given_to=form.text("given_to"),
        lines=tuple(text for _, text in lines),
        read_back=form.text("read_back") == "yes",
    )
    if me.role != STUDENT:
        _check(form, lines, to, errors)
    if errors:
        return _page(request, session, me, visit, patient, to, now, form, errors)
    give(session, me, visit, body, uid=form.uid(), now=now)
    return RedirectResponse(f"/visits/{visit.id}/hand-off/{to}#given", 303)


def said_lines(form: Form) -> list[tuple[str, str]]:
    """The lines that are said, in the page's order, each with its field's name."""
    taken, found = form.every("take"), []
    for name, value in form.pairs:
        text = " ".join(value.split())
        more = name.startswith(MORE) and name.removeprefix(MORE) in taken
        if text and (name.startswith(LINE) or more):
            found.append((name, text))
    return found


def _check(
    form: Form, lines: Iterable[tuple[str, str]], to: str, errors: Errors
) -> None:
    said = list(lines)
    if not said:
        errors["lines"] = "Nothing is left to say: fill in at least one line."
    for name, text in said:
        if len(text) > MOST_LETTERS:
            errors[name] = f"At most {MOST_LETTERS} letters."
        # The dates are the program's own: of reviews and of earlier scores.
        kinds = [kind for kind in looks_like(text) if kind != "a date"]
        if kinds and form.text("sure") != "yes":
            errors[name] = (
                f"This looks like {', '.join(kinds)}. Take it out, or tick below that "
                "it tells of nobody."
            )
            errors["sure"] = "Does a line tell who somebody is?"
    if form.text("given_to") not in GIVEN_TO[to]:
        errors["given_to"] = "Who took it? A role, never a name."
    if form.text("read_back") not in ("yes", "no"):
        errors["read_back"] = "Did they say it back?"
