"""A set of an activity as a phone would have sent it."""

from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.storage.activity_sets import ActivitySet, SetBody, record_set
from app.storage.episodes import Visit
from app.storage.people import Person
from tests.make import NOW, new_uid

DONE = SetBody(grade="4", reps=10, errors=0, hand_support="none", level="contact")


def make_set(
    session: Session,
    person: Person,
    visit: Visit,
    activity: str = "S01",
    *,
    at: datetime = NOW,
    **said: Any,
) -> ActivitySet:
    """Ten repetitions at 4, but for what a test says."""
    row, _ = record_set(
        session, person, visit, activity, uid=new_uid(), body=replace(DONE, **said),
        at=at, now=at,
    )  # fmt: skip
    return row
