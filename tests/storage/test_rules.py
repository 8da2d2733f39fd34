"""What the database itself refuses, whatever program writes to it."""

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from app.storage.audit_checks import keep, read_on
from app.storage.database import write_session
from app.storage.patients import PatientDetails
from tests.make import (
    NOW,
    TIMED,
    make_patient,
    make_precaution,
    make_score,
    make_trial,
    new_uid,
)
from tests.storage.conftest import Ward

BAD = [
    ("person", "role = 'doctor'"),
    ("person", "name = ''"),
    ("person", "handle = 'Large'"),
    ("person", "version = 0"),
    ("patient", "uid = 'abc'"),
    ("patient", "uid = 'ABCDEF0123456789ABCDEF0123456789'"),
    ("patient", "uid = 'gggggggggggggggggggggggggggggggg'"),
    ("patient", "label = ''"),
    ("patient", "birth_year = 1899"),
    ("patient", "birth_year = 2101"),
    ("patient", "birth_date = '1948-05-01'"),
    ("patient", "birth_year = NULL, birth_date = '1899-12-31'"),
    ("patient", "sex = 'f'"),
    ("patient_condition", "condition = 'none'"),
    ("patient_fact", "key = 'shoe_size'"),
    ("patient_fact", "value = 'alzheimer'"),
    ("episode", "reason = ''"),
    ("episode", "setting = 'moon'"),
    ("episode", "plan = 'improve'"),
    ("episode", "closed_on = '2026-03-01'"),
    ("precaution", "tag = 'careful'"),
    ("precaution", "review_on = '2026-03-01'"),
    ("precaution", "ended_on = '2026-03-01'"),
    ("visit", "zone = ''"),
    ("round", "measure = ''"),
    ("trial", "outcome = 'failed', raw_ms = NULL"),
    ("trial", "outcome = 'unable'"),
    ("trial", "outcome = 'stopped'"),
    ("trial", "raw_ms = NULL"),
    ("trial", "raw_ms = 0"),
    ("trial", "raw_ms = 36000001"),
    ("trial", "count = 3"),
    ("trial", "raw_ms = NULL, count = -1"),
    ("trial", "raw_ms = NULL, raw_value = '9.5'"),
    ("trial", "raw_unit = 'in'"),
    ("trial", "raw_ms = NULL, raw_value = '9.5', raw_unit = 'ft'"),
    ("trial", "raw_ms = NULL, raw_value = '0.0', raw_unit = 'in'"),
    ("trial", "raw_ms = NULL, raw_value = '9,5', raw_unit = 'in'"),
    ("trial", "raw_ms = NULL, raw_value = '9.5.1', raw_unit = 'in'"),
    ("trial", "raw_ms = NULL, raw_value = '-9', raw_unit = 'in'"),
    ("trial", "raw_ms = NULL, raw_value = '.', raw_unit = 'in'"),
    ("trial", "raw_ms = NULL, raw_value = 'nan', raw_unit = 'in'"),
    ("trial", "start_mark = '1', end_mark = '2'"),
    ("trial", "raw_ms = NULL, raw_value = '9', raw_unit = 'in', start_mark = '1'"),
    ("trial", "reason = 'pain'"),
    ("trial", "outcome = 'unable', raw_ms = NULL, reason = 'tired'"),
    ("trial", "place = 0"),
    ("trial", "body_hash = ''"),
    ("trial", "void_reason = 'slipped'"),
    ("trial", "voided_at = recorded_at, voided_by = recorded_by"),
    ("trial", "voided_at = recorded_at, voided_by = recorded_by, void_reason = ''"),
    ("score", "value = NULL"),
    ("score", "outcome = 'unable'"),
    ("score", "unit = 'ms'"),
    ("audit_entry", "deed = 'fell on Tuesday'"),
    ("audit_entry", "subject = 'Mrs'"),
    ("audit_entry", "hash = ''"),
    ("audit_head", "id = 2"),
    ("audit_check", "id = 2"),
    ("audit_check", "upto_id = -1"),
    ("audit_check", "upto_hash = 'abc'"),
    ("audit_check", "broken_id = 0"),
]
GOOD = [
    ("trial", "outcome = 'unable', raw_ms = NULL"),
    ("trial", "outcome = 'unable', raw_ms = NULL, reason = 'pain'"),
    ("trial", "outcome = 'declined', raw_ms = NULL, reason = 'wants to rest'"),
    ("trial", "raw_ms = 1"),
    ("trial", "raw_ms = 36000000"),
    ("trial", "raw_ms = NULL, count = 0"),
    ("trial", "raw_ms = NULL, raw_value = '24', raw_unit = 'cm'"),
    (
        "trial",
        "raw_ms = NULL, raw_value = '9.5', raw_unit = 'in', "
        "start_mark = '0', end_mark = '9.5'",
    ),
    ("trial", "voided_at = recorded_at, voided_by = recorded_by, void_reason = 'x'"),
    ("score", "outcome = 'unable', value = NULL"),
    ("patient", "birth_year = NULL, birth_date = '1948-05-01'"),
    ("patient", "birth_year = NULL, sex = NULL"),
    ("episode", "closed_on = '2026-03-02'"),
    ("precaution", "review_on = '2026-03-02', ended_on = '2026-03-02'"),
]
POINTERS = [
    ("sign_in", "person_id"),
    ("patient_condition", "patient_id"),
    ("patient_fact", "patient_id"),
    ("assignment", "patient_id"),
    ("assignment", "person_id"),
    ("episode", "patient_id"),
    ("precaution", "episode_id"),
    ("visit", "episode_id"),
    ("visit", "person_id"),
    ("round", "visit_id"),
    ("round", "person_id"),
    ("trial", "round_id"),
    ("trial", "recorded_by"),
    ("score", "round_id"),
    ("score", "patient_id"),
    ("audit_entry", "person_id"),
]


