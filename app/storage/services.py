"""A site's own services, and how many minutes of each a visit gave.

Names are the site's; none is a billing code's description. A service stays as it was
made, since past minutes were counted by it: to change one, another is added. Minutes
are replaced as a whole while the visit is open.
"""

from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime
from typing import Final

from sqlalchemy import UniqueConstraint, delete
from sqlmodel import Field, Session, col, func, select
from sqlmodel.sql.expression import Select, SelectOfScalar

from app.access import may
from app.storage import audit
from app.storage.episodes import Episode, Visit
from app.storage.errors import NotAllowed, NotFound, StorageProblem
from app.storage.people import Person, actor
from app.storage.prepared import prepared, rows_by
from app.storage.tables import Numbered, Table, between, check, length

LONGEST_NAME: Final = 40
MOST_MINUTES: Final = 600


class Service(Numbered, table=True):
    """What a site gives, by its own name. Only its being offered ever changes."""

    __tablename__ = "service"
    __table_args__ = (
        length("name", 1, LONGEST_NAME),
        check("name_trimmed", "name = trim(name)"),
        UniqueConstraint("is_demo", "name", "timed"),
    )

    is_demo: bool
    name: str
    timed: bool
    active: bool = True
    added_at: datetime
    added_by: int = Field(foreign_key="person.id")


class ServiceMinutes(Table, table=True):
    """Minutes of one service in one visit; none given, no row."""

    __tablename__ = "service_minutes"
    __table_args__ = (between("minutes", 1, MOST_MINUTES),)

    visit_id: int = Field(foreign_key="visit.id", primary_key=True)
    service_id: int = Field(foreign_key="service.id", primary_key=True)
    minutes: int
    recorded_at: datetime
    recorded_by: int = Field(foreign_key="person.id")


class UnitChoice(Table, table=True):
    """A left-over unit of the day goes to this service: somebody settled a tie."""

    __tablename__ = "unit_choice"

    visit_id: int = Field(foreign_key="visit.id", primary_key=True)
    service_id: int = Field(foreign_key="service.id", primary_key=True)
    chosen_at: datetime
    chosen_by: int = Field(foreign_key="person.id")


class NameTaken(StorageProblem):
    """Two services that are offered cannot be told apart."""

    sentence = "A service of this name is offered already. Nothing was changed."


class VisitClosed(StorageProblem):
    """What a closed visit holds stays."""

    sentence = "The visit is closed: go on with it first. Nothing was changed."


def services_of(session: Session, person: Person) -> Sequence[Service]:
    """All services of this person's world, those offered first, by name."""
    wanted = select(Service).where(col(Service.is_demo).is_(person.is_demo))
    in_order = wanted.order_by(
        col(Service.active).desc(), func.lower(Service.name), col(Service.id)
    )
    return session.exec(in_order).all()


def managed_services(session: Session, by: Person) -> Sequence[Service]:
    """The same for who manages them."""
    if not may(actor(by), "manage_services", None):
        raise NotAllowed
    return services_of(session, by)


def add_service(
    session: Session, by: Person, *, name: str, timed: bool, now: datetime
) -> Service:
    """A new service, or the one of this name and kind that is offered or was once."""
    known = managed_services(session, by)
    same = [s for s in known if (s.name, s.timed) == (name, timed)]
    if same:
        switch_service(session, by, same[0].id, on=True, now=now)
        return same[0]
    _refuse_twin(known, name)
    row = Service(
        is_demo=by.is_demo, name=name, timed=timed, added_at=now, added_by=by.id
    )
    session.add(row)
    session.flush()
    audit.deed(session, "added_service", row, by=by.id, now=now)
    return row


def _refuse_twin(known: Sequence[Service], name: str) -> None:
    if any(s.active and s.name.casefold() == name.casefold() for s in known):
        raise NameTaken


def switch_service(
    session: Session, by: Person, service_id: int, *, on: bool, now: datetime
) -> None:
    """Offer a service or no longer; the same again changes nothing."""
    known = managed_services(session, by)
    row = next((s for s in known if s.id == service_id), None)
    if row is None:
        raise NotFound
    if row.active == on:
        return
    if on:
        _refuse_twin(known, row.name)
    row.active = on
    session.add(row)
    session.flush()
    did = "switched_on_service" if on else "switched_off_service"
    audit.deed(session, did, row, by=by.id, now=now)


