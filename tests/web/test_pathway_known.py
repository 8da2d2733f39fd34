"""Answers of the profile in the words of the pathways."""

import pytest

from app.storage.patients import PatientDetails
from app.storage.profile import Profile
from app.web.pathway_known import profile_answers
from tests.make import NOW

NOBODY = PatientDetails(label="Invented 1")


def said(answers: dict[str, str]) -> dict[str, str]:
    profile = Profile(episode_id=1, edited_at=NOW, edited_by=1)
    for key, value in answers.items():
        setattr(profile, key, value)
    return profile_answers(NOBODY, profile)


@pytest.mark.parametrize(
    ("answers", "told"),
    [
        ({}, {}),
        ({"fall_injury": "none"}, {"fall_injury": "no"}),
        ({"fall_injury": "minor"}, {"fall_injury": "untreated"}),
        ({"fall_injury": "needed_care"}, {"fall_injury": "treated"}),
        ({"fall_injury": "unknown"}, {}),
        ({"fall_long_lie": "yes"}, {"could_not_get_up": "yes"}),
        ({"fall_cannot_rise": "no"}, {}),
        (
            {"fall_cannot_rise": "no", "fall_long_lie": "no"},
            {"could_not_get_up": "no"},
        ),
        ({"fall_fainted": "yes"}, {"lost_consciousness": "yes"}),
        ({"frailty": "unknown"}, {}),
        ({"frailty": "no"}, {"frailty": "no"}),
    ],
)
def test_not_asked_and_not_known_are_no_answers(
    answers: dict[str, str], told: dict[str, str]
) -> None:
    assert said(answers) == told