@pytest.fixture
def full(ward: Ward) -> Ward:
    """The ward with a row in every table."""
    with write_session(ward.engine) as session:
        make_precaution(session, ward.therapist, ward.episode)
        make_trial(session, ward.therapist, ward.round, TIMED)
        make_score(session, ward.round)
        make_patient(
            session,
            ward.therapist,
            PatientDetails(
                "Green 2",
                birth_year=1950,
                conditions={"stroke": None},
                facts={"severity": "mild"},
            ),
        )
        keep(session, read_on(session, afresh=True, seconds=9), NOW)
        session.connection().execute(
            text(
                "INSERT INTO sign_in (token_hash, person_id, started_at, last_seen_at) "
                "SELECT body_hash, recorded_by, recorded_at, recorded_at FROM trial"
            )
        )
    return ward


def change(ward: Ward, table: str, to: str) -> int:
    """Set one row's columns by plain SQL, as no function of ours would."""
    one = "WHERE id = (SELECT min(id) FROM {0})" if has_id(table) else ""
    with write_session(ward.engine) as session:
        done = session.connection().execute(
            text(f"UPDATE {table} SET {to} {one.format(table)}")
        )
        return int(done.rowcount)


def has_id(table: str) -> bool:
    return table not in ("patient_condition", "patient_fact")


@pytest.mark.parametrize(("table", "to"), BAD)
def test_bad_value_is_refused(full: Ward, table: str, to: str) -> None:
    with pytest.raises(IntegrityError, match=r"(?i)check constraint"):
        change(full, table, to)


@pytest.mark.parametrize(("table", "to"), GOOD)
def test_good_value_is_taken(full: Ward, table: str, to: str) -> None:
    assert change(full, table, to) == 1


@pytest.mark.parametrize(("table", "column"), POINTERS)
def test_pointer_to_no_row_is_refused(full: Ward, table: str, column: str) -> None:
    with pytest.raises(IntegrityError, match=r"(?i)foreign key constraint"):
        change(full, table, f"{column} = 99999")


@pytest.mark.parametrize("table", ["person", "patient", "visit", "round", "episode"])
def test_row_that_others_point_at_stays(full: Ward, table: str) -> None:
    with write_session(full.engine) as session, pytest.raises(IntegrityError):
        session.connection().execute(text(f"DELETE FROM {table}"))


def test_fraction_of_a_millisecond_is_not_kept(full: Ward) -> None:
    """SQLite would store it in a whole column; PostgreSQL rounds it."""
    if full.engine.dialect.name == "sqlite":
        with pytest.raises(IntegrityError):
            change(full, "trial", "raw_ms = 16240.5")
    else:
        change(full, "trial", "raw_ms = 16240.2")
        with write_session(full.engine) as session:
            found = session.connection().execute(text("SELECT raw_ms FROM trial"))
            assert found.scalar() == 16_240


def test_two_rows_cannot_share_a_phones_id(full: Ward) -> None:
    uid = new_uid()
    change(full, "patient", f"uid = '{uid}'")

    with write_session(full.engine) as session, pytest.raises(IntegrityError):
        session.connection().execute(text(f"UPDATE patient SET uid = '{uid}'"))
