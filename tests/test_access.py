"""Who may do what, cell by cell: nothing here is computed from the table it tests."""

from collections.abc import Callable

import pytest

from app.access import ROLES, TABLE, Actor, Subject, may

MINE = Subject(is_demo=False, assigned=True)
NOT_MINE = Subject(is_demo=False, assigned=False)
DEMO = Subject(is_demo=True, assigned=False)
PATIENTS = (MINE, NOT_MINE, DEMO)
#: For a real person: their own patient, somebody else's, an invented one.
REAL = {
    "see_patient": {
        "therapist": "yes no no",
        "assistant": "yes no no",
        "student": "yes no yes",
        "supervisor": "yes yes no",
    },
    "record_trial": {
        "therapist": "yes no no",
        "assistant": "yes no no",
        "student": "yes no yes",
        "supervisor": "yes yes no",
    },
    "void_trial": {
        "therapist": "yes no no",
        "assistant": "yes no no",
        "student": "yes no yes",
        "supervisor": "yes yes no",
    },
    "edit_patient": {
        "therapist": "yes no no",
        "assistant": "yes no no",
        "student": "no no yes",
        "supervisor": "yes yes no",
    },
    "export_patient": {
        "therapist": "yes no no",
        "assistant": "no no no",
        "student": "no no no",
        "supervisor": "yes yes no",
    },
    "take_along": {
        "therapist": "yes no no",
        "assistant": "yes no no",
        "student": "no no no",
        "supervisor": "yes yes no",
    },
    "look_into_stop": {
        "therapist": "yes no no",
        "assistant": "no no no",
        "student": "no no no",
        "supervisor": "yes yes no",
    },
    "go_against_risk": {
        "therapist": "yes no no",
        "assistant": "no no no",
        "student": "no no no",
        "supervisor": "yes yes no",
    },
    "co_sign": {
        "therapist": "no no no",
        "assistant": "no no no",
        "student": "no no no",
        "supervisor": "yes yes no",
    },
    "record_visit": {
        "therapist": "yes no no",
        "assistant": "yes no no",
        "student": "yes no yes",
        "supervisor": "yes yes no",
    },
    "set_precaution": {
        "therapist": "yes no no",
        "assistant": "yes no no",
        "student": "no no yes",
        "supervisor": "yes yes no",
    },
    "sign_treatment": {
        "therapist": "yes no no",
        "assistant": "yes no no",
        "student": "no no no",
        "supervisor": "yes yes no",
    },
    "submit_for_co_signature": {
        "therapist": "no no no",
        "assistant": "no no no",
        "student": "yes no yes",
        "supervisor": "no no no",
    },
    "end_precaution": {
        "therapist": "yes no no",
        "assistant": "no no no",
        "student": "no no no",
        "supervisor": "yes yes no",
    },
    "manage_episode": {
        "therapist": "yes no no",
        "assistant": "no no no",
        "student": "no no no",
        "supervisor": "yes yes no",
    },
    "transfer_patient": {
        "therapist": "yes no no",
        "assistant": "no no no",
        "student": "no no no",
        "supervisor": "yes yes no",
    },
    "sign_evaluation": {
        "therapist": "yes no no",
        "assistant": "no no no",
        "student": "no no no",
        "supervisor": "yes yes no",
    },
    "sign_interpretation": {
        "therapist": "yes no no",
        "assistant": "no no no",
        "student": "no no no",
        "supervisor": "yes yes no",
    },
    "sign_goals": {
        "therapist": "yes no no",
        "assistant": "no no no",
        "student": "no no no",
        "supervisor": "yes yes no",
    },
    "sign_discharge": {
        "therapist": "yes no no",
        "assistant": "no no no",
        "student": "no no no",
        "supervisor": "yes yes no",
    },
    "review": {
        "therapist": "no no no",
        "assistant": "no no no",
        "student": "no no no",
        "supervisor": "yes yes no",
    },
    "merge_patient": {
        "therapist": "no no no",
        "assistant": "no no no",
        "student": "no no no",
        "supervisor": "yes yes no",
    },
    "archive_patient": {
        "therapist": "no no no",
        "assistant": "no no no",
        "student": "no no no",
        "supervisor": "yes yes no",
    },
    "purge_patient": {
        "therapist": "no no no",
        "assistant": "no no no",
        "student": "no no no",
        "supervisor": "yes yes no",
    },
}
#: Deeds done to nobody in particular.
ALONE = {
    "add_patient": {"therapist", "supervisor"},
    "manage_people": {"supervisor"},
    "manage_services": {"supervisor"},
    "cover_colleague": {"therapist", "assistant"},
    "see_audit": {"supervisor"},
    "see_desk": {"supervisor"},
    "see_shared_practice": {"supervisor"},
    "import_caseload": {"supervisor"},
    "export_caseload": {"supervisor"},
    "sign_competence": {"supervisor"},
}


def real(role: str) -> Actor:
    return Actor(role, is_demo=False, id=1)


def demo(role: str) -> Actor:
    return Actor(role, is_demo=True, id=2)


@pytest.mark.parametrize(
    ("deed", "role", "cells"),
    [(deed, role, row[role]) for deed, row in REAL.items() for role in row],
)
def test_real_person_may_do_what_the_row_says(deed: str, role: str, cells: str) -> None:
    allowed = [may(real(role), deed, patient) for patient in PATIENTS]

    assert allowed == [cell == "yes" for cell in cells.split()]


@pytest.mark.parametrize("deed", sorted(TABLE))
@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("patient", [MINE, NOT_MINE])
def test_demo_person_never_reaches_a_real_patient(
    deed: str, role: str, patient: Subject
) -> None:
    assert not may(demo(role), deed, patient)


@pytest.mark.parametrize("role", ROLES)
def test_demo_person_may_try_every_demo_patient(role: str) -> None:
    tried = ("see_patient", "record_trial", "void_trial", "edit_patient")

    assert all(may(demo(role), deed, DEMO) for deed in tried)


@pytest.mark.parametrize("deed", sorted(ALONE))
@pytest.mark.parametrize("make", [real, demo])
def test_deed_without_a_patient_goes_by_role(
    deed: str, make: Callable[[str], Actor]
) -> None:
    allowed = {role for role in ROLES if may(make(role), deed, None)}

    assert allowed == ALONE[deed]


@pytest.mark.parametrize("deed", sorted(REAL))
@pytest.mark.parametrize("role", ROLES)
def test_deed_to_a_patient_needs_the_patient(deed: str, role: str) -> None:
    assert not may(real(role), deed, None)


def test_every_deed_is_in_the_tables_above() -> None:
    assert set(TABLE) == set(REAL) | set(ALONE)


@pytest.mark.parametrize(
    ("role", "deed"), [("therapist", "see_patients"), ("doctor", "see_patient")]
)
def test_unknown_deed_or_role_is_a_fault(role: str, deed: str) -> None:
    with pytest.raises(KeyError):
        may(real(role), deed, MINE)
