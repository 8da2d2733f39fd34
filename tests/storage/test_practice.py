"""Practice: one attempt of a showing, its key kept beside it, private until shared."""

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

import pytest
from sqlalchemy import Engine, inspect
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from app.practice.attempt import Said
from app.practice.case import Fault, Key
from app.storage.audit import AuditEntry, verify
from app.storage.database import write_session
from app.storage.errors import NotFound, SameIdOtherBody
from app.storage.people import Person
from app.storage.practice import (
    PracticeAttempt,
    PracticeShowing,
    begin_as,
    begun_as,
    draw,
    rows_of,
    send,
    showing_for,
)
from app.storage.practice_beside import attempts_of, shared_attempts
from app.storage.practice_shared import (
    SharedForGood,
    attempt_for,
    keep_shared,
    share,
)
from tests.make import NOW, make_person, new_uid
from tests.storage.conftest import Ward

KEY = Key(
    2_000, 14_300, splits=(4_000, 6_500), faults=(Fault("arms_used", 5_000),), count=5
)
SAID = Said(2_150, 14_400, splits=(4_100, 6_400), faults=("not_upright",), valid=False)


@pytest.fixture
def session(ward: Ward) -> Iterator[Session]:
    with write_session(ward.engine) as session:
        yield session


def show(session: Session, person: Person, uid: str = "") -> PracticeShowing:
    row, _ = draw(
        session,
        person,
        case="rises",
        measure="five_times_sit_to_stand",
        trial=1,
        edition="e1",
        uid=uid or new_uid(),
        now=NOW,
    )
    return row


def sent(session: Session, person: Person, said: Said = SAID) -> PracticeAttempt:
    return send(session, person, show(session, person), said, KEY, now=NOW)


def test_seed_is_drawn_here_and_the_same_id_finds_it(
    session: Session, ward: Ward
) -> None:
    uid = new_uid()
    first, again = show(session, ward.student, uid), show(session, ward.student, uid)
    others = {show(session, ward.student).seed for _ in range(8)}

    assert first.id == again.id
    assert len(others) > 1
    with pytest.raises(SameIdOtherBody):
        show(session, ward.therapist, uid)


def test_attempt_stands_beside_its_key(session: Session, ward: Ward) -> None:
    sent(session, ward.student)
    (attempt,) = attempts_of(session, ward.student)

    assert (attempt.taken_ms, attempt.key_ms) == (12_250, 12_300)
    assert (attempt.start_off_ms, attempt.stop_off_ms) == (150, 100)
    assert attempt.faults_said == {"not_upright"}
    assert attempt.faults_key == {"arms_used"}
    assert (attempt.valid_said, attempt.valid_key) == (False, True)
    assert (attempt.measure, attempt.edition) == ("five_times_sit_to_stand", "e1")
    assert attempt.shared is False


def test_an_attempt_is_made_once_of_a_showing(session: Session, ward: Ward) -> None:
    showing = show(session, ward.student)
    first = send(session, ward.student, showing, SAID, KEY, now=NOW)
    again = send(session, ward.student, showing, SAID, KEY, now=NOW)
    other = replace(SAID, faults=("arms_used",))
    with pytest.raises(SameIdOtherBody):
        send(session, ward.student, showing, other, KEY, now=NOW)

    assert first.id == again.id
    assert len(rows_of(session, ward.student)) == 1


def test_supervisor_is_drawn_no_seed_whose_key_they_may_have_seen(
    session: Session, ward: Ward
) -> None:
    """Whoever reads shared practice reads its keys."""
    seen = sent(session, ward.student)
    share(session, ward.student, seen.id, shared=True, now=NOW)
    kept = session.get_one(PracticeShowing, sent(session, ward.student).showing_id).seed
    shared = session.get_one(PracticeShowing, seen.showing_id).seed

    drawn = [show(session, ward.supervisor).seed for _ in range(2)]
    assert drawn[0] == kept
    assert drawn[1] != shared
    # Somebody else is shown all there are, in whatever order, before a new one.
    others = {show(session, ward.therapist).seed for _ in range(3)}
    assert others == {shared, kept, drawn[1]}


def test_nobody_answers_anothers_showing(session: Session, ward: Ward) -> None:
    showing = show(session, ward.student)
    with pytest.raises(NotFound):
        showing_for(session, ward.supervisor, showing.id)
    with pytest.raises(NotFound):
        send(session, ward.supervisor, showing, SAID, KEY, now=NOW)


