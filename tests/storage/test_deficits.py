"""Words on deficits: added, never changed; who may say which, and what is refused."""

from datetime import timedelta

import pytest
from sqlalchemy.exc import IntegrityError
from sqlmodel import col, select

from app.storage.audit import AuditEntry
from app.storage.database import read_session, write_session
from app.storage.deficits import DeficitWord, say, tasks_seen, words_in
from app.storage.errors import NotAllowed, NotFound, SameIdOtherBody
from app.storage.observations import TaskObservation, record, void_observation
from app.storage.people import Person
from app.storage.purge import purge
from app.storage.responsible import assign
from tests.make import NOW, TODAY, make_person, new_uid
from tests.storage.conftest import Ward

KEY = "fine_motor_slow"


def speak(
    ward: Ward, word: str, *, by: Person | None = None, reason: str = "seen today",
    uid: str = "", key: str = KEY,
) -> DeficitWord | None:  # fmt: skip
    with write_session(ward.engine) as session:
        return say(
            session, by or ward.therapist, ward.episode, key, word, reason,
            uid=uid or new_uid(), day=TODAY, now=NOW,
        )  # fmt: skip


def told(ward: Ward) -> list[tuple[str, str, str]]:
    with read_session(ward.engine) as session:
        return [
            (row.deficit, row.word, by.handle)
            for row, by in words_in(session, ward.episode)
        ]


@pytest.fixture
def assistant(ward: Ward) -> Person:
    """One of the patient's people."""
    with write_session(ward.engine) as session:
        person = make_person(session, "assistant", role="assistant")
        owner, patient = session.merge(ward.therapist), session.merge(ward.patient)
        assign(session, owner, patient, person, now=NOW)
        return person


def test_every_word_stays(ward: Ward) -> None:
    for word in ("added", "back", "struck"):
        speak(ward, word)

    assert told(ward) == [(KEY, w, "therapist") for w in ("added", "back", "struck")]


def test_assistant_adds_and_never_strikes(ward: Ward, assistant: Person) -> None:
    speak(ward, "added", by=assistant)
    with pytest.raises(NotAllowed):
        speak(ward, "struck", by=assistant)

    assert told(ward) == [(KEY, "added", "assistant")]


def test_assistant_takes_back_only_their_own(ward: Ward, assistant: Person) -> None:
    speak(ward, "added", by=assistant)
    speak(ward, "back", by=assistant)
    speak(ward, "added", by=ward.therapist)
    with pytest.raises(NotAllowed):
        speak(ward, "back", by=assistant)

    assert [word for _, word, _ in told(ward)] == ["added", "back", "added"]


def test_strike_is_undone_by_judgement_alone(ward: Ward, assistant: Person) -> None:
    speak(ward, "struck")
    for word in ("back", "added"):
        with pytest.raises(NotAllowed):
            speak(ward, word, by=assistant)
    speak(ward, "back", by=ward.supervisor)

    assert [word for _, word, _ in told(ward)] == ["struck", "back"]


def test_outsider_says_nothing(ward: Ward) -> None:
    for word in ("added", "struck", "back"):
        with pytest.raises(NotFound):
            speak(ward, word, by=ward.outsider)


def test_nothing_to_take_back_adds_nothing(ward: Ward) -> None:
    assert speak(ward, "back") is None
    assert told(ward) == []


def test_same_id_is_one_word(ward: Ward) -> None:
    uid = new_uid()
    speak(ward, "added", uid=uid)
    speak(ward, "added", uid=uid)
    with pytest.raises(SameIdOtherBody):
        speak(ward, "added", uid=uid, reason="another")

    assert len(told(ward)) == 1


@pytest.mark.parametrize(
    ("word", "reason", "key"),
    [
        ("added", "", KEY),
        ("struck", "", KEY),
        ("added", "x" * 301, KEY),
        ("perhaps", "x", KEY),
        ("added", "x", "Ruth was seen"),
    ],
)
def test_database_refuses_what_is_no_word(
    ward: Ward, word: str, reason: str, key: str
) -> None:
    row = DeficitWord(
        uid=new_uid(), episode_id=ward.episode.id, deficit=key, word=word,
        reason=reason, on_date=TODAY, recorded_at=NOW, recorded_by=ward.therapist.id,
    )  # fmt: skip
    with pytest.raises(IntegrityError), write_session(ward.engine) as session:
        session.add(row)


def test_audit_keeps_the_deed_and_no_reason(ward: Ward) -> None:
    speak(ward, "added", reason="buttons take minutes")
    with read_session(ward.engine) as session:
        wanted = select(AuditEntry).where(col(AuditEntry.subject) == "deficit_word")
        (entry,) = session.exec(wanted).all()

    assert entry.deed == "added_deficit"
    assert "buttons" not in str(entry.model_dump())


def test_tasks_that_were_done_and_hold(ward: Ward) -> None:
    """Neither what was not done nor what was voided."""
    with write_session(ward.engine) as session:
        for said in (
            {"task": "dressing_lower", "level": "minimal"},
            {"task": "transfer_bed", "not_done": "pain"},
            {"task": "transfer_tub", "level": "total"},
        ):
            visit = session.merge(ward.visit)
            row = record(session, ward.therapist, visit, TaskObservation, said,
                         uid=new_uid(), now=NOW)  # fmt: skip
        void_observation(session, ward.therapist, row, "another person's", NOW)
    with read_session(ward.engine) as session:
        seen = tasks_seen(session, ward.episode)

    assert [(row.task, day) for row, day in seen] == [
        ("dressing_lower", ward.visit.local_date)
    ]


def test_purging_takes_the_words_along(ward: Ward) -> None:
    speak(ward, "added")
    with write_session(ward.engine) as session:
        patient = session.merge(ward.patient)
        patient.closed_at = patient.archived_at = NOW + timedelta(days=1)
        session.add(patient)
        session.flush()
        gone = purge(session, ward.supervisor, patient.id, why="asked_for", now=NOW)

    assert gone["deficit_word"] == 1
