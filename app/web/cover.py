"""Standing in for a colleague for some days, said and on record."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.storage.cover import begin_cover, colleagues, covers_of, end_cover
from app.storage.people import Person
from app.web.dates import last_day
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

router = APIRouter()
MOST_DAYS = 14


@router.get("/cover")
def show(
    request: Request, me: SignedIn, session: ReadSession, now: Now, zone: Zone
) -> HTMLResponse:
    return _page(request, session, me, Form(), {}, now, zone)


def _page(
    request: Request,
    session: Session,
    me: Person,
    typed: Form,
    errors: dict[str, str],
    now: datetime,
    zone: ZoneInfo,
) -> HTMLResponse:
    people = {p.id: p for p in colleagues(session, me)}
    return page(
        request,
        "cover/show.html",
        status=422 if errors else 200,
        covers=[
            (c.id, people[c.for_id].name, last_day(c.until, zone), c.reason)
            for c in covers_of(session, me, now)
            if c.for_id in people
        ],
        people=list(people.values()),
        typed=typed,
        errors=errors,
        most=MOST_DAYS,
        today=now.astimezone(zone).date(),
    )


@router.post("/cover", response_model=None)
def begin(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
) -> Response:
    colleagues(session, me)
    errors: dict[str, str] = {}
    until = _until(form, now, zone, errors)
    whom = form.text("person")
    if not (whom.isascii() and whom.isdigit() and len(whom) < 10):
        errors["person"] = "Choose whom you stand in for."
    if not 1 <= len(form.text("reason")) <= 200:
        errors["reason"] = "Say in a few words why: it is on record."
    if errors:
        return _page(request, session, me, form, errors, now, zone)
    begin_cover(
        session, me, int(whom), reason=form.text("reason"), until=until, now=now
    )
    return RedirectResponse("/caseload", 303)


def _until(
    form: Form, now: datetime, zone: ZoneInfo, errors: dict[str, str]
) -> datetime:
    """The end of the last day, on the site's clock."""
    today = now.astimezone(zone).date()
    try:
        day = date.fromisoformat(form.text("last_day"))
    except ValueError:
        day = today - timedelta(days=1)
    if not today <= day < today + timedelta(days=MOST_DAYS):
        errors["last_day"] = f"A day from today to {MOST_DAYS - 1} days ahead."
        day = today
    return datetime.combine(day + timedelta(days=1), time(), zone)


@router.post("/cover/{cover_id}/end")
def end(
    me: SignedIn, session: WriteSession, now: Now, cover_id: RowId
) -> RedirectResponse:
    end_cover(session, me, cover_id, now)
    return RedirectResponse("/cover", 303)
