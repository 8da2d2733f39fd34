"""What is known of stops for safety, as notes beside what was stopped."""

from collections.abc import Iterable

from app.storage.safety import Stop, stops_of_visit
from app.storage.safety_rows import SafetyEvent
from app.storage.trials import Trial
from app.web.fhir_gathering import Gathering
from app.web.stops import happened


def stop_notes(g: Gathering, visit_id: int, trials: Iterable[Trial]) -> tuple[str, ...]:
    """What followed each of these trials of a visit that was stopped."""
    stopped = {trial.id for trial in trials if trial.outcome == "stopped"}
    if not stopped:
        return ()
    return tuple(
        note
        for stop in stops_of_visit(g.session, g.visits[visit_id])
        if stop.of == "trial" and stop.row.id in stopped
        for note in [after(g, visit_id, stop)]
        if note
    )


def after(g: Gathering, visit_id: int, stop: Stop) -> str:
    """What was noted after a stop, if whoever noted it may be told."""
    event = g.session.get(SafetyEvent, stop.event_id) if stop.event_id else None
    if event is None:
        return "After the stop: nothing was noted."
    if not g.release.may_go(visit_id, event.recorded_by, event.recorded_at):
        return ""
    called = f"called: {event.called}" if event.called else ""
    said = [part for part in (happened(stop), called, event.note) if part]
    return f"After the stop: {'; '.join(said) or 'noted'}."
