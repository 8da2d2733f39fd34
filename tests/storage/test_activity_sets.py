"""Sets of activities: what the database refuses, repeats, voids, and stops of sets."""

from datetime import timedelta

import pytest
from alembic import command
from alembic.script import ScriptDirectory
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError
from sqlmodel import select

from app.storage import safety, upgrade
from app.storage.activity_sets import (
    ActivitySet,
    SetBody,
    any_set_on,
    sets_in,
    sets_of,
    symptoms_of,
    void_set,
)
from app.storage.audit import AuditEntry
from app.storage.database import migrate, read_session, write_session
from app.storage.errors import NotAllowed, NotFound, SameIdOtherBody
from app.storage.patients import archive_patient
from app.storage.purge import purge
from app.storage.safety_rows import SafetyEvent, SafetySeen
from app.storage.trials import TrialBody
from tests.make import NOW, TODAY, make_set, make_trial, new_uid
from tests.storage.conftest import Ward

LATER = NOW + timedelta(minutes=3)
FULL = SetBody(
    grade="12",
    reps=10,
    holds_ms=[10_000, 12_500],
    time_ms=42_500,
    distance="9.5",
    distance_unit="in",
    calls=10,
    correct=9,
    errors=1,
    hand_support="fingertip",
    level="contact",
    helpers=1,
    effort=4,
    effort_scale="0-10",
    symptoms=("dizzy", "tired"),
    note="steady",
)
BAD = [
    "uid = 'abc'",
    "activity = ''",
    "grade = ''",
    "grade = '1-2'",
    "grade = '12 in'",
    "outcome = 'completed'",
    "outcome = 'not_done', reason = 'lazy'",
    "reason = 'pain'",
    *(f"{name} = {value}" for name in (
        "reps", "steps", "steps_to_recover", "passes", "hazards", "errors",
    ) for value in (-1, 10_000)),
    "calls = 10000",
    "calls = 3",
    "correct = -1",
    "correct = 11",
    "time_ms = -1",
    "time_ms = 36000001",
    "distance = '-1'",
    "distance = '9,5'",
    "distance = NULL",
    "distance_unit = NULL",
    "distance_unit = 'ft'",
    "hand_support = 'some'",
    "level = 'bit'",
    "helpers = -1",
    "helpers = 5",
    "cue_kind = 'loud'",
    "cue_amount = 'lots'",
    "effort = 21",
    "effort = NULL",
    "effort_scale = '1-5'",
    "effort_scale = NULL",
    f"note = '{'x' * 301}'",
    f"override = '{'x' * 301}'",
    "against = 'Leg'",
    f"against = '{'x' * 401}'",
    "body_hash = ''",
    "void_reason = 'slipped'",
    "voided_at = recorded_at, voided_by = recorded_by, void_reason = ''",
]  # fmt: skip
GOOD = [
    "grade = '-2'",
    "grade = '1.15'",
    "grade = NULL",
    "outcome = 'not_done', reason = 'pain'",
    "outcome = 'stopped'",
    "outcome = 'declined'",
    *(f"{name} = {value}" for name in (
        "reps", "steps", "steps_to_recover", "passes", "hazards", "errors",
    ) for value in (0, 9_999)),
    "calls = 9999",
    "correct = 10",
    "correct = 0",
    "time_ms = 0",
    "time_ms = 36000000",
    "distance = NULL, distance_unit = NULL",
    "distance = '24', distance_unit = 'cm'",
    "hand_support = 'device'",
    "level = 'total'",
    "helpers = 0",
    "helpers = 4",
    "cue_kind = 'verbal', cue_amount = 'maximal'",
    "effort = 20, effort_scale = '6-20'",
    "effort = NULL, effort_scale = NULL",
    f"note = '{'x' * 300}'",
    f"override = '{'x' * 300}'",
    "against = 'nwb_le ttwb_le'",
    "voided_at = recorded_at, voided_by = recorded_by, void_reason = 'x'",
]  # fmt: skip


@pytest.fixture
def done(ward: Ward) -> ActivitySet:
    with write_session(ward.engine) as session:
        return make_set(session, ward.therapist, ward.visit, FULL)


def change(ward: Ward, statement: str) -> int:
    with write_session(ward.engine) as session:
        return int(session.connection().execute(text(statement)).rowcount)


@pytest.mark.usefixtures("done")
@pytest.mark.parametrize("to", BAD)
def test_bad_value_is_refused(ward: Ward, to: str) -> None:
    with pytest.raises(IntegrityError, match=r"(?i)check constraint"):
        change(ward, f"UPDATE activity_set SET {to}")


@pytest.mark.usefixtures("done")
@pytest.mark.parametrize("to", GOOD)
def test_good_value_is_taken(ward: Ward, to: str) -> None:
    assert change(ward, f"UPDATE activity_set SET {to}") == 1


