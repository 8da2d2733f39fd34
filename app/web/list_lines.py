"""The caseload's lines: who, the last reading, what is owed next; and their groups."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final
from zoneinfo import ZoneInfo

from app.catalogue.load import Catalogue
from app.clinical.precautions import PRECAUTIONS
from app.storage.caseload import CaseloadRow, LastScore
from app.storage.owing import LEFT, LONGER, SOON, OwedLine
from app.storage.todays_list import ListRow, Seen
from app.web.dates import day_words, last_day
from app.web.due import clearance_of
from app.web.last_scores import value_words
from app.web.person_words import age_words, condition_words
from app.web.score_tape import list_tape
from app.web.tape import SmallTape

#: What is said of several things that are due: the first of these.
RANK: Final = ("look_into", "co_sign", "retest", "report", "recertify", "reassess")
WORDS: Final = {
    "co_sign": "Student's visit to co-sign",
    "report": "Progress report due",
    "recertify": "Recertification",
    "reassess": "Reassessment",
}


@dataclass(frozen=True, slots=True)
class PersonLine:
    """One patient on the list. `state` is the shape of what is due; empty for none."""

    patient_id: int
    label: str
    who: str
    score: str
    tape: SmallTape | None
    state: str
    owed: str
    more: int
    seen: str
    seen_by_me: bool
    ticked: bool
    covering: str
    group: str


@dataclass(frozen=True, slots=True)
class Group:
    """Lines under one heading; `key` is its word in the page."""

    key: str
    title: str
    lines: Sequence[PersonLine]


def person_line(
    shelf: Catalogue, found: ListRow, today: date, zone: ZoneInfo
) -> PersonLine:
    """One row as it is shown."""
    row = found.row
    newest = next((s for s in row.last_scores if s.measure in shelf.measures), None)
    state, owed, more = _owed(shelf, found, today)
    return PersonLine(
        patient_id=row.patient_id,
        label=row.label,
        who=_who(row, today),
        score=_score(shelf, newest),
        tape=_tape(shelf, newest),
        state=state,
        owed=owed,
        more=more,
        seen=_seen(found.seen, zone),
        seen_by_me=found.seen is not None and found.seen.own,
        ticked=row.ticked,
        covering=found.covering.name if found.covering else "",
        group=_cover_title(found, zone),
    )


def _who(row: CaseloadRow, today: date) -> str:
    who = age_words(row.birth_date, row.birth_year, row.sex, today)
    about = condition_words(row.conditions) or (row.reason or "")
    orders = [PRECAUTIONS[t] for t in row.precautions if PRECAUTIONS[t].kind == "order"]
    order = f"order: {orders[0].label.lower()}" if orders else ""
    return " · ".join(part for part in (who, about, order) if part)


def _score(shelf: Catalogue, newest: LastScore | None) -> str:
    if newest is None:
        return "not tested yet"
    said = value_words(newest.outcome, newest.value, newest.unit)
    return f"{shelf.measures[newest.measure].short} {said}"


def _tape(shelf: Catalogue, newest: LastScore | None) -> SmallTape | None:
    if newest is None:
        return None
    return list_tape(shelf.measures[newest.measure], newest.value, newest.unit)


def _seen(seen: Seen | None, zone: ZoneInfo) -> str:
    if seen is None:
        return ""
    by = "" if seen.own else f" by {seen.by}"
    return f"seen {seen.at.astimezone(zone):%H:%M}{by}"


def _cover_title(found: ListRow, zone: ZoneInfo) -> str:
    if found.covering is None:
        return ""
    return (
        f"Covering for {found.covering.name} "
        f"until {last_day(found.covering.until, zone)}"
    )


def _owed(shelf: Catalogue, found: ListRow, today: date) -> tuple[str, str, int]:
    """The shape and words of what is owed first, and how many more are due."""
    allowed = [o for o in found.owed if _stands(shelf, found.row, o)]
    due = [o for o in allowed if o.due_on <= today]
    if due:
        first = min(due, key=lambda o: (RANK.index(o.kind), o.due_on))
        return _shape(first), _due_words(shelf, first, today), len(due) - 1
    for later in allowed:
        if later.kind in LONGER and later.due_on <= today + SOON:
            return "", _later_words(shelf, later, today), 0
    if allowed:
        return "", _later_words(shelf, allowed[0], today), 0
    return "", "", 0


def _stands(shelf: Catalogue, row: CaseloadRow, owed: OwedLine) -> bool:
    """A test that an order of this very day blocks is not owed."""
    if owed.kind != "retest":
        return True
    measure = shelf.measures.get(owed.measure)
    return measure is not None and clearance_of(measure, row.precautions).allowed


def _shape(owed: OwedLine) -> str:
    if owed.kind != "look_into" or owed.measure == LEFT:
        return "due"
    return "stopped" if owed.ref else "loss"


def _due_words(shelf: Catalogue, owed: OwedLine, today: date) -> str:
    if owed.kind == "retest":
        return f"{shelf.measures[owed.measure].short} due"
    if owed.kind == "look_into":
        return owed.says
    if owed.kind in LONGER and owed.due_on < today:
        return f"{WORDS[owed.kind]} overdue"
    return WORDS[owed.kind] + (" due" if owed.kind in LONGER else "")


def _later_words(shelf: Catalogue, owed: OwedLine, today: date) -> str:
    days = (owed.due_on - today).days
    when = "tomorrow" if days == 1 else f"in {days} days"
    if days > 28:
        when = day_words(owed.due_on, today)
    if owed.kind == "retest":
        return f"{shelf.measures[owed.measure].short} {when}"
    return f"{WORDS[owed.kind].removesuffix(' due')} {when}"


def groups_of(lines: Sequence[PersonLine], *, placed: bool) -> list[Group]:
    """Today's people, one's own others, and those of each colleague one covers for."""
    today = [line for line in lines if line.ticked or line.seen_by_me]
    rest = [line for line in lines if line not in today]
    own = [line for line in rest if not line.covering]
    title = "The rest" if today else "In your order" if placed else "By label"
    seen = sum(line.seen_by_me for line in today)
    heading = f"Today: {seen} of {len(today)} seen"
    groups = [Group("today", heading, today), Group("own", title, own)]
    return [g for g in (*groups, *_covered(rest)) if g.lines]


def _covered(lines: Iterable[PersonLine]) -> list[Group]:
    by_title: dict[str, list[PersonLine]] = {}
    for line in lines:
        if line.covering:
            by_title.setdefault(line.group, []).append(line)
    return [Group("cover", title, kept) for title, kept in by_title.items()]


def next_up(lines: Iterable[PersonLine]) -> PersonLine | None:
    """The first of today's people who was not seen yet."""
    return next((x for x in lines if x.ticked and not x.seen_by_me), None)
