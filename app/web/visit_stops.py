"""Stops for safety and what was voided, as events of their own: who, when and why."""

from collections.abc import Iterator, Sequence
from datetime import datetime

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.visiting import TASKS
from app.storage.episodes import Visit
from app.storage.observations import TaskObservation
from app.storage.safety import SafetyEvent, Stop, stops_of_visit
from app.storage.trials import Round, Trial
from app.web.stops import happened
from app.web.trial_words import trial_words

#: When, what is said, by whom.
Told = tuple[datetime, str, int | None]


def stop_events(session: Session, shelf: Catalogue, visit: Visit) -> Iterator[Told]:
    """Each stop, what was noted after it, and who has looked into it."""
    for stop in stops_of_visit(session, visit):
        known = shelf.measures.get(stop.measure)
        name = known.name if known else stop.measure
        why = stop.trial.reason or "the reason was not noted"
        says = f"Stopped for safety: {name}: {why}"
        yield stop.trial.recorded_at, says, stop.trial.recorded_by
        yield from _after(session, stop, name)


def _after(session: Session, stop: Stop, name: str) -> Iterator[Told]:
    row = session.get(SafetyEvent, stop.event_id) if stop.event_id else None
    if row is not None:
        called = f"called: {row.called}" if row.called else ""
        parts = [part for part in (happened(stop), called, row.note) if part]
        says = f"After the stop of {name}: {'; '.join(parts) or 'noted'}"
        yield row.recorded_at, says, row.recorded_by
    for seen in stop.seen:
        yield seen.seen_at, f"Looked into the stop of {name}", seen.person_id


def void_events(
    shelf: Catalogue,
    trials: Sequence[tuple[Trial, Round]],
    tasks: Sequence[TaskObservation],
) -> Iterator[Told]:
    """Each voided trial and task. A task voided long ago may not say by whom."""
    for trial, round in trials:
        if trial.voided_at is not None:
            known = shelf.measures.get(round.measure)
            name = known.name if known else round.measure
            says = f"Voided: {name}, {trial_words(trial, known)}: {trial.void_reason}"
            yield trial.voided_at, says, trial.voided_by
    for row in tasks:
        if row.voided_at is not None:
            says = f"Voided: {TASKS[row.task]}: {row.void_reason}"
            yield row.voided_at, says, row.voided_by
