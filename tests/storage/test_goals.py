"""Goals as rows: never reworded once signed, numbered for good, standing told anew."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import inspect, text
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, select

from app.storage.assignments import begin_assignment
from app.storage.audit import AuditEntry
from app.storage.database import write_session
from app.storage.errors import (
    NotAllowed,
    NotFound,
    SameIdOtherBody,
    StaleVersion,
)
from app.storage.goal_rows import GoalBody, GoalRow, Standing
from app.storage.goal_scales import (
    ScaleIsRated,
    levels_of,
    rate,
    rated_days,
    scales_of,
    set_scale,
)
from app.storage.goals import (
    GoalIsClosed,
    GoalIsSigned,
    add_goal,
    broken_goals,
    close_goal,
    edit_goal,
    goal_for,
    goals_of,
    replace_goal,
    say_standing,
    sign_goal,
    standings_of,
)
from app.storage.observations import TaskObservation, record
from app.storage.patients import archive_patient, close_patient
from app.storage.people import Person
from app.storage.purge import purge
from tests.make import NOW, TODAY, make_person, new_uid
from tests.storage.conftest import Ward

LONG = "'" + "x" * 500 + "'"
BY = TODAY + timedelta(days=28)
STEPS = {-2: "two helpers", -1: "one", 0: "alone", 1: "at night", 2: "in any room"}
NO_SCORE = "measure = NULL, target_value = NULL, target_unit = NULL"
NO_START = "base_on = NULL, base_round_id = NULL, base_says = ''"
#: The goal of a score made into one of another kind, and into a closed one.
LEVEL = f"kind = 'level', {NO_SCORE}, {NO_START}"
TIMES = f"kind = 'times', {NO_SCORE}, base_round_id = NULL, times = 1, out_of = 2"
CLOSED = "closed_on = set_on, closed_by = set_by"
#: Table, what is set, and the rule that must refuse it. The first goal is a score's.
BAD = [
    ("goal", "uid = 'abc'", "uid"),
    ("goal", "number = 0", "number"),
    ("goal", "term = 'middle'", "term"),
    ("goal", "term = 'long', parent_id = id", "parent"),
    ("goal", "who = 'doctor'", "who"),
    ("goal", "task = 'flying'", "task"),
    ("goal", f"phrase = {LONG}", "phrase"),
    ("goal", "place = 'moon'", "place"),
    ("goal", "surface = 'ice rink'", "surface"),
    ("goal", "device = 'skateboard'", "device"),
    ("goal", "cue_kind = 'shouted'", "cue_kind"),
    ("goal", "cue_amount = 'lots'", "cue_amount"),
    ("goal", "help = 'some'", "help"),
    ("goal", f"kind = 'wish', {NO_SCORE}, {NO_START}", "kind"),
    ("goal", f"kind = 'level', {NO_SCORE}, {NO_START}", "level_holds"),
    ("goal", f"kind = 'times', {NO_SCORE}, {NO_START}", "times_holds"),
    ("goal", "measure = NULL", "score_holds"),
    ("goal", "target_value = NULL", "score_holds"),
    ("goal", "target_unit = NULL", "score_holds"),
    ("goal", "target_level = 'stand_by'", "holds_only"),
    ("goal", f"kind = 'times', times = 1, out_of = 1, {NO_START}", "holds_only"),
    ("goal", f"{LEVEL}, target_level = 'stand_by', help = 'stand_by'", "level_holds"),
    ("goal", "measure = ''", "measure"),
    ("goal", "target_value = '-3'", "target_value"),
    ("goal", "target_value = '1.2.3'", "target_value"),
    ("goal", "target_unit = 'yards'", "target_unit"),
    ("goal", f"{LEVEL}, target_level = 'some'", "target_level"),
    ("goal", "times = 0, out_of = 5", "times"),
    ("goal", "times = 5, out_of = 21", "out_of"),
    ("goal", "times = 5, out_of = 4", "trials"),
    ("goal", "times = 5", "trials"),
    ("goal", f"so_that = {LONG}", "so_that"),
    ("goal", f"{TIMES}, base_times = -1", "base_times"),
    ("goal", f"{TIMES}, base_times = 3", "base_of"),
    ("goal", f"base_says = {LONG}", "base_says"),
    ("goal", "base_says = ''", "start"),
    ("goal", "base_on = NULL", "start"),
    ("goal", "base_round_id = NULL", "start"),
    (
        "goal",
        "base_times = 1, times = 1, out_of = 2, base_round_id = NULL",
        "start_by_kind",
    ),
    ("goal", "version = 0", "version"),
    ("goal", "signed_at = NULL", "signed"),
    ("goal", "signed_by = NULL", "signed"),
    ("goal", "signed_hash = NULL", "signed"),
    ("goal", "signed_hash = 'abc'", "signed_hash"),
    ("goal", f"{CLOSED}, close_word = 'lost', close_reason = 'why'", "close_word"),
    ("goal", f"{CLOSED}, close_word = 'met', close_reason = {LONG}", "close_reason"),
    ("goal", "close_reason = 'why'", "closed"),
    ("goal", "close_word = 'met'", "closed"),
    ("goal", "closed_on = set_on, closed_by = set_by, close_word = 'met'", "closed"),
    (
        "goal",
        "closed_on = '2020-01-01', closed_by = set_by, close_word = 'met', "
        "close_reason = 'seen'",
        "closed_after",
    ),
    ("goal_word", "uid = 'abc'", "uid"),
    ("goal_word", "word = 'fine'", "word"),
    ("goal_word", f"says = {LONG}", "says"),
    ("goal_word", "word = 'on_hold', says = ''", "told"),
    ("goal_word", "word = 'plateau', says = ''", "told"),
    ("goal_word", "percent = 101", "percent"),
    ("goal_word", "times = -1, out_of = 5", "times"),
    ("goal_word", "times = 0, out_of = 0", "out_of"),
    ("goal_word", "times = 3, out_of = 2", "trials"),
    ("goal_scale", "much_less = ''", "much_less"),
    ("goal_scale", "less = ''", "less"),
    ("goal_scale", "expected = ''", "expected"),
    ("goal_scale", f"more = {LONG}", "more"),
    ("goal_scale", "much_more = ''", "much_more"),
    ("goal_scale", "weight = 0", "weight"),
    ("goal_scale", "weight = -1", "weight"),
    ("goal_scale", "weight = 21", "weight"),
    ("goal_scale", "version = 0", "version"),
    ("goal_level", "uid = 'abc'", "uid"),
    ("goal_level", "level = 3", "level"),
    ("goal_level", "level = -3", "level"),
]
GOOD = [
    ("goal", "times = 4, out_of = 5"),
    ("goal", "cue_kind = 'none', help = 'stand_by'"),
    (
        "goal",
        "closed_on = set_on, closed_by = set_by, close_word = 'met', "
        "close_reason = '12.0 s'",
    ),
    ("goal_word", "word = 'on_hold', says = 'ill'"),
    ("goal_level", "level = 2"),
]
POINTERS = [
    ("goal", "episode_id"),
    ("goal", "parent_id"),
    ("goal", "base_round_id"),
    ("goal", "set_by"),
    ("goal", "replaces_id"),
    ("goal_word", "goal_id"),
    ("goal_word", "round_id"),
    ("goal_word", "task_id"),
    ("goal_scale", "goal_id"),
    ("goal_level", "goal_id"),
]


def score_body(ward: Ward, value: str = "12.0") -> GoalBody:
    return GoalBody(
        term="short", who="patient", kind="score", by_date=BY, task="transfer_toilet",
        measure="timed_up_and_go", target_value=value, target_unit="s",
        base_round_id=ward.round.id, base_on=TODAY, base_says="16.2 s",
    )  # fmt: skip


def level_body() -> GoalBody:
    return GoalBody(
        term="long", who="patient", kind="level", by_date=BY, task="kitchen",
        target_level="stand_by",
    )  # fmt: skip


@pytest.fixture
def session(ward: Ward) -> Iterator[Session]:
    with write_session(ward.engine) as session:
        for row in (ward.therapist, ward.supervisor, ward.student, ward.outsider):
            session.merge(row)
        yield session


def person(session: Session, handle: str) -> Person:
    return session.exec(select(Person).where(Person.handle == handle)).one()


def a_goal(
    session: Session,
    ward: Ward,
    body: GoalBody | None = None,
    *,
    handle: str = "therapist",
    signed: bool = False,
    uid: str | None = None,
) -> GoalRow:
    me = person(session, handle)
    goal = add_goal(
        session, me, session.merge(ward.episode), body or score_body(ward),
        uid=uid or new_uid(), on=TODAY, now=NOW,
    )  # fmt: skip
    if signed:
        sign_goal(session, me, goal, version=goal.version, now=NOW)
    return goal


def deeds(session: Session) -> list[str]:
    return list(session.exec(select(AuditEntry.deed).order_by(AuditEntry.id)))  # type: ignore[arg-type]


class TestWriting:
    def test_numbers_run_on_and_are_never_given_again(
        self, session: Session, ward: Ward
    ) -> None:
        me = person(session, "therapist")
        first, second = a_goal(session, ward), a_goal(session, ward, level_body())
        close_goal(
            session, me, second, word="discontinued", reason="a slip", on=TODAY,
            version=1, now=NOW,
        )  # fmt: skip
        third = a_goal(session, ward, level_body())

        assert [first.number, second.number, third.number] == [1, 2, 3]
        assert [g.number for g in goals_of(session, ward.episode)] == [1, 2, 3]

    def test_same_id_is_one_goal_and_other_words_are_refused(
        self, session: Session, ward: Ward
    ) -> None:
        uid = new_uid()
        one = a_goal(session, ward, uid=uid)

        assert a_goal(session, ward, uid=uid).id == one.id
        with pytest.raises(SameIdOtherBody):
            a_goal(session, ward, score_body(ward, "11.0"), uid=uid)
        assert deeds(session).count("set_goal") == 1

    def test_outsider_sets_none(self, session: Session, ward: Ward) -> None:
        with pytest.raises(NotFound):
            a_goal(session, ward, handle="outsider")

    def test_short_goal_hangs_on_a_long_one_of_the_episode(
        self, session: Session, ward: Ward
    ) -> None:
        long = a_goal(session, ward, level_body())
        short = a_goal(session, ward)

        hung = a_goal(session, ward, replace(score_body(ward), parent_id=long.id))
        assert hung.parent_id == long.id
        with pytest.raises(NotFound):
            a_goal(session, ward, replace(score_body(ward), parent_id=short.id))

    def test_unsigned_one_is_worded_anew(self, session: Session, ward: Ward) -> None:
        me, goal = person(session, "therapist"), a_goal(session, ward)
        edit_goal(session, me, goal, score_body(ward, "11.0"), version=1, now=NOW)

        assert (goal.target_value, goal.version) == ("11.0", 2)
        with pytest.raises(StaleVersion):
            edit_goal(session, me, goal, score_body(ward), version=1, now=NOW)
        assert goal.target_value == "11.0"


class TestSigning:
    def test_signed_goal_is_never_reworded(self, session: Session, ward: Ward) -> None:
        me, goal = person(session, "therapist"), a_goal(session, ward, signed=True)

        with pytest.raises(GoalIsSigned):
            edit_goal(
                session, me, goal, score_body(ward, "20.0"), version=goal.version,
                now=NOW,
            )  # fmt: skip
        assert goal.target_value == "12.0"
        assert "edited_goal" not in deeds(session)

    def test_changed_word_of_a_signed_goal_is_found(
        self, session: Session, ward: Ward
    ) -> None:
        goal = a_goal(session, ward, signed=True)
        a_goal(session, ward, level_body())

        assert broken_goals(session) == []
        session.connection().execute(text("UPDATE goal SET target_value = '20.0'"
                                          f" WHERE id = {goal.id}"))  # fmt: skip
        session.expire_all()
        assert broken_goals(session) == [f"goal {goal.id}"]

    def test_assistant_and_student_sign_none(
        self, session: Session, ward: Ward
    ) -> None:
        helper = make_person(session, "helper", role="assistant")
        owner, pupil = person(session, "therapist"), person(session, "student")
        for one in (helper, pupil):
            begin_assignment(session, owner, ward.patient.id, one.id, now=NOW)
            goal = a_goal(session, ward, level_body(), handle=one.handle)

            with pytest.raises(NotAllowed):
                sign_goal(session, one, goal, version=1, now=NOW)
            assert goal.signed_at is None

    def test_signing_a_student_s_goal_is_co_signing_it(
        self, session: Session, ward: Ward
    ) -> None:
        owner, pupil = person(session, "therapist"), person(session, "student")
        begin_assignment(session, owner, ward.patient.id, pupil.id, now=NOW)
        goal = a_goal(session, ward, handle="student")
        sign_goal(session, owner, goal, version=1, now=NOW)

        assert (goal.set_by, goal.signed_by) == (pupil.id, owner.id)
        assert deeds(session)[-1] == "co_signed_goal"

    def test_what_was_changed_meanwhile_is_not_signed_unseen(
        self, session: Session, ward: Ward
    ) -> None:
        me, goal = person(session, "therapist"), a_goal(session, ward)
        edit_goal(session, me, goal, score_body(ward, "11.0"), version=1, now=NOW)

        with pytest.raises(StaleVersion):
            sign_goal(session, me, goal, version=1, now=NOW)
        assert goal.signed_at is None

    def test_signing_twice_keeps_the_first(self, session: Session, ward: Ward) -> None:
        me, goal = person(session, "therapist"), a_goal(session, ward, signed=True)
        at, boss = goal.signed_at, person(session, "supervisor")
        sign_goal(session, boss, goal, version=1, now=NOW + timedelta(hours=1))

        assert (goal.signed_at, goal.signed_by) == (at, me.id)


class TestClosing:
    def test_met_is_closed_with_its_evidence(
        self, session: Session, ward: Ward
    ) -> None:
        me, goal = person(session, "therapist"), a_goal(session, ward, signed=True)
        said = {"word": "met", "reason": "11.8 s on 2 Mar", "on": TODAY}
        for _ in range(2):
            close_goal(session, me, goal, **said, version=2, now=NOW)  # type: ignore[arg-type]

        assert (goal.close_word, goal.closed_on) == ("met", TODAY)
        assert deeds(session).count("closed_goal") == 1
        with pytest.raises(GoalIsClosed):
            close_goal(
                session, me, goal, word="not_met", reason="no", on=TODAY, version=3,
                now=NOW,
            )  # fmt: skip

    def test_unsigned_goal_is_only_dropped(self, session: Session, ward: Ward) -> None:
        me, goal = person(session, "therapist"), a_goal(session, ward)

        with pytest.raises(NotAllowed):
            close_goal(
                session, me, goal, word="met", reason="seen", on=TODAY, version=1,
                now=NOW,
            )  # fmt: skip
        assert goal.closed_on is None

    def test_upgraded_opens_a_new_one_that_names_the_old(
        self, session: Session, ward: Ward
    ) -> None:
        me, goal = person(session, "therapist"), a_goal(session, ward, signed=True)
        uid = new_uid()
        for _ in range(2):
            new = replace_goal(
                session, me, goal, score_body(ward, "10.0"), word="upgraded",
                reason="reached early", uid=uid, on=TODAY, version=2, now=NOW,
            )  # fmt: skip

        assert (goal.close_word, goal.target_value) == ("upgraded", "12.0")
        assert (new.replaces_id, new.number, new.signed_at) == (goal.id, 2, None)
        assert len(goals_of(session, ward.episode)) == 2

    def test_replacing_needs_the_right_to_sign(
        self, session: Session, ward: Ward
    ) -> None:
        goal = a_goal(session, ward, signed=True)
        pupil = person(session, "student")
        begin_assignment(
            session, person(session, "therapist"), ward.patient.id, pupil.id, now=NOW
        )

        with pytest.raises(NotAllowed):
            replace_goal(
                session, pupil, goal, level_body(), word="upgraded", reason="easy",
                uid=new_uid(), on=TODAY, version=2, now=NOW,
            )  # fmt: skip
        assert goal.closed_on is None


class TestStanding:
    def test_each_word_is_a_row_and_the_same_id_one(
        self, session: Session, ward: Ward
    ) -> None:
        me, goal, uid = person(session, "therapist"), a_goal(session, ward), new_uid()
        said = Standing(word="progressing", says="50 %", percent=50)
        for _ in range(3):
            say_standing(session, me, goal, said, uid=uid, on=TODAY, now=NOW)
        rest = Standing(word="on_hold", says="ill since Sunday")
        say_standing(session, me, goal, rest, uid=new_uid(), on=TODAY, now=NOW)

        words = [w.word for w in standings_of(session, [goal])[goal.id]]
        assert words == ["progressing", "on_hold"]
        with pytest.raises(SameIdOtherBody):
            say_standing(session, me, goal, rest, uid=uid, on=TODAY, now=NOW)

    def test_plateau_is_a_judgement(self, session: Session, ward: Ward) -> None:
        owner, pupil = person(session, "therapist"), person(session, "student")
        begin_assignment(session, owner, ward.patient.id, pupil.id, now=NOW)
        goal, flat = a_goal(session, ward), Standing(word="plateau", says="two scores")
        told = {"uid": new_uid(), "on": TODAY, "now": NOW}

        with pytest.raises(NotAllowed):
            say_standing(session, pupil, goal, flat, **told)  # type: ignore[arg-type]
        say_standing(session, owner, goal, flat, **told)  # type: ignore[arg-type]
        assert [w.word for w in standings_of(session, [goal])[goal.id]] == ["plateau"]

    def test_closed_goal_stands_no_more(self, session: Session, ward: Ward) -> None:
        me, goal = person(session, "therapist"), a_goal(session, ward)
        close_goal(
            session, me, goal, word="discontinued", reason="moved", on=TODAY,
            version=1, now=NOW,
        )  # fmt: skip

        with pytest.raises(GoalIsClosed):
            say_standing(
                session, me, goal, Standing(word="progressing"), uid=new_uid(),
                on=TODAY, now=NOW,
            )  # fmt: skip


class TestScale:
    def test_steps_stand_once_somebody_was_rated(
        self, session: Session, ward: Ward
    ) -> None:
        me, goal = person(session, "therapist"), a_goal(session, ward)
        set_scale(session, me, goal, STEPS, 2, version=0, now=NOW)
        other = STEPS | {0: "alone by day"}
        set_scale(session, me, goal, other, 3, version=1, now=NOW)
        rate(session, me, goal, 1, uid=new_uid(), on=TODAY, now=NOW)

        with pytest.raises(ScaleIsRated):
            set_scale(session, me, goal, STEPS, 3, version=2, now=NOW)
        scale = scales_of(session, [goal])[goal.id]
        assert (scale.expected, scale.weight) == ("alone by day", 3)

    def test_newest_rating_of_a_day_is_that_day_s(
        self, session: Session, ward: Ward
    ) -> None:
        me, goal = person(session, "therapist"), a_goal(session, ward)
        set_scale(session, me, goal, STEPS, 1, version=0, now=NOW)
        later = TODAY + timedelta(days=7)
        for level, on in ((-1, TODAY), (0, TODAY), (1, later)):
            rate(session, me, goal, level, uid=new_uid(), on=on, now=NOW)

        levels = levels_of(session, [goal])
        assert levels[goal.id] == {TODAY: 0, later: 1}
        assert rated_days(levels) == [TODAY, later]

    def test_no_rating_without_steps(self, session: Session, ward: Ward) -> None:
        goal = a_goal(session, ward)

        with pytest.raises(NotFound):
            rate(
                session, person(session, "therapist"), goal, 1, uid=new_uid(),
                on=TODAY, now=NOW,
            )  # fmt: skip

    def test_stale_scale_is_not_overwritten(self, session: Session, ward: Ward) -> None:
        me, goal = person(session, "therapist"), a_goal(session, ward)
        set_scale(session, me, goal, STEPS, 2, version=0, now=NOW)

        with pytest.raises(StaleVersion):
            set_scale(session, me, goal, STEPS, 5, version=0, now=NOW)


def test_goal_of_another_patient_is_not_there(session: Session, ward: Ward) -> None:
    goal = a_goal(session, ward)

    assert goal_for(session, person(session, "therapist"), goal.id)[0].id == goal.id
    with pytest.raises(NotFound):
        goal_for(session, person(session, "outsider"), goal.id)
    with pytest.raises(NotFound):
        goal_for(session, person(session, "therapist"), 999)


@pytest.fixture
def full(ward: Ward) -> Ward:
    """The ward with one signed goal of a score and a row in each of its tables."""
    with write_session(ward.engine) as session:
        me = session.merge(ward.therapist)
        goal = a_goal(session, ward, signed=True)
        said = Standing(word="progressing", says="50 %", round_id=ward.round.id)
        say_standing(session, me, goal, said, uid=new_uid(), on=TODAY, now=NOW)
        set_scale(session, me, goal, STEPS, 2, version=0, now=NOW)
        rate(session, me, goal, 1, uid=new_uid(), on=TODAY, now=NOW)
    return ward


def change(ward: Ward, table: str, to: str) -> int:
    with write_session(ward.engine) as session:
        done = session.connection().execute(text(f"UPDATE {table} SET {to}"))
        return int(done.rowcount)


@pytest.mark.parametrize(("table", "to", "rule"), BAD, ids=lambda v: str(v)[:40])
def test_bad_value_is_refused_by_its_rule(
    full: Ward, table: str, to: str, rule: str
) -> None:
    with pytest.raises(IntegrityError) as refused:
        change(full, table, to)
    said = str(refused.value.orig).replace('"', " ").split()
    assert f"ck_{table}_{rule}" in said, said


def test_every_rule_of_these_tables_is_tried(full: Ward) -> None:
    """A rule added without a row above fails here."""
    tried = {f"ck_{table}_{rule}" for table, _, rule in BAD}
    inspector = inspect(full.engine)
    rules = {
        str(rule["name"])
        for table in {table for table, _, _ in BAD}
        for rule in inspector.get_check_constraints(table)
    }

    assert rules - tried == set()


@pytest.mark.parametrize(("table", "to"), GOOD)
def test_good_value_is_taken(full: Ward, table: str, to: str) -> None:
    assert change(full, table, to) == 1


@pytest.mark.parametrize(("table", "column"), POINTERS)
def test_pointer_to_no_row_is_refused(full: Ward, table: str, column: str) -> None:
    with pytest.raises(IntegrityError, match=r"(?i)foreign key constraint"):
        change(full, table, f"{column} = 99999")


def test_purge_takes_goals_that_hang_on_each_other(ward: Ward) -> None:
    """A goal from a task, one in its place, and one under that: none is left."""
    with write_session(ward.engine) as session:
        me = session.merge(ward.therapist)
        seen = record(
            session, me, session.merge(ward.visit), TaskObservation,
            {"task": "kitchen", "level": "minimal"}, uid=new_uid(), now=NOW,
        )  # fmt: skip
        body = replace(
            level_body(), base_task_id=seen.id, base_on=TODAY, base_says="minimal"
        )
        old = a_goal(session, ward, body, signed=True)
        new = replace_goal(
            session, me, old, replace(body, target_level="independent"),
            word="upgraded", reason="reached", uid=new_uid(), on=TODAY, version=2,
            now=NOW,
        )  # fmt: skip
        a_goal(session, ward, replace(score_body(ward), parent_id=new.id))
        boss = session.merge(ward.supervisor)
        for step in (close_patient, archive_patient):
            version = session.merge(ward.patient).version
            patient = step(session, boss, ward.patient.id, version=version, now=NOW)
            ward.patient.version = patient.version
        gone = purge(session, boss, ward.patient.id, why="for_practice", now=NOW)

        assert gone["goal"] == 3
        assert session.exec(select(GoalRow)).all() == []
