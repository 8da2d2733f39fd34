"""The supervisor's desk: people under the next thing somebody owes them."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.measure import Measure
from app.storage.audit_trail import restored_since
from app.storage.caseload import LastScore, conditions_by_id, last_scores_by_id
from app.storage.owing import LEFT, SET, SOON, Desk, DeskRow, Owed, desk_for, holders_of
from app.storage.summary import SMALLEST_CELL, summary_for
from app.web.backup_state import backup_trouble
from app.web.dates import day_words
from app.web.deps import (
    Now,
    ReadSession,
    SignedIn,
    SiteDep,
    Zone,
    page,
)
from app.web.last_scores import value_words
from app.web.owed_words import KIND_WORDS, must_oversee, since_words
from app.web.person_words import age_words, condition_words
from app.web.score_tape import list_tape
from app.web.tape import SmallTape

router = APIRouter()
#: The headings, in the order in which somebody ought to look, and what each holds.
SECTIONS: Final = (
    ("Read and co-sign", ("co_sign",)),
    ("Look into: a loss, a stop, newly unable, left without the list", ("look_into",)),
    ("Test again", ("retest",)),
    ("Report or recertify", ("report", "recertify", "reassess")),
)
FIRST: Final = 12
STILL_SAID: Final = timedelta(days=30)


@dataclass(frozen=True, slots=True)
class DeskLine:
    """One thing owed, as it is shown."""

    href: str
    label: str
    who: str
    value: str
    tape: SmallTape | None
    other: str
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
    must_oversee(me)
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
        backups=backup_trouble(site.settings, now),
        restored=_restored(session, now, site.settings.zone),
    )


def _restored(session: Session, now: datetime, zone: ZoneInfo) -> str:
    """For a month: a restored site looks like any other, and lacks what came after."""
    found = restored_since(session, now - STILL_SAID)
    if found is None:
        return ""
    today = now.astimezone(zone).date()
    at, of = (
        f"{day_words(local.date(), today)}, {local:%H:%M}"
        for local in (each.astimezone(zone) for each in found)
    )
    return (
        f"This site was restored on {at} from a backup of {of}. What was recorded "
        "between the two is not in it: enter it again, and look at every order that "
        "may have changed since."
    )


def _oldest(lines: Iterable[DeskLine]) -> list[DeskLine]:
    return sorted(lines, key=lambda line: line.due_on)[:FIRST]


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
        score = wanted[0] if wanted and row.owed.measure not in (LEFT, SET) else None
        measure = shelf.measures[score.measure] if score else None
        value, tape, other = _told(score, measure, row.owed)
        found.setdefault(row.owed.kind, []).append(
            DeskLine(
                href=_href(row),
                label=row.label,
                who=_who(row, about.get(owner, ()), today),
                value=value,
                tape=tape,
                other=other,
                says=row.owed.says,
                since=since_words(row.owed.due_on, today),
                by=", ".join(holders.get(owner, ["nobody"])),
                due_on=row.owed.due_on,
            )
        )
    return found


def _told(
    score: LastScore | None, measure: Measure | None, owed: Owed
) -> tuple[str, SmallTape | None, str]:
    """The number and its tape; of another test neither, but in words whose it is."""
    if score is None or measure is None:
        return "", None, ""
    number = value_words(score.outcome, score.value, score.unit)
    if score.measure == owed.measure or measure.short in owed.says:
        return number, list_tape(measure, score.value, score.unit), ""
    return "", None, f"last: {measure.short} {number}"


def _href(row: DeskRow) -> str:
    if row.owed.kind == "co_sign":
        return f"/visits/{row.owed.ref}/review"
    if row.owed.measure == LEFT:
        return f"/visits/{row.owed.ref}#exit"
    return f"/patients/{row.owed.patient_id}"


def _who(row: DeskRow, conditions: Collection[str], today: date) -> str:
    age = age_words(row.birth_date, row.birth_year, row.sex, today)
    return " · ".join(part for part in (age, condition_words(conditions)) if part)


@router.get("/desk/summary")
def summary(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
) -> HTMLResponse:
    must_oversee(me)
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
