"""A prepared question gives what the same question put together each time gives."""

from datetime import date, timedelta

import pytest
from sqlmodel import col, select
from sqlmodel.sql.expression import SelectOfScalar

from app.storage.database import read_session, write_session
from app.storage.episodes import Episode, Visit
from app.storage.people import Person
from app.storage.prepared import prepared, rows_among, rows_by
from tests.make import make_person
from tests.storage.conftest import Ward


def test_it_is_put_together_once_and_asked_with_each_value(ward: Ward) -> None:
    built = []

    @prepared
    def of(handle: str) -> SelectOfScalar[Person]:
        built.append(handle)
        return select(Person).where(Person.handle == handle)

    with read_session(ward.engine, page=True) as session:
        found = [of(session, who).one().handle for who in ("therapist", "student")]
        again = of(session, "therapist").one().handle

    assert (found, again) == (["therapist", "student"], "therapist")
    assert len(built) == 1


@pytest.mark.parametrize("given", [(), (1, 2)])
def test_other_than_its_values_are_refused(ward: Ward, given: tuple[int, ...]) -> None:
    ask = rows_by(Visit, "id")
    with read_session(ward.engine) as session, pytest.raises(ValueError, match="zip"):
        ask(session, *given)


def test_value_that_decides_how_it_reads_is_refused(ward: Ward) -> None:
    @prepared
    def either(handle: str) -> SelectOfScalar[Person]:
        every = select(Person)
        return every.where(Person.handle == handle) if handle else every

    with (
        read_session(ward.engine) as session,
        pytest.raises(TypeError, match="Boolean"),
    ):
        either(session, "therapist")


def test_one_value_may_stand_in_several_places(ward: Ward) -> None:
    @prepared
    def holding(day: date) -> SelectOfScalar[int]:
        return select(Episode.id).where(
            col(Episode.opened_on) <= day, col(Episode.opened_on) >= day
        )

    with read_session(ward.engine) as session:
        opened = session.exec(select(Episode)).one()
        days = [opened.opened_on + timedelta(days=by) for by in (-1, 0, 1)]
        found = [holding(session, day).all() for day in days]

    assert found == [[], [opened.id], []]


def test_rows_come_in_the_order_that_is_asked_for(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        for handle in ("b", "a", "c"):
            make_person(session, handle, role="student")
    by_name = rows_by(Person, "role", "handle")
    among = rows_among(Person, "handle", "handle")

    with read_session(ward.engine) as session:
        students = [p.handle for p in by_name(session, "student")]  # type: ignore[arg-type]
        some = [p.handle for p in among(session, ["c", "a"])]  # type: ignore[list-item]
        none = among(session, []).all()

    assert students == ["a", "b", "c", "student"]
    assert some == ["a", "c"]
    assert none == []
