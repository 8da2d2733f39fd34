"""What waits for somebody's sign-in: few, for a day, and for nobody else."""

from datetime import datetime, timedelta

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from app.storage import held_requests
from app.storage.database import read_session, write_session
from app.storage.held_requests import LARGEST_HELD, LONGEST_HELD, MOST_HELD
from app.storage.people import Person
from tests.make import NOW
from tests.storage.conftest import Ward

PATH = "/rounds/1/trials"


def hold(ward: Ward, body: str, now: datetime = NOW) -> int | None:
    with write_session(ward.engine) as session:
        held = held_requests.hold(
            session, ward.therapist, path=PATH, body=body, now=now
        )
        return held.id if held else None


def waiting(ward: Ward, person: Person, now: datetime = NOW) -> list[str]:
    with read_session(ward.engine) as session:
        return [held.body for held in held_requests.held_of(session, person, now)]


def test_held_form_waits_for_its_person_only(ward: Ward) -> None:
    hold(ward, "typed=16.2")

    assert waiting(ward, ward.therapist) == ["typed=16.2"]
    assert waiting(ward, ward.supervisor) == []


def test_as_many_as_may_are_kept_and_none_thrown_out(ward: Ward) -> None:
    kept = [hold(ward, f"a={n}") for n in range(MOST_HELD + 1)]

    assert kept[-1] is None
    assert waiting(ward, ward.therapist) == [f"a={n}" for n in range(MOST_HELD)]


def test_same_form_is_the_same_row(ward: Ward) -> None:
    assert hold(ward, "a=1") == hold(ward, "a=1")


@pytest.mark.parametrize(
    ("after", "shown"),
    [(LONGEST_HELD - timedelta(seconds=1), 1), (LONGEST_HELD, 0)],
    ids=["within a day", "a day later"],
)
def test_held_form_is_gone_after_a_day(
    ward: Ward, after: timedelta, shown: int
) -> None:
    hold(ward, "a=1")

    assert len(waiting(ward, ward.therapist, NOW + after)) == shown


def test_old_forms_are_deleted_and_make_room(ward: Ward) -> None:
    for n in range(MOST_HELD):
        hold(ward, f"a={n}")
    later = hold(ward, "a=new", NOW + LONGEST_HELD)

    assert later is not None
    with read_session(ward.engine) as session:
        found = session.connection().execute(text("SELECT body FROM held_request"))
        assert found.scalars().all() == ["a=new"]


def test_only_its_person_can_take_it_off(ward: Ward) -> None:
    number = hold(ward, "a=1")
    assert number is not None
    for person in (ward.supervisor, ward.therapist, ward.therapist):
        with write_session(ward.engine) as session:
            held_requests.let_go(session, person, number, did="sent_held", now=NOW)
        if person is ward.supervisor:
            assert waiting(ward, ward.therapist) == ["a=1"]

    assert waiting(ward, ward.therapist) == []


@pytest.mark.parametrize(
    "to",
    [
        "path = ''",
        "path = 'https://evil.example'",
        f"body = '{'x' * (LARGEST_HELD + 1)}'",
    ],
    ids=["no path", "another site", "too large"],
)
def test_database_refuses_what_is_not_ours(ward: Ward, to: str) -> None:
    hold(ward, "a=1")

    with (
        pytest.raises(IntegrityError, match=r"(?i)check constraint"),
        write_session(ward.engine) as session,
    ):
        session.connection().execute(text(f"UPDATE held_request SET {to}"))
