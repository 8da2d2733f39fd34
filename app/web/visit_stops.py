"""Stops for safety and what was voided, as events of their own: who, when and why."""

from collections.abc import Iterator, Sequence
from datetime import datetime

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.visiting import TASKS
from app.storage.activity_sets import ActivitySet
from app.storage.episodes import Visit
from app.storage.observations import TaskObservation
from app.storage.safety import Stop, stops_of_visit
from app.storage.safety_rows import SafetyEvent
from app.storage.trials import Round, Trial
from app.web.set_words import set_words
from app.web.stops import (
    against_words,
    happened,
    stop_name,
    stop_sort,
    vitals_after,
)
from app.web.trial_words import trial_words

#: When, what is said, by whom.
Told = tuple[datetime, str, int | None]


def stop_events(session: Session, shelf: Catalogue, visit: Visit) -> Iterator[Told]:
    """Each stop, what was noted after it, and who has looked into it."""
    for stop in stops_of_visit(session, visit):
        if stop.row.outcome == "stopped":
            yield from _told(session, shelf, stop)


def against_events(session: Session, shelf: Catalogue, visit: Visit) -> Iterator[Told]:
    """Each set that was done against an order or a risk, and who has looked into it."""
    for stop in stops_of_visit(session, visit):
        if stop.row.outcome != "stopped":
            yield from _told(session, shelf, stop)


def _told(session: Session, shelf: Catalogue, stop: Stop) -> Iterator[Told]:
    name = stop_name(shelf, stop, short=False)
    yield stop.row.recorded_at, stop_says(stop, name), stop.row.recorded_by
    yield from _after(session, stop, name)


def stop_says(stop: Stop, name: str) -> str:
    """`Stopped for safety: NAME: why`, `Done against an order in force (...): NAME`."""
    sort = stop_sort(stop)
    said = f"{sort[0].upper()}{sort[1:]}: {name}"
    against = against_words(stop.against)
    if against and stop.row.outcome == "stopped":
        return f"{said}; done against {against}"
    if isinstance(stop.row, Trial):
        return f"{said}: {stop.row.reason or 'the reason was not noted'}"
    return said


def _after(session: Session, stop: Stop, name: str) -> Iterator[Told]:
    row = session.get(SafetyEvent, stop.event_id) if stop.event_id else None
    what = "stop" if stop.row.outcome == "stopped" else "set"
    if row is not None:
        called = f"called: {row.called}" if row.called else ""
        said = (happened(stop), vitals_after(stop.answers), called, row.note)
        parts = [part for part in said if part]
        says = f"After the {what} of {name}: {'; '.join(parts) or 'noted'}"
        yield row.recorded_at, says, row.recorded_by
    for seen in stop.seen:
        yield seen.seen_at, f"Looked into the {what} of {name}", seen.person_id


def void_events(
    shelf: Catalogue,
    trials: Sequence[tuple[Trial, Round]],
    sets: Sequence[ActivitySet],
    tasks: Sequence[TaskObservation],
) -> Iterator[Told]:
    """Each voided trial, set and task. A task voided long ago may not say by whom."""
    for trial, round in trials:
        if trial.voided_at is not None:
            known = shelf.measures.get(round.measure)
            name = known.name if known else round.measure
            says = f"Voided: {name}, {trial_words(trial, known)}: {trial.void_reason}"
            yield trial.voided_at, says, trial.voided_by
    for done in sets:
        if done.voided_at is not None:
            says = f"Voided: {set_words(shelf, done)}: {done.void_reason}"
            yield done.voided_at, says, done.voided_by
    for row in tasks:
        if row.voided_at is not None:
            says = f"Voided: {TASKS[row.task]}: {row.void_reason}"
            yield row.voided_at, says, row.voided_by
