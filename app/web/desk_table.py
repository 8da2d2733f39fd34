"""The whole caseload as a table: filtered, sorted, a page at a time; saved views."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.vocabulary import CONDITIONS, SETTINGS
from app.storage import listing
from app.storage.caseload import conditions_by_id
from app.storage.listing_columns import Latest, last_tests, last_visits, next_owed
from app.storage.owing import holders_of
from app.storage.people import Person
from app.storage.staff import everybody
from app.web.dates import ago_words, day_words
from app.web.deps import (
    AskedId,
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
from app.web.owed_words import KIND_WORDS, must_oversee, since_words
from app.web.person_words import age_words, condition_words

router = APIRouter()


@dataclass(frozen=True, slots=True)
class TableLine:
    """One patient as the table shows them. `is_due`: something is owed by now."""

    patient_id: int
    label: str
    who: str
    about: str
    setting: str
    plan: str
    since: str
    owed: str
    is_due: bool
    visit: str
    test: str
    tested: str
    owner: str


@router.get("/desk/table")
def table(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
    view: AskedId = 0,
    sort: str = "label",
    down: bool = False,
    number: int = 1,
) -> HTMLResponse:
    """Filters come from a saved view, so that no address tells what is looked for."""
    must_oversee(me)
    # The choices first: the chosen view is one of them, and is not asked for again.
    choices = _choices(session, me, site.catalogue)
    chosen = listing.view_of(session, me, view) if view else None
    today, shelf = now.astimezone(zone).date(), site.catalogue
    sort = sort if sort in listing.SORTS else "label"
    number = max(1, min(number, 10_000))
    filters = listing.clean(chosen.filters, shelf.measures) if chosen else {}
    rows, total = listing.table_page(
        session, me, filters, day=today, sort=sort, down=down, page=number
    )
    return page(
        request,
        "desk/table.html",
        lines=_lines(session, shelf, rows, filters.get("measure", ""), today),
        total=total,
        number=number,
        pages=max(1, -(-total // listing.PAGE)),
        sort=sort,
        down=down,
        view=chosen,
        filters=filters,
        **choices,
    )


def _choices(session: Session, me: Person, shelf: Catalogue) -> dict[str, Any]:
    """What the filters choose from, and the views kept."""
    return {
        "views": listing.views_of(session, me),
        "people": everybody(session, me),
        "conditions": CONDITIONS,
        "settings": SETTINGS,
        "kinds": KIND_WORDS,
        "measures": {m.id: m.short for m in shelf.measures.values()},
    }


def _lines(
    session: Session,
    shelf: Catalogue,
    rows: Sequence[listing.TableRow],
    measure: str,
    today: date,
) -> list[TableLine]:
    """Five queries more for the rows of one page."""
    ids = [row.patient_id for row in rows]
    about, holders = conditions_by_id(session, ids), holders_of(session, ids)
    visits, owed = last_visits(session, ids), next_owed(session, ids)
    tests = last_tests(session, ids, measure)
    return [
        TableLine(
            row.patient_id,
            row.label,
            age_words(row.birth_date, row.birth_year, row.sex, today),
            condition_words(about.get(row.patient_id, ())) or row.reason,
            SETTINGS.get(row.setting, ""),
            row.plan,
            _day(row.opened_on, today),
            _owed(row, owed.get(row.patient_id), today),
            row.owed > 0,
            _ago(visits.get(row.patient_id), today),
            *_test(shelf, tests.get(row.patient_id), today),
            ", ".join(holders.get(row.patient_id, [])),
        )
        for row in rows
    ]


def _day(day: date | None, today: date) -> str:
    return day_words(day, today) if day else ""


def _ago(day: date | None, today: date) -> str:
    return ago_words(day, today) if day else ""


def _owed(row: listing.TableRow, earliest: date | None, today: date) -> str:
    if row.due_on:
        return f"{row.owed}, {since_words(row.due_on, today)}"
    return since_words(earliest, today) if earliest else ""


def _test(shelf: Catalogue, last: Latest | None, today: date) -> tuple[str, str]:
    """The score in words, and when; a test that left the catalogue by its id."""
    if last is None:
        return "", ""
    known = shelf.measures.get(last.measure)
    name = known.short if known else last.measure
    said = value_words(last.outcome, last.value, last.unit)
    return f"{name} {said}", ago_words(last.on_date, today)


@router.post("/desk/table")
def filter_table(
    form: FormDep, me: SignedIn, session: WriteSession, site: SiteDep, now: Now
) -> RedirectResponse:
    """Keep the filters, under a name or as the last ones, and show the table."""
    must_oversee(me)
    name = form.text("name")[:60] or "Last filter"
    filters = listing.clean(_filters(form), site.catalogue.measures)
    view = listing.save_view(session, me, name, filters, now)
    return RedirectResponse(f"/desk/table?view={view.id}", 303)


def _filters(form: Form) -> dict[str, str]:
    return {name: form.text(name) for name in listing.NARROW}


@router.post("/desk/views/{view_id}/drop")
def drop(me: SignedIn, session: WriteSession, view_id: RowId) -> RedirectResponse:
    must_oversee(me)
    listing.drop_view(session, me, view_id)
    return RedirectResponse("/desk/table", 303)
