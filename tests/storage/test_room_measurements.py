"""Measurements of rooms and changes: append-only, and one row for each id."""

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from app.storage.audit import AuditEntry, verify
from app.storage.database import read_session, write_session
from app.storage.errors import NotAllowed, NotFound, SameIdOtherBody
from app.storage.patients import archive_patient, close_patient
from app.storage.purge import purge
from app.storage.room_measurements import (
    NotNow,
    RoomChange,
    RoomChangeStep,
    RoomMeasure,
    change_for,
    changes_of,
    measure_for,
    measures_of,
    move_change,
    record_measure,
    void_measure,
)
from tests.make import NOW, make_room_change, make_room_measure, new_uid
from tests.storage.conftest import Ward

SAID = {
    "room": "bathroom", "thing": "toilet_seat", "value": "16.5", "unit": "in",
    "phase": "before", "note": "",
}  # fmt: skip


def deeds(session: Session) -> list[str]:
    rows = session.exec(select(AuditEntry.deed).order_by(col(AuditEntry.id)))
    return [d for d in rows if "room" in d]


def test_same_id_again_finds_the_row_and_other_words_are_refused(ward: Ward) -> None:
    uid = new_uid()
    with write_session(ward.engine) as session:
        first = record_measure(
            session, ward.therapist, ward.visit, SAID, uid=uid, now=NOW
        )
        again = record_measure(
            session, ward.therapist, ward.visit, SAID, uid=uid, now=NOW
        )
        with pytest.raises(SameIdOtherBody):
            record_measure(
                session, ward.therapist, ward.visit, SAID | {"value": "17"}, uid=uid,
                now=NOW,
            )  # fmt: skip
        with pytest.raises(SameIdOtherBody):
            record_measure(session, ward.supervisor, ward.visit, SAID, uid=uid, now=NOW)

        assert (first[1], again[1]) == (True, False)
        assert first[0].id == again[0].id
        assert deeds(session) == ["measured_room"]


