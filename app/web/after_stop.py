"""Going on after a stop for safety of the same day: what must be said first."""

from collections.abc import Iterable
from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.storage.activity_sets import SetBody
from app.storage.patients import Patient
from app.storage.safety import Stop, stops_that_hold
from app.web.deps import Form
from app.web.stops import OPEN_STOP, stop_key

#: What is ticked before a set after a stop is saved.
STATEMENT: Final = "They are well enough to go on, and I may decide that."
NOT_SAID: Final = "There was a stop for safety today. Tick this, or do not go on."


def stops_before(
    session: Session, patient: Patient, at: datetime, zone: ZoneInfo
) -> list[Stop]:
    """The stops of that day that were there already and hold: see `stops_that_hold`."""
    found = stops_that_hold(session, patient.id, at.astimezone(zone).date())
    return [stop for stop in found if stop.at <= at]


def owes_statement(stops: Iterable[Stop], body: SetBody, form: Form) -> bool:
    """Asked only of a card that named these stops: an earlier one could not know."""
    if not _is_unsaid(stops, body):
        return False
    return set(form.text("told_stops").split()) >= {stop_key(s) for s in stops}


def went_on_unsaid(stops: Iterable[Stop], body: SetBody) -> str:
    """The tag that a set keeps which was done after a stop without the statement."""
    return OPEN_STOP if _is_unsaid(stops, body) else ""


def _is_unsaid(stops: Iterable[Stop], body: SetBody) -> bool:
    return body.outcome == "done" and not body.after_stop and any(True for _ in stops)
