"""Plans of a day, kept by person, and the activities somebody stars."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, select

from app.storage.audit import AuditEntry
from app.storage.database import read_session, write_session
from app.storage.errors import NotAllowed, NotFound, StaleVersion
from app.storage.people import Person
from app.storage.plans import (
    PlanItem,
    PlanLine,
    SessionPlan,
    favourites_of,
    lines_of,
    plan_before,
    plan_on,
    star,
    write_plan,
)
from app.storage.purge import purge
from app.storage.responsible import assign
from tests.make import NOW, TODAY, new_uid
from tests.storage.conftest import Ward

SEATED = PlanLine("S01", "2", 2, 5)
RING = PlanLine("T01", "12", 2, 3)
AGAINST = replace(RING, override="settled", against=["dizzy_uncontrolled"])


def written(
    session: Session,
    ward: Ward,
    *lines: PlanLine,
    by: Person | None = None,
    day: date = TODAY,
    version: int = 0,
) -> SessionPlan:
    return write_plan(
        session, by or ward.therapist, ward.episode, day, lines,
        uid=new_uid(), version=version, now=NOW,
    )  # fmt: skip


def test_plan_comes_back_in_its_order(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        written(session, ward, RING, SEATED)
    with write_session(ward.engine) as session:
        plan = written(session, ward, SEATED, AGAINST, version=1)
        assert plan.version == 2

    with read_session(ward.engine) as session:
        kept = plan_on(session, ward.therapist, ward.episode, TODAY)
        assert lines_of(session, kept) == [SEATED, AGAINST]
    assert kept is not None


def test_written_twice_in_one_transaction(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        plan = written(session, ward, RING, SEATED)
        lines_of(session, plan)
        written(session, ward, SEATED, version=1)

        assert lines_of(session, plan) == [SEATED]


def test_older_version_changes_nothing(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        written(session, ward, RING)
    for seen in (0, 2):
        with write_session(ward.engine) as session, pytest.raises(StaleVersion):
            written(session, ward, SEATED, version=seen)

    with read_session(ward.engine) as session:
        kept = plan_on(session, ward.therapist, ward.episode, TODAY)
        assert lines_of(session, kept) == [RING]


def test_each_has_their_own_for_each_day(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        written(session, ward, RING)
        written(session, ward, SEATED, by=ward.supervisor)
        written(session, ward, day=TODAY + timedelta(days=1))

        mine = plan_on(session, ward.therapist, ward.episode, TODAY)
        theirs = plan_on(session, ward.supervisor, ward.episode, TODAY)
        assert lines_of(session, mine) == [RING]
        assert lines_of(session, theirs) == [SEATED]


def test_latest_earlier_plan_that_holds_something(ward: Ward) -> None:
    days = [TODAY - timedelta(days=n) for n in (3, 2, 1, 0)]
    with write_session(ward.engine) as session:
        assert plan_before(session, ward.therapist, ward.episode, TODAY) is None
        for day, lines in zip(days, ([RING], [SEATED], [], [RING]), strict=True):
            written(session, ward, *lines, day=day)

        found = plan_before(session, ward.therapist, ward.episode, TODAY)
        assert found is not None
        assert found.for_date == days[1]


def test_who_may_plan(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        with pytest.raises(NotFound):
            written(session, ward, SEATED, by=ward.outsider)
        assign(session, ward.therapist, ward.patient, ward.student, now=NOW)
        assert written(session, ward, SEATED, by=ward.student).version == 1
        with pytest.raises(NotAllowed):
            written(session, ward, SEATED, AGAINST, by=ward.student, version=1)


def test_deeds_stand_in_the_trail_without_the_reason(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        plan = written(session, ward, SEATED)
        written(session, ward, SEATED, AGAINST, version=1)
        written(session, ward, AGAINST, SEATED, version=2)
        wanted = select(AuditEntry.deed).where(
            AuditEntry.subject == "session_plan", AuditEntry.subject_id == plan.id
        )
        deeds = session.exec(wanted.order_by(AuditEntry.id)).all()  # type: ignore[arg-type]

    assert deeds == [
        "planned_session", "planned_session", "planned_against_risk", "planned_session",
    ]  # fmt: skip


@pytest.mark.parametrize(
    "rule",
    [
        "grade = ''", "grade = '1-2'", "grade = '1.2.3'", "sets = 0", "sets = 11",
        "minutes = 0", "minutes = 601", "place = -1", "activity = 'S1'",
    ],
)  # fmt: skip
def test_database_refuses_what_no_plan_holds(ward: Ward, rule: str) -> None:
    with write_session(ward.engine) as session:
        written(session, ward, SEATED)
    with pytest.raises(IntegrityError), write_session(ward.engine) as session:
        session.execute(text(f"UPDATE plan_item SET {rule}"))


def test_grade_may_lie_below_zero(ward: Ward) -> None:
    low = replace(SEATED, grade="-2.5")
    with write_session(ward.engine) as session:
        assert lines_of(session, written(session, ward, low)) == [low]


def test_star_is_ones_own_and_can_be_taken_away(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        for _ in range(2):
            star(session, ward.therapist, "S01", on=True)
        star(session, ward.therapist, "T01", on=True)
        star(session, ward.therapist, "T01", on=False)
        star(session, ward.therapist, "B01", on=False)

        assert favourites_of(session, ward.therapist) == {"S01"}
        assert favourites_of(session, ward.supervisor) == frozenset()


def test_purge_takes_the_plans_too(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        written(session, ward, SEATED)
        ward.patient.closed_at = ward.patient.archived_at = NOW
        session.merge(ward.patient)
        session.flush()
        purge(session, ward.supervisor, ward.patient.id, why="for_practice", now=NOW)

        assert session.exec(select(PlanItem)).all() == []
        assert session.exec(select(SessionPlan)).all() == []