@pytest.mark.usefixtures("done")
def test_every_rule_of_a_set_has_a_bad_value() -> None:
    """A rule that no row of BAD breaks would be one that nobody has tried."""
    said = " ".join(BAD)
    names = {
        str(rule.name).removeprefix("ck_activity_set_")
        for rule in ActivitySet.__table__.constraints  # type: ignore[attr-defined]
        if str(rule.name).startswith("ck_")
    }
    apart = {"reason_when": "reason = 'pain'", "unit_with_distance": "distance = NULL",
             "correct_of_calls": "correct = 11", "effort_which": "effort = NULL",
             "voided": "void_reason"}  # fmt: skip

    assert [n for n in names if apart.get(n, f"{n} = ") not in said] == []


@pytest.mark.usefixtures("done")
@pytest.mark.parametrize("column", ["visit_id", "recorded_by", "voided_by"])
def test_pointer_to_no_row_is_refused(ward: Ward, column: str) -> None:
    also = ", voided_at = recorded_at, void_reason = 'x'" if "void" in column else ""
    with pytest.raises(IntegrityError, match=r"(?i)foreign key"):
        change(ward, f"UPDATE activity_set SET {column} = 99999{also}")


def test_set_is_kept_whole(ward: Ward, done: ActivitySet) -> None:
    with read_session(ward.engine) as session:
        ((row, visit),) = sets_of(session, ward.patient.id)
        felt = symptoms_of(session, [row])

    assert (row.id, visit.id) == (done.id, ward.visit.id)
    assert (row.reps, row.holds_ms, row.distance) == (10, [10_000, 12_500], "9.5")
    assert set(felt[row.id]) == {"dizzy", "tired"}


def test_same_id_twice_is_one_row(ward: Ward) -> None:
    uid = new_uid()
    with write_session(ward.engine) as session:
        first = make_set(session, ward.therapist, ward.visit, FULL, uid=uid)
        again = make_set(session, ward.therapist, ward.visit, FULL, uid=uid)

    with read_session(ward.engine) as session:
        deeds = list(session.exec(select(AuditEntry.deed)))
    assert first.id == again.id
    assert deeds.count("recorded_set") == 1


def test_same_id_with_other_body_is_refused(ward: Ward) -> None:
    uid = new_uid()
    with write_session(ward.engine) as session:
        make_set(session, ward.therapist, ward.visit, FULL, uid=uid)
        with pytest.raises(SameIdOtherBody):
            make_set(session, ward.therapist, ward.visit, SetBody(reps=9), uid=uid)
        with pytest.raises(SameIdOtherBody):
            make_set(session, ward.therapist, ward.visit, FULL, uid=uid, activity="S01")


def test_void_keeps_the_row_and_its_first_reason(ward: Ward, done: ActivitySet) -> None:
    for reason in ("wrong numbers", "something else"):
        with write_session(ward.engine) as session:
            void_set(session, ward.therapist, done.id, reason=reason, now=LATER)

    with read_session(ward.engine) as session:
        (row,) = sets_in(session, ward.visit)
        assert sets_of(session, ward.patient.id) == []
        assert len(sets_of(session, ward.patient.id, voided=True)) == 1
    assert row.void_reason == "wrong numbers"
    assert row.reps == 10


def test_nobody_else_records_or_voids(ward: Ward, done: ActivitySet) -> None:
    with write_session(ward.engine) as session:
        with pytest.raises(NotFound):
            make_set(session, ward.outsider, ward.visit)
        with pytest.raises(NotFound):
            void_set(session, ward.outsider, done.id, reason="x", now=LATER)


