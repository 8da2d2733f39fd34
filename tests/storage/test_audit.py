"""The chain of deeds: complete, and broken by whatever is changed afterwards."""

import pytest
from sqlalchemy import Engine, text
from sqlmodel import Session, col, select

from app.storage import audit, people, trials
from app.storage.audit import AuditEntry
from app.storage.database import read_session, write_session
from tests.make import NOW, make_precaution, make_trial, new_uid
from tests.storage.conftest import Ward


def entries(engine: Engine) -> list[AuditEntry]:
    with read_session(engine) as session:
        return list(session.exec(select(AuditEntry).order_by(col(AuditEntry.id))))


def deeds(engine: Engine) -> list[str]:
    return [entry.deed for entry in entries(engine)]


def broken(engine: Engine) -> int | None:
    with read_session(engine) as session:
        return audit.verify(session)


def tamper(engine: Engine, statement: str) -> None:
    with write_session(engine) as session:
        session.connection().execute(text(statement))


def test_empty_chain_verifies(engine: Engine) -> None:
    assert broken(engine) is None


def test_every_deed_of_a_ward_is_in_the_chain(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        make_precaution(session, ward.therapist, ward.episode)
        trial = make_trial(session, ward.therapist, ward.round)
        trials.void_trial(session, ward.therapist, trial, reason="slid", now=NOW)
        token = people.start_sign_in(session, ward.therapist, NOW)
        people.end_sign_in(session, token, NOW)

    assert deeds(ward.engine) == [
        "added_person",
        "added_patient",
        "assigned",
        "opened_episode",
        "started_visit",
        "added_person",
        "added_person",
        "added_person",
        "started_round",
        "set_precaution",
        "recorded_trial",
        "voided_trial",
        "signed_in",
        "signed_out",
    ]
    assert broken(ward.engine) is None


def test_entry_says_who_did_it_to_what(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        trial = make_trial(session, ward.therapist, ward.round)

    last = entries(ward.engine)[-1]
    assert (last.person_id, last.subject, last.subject_id, last.at) == (
        ward.therapist.id,
        "trial",
        trial.id,
        NOW,
    )


def test_replay_leaves_no_second_entry(ward: Ward) -> None:
    uid = new_uid()
    for _ in range(2):
        with write_session(ward.engine) as session:
            make_trial(session, ward.therapist, ward.round, uid=uid)

    assert deeds(ward.engine).count("recorded_trial") == 1


def test_deed_that_was_undone_is_not_in_the_chain(ward: Ward) -> None:
    before = deeds(ward.engine)

    def record_and_fail() -> None:
        with write_session(ward.engine) as session:
            make_trial(session, ward.therapist, ward.round)
            raise RuntimeError("the route failed")

    with pytest.raises(RuntimeError):
        record_and_fail()

    assert deeds(ward.engine) == before
    assert broken(ward.engine) is None


@pytest.mark.parametrize(
    ("statement", "found"),
    [
        ("UPDATE audit_entry SET deed = 'signed_in' WHERE id = 3", 3),
        ("UPDATE audit_entry SET person_id = NULL WHERE id = 2", 2),
        ("UPDATE audit_entry SET person_id = 2 WHERE id = 1", 1),
        ("UPDATE audit_entry SET subject = 'visit' WHERE id = 4", 4),
        ("UPDATE audit_entry SET subject_id = 99 WHERE id = 4", 4),
        ("UPDATE audit_entry SET at = '2026-03-01 09:30:00' WHERE id = 5", 5),
        ("UPDATE audit_entry SET hash = previous_hash WHERE id = 5", 5),
        ("DELETE FROM audit_entry WHERE id = 1", 2),
        ("DELETE FROM audit_entry WHERE id = 4", 5),
        ("DELETE FROM audit_entry WHERE id >= 7", 7),
        ("DELETE FROM audit_entry", 1),
        ("UPDATE audit_head SET last_id = last_id - 1", 9),
    ],
)
def test_tampering_is_found_where_it_was_done(
    ward: Ward, statement: str, found: int
) -> None:
    assert len(entries(ward.engine)) == 9
    tamper(ward.engine, statement)

    assert broken(ward.engine) == found


def test_rewritten_last_entry_is_found_by_the_head(ward: Ward) -> None:
    """Its own hash is made to fit again, but the head remembers the true one."""
    with write_session(ward.engine) as session:
        last = session.exec(select(AuditEntry).where(AuditEntry.id == 9)).one()
        rewritten = written_elsewhere(session, last)

    tamper(
        ward.engine,
        f"UPDATE audit_entry SET deed = 'signed_in', hash = '{rewritten}' WHERE id = 9",
    )

    assert broken(ward.engine) == 9


def written_elsewhere(session: Session, last: AuditEntry) -> str:
    """The hash the entry would have had with another deed, by the chain's own doing."""
    savepoint = session.begin_nested()
    audit_head = f"last_id = {last.id - 1}, hash = '{last.previous_hash}'"
    connection = session.connection()
    connection.execute(text(f"UPDATE audit_head SET {audit_head}"))
    connection.execute(text(f"DELETE FROM audit_entry WHERE id = {last.id}"))
    session.expunge(last)
    audit.append(
        session,
        person_id=last.person_id,
        deed="signed_in",
        subject=last.subject,
        subject_id=last.subject_id,
        now=last.at,
    )
    wanted = select(AuditEntry.hash).where(AuditEntry.id == last.id)
    rewritten = session.exec(wanted).one()
    savepoint.rollback()
    return rewritten