def test_value_is_kept_as_entered(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        make_room_measure(session, ward.therapist, ward.visit, value="43.2", unit="cm")
    with read_session(ward.engine) as session:
        (row,) = measures_of(session, ward.patient.id)

    assert (row.value, row.unit) == ("43.2", "cm")


def test_voiding_keeps_the_row_and_the_first_reason(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        row = make_room_measure(session, ward.therapist, ward.visit)
        void_measure(session, ward.therapist, row, reason="wrong toilet", now=NOW)
        void_measure(session, ward.supervisor, row, reason="again", now=NOW)

        (kept,) = measures_of(session, ward.patient.id)
        assert (kept.value, kept.void_reason) == ("16", "wrong toilet")
        assert kept.voided_by == ward.therapist.id
        assert deeds(session) == ["measured_room", "voided_room_measure"]


def test_change_moves_on_by_steps(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        before = make_room_measure(session, ward.therapist, ward.visit)
        row = make_room_change(session, ward.therapist, ward.visit, before=before)
        move_change(session, ward.therapist, row, "agreed", now=NOW)
        move_change(session, ward.supervisor, row, "agreed", now=NOW)
        after = make_room_measure(
            session, ward.therapist, ward.visit, value="18.5", phase="after"
        )
        move_change(session, ward.therapist, row, "done", now=NOW, after_id=after.id)
        (change,) = changes_of(session, ward.patient.id)
        steps = session.exec(select(RoomChangeStep.state)).all()

        assert (change.state, steps) == ("done", ["proposed", "agreed", "done"])
        assert change.before is not None
        assert change.after is not None
        assert (change.before.value, change.after.value) == ("16", "18.5")
        assert deeds(session) == [
            "measured_room", "proposed_room_change", "agreed_room_change",
            "measured_room", "done_room_change",
        ]  # fmt: skip
        assert verify(session) is None


@pytest.mark.parametrize(
    ("path", "state"),
    [
        (["declined"], "declined"),
        (["declined", "agreed"], "agreed"),
        (["declined", "done"], "done"),
        (["done", "agreed"], "agreed"),
        (["agreed", "agreed"], "agreed"),
    ],
)
def test_ways_a_change_may_go(ward: Ward, path: list[str], state: str) -> None:
    with write_session(ward.engine) as session:
        row = make_room_change(session, ward.therapist, ward.visit)
        for step in path:
            move_change(session, ward.therapist, row, step, now=NOW)

        assert [c.state for c in changes_of(session, ward.patient.id)] == [state]


@pytest.mark.parametrize("path", [["agreed", "proposed"], ["done", "declined"]])
def test_ways_a_change_may_not_go(ward: Ward, path: list[str]) -> None:
    with write_session(ward.engine) as session:
        row = make_room_change(session, ward.therapist, ward.visit)
        move_change(session, ward.therapist, row, path[0], now=NOW)

        with pytest.raises(NotNow):
            move_change(session, ward.therapist, row, path[1], now=NOW)


def test_what_was_measured_afterwards_is_never_refused(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        row = make_room_change(session, ward.therapist, ward.visit)
        move_change(session, ward.therapist, row, "done", now=NOW)
        for value in ("18", "18.5"):
            after = make_room_measure(
                session, ward.therapist, ward.visit, value=value, phase="after"
            )
            move_change(
                session, ward.therapist, row, "done", now=NOW, after_id=after.id
            )
        (change,) = changes_of(session, ward.patient.id)

        assert change.after is not None
        assert change.after.value == "18.5"


def test_others_find_nothing_and_a_student_of_no_assignment_neither(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        row = make_room_measure(session, ward.therapist, ward.visit)
        change = make_room_change(session, ward.therapist, ward.visit)
        for person in (ward.outsider, ward.student):
            with pytest.raises((NotFound, NotAllowed)):
                measure_for(session, person, row.id, "record_visit")
            with pytest.raises((NotFound, NotAllowed)):
                change_for(session, person, change.id, "record_visit")
            with pytest.raises((NotFound, NotAllowed)):
                make_room_measure(session, person, ward.visit)
        with pytest.raises(NotFound):
            measure_for(session, ward.therapist, 999)
        with pytest.raises(NotFound):
            change_for(session, ward.therapist, 999)

        assert len(measures_of(session, ward.patient.id)) == 1


@pytest.mark.parametrize(
    ("table", "to"),
    [
        ("room_measure", "room = 'attic'"),
        ("room_measure", "thing = 'Toilet seat'"),
        ("room_measure", "thing = ''"),
        ("room_measure", "value = '16,5'"),
        ("room_measure", "value = '-1'"),
        ("room_measure", "unit = 'mm'"),
        ("room_measure", "phase = 'during'"),
        ("room_measure", f"note = '{'x' * 201}'"),
        ("room_measure", "void_reason = 'slipped'"),
        ("room_measure", "voided_at = recorded_at, voided_by = recorded_by"),
        ("room_change", "change = 'paint'"),
        ("room_change", "change = 'other'"),
        ("room_change", "who = 'neighbour'"),
        ("room_change", f"words = '{'x' * 201}'"),
        ("room_change_step", "state = 'forgotten'"),
        ("room_change_step", "after_id = 1"),
    ],
)
def test_database_refuses_it_whoever_writes(ward: Ward, table: str, to: str) -> None:
    with write_session(ward.engine) as session:
        before = make_room_measure(session, ward.therapist, ward.visit)
        make_room_change(session, ward.therapist, ward.visit, before=before)

    with (
        write_session(ward.engine) as session,
        pytest.raises(IntegrityError, match=r"(?i)check constraint"),
    ):
        session.connection().execute(text(f"UPDATE {table} SET {to}"))


def test_purge_takes_all_of_it(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        before = make_room_measure(session, ward.therapist, ward.visit)
        row = make_room_change(session, ward.therapist, ward.visit, before=before)
        after = make_room_measure(session, ward.therapist, ward.visit, phase="after")
        move_change(session, ward.therapist, row, "done", now=NOW, after_id=after.id)
        close_patient(session, ward.supervisor, ward.patient.id, version=1, now=NOW)
        archive_patient(session, ward.supervisor, ward.patient.id, version=2, now=NOW)
        purge(session, ward.supervisor, ward.patient.id, why="made_by_mistake", now=NOW)

    with read_session(ward.engine) as session:
        for table in (RoomMeasure, RoomChange, RoomChangeStep):
            assert session.exec(select(table)).all() == []