def test_first_set_of_a_day_is_known(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        before = any_set_on(session, ward.patient.id, TODAY)
        make_set(session, ward.therapist, ward.visit, activity="S01")
        after = any_set_on(session, ward.patient.id, TODAY)
        other_day = any_set_on(session, ward.patient.id, TODAY + timedelta(days=1))

    assert (before, after, other_day) == (False, True, False)


@pytest.fixture
def stopped(ward: Ward) -> ActivitySet:
    with write_session(ward.engine) as session:
        # Of the same number as the set: one must never be taken for the other.
        make_trial(session, ward.therapist, ward.round)
        return make_set(session, ward.therapist, ward.visit, SetBody(outcome="stopped"))


def say(ward: Ward, row: ActivitySet, **said: object) -> safety.Stop:
    with write_session(ward.engine) as session:
        return safety.record_answers(
            session, ward.therapist, row.id, said, of="set", base_id=None, now=LATER
        )


def test_stop_of_a_set_keeps_its_answers(ward: Ward, stopped: ActivitySet) -> None:
    say(ward, stopped, what="fell", symptoms=frozenset({"dizzy"}))

    with read_session(ward.engine) as session:
        stop = safety.stop_for(session, ward.therapist, stopped.id, of="set")
        (event,) = session.exec(select(SafetyEvent))
        with pytest.raises(NotFound):
            safety.stop_for(session, ward.therapist, stopped.id)
    assert (stop.of, stop.what, stop.answers.what) == ("set", "T01", "fell")
    assert stop.answers.symptoms == {"dizzy"}
    assert (event.trial_id, event.set_id) == (None, stopped.id)


def test_stop_of_a_set_leaves_the_brief_when_looked_into(
    ward: Ward, stopped: ActivitySet
) -> None:
    def open_ones() -> list[int]:
        with read_session(ward.engine) as session:
            found = safety.open_stops_of(session, ward.patient.id)
        return [stop.row.id for stop in found]

    before = open_ones()
    with write_session(ward.engine) as session:
        safety.mark_seen(session, ward.therapist, stopped.id, LATER, "set")

    assert (before, open_ones()) == ([stopped.id], [])


def test_look_into_one_kind_hides_none_of_the_other(
    ward: Ward, stopped: ActivitySet
) -> None:
    """A row that points at a set has no trial: an empty pointer must not match all."""
    with write_session(ward.engine) as session:
        safety.mark_seen(session, ward.therapist, stopped.id, LATER, "set")
        body = SetBody(outcome="stopped")
        other = make_set(session, ward.therapist, ward.visit, body)

    with read_session(ward.engine) as session:
        found = safety.open_stops_of(session, ward.patient.id)
    assert [stop.row.id for stop in found] == [other.id]


def test_set_against_an_order_is_looked_into_even_when_voided(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        row = make_set(session, ward.therapist, ward.visit, FULL, against="nwb_le")
        void_set(session, ward.therapist, row.id, reason="by mistake", now=LATER)

    with read_session(ward.engine) as session:
        (stop,) = safety.open_stops_of(session, ward.patient.id)
        deeds = list(session.exec(select(AuditEntry.deed)))
    assert stop.against == "nwb_le"
    assert "recorded_set_against" in deeds


def test_student_may_not_call_it_looked_into(ward: Ward, stopped: ActivitySet) -> None:
    with (
        write_session(ward.engine) as session,
        pytest.raises((NotAllowed, NotFound)),
    ):
        safety.mark_seen(session, ward.student, stopped.id, LATER, "set")


BROKEN = [
    ("UPDATE safety_event SET set_id = NULL", r"(?i)check constraint"),
    ("UPDATE safety_event SET trial_id = 1", r"(?i)check constraint"),
    ("UPDATE safety_event SET set_id = 99999", r"(?i)foreign key"),
    ("UPDATE safety_event SET replaces_id = NULL", r"(?i)unique"),
    ("UPDATE safety_seen SET set_id = NULL", r"(?i)check constraint"),
    ("UPDATE safety_seen SET trial_id = 1", r"(?i)check constraint"),
    ("UPDATE safety_seen SET person_id = 1", r"(?i)unique"),
]


@pytest.mark.parametrize(("statement", "why"), BROKEN)
def test_row_about_a_stop_points_at_one_thing(
    ward: Ward, stopped: ActivitySet, statement: str, why: str
) -> None:
    first = say(ward, stopped, what="fell")
    with write_session(ward.engine) as session:
        safety.record_answers(
            session, ward.therapist, stopped.id, {"what": "seated"}, of="set",
            base_id=first.event_id, now=LATER,
        )  # fmt: skip
        for person in (ward.therapist, ward.supervisor):
            safety.mark_seen(session, person, stopped.id, LATER, "set")
        assert len(session.exec(select(SafetySeen)).all()) == 2

    with pytest.raises(IntegrityError, match=why):
        change(ward, statement)


def test_what_was_noted_before_sets_had_stops_is_kept(ward: Ward) -> None:
    """The tables are made anew on the way down and up again, with their rows."""
    with write_session(ward.engine) as session:
        body = TrialBody(outcome="stopped")
        trial = make_trial(session, ward.therapist, ward.round, body)
        said = {"what": "fell", "note": "pale", "symptoms": frozenset({"dizzy"})}
        safety.record_answers(
            session, ward.therapist, trial.id, said, base_id=None, now=LATER
        )
        safety.mark_seen(session, ward.supervisor, trial.id, LATER)
    with upgrade.changing_schema(ward.engine) as connection:
        config = upgrade.config(connection)
        here = ScriptDirectory.from_config(config).get_revision("0019")
        command.downgrade(config, str(here.down_revision))
        old = connection.execute(text("SELECT note FROM safety_event")).scalars().all()
    migrate(ward.engine, None)

    with read_session(ward.engine) as session:
        stop = safety.stop_for(session, ward.therapist, trial.id)
    assert old == ["pale"]
    assert (stop.answers.what, stop.answers.note) == ("fell", "pale")
    assert stop.answers.symptoms == {"dizzy"}
    assert [row.role for row in stop.seen] == ["supervisor"]


def test_purge_takes_sets_with_all_that_hangs_on_them(
    ward: Ward, stopped: ActivitySet
) -> None:
    say(ward, stopped, what="fell", symptoms=frozenset({"dizzy"}))
    with write_session(ward.engine) as session:
        safety.mark_seen(session, ward.therapist, stopped.id, LATER, "set")
        make_set(session, ward.therapist, ward.visit, FULL)
        patient = archive_patient(
            session, ward.supervisor, ward.patient.id, version=1, now=LATER
        )
        gone = purge(
            session, ward.supervisor, patient.id, why="for_practice", now=LATER
        )

    kept = ("activity_set", "set_symptom", "safety_event", "safety_seen")
    assert [gone[name] for name in kept] == [2, 2, 1, 1]