def minutes_in(session: Session, visit: Visit) -> dict[int, int]:
    """Minutes of each service in one visit."""
    return {row.service_id: row.minutes for row in _minutes(session, visit.id)}


_minutes = rows_by(ServiceMinutes, "visit_id")


def given_in(
    session: Session, visit: Visit
) -> Sequence[tuple[Service, ServiceMinutes]]:
    """The services that one visit gave, by name, each with its row."""
    return _given(session, visit.id).all()


@prepared
def _given(visit_id: int) -> Select[Service, ServiceMinutes]:
    wanted = select(Service, ServiceMinutes).join(
        ServiceMinutes, col(Service.id) == col(ServiceMinutes.service_id)
    )
    own = wanted.where(ServiceMinutes.visit_id == visit_id)
    return own.order_by(func.lower(Service.name), col(Service.id))


def same_day(session: Session, visit: Visit) -> Sequence[int]:
    """This visit and every other to the same person on its day, by number.

    Units are counted for a day, whoever came and in whichever stretch of care.
    """
    episode = session.get_one(Episode, visit.episode_id)
    return _on_day(session, episode.patient_id, visit.local_date).all()


@prepared
def _on_day(patient_id: int, day: date) -> SelectOfScalar[int]:
    wanted = select(Visit.id).join(Episode, col(Episode.id) == col(Visit.episode_id))
    of_day = wanted.where(Episode.patient_id == patient_id, Visit.local_date == day)
    return of_day.order_by(col(Visit.id))


def minutes_on(session: Session, visit_ids: Collection[int]) -> dict[int, int]:
    """Minutes of each service in these visits together, in the order of their names."""
    found = _sums(session, list(visit_ids))
    return {service: int(minutes) for service, minutes in found}


@prepared
def _sums(visit_ids: list[int]) -> Select[int, int]:
    return (
        select(ServiceMinutes.service_id, func.sum(ServiceMinutes.minutes))
        .join(Service, col(Service.id) == col(ServiceMinutes.service_id))
        .where(col(ServiceMinutes.visit_id).in_(visit_ids))
        .group_by(col(ServiceMinutes.service_id), col(Service.name))
        .order_by(func.lower(Service.name), col(ServiceMinutes.service_id))
    )


def set_service_minutes(
    session: Session,
    person: Person,
    visit: Visit,
    minutes: Mapping[int, int],
    now: datetime,
) -> None:
    """Replace a visit's minutes of services; 0 is none. The same again does nothing.

    Other minutes make another day's count, so a tie that was settled is open again.
    """
    if visit.closed_at is not None:
        raise VisitClosed
    given = {service: each for service, each in minutes.items() if each}
    if given == minutes_in(session, visit):
        return
    mine = col(ServiceMinutes.visit_id) == visit.id
    session.exec(delete(ServiceMinutes).where(mine))
    for service, each in given.items():
        session.add(
            ServiceMinutes(
                visit_id=visit.id, service_id=service, minutes=each, recorded_at=now,
                recorded_by=person.id,
            )
        )  # fmt: skip
    _forget_choice(session, same_day(session, visit))
    session.flush()
    audit.deed(session, "set_service_minutes", visit, by=person.id, now=now)


def _forget_choice(session: Session, visit_ids: Collection[int]) -> None:
    session.exec(delete(UnitChoice).where(col(UnitChoice.visit_id).in_(visit_ids)))


def choice_on(session: Session, visit_ids: Collection[int]) -> frozenset[int]:
    """The services that a tie of this day was settled for."""
    wanted = select(UnitChoice.service_id)
    found = wanted.where(col(UnitChoice.visit_id).in_(visit_ids))
    return frozenset(session.exec(found).all())


def choose_units(
    session: Session,
    person: Person,
    visit: Visit,
    chosen: Collection[int],
    now: datetime,
) -> None:
    """Settle the day's tie; whoever calls has seen that the choice fits it."""
    if visit.closed_at is not None:
        raise VisitClosed
    day = same_day(session, visit)
    if choice_on(session, day) == frozenset(chosen):
        return
    _forget_choice(session, day)
    for service in sorted(set(chosen)):
        session.add(
            UnitChoice(
                visit_id=visit.id, service_id=service, chosen_at=now,
                chosen_by=person.id,
            )
        )  # fmt: skip
    session.flush()
    audit.deed(session, "chose_units", visit, by=person.id, now=now)
