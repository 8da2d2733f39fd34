"""Patients: who may fetch them, adding once, and edits that never overwrite."""

import threading
from dataclasses import replace
from datetime import date, timedelta

import pytest
from sqlalchemy import func
from sqlmodel import Session, select

from app.clinical.person import Onset
from app.storage import patients, responsible
from app.storage.database import read_session, write_session
from app.storage.errors import (
    NotAllowed,
    NotFound,
    SameIdOtherBody,
    StaleVersion,
    StorageProblem,
)
from app.storage.patients import Patient, PatientDetails, patient_for
from app.storage.people import Person
from tests.make import NOW, make_patient, make_person, new_uid
from tests.storage.conftest import Ward

DETAILS = PatientDetails(
    label="Green 2",
    birth_date=date(1948, 5, 1),
    sex="male",
    conditions={"stroke": Onset(2025, 11, 3), "ms": Onset(2019), "copd": None},
    sides={"stroke": "left"},
    facts={"fall_history": "one", "severity": "mild"},
)


def sees(session: Session, person: Person, patient: Patient) -> bool:
    try:
        return patient_for(session, person, patient.id).id == patient.id
    except NotFound:
        return False


def test_patient_is_found_by_who_may_see_them(ward: Ward) -> None:
    with read_session(ward.engine) as session:
        seen_by = {
            person.handle
            for person in (
                ward.therapist,
                ward.outsider,
                ward.supervisor,
                ward.student,
            )
            if sees(session, person, ward.patient)
        }

    assert seen_by == {"therapist", "supervisor"}


def test_patient_out_of_sight_looks_like_one_that_is_not(ward: Ward) -> None:
    def told(patient_id: int) -> str:
        with (
            read_session(ward.engine) as session,
            pytest.raises(NotFound) as refused,
        ):
            patient_for(session, ward.outsider, patient_id)
        return refused.value.sentence

    assert told(ward.patient.id) == told(99_999)


