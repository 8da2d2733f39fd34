"""Teaching and hand-offs: append-only, one row for each id, closed lists held."""

from typing import Any

import pytest
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from app.clinical.teaching import Taught, taught_words
from app.storage.audit import AuditEntry, verify
from app.storage.database import read_session, write_session
from app.storage.errors import NotAllowed, NotFound, SameIdOtherBody
from app.storage.hand_offs import (
    HandOff,
    HandOffBody,
    NothingSaid,
    give,
    hand_offs_in,
)
from app.storage.patients import archive_patient, close_patient
from app.storage.purge import purge
from app.storage.responsible import assign
from app.storage.teaching import (
    Teaching,
    taught_of,
    teaching_for,
    teaching_in,
    void_teaching,
)
from app.storage.visits import close, exit_items, set_exit_items
from tests.make import NOW, make_teaching, new_uid
from tests.storage.conftest import Ward

SAID = HandOffBody("nursing", "nurse", ("Stands with one person.",), read_back=True)


def deeds(session: Session) -> list[str]:
    rows = session.exec(select(AuditEntry.deed).order_by(col(AuditEntry.id)))
    return [d for d in rows if "teaching" in d or "hand_off" in d]


@pytest.mark.parametrize(
    ("taught", "says"),
    [
        (Taught("patient", "falls", "told", "declined"),
         "Taught patient: after a fall; told; declined to show it back"),
        (Taught("family", "transfers", "practised", "prompts", prompts=2),
         "Taught family: transfers; practised; showed it back with 2 prompts"),
        (Taught("home_helper", "guarding", "shown", "prompts", prompts=1,
                words="nose over toes"),
         "Taught home helper: guarding with the belt, “nose over toes”; shown; "
         "showed it back with 1 prompt"),
    ],
)  # fmt: skip
def test_teaching_in_words(taught: Taught, says: str) -> None:
    assert taught_words(taught) == says


def test_same_id_again_finds_the_row_and_other_words_are_refused(ward: Ward) -> None:
    uid = new_uid()
    with write_session(ward.engine) as session:
        first = make_teaching(session, ward.therapist, ward.visit, uid=uid)
        again = make_teaching(session, ward.therapist, ward.visit, uid=uid)
        with pytest.raises(SameIdOtherBody):
            make_teaching(session, ward.therapist, ward.visit, uid=uid, how="told")
        with pytest.raises(SameIdOtherBody):
            make_teaching(session, ward.supervisor, ward.visit, uid=uid)

        assert first.id == again.id
        assert taught_of(first) == Taught("family", "guarding", "shown", "alone")
        assert deeds(session) == ["recorded_teaching"]


def test_voided_stays_with_its_first_reason(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        row = make_teaching(session, ward.therapist, ward.visit)
        for reason in ("wrong person", "again"):
            void_teaching(session, ward.supervisor, row.id, reason=reason, now=NOW)
        (kept,) = teaching_in(session, ward.visit)

        assert (kept.void_reason, kept.voided_by) == (
            "wrong person",
            ward.supervisor.id,
        )
        assert deeds(session) == ["recorded_teaching", "voided_teaching"]


def test_who_may_not_see_the_patient_finds_none(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        row = make_teaching(session, ward.therapist, ward.visit)
        with pytest.raises(NotFound):
            teaching_for(session, ward.outsider, row.id)
        with pytest.raises(NotFound):
            make_teaching(session, ward.outsider, ward.visit)
        with pytest.raises(NotFound):
            give(session, ward.outsider, ward.visit, SAID, uid=new_uid(), now=NOW)


@pytest.mark.parametrize(
    "said",
    [
        {"to": "neighbour"},
        {"topic": "cooking"},
        {"topic": "other"},
        {"how": "mailed"},
        {"back": "prompts"},
        {"back": "alone", "prompts": 2},
        {"back": "prompts", "prompts": 21},
        {"words": "x" * 81},
    ],
)
def test_database_holds_the_closed_lists(ward: Ward, said: dict[str, Any]) -> None:
    with pytest.raises(IntegrityError), write_session(ward.engine) as session:
        make_teaching(session, ward.therapist, ward.visit, **said)


def test_hand_off_answers_an_exit_list_that_is_open(ward: Ward) -> None:
    uid = new_uid()
    with write_session(ward.engine) as session:
        first = give(session, ward.therapist, ward.visit, SAID, uid=uid, now=NOW)
        again = give(session, ward.therapist, ward.visit, SAID, uid=uid, now=NOW)
        other = HandOffBody("nursing", "aide", SAID.lines, read_back=True)
        with pytest.raises(SameIdOtherBody):
            give(session, ward.therapist, ward.visit, other, uid=uid, now=NOW)

        assert first.id == again.id
        assert exit_items(session, ward.visit) == {"hand_off": "nurse"}
        assert deeds(session) == ["gave_hand_off"]
        give(session, ward.therapist, ward.visit, other, uid=new_uid(), now=NOW)
        assert exit_items(session, ward.visit) == {"hand_off": "nurse"}
        assert [row.given_to for row in hand_offs_in(session, ward.visit)] == [
            "nurse",
            "aide",
        ]


def test_answered_or_closed_exit_list_stays_as_it_is(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        visit = session.merge(ward.visit)
        none = {"hand_off": "not_applicable"}
        set_exit_items(session, ward.therapist, visit, none, NOW)
        give(session, ward.therapist, visit, SAID, uid=new_uid(), now=NOW)
        assert exit_items(session, visit) == none
        close(session, ward.therapist, visit, without_list="called away", now=NOW)
        give(session, ward.therapist, visit, SAID, uid=new_uid(), now=NOW)

        assert exit_items(session, visit) == none
        assert len(hand_offs_in(session, visit)) == 2


def test_student_gives_no_hand_off(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        assign(session, ward.therapist, ward.patient, ward.student, now=NOW)
        with pytest.raises(NotAllowed, match="needs a co-signature"):
            give(session, ward.student, ward.visit, SAID, uid=new_uid(), now=NOW)

        assert not hand_offs_in(session, ward.visit)


@pytest.mark.parametrize("lines", [(), ("",), ("x" * 501,)])
def test_hand_off_says_something(ward: Ward, lines: tuple[str, ...]) -> None:
    body = HandOffBody("nursing", "nurse", lines, read_back=False)
    with write_session(ward.engine) as session, pytest.raises(NothingSaid):
        give(session, ward.therapist, ward.visit, body, uid=new_uid(), now=NOW)


@pytest.mark.parametrize(
    ("audience", "role"),
    [("nursing", "family"), ("family", "nurse"), ("doctor", "other"), ("family", "x")],
)
def test_hand_off_goes_to_a_role_of_its_audience(
    ward: Ward, audience: str, role: str
) -> None:
    body = HandOffBody(audience, role, ("Said.",), read_back=False)
    with pytest.raises(IntegrityError), write_session(ward.engine) as session:
        give(session, ward.therapist, ward.visit, body, uid=new_uid(), now=NOW)


def test_purge_takes_both_and_the_trail_stays_whole(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        make_teaching(session, ward.therapist, ward.visit)
        give(session, ward.therapist, ward.visit, SAID, uid=new_uid(), now=NOW)
        close_patient(session, ward.supervisor, ward.patient.id, version=1, now=NOW)
        archive_patient(session, ward.supervisor, ward.patient.id, version=2, now=NOW)
        purge(session, ward.supervisor, ward.patient.id, why="for_practice", now=NOW)
    with read_session(ward.engine) as session:
        assert session.exec(select(Teaching)).all() == []
        assert session.exec(select(HandOff)).all() == []
        assert verify(session) is None
