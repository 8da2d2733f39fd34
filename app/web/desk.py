"""The supervisor's desk: people under the next thing somebody owes them."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from sqlmodel import Session

from app.access import may
from app.catalogue.load import Catalogue
from app.clinical.vocabulary import CONDITIONS, SETTINGS
from app.storage import listing
from app.storage.caseload import conditions_by_id, last_scores_by_id
from app.storage.errors import NotAllowed
from app.storage.owing import SOON, Desk, DeskRow, desk_for, holders_of
from app.storage.people import Person, actor
from app.storage.staff import everybody
from app.storage.summary import SMALLEST_CELL, summary_for
from app.web.dates import ago_words, day_words
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
)
from app.web.last_scores import value_words
from app.web.person_words import age_words, condition_words
from app.web.score_tape import list_tape
from app.web.tape import SmallTape

router = APIRouter()
#: The headings, in the order in which somebody ought to look, and what each holds.
SECTIONS: Final = (
    ("Read and co-sign", ("co_sign",)),
    ("Look into: a real loss, a stop, newly unable", ("look_into",)),
    ("Test again", ("retest",)),
    ("Report or recertify", ("report", "recertify", "reassess")),
)
FIRST: Final = 12


@dataclass(frozen=True, slots=True)
class DeskLine:
    """One thing owed, as it is shown."""

    href: str
    label: str
    who: str
    value: str
    tape: SmallTape | None
    says: str
    since: str
    by: str
    due_on: date


@router.get("/desk")
def show(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
) -> HTMLResponse:
    _must_oversee(me)
    today = now.astimezone(zone).date()
    desk = desk_for(session, me, today, today + SOON, FIRST)
    lines = _lines(session, site.catalogue, desk, today)
    sections = [
        (
            title,
            "+".join(kinds),
            _oldest(line for kind in kinds for line in lines.get(kind, ())),
            sum(desk.counts.get(kind, 0) for kind in kinds),
        )
        for title, kinds in SECTIONS
    ]
    return page(
        request,
        "desk/show.html",
        sections=[section for section in sections if section[3]],
        people=desk.people,
        nothing=desk.people - desk.with_something,
    )


def _oldest(lines: Iterable[DeskLine]) -> list[DeskLine]:
    return sorted(lines, key=lambda line: line.due_on)[:FIRST]


def _must_oversee(me: Person) -> None:
    if not may(actor(me), "see_desk", None):
        raise NotAllowed


def _lines(
    session: Session, shelf: Catalogue, desk: Desk, today: date
) -> dict[str, list[DeskLine]]:
    rows = [row for kind in desk.rows.values() for row in kind]
    ids = {row.owed.patient_id for row in rows}
    about = conditions_by_id(session, ids)
    holders = holders_of(session, ids)
    scores = last_scores_by_id(session, ids)
    found: dict[str, list[DeskLine]] = {}
    for row in rows:
        owner = row.owed.patient_id
        known = [s for s in scores.get(owner, []) if s.measure in shelf.measures]
        wanted = [s for s in known if s.measure == row.owed.measure] or known
        score = wanted[0] if wanted else None
        measure = shelf.measures[score.measure] if score else None
        found.setdefault(row.owed.kind, []).append(
            DeskLine(
                href=_href(row),
                label=row.label,
                who=_who(row, about.get(owner, ()), today),
                value=value_words(score.outcome, score.value, score.unit)
                if score
                else "",
                tape=list_tape(measure, score.value, score.unit)
                if score and measure
                else None,
                says=row.owed.says,
                since=_since(row.owed.due_on, today),
                by=", ".join(holders.get(owner, ["nobody"])),
                due_on=row.owed.due_on,
            )
        )
    return found


def _href(row: DeskRow) -> str:
    if row.owed.kind == "co_sign":
        return f"/visits/{row.owed.ref}/review"
    return f"/patients/{row.owed.patient_id}"


def _who(row: DeskRow, conditions: Collection[str], today: date) -> str:
    age = age_words(row.birth_date, row.birth_year, row.sex, today)
    return " · ".join(part for part in (age, condition_words(conditions)) if part)


def _since(due_on: date, today: date) -> str:
    days = (due_on - today).days
    if days > 0:
        return f"in {days} day" + ("s" if days > 1 else "")
    return "today" if days == 0 else f"since {ago_words(due_on, today)}"


@router.get("/desk/table")
def table(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    now: Now,
    zone: Zone,
    view: int = 0,
    sort: str = "label",
    down: bool = False,
    number: int = 1,
) -> HTMLResponse:
    """Filters come from a saved view, so that no address tells what is looked for."""
    _must_oversee(me)
    chosen = listing.view_of(session, me, view) if view else None
    today = now.astimezone(zone).date()
    sort = sort if sort in listing.SORTS else "label"
    number = max(1, min(number, 10_000))
    filters = listing.clean(chosen.filters) if chosen else {}
    rows, total = listing.table_page(
        session, me, filters, day=today, sort=sort, down=down, page=number
    )
    return page(
        request,
        "desk/table.html",
        lines=_table_lines(session, rows, today),
        total=total,
        number=number,
        pages=max(1, -(-total // listing.PAGE)),
        sort=sort,
        down=down,
        view=chosen,
        filters=filters,
        views=listing.views_of(session, me),
        people=everybody(session, me),
        conditions=CONDITIONS,
        settings=SETTINGS,
        kinds=KIND_WORDS,
    )


def _table_lines(
    session: Session, rows: Sequence[listing.TableRow], today: date
) -> list[tuple[object, ...]]:
    ids = [row.patient_id for row in rows]
    about = conditions_by_id(session, ids)
    holders = holders_of(session, ids)
    return [
        (
            row,
            age_words(row.birth_date, row.birth_year, row.sex, today),
            condition_words(about.get(row.patient_id, ())),
            SETTINGS.get(row.setting, ""),
            _since(row.due_on, today) if row.due_on else "",
            ", ".join(holders.get(row.patient_id, [])),
        )
        for row in rows
    ]


KIND_WORDS: Final = {
    "co_sign": "a co-signature",
    "look_into": "a look",
    "retest": "a test",
    "report": "a progress report",
    "recertify": "recertification",
    "reassess": "a reassessment",
}


@router.post("/desk/table")
def filter_table(
    form: FormDep, me: SignedIn, session: WriteSession, now: Now
) -> RedirectResponse:
    """Keep the filters, under a name or as the last ones, and show the table."""
    _must_oversee(me)
    name = form.text("name")[:60] or "Last filter"
    view = listing.save_view(session, me, name, listing.clean(_filters(form)), now)
    return RedirectResponse(f"/desk/table?view={view.id}", 303)


def _filters(form: Form) -> dict[str, str]:
    return {name: form.text(name) for name in listing.NARROW}


@router.post("/desk/views/{view_id}/drop")
def drop(me: SignedIn, session: WriteSession, view_id: RowId) -> RedirectResponse:
    _must_oversee(me)
    listing.drop_view(session, me, view_id)
    return RedirectResponse("/desk/table", 303)


@router.get("/desk/summary")
def summary(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
) -> HTMLResponse:
    _must_oversee(me)
    today = now.astimezone(zone).date()
    found = summary_for(session, me, today)
    return page(
        request,
        "desk/summary.html",
        found=found,
        kinds=KIND_WORDS,
        names={m.id: m.short for m in site.catalogue.measures.values()},
        days=day_words,
        smallest=SMALLEST_CELL,
    )