def test_deed_beyond_the_role_is_not_allowed(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        responsible.assign(
            session, ward.supervisor, ward.patient, ward.student, now=NOW
        )
        seen = patient_for(session, ward.student, ward.patient.id)

        with pytest.raises(NotAllowed):
            patient_for(session, ward.student, ward.patient.id, "edit_patient")
    assert seen.label == "Blue 7"


def test_demo_person_never_finds_a_real_patient(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        demo = make_person(session, "demo", role="supervisor", is_demo=True)

        assert not sees(session, demo, ward.patient)


def test_only_demo_people_and_students_find_a_demo_patient(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        demo = make_person(session, "demo", is_demo=True)
        other = make_person(session, "other-demo", is_demo=True)
        invented = make_patient(session, demo)
        everybody = (
            demo,
            other,
            ward.therapist,
            ward.outsider,
            ward.supervisor,
            ward.student,
        )
        seen_by = {p.handle for p in everybody if sees(session, p, invented)}

    assert invented.is_demo
    assert seen_by == {"demo", "other-demo", "student"}


def test_details_come_back_as_they_were_given(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        patient = make_patient(session, ward.therapist, DETAILS)

    with read_session(ward.engine) as session:
        assert patients.details_of(session, patient) == DETAILS


def test_who_adds_a_patient_sees_them(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        patient = make_patient(session, ward.outsider, DETAILS)

        assert sees(session, ward.outsider, patient)


def test_student_cannot_add_a_patient(ward: Ward) -> None:
    with write_session(ward.engine) as session, pytest.raises(NotAllowed):
        make_patient(session, ward.student, DETAILS)


def how_many(session: Session) -> int:
    return session.exec(select(func.count()).select_from(Patient)).one()


def test_same_id_and_details_add_one_patient(ward: Ward) -> None:
    uid = new_uid()
    with write_session(ward.engine) as session:
        first = make_patient(session, ward.therapist, DETAILS, uid=uid)
        again = make_patient(session, ward.therapist, DETAILS, uid=uid)

        assert again.id == first.id
        assert how_many(session) == 2


def test_same_id_with_other_details_is_refused(ward: Ward) -> None:
    uid = new_uid()
    with write_session(ward.engine) as session:
        make_patient(session, ward.therapist, DETAILS, uid=uid)

        with pytest.raises(SameIdOtherBody):
            make_patient(
                session, ward.therapist, replace(DETAILS, sex="female"), uid=uid
            )


def edit(
    session: Session, person: Person, ward: Ward, details: PatientDetails, version: int
) -> Patient:
    return patients.edit_patient(
        session, person, ward.patient.id, details, version=version, now=NOW
    )


def test_edit_replaces_all_details(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        edit(session, ward.therapist, ward, DETAILS, 1)
        fewer = replace(DETAILS, conditions={"copd": None}, sides={}, facts={})
        edited = edit(session, ward.supervisor, ward, fewer, 2)

    with read_session(ward.engine) as session:
        assert patients.details_of(session, edited) == fewer
    assert edited.version == 3


def test_edit_of_an_old_version_changes_nothing(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        edit(session, ward.therapist, ward, DETAILS, 1)

    with write_session(ward.engine) as session, pytest.raises(StaleVersion):
        edit(session, ward.supervisor, ward, replace(DETAILS, label="Red 1"), 1)

    with read_session(ward.engine) as session:
        patient = patient_for(session, ward.therapist, ward.patient.id)
        assert (patient.label, patient.version) == ("Green 2", 2)


def test_no_edit_of_four_threads_is_lost(ward: Ward) -> None:
    """Each edit builds on the one before it, or is told and tries again."""
    told: list[str] = []

    def add_one() -> None:
        while True:
            with read_session(ward.engine) as session:
                seen = patient_for(session, ward.therapist, ward.patient.id)
            year = (seen.birth_year or 0) + 1
            details = PatientDetails(seen.label, birth_year=year)
            try:
                with write_session(ward.engine) as session:
                    edit(session, ward.therapist, ward, details, seen.version)
                return
            except StaleVersion as stale:
                told.append(stale.sentence)

    def work() -> None:
        for _ in range(10):
            add_one()

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    with read_session(ward.engine) as session:
        patient = patient_for(session, ward.therapist, ward.patient.id)
    assert (patient.birth_year, patient.version) == (1948 + 40, 1 + 40)


def test_no_count_of_four_threads_is_lost(ward: Ward) -> None:
    """Reading and then writing in one write session needs no version at all."""

    def work() -> None:
        for _ in range(25):
            with write_session(ward.engine) as session:
                patient = session.get_one(Patient, ward.patient.id)
                patient.version += 1

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    with read_session(ward.engine) as session:
        assert session.get_one(Patient, ward.patient.id).version == 101


def test_assigned_colleague_sees_the_patient(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        responsible.assign(
            session, ward.therapist, ward.patient, ward.outsider, now=NOW
        )

        assert sees(session, ward.outsider, ward.patient)


def test_assigning_twice_is_assigning_once(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        first, again = (
            responsible.assign(
                session, ward.therapist, ward.patient, ward.outsider, now=NOW
            )
            for _ in range(2)
        )

    assert again.id == first.id


def test_ended_assignment_ends_the_sight(ward: Ward) -> None:
    later = NOW + timedelta(days=1)
    with write_session(ward.engine) as session:
        responsible.unassign(
            session, ward.supervisor, ward.patient, ward.therapist, now=later
        )

        assert not sees(session, ward.therapist, ward.patient)


def test_assignment_that_ended_can_begin_again(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        for deed in (responsible.unassign, responsible.assign):
            deed(session, ward.supervisor, ward.patient, ward.therapist, now=NOW)

        assert sees(session, ward.therapist, ward.patient)


@pytest.mark.parametrize(
    ("who", "problem"), [("outsider", NotFound), ("student", NotFound)]
)
def test_nobody_assigns_a_patient_they_do_not_see(
    ward: Ward, who: str, problem: type[StorageProblem]
) -> None:
    person: Person = getattr(ward, who)
    with write_session(ward.engine) as session, pytest.raises(problem):
        responsible.assign(session, person, ward.patient, person, now=NOW)


def test_demo_person_is_never_assigned_a_real_patient(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        demo = make_person(session, "demo", is_demo=True)

        with pytest.raises(NotAllowed):
            responsible.assign(session, ward.therapist, ward.patient, demo, now=NOW)


def test_closed_patient_can_still_be_looked_up(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        patients.close_patient(
            session, ward.therapist, ward.patient.id, version=1, now=NOW
        )
        found = patient_for(session, ward.therapist, ward.patient.id)

    assert found.closed_at == NOW
