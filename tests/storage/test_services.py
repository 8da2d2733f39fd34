"""Services and their minutes: kept as named, replaced whole, gone with the patient."""

import pytest
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError
from sqlmodel import select

from app.storage.database import write_session
from app.storage.errors import NotAllowed
from app.storage.patients import Patient
from app.storage.purge import purge
from app.storage.services import (
    Service,
    ServiceMinutes,
    UnitChoice,
    add_service,
    choose_units,
    set_service_minutes,
)
from tests.make import NOW, make_service
from tests.storage.conftest import Ward


@pytest.fixture
def given(ward: Ward) -> Ward:
    """Two services, 20 minutes of each in the visit, and the tie settled."""
    with write_session(ward.engine) as session:
        for name in ("Standing work", "Self-care"):
            make_service(session, ward.supervisor, name)
        set_service_minutes(session, ward.therapist, ward.visit, {1: 20, 2: 20}, NOW)
        choose_units(session, ward.therapist, ward.visit, [2], NOW)
    return ward


@pytest.mark.parametrize(
    "change",
    [
        "service SET name = ''",
        "service SET name = ' standing'",
        f"service SET name = '{'x' * 41}'",
        "service SET name = 'twin'",
        "service_minutes SET minutes = 0",
        "service_minutes SET minutes = 601",
        "service_minutes SET service_id = 99999",
        "service_minutes SET visit_id = 99999",
        "unit_choice SET service_id = 99999",
    ],
)
def test_database_refuses(given: Ward, change: str) -> None:
    with write_session(given.engine) as session, pytest.raises(IntegrityError):
        session.connection().execute(text(f"UPDATE {change}"))


@pytest.mark.parametrize("minutes", [1, 600])
def test_database_takes_the_ends(given: Ward, minutes: int) -> None:
    with write_session(given.engine) as session:
        done = session.connection().execute(
            text(f"UPDATE service_minutes SET minutes = {minutes}")
        )

        assert done.rowcount == 2


def test_one_row_for_a_visit_and_a_service(given: Ward) -> None:
    again = ServiceMinutes(
        visit_id=given.visit.id, service_id=1, minutes=5, recorded_at=NOW,
        recorded_by=given.therapist.id,
    )  # fmt: skip
    with write_session(given.engine) as session:
        session.add(again)
        with pytest.raises(IntegrityError):
            session.flush()


@pytest.mark.parametrize("who", ["therapist", "student", "outsider"])
def test_only_a_supervisor_names_services(ward: Ward, who: str) -> None:
    with write_session(ward.engine) as session, pytest.raises(NotAllowed):
        add_service(session, getattr(ward, who), name="Mine", timed=True, now=NOW)


def test_purge_takes_the_minutes_and_leaves_the_services(given: Ward) -> None:
    with write_session(given.engine) as session:
        patient = session.get_one(Patient, given.patient.id)
        patient.closed_at = patient.archived_at = NOW
        session.flush()
        gone = purge(session, given.supervisor, patient.id, why="asked_for", now=NOW)

        assert (gone["service_minutes"], gone["unit_choice"]) == (2, 1)
        assert session.exec(select(ServiceMinutes)).all() == []
        assert session.exec(select(UnitChoice)).all() == []
        assert len(session.exec(select(Service)).all()) == 2
