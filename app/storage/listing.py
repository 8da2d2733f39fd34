"""The whole caseload as one table: filtered, sorted, a page at a time; saved views."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

from sqlalchemy import JSON, Select, UniqueConstraint, and_, func, or_
from sqlmodel import Field, Session, col, select

from app.clinical.vocabulary import CONDITIONS, SETTINGS
from app.storage import listing_columns
from app.storage.assignments import Assignment
from app.storage.caseload import visible
from app.storage.episodes import PLANS, Episode
from app.storage.errors import NotFound
from app.storage.owing import KINDS, LONGER, SOON, Owed
from app.storage.patients import Patient, PatientCondition
from app.storage.people import Person
from app.storage.tables import Numbered, length

PAGE: Final = 50
MOST_VIEWS: Final = 20
#: What the table is sorted by, from the column heading.
SORTS: Final = ("label", "due", "opened", "owner", "next", "visit", "test")


class DeskView(Numbered, table=True):
    """Filters that somebody gave a name."""

    __tablename__ = "desk_view"
    __table_args__ = (UniqueConstraint("person_id", "name"), length("name", 1, 60))

    person_id: int = Field(foreign_key="person.id", index=True)
    name: str
    filters: dict[str, str] = Field(sa_type=JSON)
    saved_at: datetime


@dataclass(frozen=True, slots=True)
class TableRow:
    """One patient of the table."""

    patient_id: int
    label: str
    birth_year: int | None
    birth_date: date | None
    sex: str | None
    reason: str
    setting: str
    plan: str
    opened_on: date | None
    due_on: date | None
    owed: int


def table_page(
    session: Session,
    person: Person,
    filters: Mapping[str, str],
    *,
    day: date,
    sort: str,
    down: bool,
    page: int,
) -> tuple[list[TableRow], int]:
    """One page of the table, and how many rows there are in all."""
    ids = visible(session, person, person.is_demo)
    if ids is None:
        return [], 0
    for name, narrow in NARROW.items():
        if filters.get(name):
            ids = narrow(ids, filters[name], day)
    owed = _owed_by(day)
    wanted = _rows(ids, owed)
    by = _order(sort, down, owed.c.due_on, filters.get("measure", ""))
    in_order = wanted.order_by(*by)
    found = session.exec(in_order.limit(PAGE).offset(PAGE * (page - 1))).all()
    total = session.exec(select(func.count()).select_from(ids.subquery())).one()
    return [_row(*each) for each in found], total


def _owed_by(day: date) -> Any:
    """For each patient the oldest of what is due, and how much there is."""
    return (
        select(
            col(Owed.patient_id).label("owner"),
            func.min(Owed.due_on).label("due_on"),
            func.count(col(Owed.id)).label("owed"),
        )
        .where(col(Owed.due_on) <= day)
        .group_by(col(Owed.patient_id))
        .subquery()
    )


def _rows(ids: Any, owed: Any) -> Any:
    wanted: Any = select(Patient, Episode, owed.c.due_on, owed.c.owed)
    return (
        wanted.outerjoin(
            Episode,
            (col(Episode.patient_id) == col(Patient.id))
            & col(Episode.closed_on).is_(None),
        )
        .outerjoin(owed, owed.c.owner == col(Patient.id))
        .where(col(Patient.id).in_(ids))
    )


def _row(
    patient: Patient, episode: Episode | None, due_on: date | None, owed: int | None
) -> TableRow:
    return TableRow(
        patient.id, patient.label, patient.birth_year, patient.birth_date, patient.sex,
        episode.reason if episode else "", episode.setting if episode else "",
        episode.plan if episode else "", episode.opened_on if episode else None,
        due_on, owed or 0,
    )  # fmt: skip


def _order(sort: str, down: bool, due_on: Any, measure: str) -> list[Any]:
    """Whoever has nothing to sort by comes last."""
    by: dict[str, Callable[[], Any]] = {
        "label": lambda: col(Patient.label),
        "due": lambda: due_on,
        "opened": lambda: col(Episode.opened_on),
        "owner": listing_columns.by_name_of_owner,
        "next": listing_columns.by_next_owed,
        "visit": listing_columns.by_last_visit,
        "test": lambda: listing_columns.by_last_test(measure),
    }
    column = by[sort]()
    ordered = column.desc() if down else column.asc()
    return [ordered.nulls_last(), col(Patient.id)]


Ids = Any


def _by_condition(ids: Ids, condition: str, _day: date) -> Ids:
    has = select(PatientCondition.patient_id).where(
        PatientCondition.condition == condition
    )
    return ids.where(col(Patient.id).in_(has))


def _by_episode(column: Any) -> Any:
    def narrow(ids: Ids, value: str, _day: date) -> Ids:
        has = select(Episode.patient_id).where(
            column == value, col(Episode.closed_on).is_(None)
        )
        return ids.where(col(Patient.id).in_(has))

    return narrow


def _by_owed(ids: Ids, kinds: str, day: date) -> Ids:
    """One kind, or several joined by a plus, as on the desk."""
    has = select(Owed.patient_id).where(
        col(Owed.kind).in_(kinds.split("+")),
        or_(
            col(Owed.due_on) <= day,
            and_(col(Owed.kind).in_(LONGER), col(Owed.due_on) <= day + SOON),
        ),
    )
    return ids.where(col(Patient.id).in_(has))


def _by_person(ids: Ids, number: str, _day: date) -> Ids:
    has = select(Assignment.patient_id).where(
        Assignment.person_id == int(number), col(Assignment.until).is_(None)
    )
    return ids.where(col(Patient.id).in_(has))


NARROW: Final[Mapping[str, Any]] = {
    "condition": _by_condition,
    "setting": _by_episode(col(Episode.setting)),
    "plan": _by_episode(col(Episode.plan)),
    "owed": _by_owed,
    "person": _by_person,
    "measure": listing_columns.by_measure,
    "orders": listing_columns.by_orders,
}
#: The closed list of each filter; a person is a number.
ALLOWED: Final = {
    "condition": tuple(CONDITIONS),
    "setting": tuple(SETTINGS),
    "plan": PLANS,
    "owed": KINDS,
    "orders": ("yes",),
}


def clean(filters: Mapping[str, str], measures: Collection[str] = ()) -> dict[str, str]:
    """Only what a filter may hold; anything else is left out.

    `measures` are the tests of the catalogue.
    """
    kept = {
        name: value
        for name, value in filters.items()
        if name in ALLOWED and set(value.split("+")) <= set(ALLOWED[name])
    }
    person = filters.get("person", "")
    if person.isascii() and person.isdigit() and len(person) < 10:
        kept["person"] = person
    if filters.get("measure") in measures:
        kept["measure"] = filters["measure"]
    return kept


def save_view(
    session: Session, person: Person, name: str, filters: Mapping[str, str],
    now: datetime,
) -> DeskView:  # fmt: skip
    """Keep filters under a name; the same name again takes the newer ones."""
    wanted = select(DeskView).where(
        DeskView.person_id == person.id, DeskView.name == name
    )
    view = session.exec(wanted).one_or_none() or DeskView(
        person_id=person.id, name=name, filters={}, saved_at=now
    )
    view.filters, view.saved_at = dict(filters), now
    session.add(view)
    session.flush()
    return view


def views_of(session: Session, person: Person) -> Sequence[DeskView]:
    wanted: Select[Any] = select(DeskView).where(DeskView.person_id == person.id)
    in_order = wanted.order_by(col(DeskView.name)).limit(MOST_VIEWS)
    return session.scalars(in_order).all()


def view_of(session: Session, person: Person, view_id: int) -> DeskView:
    """One's own view; NotFound for another's."""
    view = session.get(DeskView, view_id)
    if view is None or view.person_id != person.id:
        raise NotFound
    return view


def drop_view(session: Session, person: Person, view_id: int) -> None:
    session.delete(view_of(session, person, view_id))
    session.flush()
