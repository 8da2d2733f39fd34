"""Home sheets: kept as made, replaced, taken back; and what the database refuses."""

from datetime import timedelta

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from app.storage.audit import AuditEntry
from app.storage.database import read_session, write_session
from app.storage.errors import NotAllowed, NotFound, SameIdOtherBody
from app.storage.home_sheets import (
    HomeSheet,
    current_sheet,
    end_sheet,
    items_of,
    sheet_for,
)
from tests.make import NOW, make_episode, make_home_sheet, new_uid
from tests.storage.conftest import Ward

LATER = NOW + timedelta(days=7)


def deeds(session: Session) -> list[str]:
    wanted = select(AuditEntry).where(AuditEntry.subject == "home_sheet")
    return [e.deed for e in session.exec(wanted.order_by(col(AuditEntry.id)))]


def test_sheet_is_kept_with_its_activities_in_order(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        made = make_home_sheet(session, ward.therapist, ward.episode, "S04", "R01")
    with read_session(ward.engine) as session:
        sheet, patient = sheet_for(session, ward.therapist, made.id)
        kept = [
            (i.place, i.activity, i.grade, i.sets) for i in items_of(session, sheet)
        ]

        assert patient.id == ward.patient.id
        assert (sheet.helper, sheet.home_change) == ("family", "light")
        assert kept == [(1, "S04", "3", 2), (2, "R01", "3", 2)]
        assert deeds(session) == ["made_home_sheet"]


def test_same_form_again_makes_no_second_sheet(ward: Ward) -> None:
    uid = new_uid()
    with write_session(ward.engine) as session:
        first = make_home_sheet(session, ward.therapist, ward.episode, uid=uid)
        again = make_home_sheet(
            session, ward.therapist, ward.episode, uid=uid, now=LATER
        )

        assert (again.id, again.made_at, again.ended_at) == (first.id, NOW, None)
        assert deeds(session) == ["made_home_sheet"]
        with pytest.raises(SameIdOtherBody):
            make_home_sheet(session, ward.therapist, ward.episode, "R01", uid=uid)


def test_new_sheet_takes_the_place_of_the_one_before(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        before = make_home_sheet(session, ward.therapist, ward.episode)
        other_care = make_episode(session, ward.therapist, ward.patient)
        after = make_home_sheet(session, ward.supervisor, other_care, now=LATER)
        current = current_sheet(session, ward.patient.id)

        assert current is not None
        assert current.id == after.id
        assert (before.ended_at, before.ended_by) == (LATER, ward.supervisor.id)
        assert deeds(session) == [
            "made_home_sheet", "withdrew_home_sheet", "made_home_sheet",
        ]  # fmt: skip


def test_sheet_taken_back_keeps_its_first_day(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        sheet = make_home_sheet(session, ward.therapist, ward.episode)
        end_sheet(session, ward.therapist, sheet, now=NOW)
        end_sheet(session, ward.supervisor, sheet, now=LATER)

        assert (sheet.ended_at, sheet.ended_by) == (NOW, ward.therapist.id)
        assert current_sheet(session, ward.patient.id) is None


def test_student_and_outsider_hand_over_nothing(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        for person in (ward.student, ward.outsider):
            with pytest.raises((NotFound, NotAllowed)):
                make_home_sheet(session, person, ward.episode)
        sheet = make_home_sheet(session, ward.therapist, ward.episode)
        for person in (ward.student, ward.outsider):
            with pytest.raises((NotFound, NotAllowed)):
                end_sheet(session, person, sheet, now=NOW)
            with pytest.raises(NotFound):
                sheet_for(session, person, sheet.id)

        assert sheet.ended_at is None


def test_sheet_that_is_not_there_is_not_found(ward: Ward) -> None:
    with read_session(ward.engine) as session, pytest.raises(NotFound):
        sheet_for(session, ward.therapist, 99)


BAD = [
    ("home_sheet", "uid = 'abc'"),
    ("home_sheet", "helper = 'neighbour'"),
    ("home_sheet", "home_change = 'paint'"),
    ("home_sheet", "change_words = 'a lamp'"),
    ("home_sheet", "home_change = 'other'"),
    ("home_sheet", "ended_at = made_at"),
    ("home_sheet", "body_hash = ''"),
    ("home_sheet_item", "grade = '1,5'"),
    ("home_sheet_item", "grade = '--2'"),
    ("home_sheet_item", "grade = '2-'"),
    ("home_sheet_item", "sets = 0"),
    ("home_sheet_item", "sets = 10"),
    ("home_sheet_item", "times_a_week = 0"),
    ("home_sheet_item", "times_a_week = 15"),
    ("home_sheet_item", "place = 0"),
    ("home_sheet_item", "activity = 'S'"),
    ("home_sheet_item", "taught_back = false"),
]


def change(ward: Ward, table: str, to: str) -> int:
    """Set the one row's columns by plain SQL, as no function of ours would."""
    with write_session(ward.engine) as session:
        make_home_sheet(session, ward.therapist, ward.episode)
    with write_session(ward.engine) as session:
        done = session.connection().execute(text(f"UPDATE {table} SET {to}"))
        return int(done.rowcount)


@pytest.mark.parametrize(("table", "to"), BAD)
def test_bad_value_is_refused(ward: Ward, table: str, to: str) -> None:
    with pytest.raises(IntegrityError, match=r"(?i)check constraint"):
        change(ward, table, to)


@pytest.mark.parametrize(
    ("table", "to"),
    [
        ("home_sheet", "home_change = 'other', change_words = 'a lamp by the bed'"),
        ("home_sheet", "ended_at = made_at, ended_by = made_by"),
        ("home_sheet_item", "grade = '-1.5', sets = 9, times_a_week = 14"),
    ],
)
def test_good_value_is_taken(ward: Ward, table: str, to: str) -> None:
    assert change(ward, table, to) == 1


@pytest.mark.parametrize(
    ("table", "column"),
    [("home_sheet", "episode_id"), ("home_sheet", "made_by"),
     ("home_sheet_item", "sheet_id")],
)  # fmt: skip
def test_pointer_to_no_row_is_refused(ward: Ward, table: str, column: str) -> None:
    with pytest.raises(IntegrityError, match=r"(?i)foreign key constraint"):
        change(ward, table, f"{column} = 99999")


def test_sheet_holds_no_word_that_tells_who_it_is_for(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        sheet = make_home_sheet(session, ward.therapist, ward.episode)
        row = session.get_one(HomeSheet, sheet.id)
        texts = [v for v in row.model_dump().values() if isinstance(v, str)]

        assert not any(ward.patient.label in text for text in texts)
