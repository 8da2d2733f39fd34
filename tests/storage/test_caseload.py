"""The list of a person's patients, and who is never on it."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from sqlmodel import Session

from app.storage import episodes, patients, precautions, responsible
from app.storage.caseload import CaseloadRow, caseload_for
from app.storage.database import read_session, write_session
from app.storage.patients import PatientDetails
from app.storage.people import Person
from tests.asked import Query
from tests.make import (
    NOW,
    SCORED,
    TODAY,
    make_episode,
    make_patient,
    make_person,
    make_precaution,
    make_round,
    make_score,
    make_visit,
)
from tests.storage.conftest import Ward

DAY = timedelta(days=1)


def listed(ward: Ward, person: Person, *, demo: bool = False) -> list[CaseloadRow]:
    with read_session(ward.engine) as session:
        return caseload_for(session, person, demo=demo, day=TODAY)


def labels(ward: Ward, person: Person, *, demo: bool = False) -> list[str]:
    return [row.label for row in listed(ward, person, demo=demo)]


@pytest.fixture
def demo(ward: Ward) -> Person:
    """A demo therapist who has planted one invented patient."""
    with write_session(ward.engine) as session:
        person = make_person(session, "demo", is_demo=True)
        make_patient(session, person, label="Planted")
        return person


def test_own_patients_are_listed_by_label(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        for label in ("Red 1", "Amber 3"):
            make_patient(session, ward.therapist, label=label)

    assert labels(ward, ward.therapist) == ["Amber 3", "Blue 7", "Red 1"]


def test_others_patients_are_not_listed(ward: Ward) -> None:
    assert labels(ward, ward.outsider) == []
    assert labels(ward, ward.student) == []


def test_supervisor_has_everybody_listed(ward: Ward) -> None:
    assert labels(ward, ward.supervisor) == ["Blue 7"]


@pytest.mark.parametrize("who", ["therapist", "outsider", "supervisor", "student"])
def test_planted_demo_patient_is_on_no_real_list(
    ward: Ward, demo: Person, who: str
) -> None:
    assert demo.is_demo
    assert "Planted" not in labels(ward, getattr(ward, who))


def test_demo_list_holds_only_the_planted_patient(ward: Ward, demo: Person) -> None:
    assert labels(ward, demo, demo=True) == ["Planted"]
    assert labels(ward, ward.student, demo=True) == ["Planted"]


def test_demo_person_has_no_real_list(ward: Ward, demo: Person) -> None:
    assert labels(ward, demo, demo=False) == []


@pytest.mark.parametrize("who", ["therapist", "supervisor"])
def test_real_staff_have_no_demo_list(ward: Ward, demo: Person, who: str) -> None:
    assert demo.is_demo
    assert labels(ward, getattr(ward, who), demo=True) == []


def test_ended_assignment_takes_the_patient_off(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        responsible.unassign(
            session, ward.supervisor, ward.patient, ward.therapist, now=NOW
        )

    assert labels(ward, ward.therapist) == []


def test_closed_patient_is_off_every_list(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        patients.close_patient(
            session, ward.therapist, ward.patient.id, version=1, now=NOW
        )

    assert labels(ward, ward.therapist) == labels(ward, ward.supervisor) == []


def test_row_says_what_is_known(ward: Ward) -> None:
    details = PatientDetails(
        "Blue 7",
        birth_date=date(1948, 5, 1),
        conditions={"stroke": None, "copd": None},
    )
    with write_session(ward.engine) as session:
        patients.edit_patient(
            session, ward.therapist, ward.patient.id, details, version=1, now=NOW
        )
        make_precaution(
            session, ward.therapist, ward.episode, review_on=TODAY + 9 * DAY
        )
        make_precaution(
            session,
            ward.therapist,
            ward.episode,
            "oxygen",
            review_on=TODAY + 5 * DAY,
        )
        make_score(session, ward.round)

    (row,) = listed(ward, ward.therapist)
    (score,) = row.last_scores
    assert row.birth_date == date(1948, 5, 1)
    assert (row.birth_year, row.sex, row.is_demo) == (None, None, False)
    assert row.conditions == ("copd", "stroke")
    assert (row.reason, row.setting, row.plan) == (
        "walks less since a fall",
        "community",
        "restore",
    )
    assert row.next_due == TODAY + 5 * DAY
    assert (score.measure, score.value, score.on_date) == (
        "timed_up_and_go",
        "16.2",
        TODAY,
    )


def test_precaution_holds_until_the_day_it_ends(ward: Ward) -> None:
    """An order that ends tomorrow still blocks today, on the list as on the brief."""
    with write_session(ward.engine) as session:
        order = make_precaution(session, ward.therapist, ward.episode)
        tomorrow = TODAY + DAY
        precautions.end_precaution(session, ward.therapist, order, on=tomorrow, now=NOW)

    (row,) = listed(ward, ward.therapist)

    assert row.precautions == (order.tag,)


def test_lifted_precaution_is_off_the_row(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        make_precaution(session, ward.therapist, ward.episode, "oxygen")
        lifted = make_precaution(
            session, ward.therapist, ward.episode, review_on=TODAY + DAY
        )
        precautions.end_precaution(session, ward.therapist, lifted, on=TODAY, now=NOW)

    (row,) = listed(ward, ward.therapist)
    assert row.precautions == ("oxygen",)
    assert row.next_due is None


def test_patient_without_an_episode_is_still_listed(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        episodes.close_episode(session, ward.therapist, ward.episode, on=TODAY, now=NOW)

    (row,) = listed(ward, ward.therapist)
    assert (row.label, row.reason, row.plan) == ("Blue 7", None, None)


def test_only_the_latest_score_of_each_test_is_shown(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        tomorrow = make_visit(session, ward.therapist, ward.episode, now=NOW + DAY)
        for visit, measure, value in (
            (tomorrow, "timed_up_and_go", "14.0"),
            (tomorrow, "timed_up_and_go", "13.0"),
            (ward.visit, "timed_up_and_go", "19.0"),
            (ward.visit, "four_square_step", "17.5"),
        ):
            round = make_round(session, ward.therapist, visit, measure=measure)
            make_score(session, round, replace(SCORED, value=value))

    (row,) = listed(ward, ward.therapist)
    assert [(s.measure, s.value) for s in row.last_scores] == [
        ("timed_up_and_go", "13.0"),
        ("four_square_step", "17.5"),
    ]


def fill(session: Session, ward: Ward, count: int) -> None:
    for number in range(count):
        details = PatientDetails(
            f"Grey {number}", birth_year=1950, conditions={"stroke": None}
        )
        patient = make_patient(session, ward.therapist, details)
        episode = make_episode(session, ward.therapist, patient)
        visit = make_visit(session, ward.therapist, episode)
        make_score(session, make_round(session, ward.therapist, visit))


def test_two_hundred_patients_take_no_more_queries_than_one(
    ward: Ward, reached: list[Query]
) -> None:
    reached.clear()
    assert len(listed(ward, ward.therapist)) == 1
    for_one = len(reached)
    with write_session(ward.engine) as session:
        fill(session, ward, 199)

    reached.clear()
    rows = listed(ward, ward.therapist)

    assert len(rows) == 200
    assert all(row.last_scores for row in rows if row.label != "Blue 7")
    assert len(reached) == for_one <= 10