def test_private_until_shared_and_then_for_supervisors_of_that_world(
    session: Session, ward: Ward
) -> None:
    attempt = sent(session, ward.student)
    invented = make_person(session, "invented", role="supervisor", is_demo=True)
    with pytest.raises(NotFound):
        attempt_for(session, ward.supervisor, attempt.id)
    share(session, ward.student, attempt.id, shared=True, now=NOW)

    assert attempt_for(session, ward.supervisor, attempt.id)[0].id == attempt.id
    for somebody in (ward.therapist, ward.outsider, invented):
        with pytest.raises(NotFound):
            attempt_for(session, somebody, attempt.id)
    assert [a.id for a in shared_attempts(session)] == [attempt.id]
    assert shared_attempts(session, is_demo=True) == ()


def test_sharing_is_the_owners_and_can_be_taken_back(
    session: Session, ward: Ward
) -> None:
    attempt = sent(session, ward.student)
    share(session, ward.student, attempt.id, shared=True, now=NOW)
    with pytest.raises(NotFound):
        share(session, ward.supervisor, attempt.id, shared=False, now=NOW)
    share(session, ward.student, attempt.id, shared=True, now=NOW)
    share(session, ward.student, attempt.id, shared=False, now=NOW)

    with pytest.raises(NotFound):
        attempt_for(session, ward.supervisor, attempt.id)
    deeds = session.exec(select(AuditEntry.deed).order_by(col(AuditEntry.id))).all()
    assert deeds[-2:] == ["shared_practice", "took_back_practice"]
    verify(session)


def test_what_was_signed_off_stays_shared(session: Session, ward: Ward) -> None:
    attempt = sent(session, ward.student)
    with pytest.raises(NotFound):
        keep_shared(session, [attempt.id])
    share(session, ward.student, attempt.id, shared=True, now=NOW)
    keep_shared(session, [attempt.id])

    with pytest.raises(SharedForGood):
        share(session, ward.student, attempt.id, shared=False, now=NOW)


@pytest.mark.parametrize(
    ("said", "taken", "count", "distance"),
    [
        (replace(SAID, way="watched"), 12_250, None, None),
        (Said(typed_ms=12_300, faults=("arms_used",), way="words"), None, None, None),
        (Said(count=6, way="words"), None, (6_000, 5_000), None),
        (replace(SAID, count=4, way="watched"), 12_250, (4_000, 5_000), None),
        (Said(distance="8.5", way="watched"), None, None, (8_500, 9_000)),
        (Said(distance="9.25", way="words"), None, None, (9_250, 9_000)),
    ],
)
def test_what_is_judged_of_each_way(
    session: Session, ward: Ward, said: Said, taken: int | None,
    count: tuple[int, int] | None, distance: tuple[int, int] | None,
) -> None:  # fmt: skip
    """Read in words: no timing, but faults, decision, count and distance."""
    key = replace(KEY, distance=Decimal(9))
    send(session, ward.student, show(session, ward.student), said, key, now=NOW)
    (attempt,) = attempts_of(session, ward.student)

    assert attempt.way == said.way
    assert attempt.taken_ms == taken
    assert (attempt.start_off_ms is None) is (taken is None)
    assert attempt.split_offs_ms == (() if taken is None else (100, -100))
    for found, wanted in ((attempt.count, count), (attempt.distance, distance)):
        assert (found and (found.said, found.key)) == wanted
    assert attempt.faults_said == set(said.faults)


@pytest.mark.parametrize(
    "wrong",
    [
        {"start_ms": 100, "stop_ms": None},
        {"start_ms": 200, "stop_ms": 100},
        {"start_ms": 100, "stop_ms": 200, "typed_ms": 100},
        {"typed_ms": 0},
        {"distance": "7in"},
        {"count": -1},
        {"way": "heard"},
        {"stays_shared": True},
    ],
    ids=str,
)
def test_database_refuses(
    session: Session, ward: Ward, wrong: dict[str, object]
) -> None:
    attempt = sent(session, ward.student, Said())
    for name, value in wrong.items():
        setattr(attempt, name, value)
    session.add(attempt)

    with pytest.raises(IntegrityError, match=r"(?i)check"):
        session.flush()
    session.rollback()


def test_practice_points_at_no_patient(engine: Engine) -> None:
    seen = inspect(engine)
    points_at = {
        key["referred_table"]
        for table in (
            "practice_showing",
            "practice_attempt",
            "team_check",
            "team_check_member",
        )
        for key in seen.get_foreign_keys(table)
    }

    assert points_at == {"person", "practice_showing", "team_check"}


def test_showing_is_begun_one_way(session: Session, ward: Ward) -> None:
    """As was chosen first; the words of one that is watched would tell its key."""
    watched, read = (show(session, ward.student) for _ in range(2))
    assert begun_as(watched) == ""
    assert begin_as(session, watched, "watched") == "watched"
    assert begin_as(session, watched, "words") == "watched"
    assert begin_as(session, read, "words") == "words"
    assert begin_as(session, read, "watched") == begun_as(read) == "words"

    read.way = "heard"
    session.add(read)
    with pytest.raises(IntegrityError, match=r"(?i)check"):
        session.flush()
    session.rollback()
