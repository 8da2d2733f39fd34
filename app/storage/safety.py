"""What was done after a stop for safety, and who has looked into it.

A stop is of a trial or of a set of an activity. A set that was done although an order
or a risk stood against it is looked into in the same way. Like trials, an answer is
never edited: what is said later is a new row that names the one it replaces, so that
the last row of a stop is what holds. Vital signs and times are as the bedside gave
them.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import date, datetime
from typing import Any, Final

from sqlmodel import Session, col, select

from app.access import SUPERVISOR, Subject, may
from app.storage import audit
from app.storage.activity_sets import ActivitySet, set_for
from app.storage.episodes import Episode, Visit
from app.storage.errors import NotFound
from app.storage.patients import Patient
from app.storage.people import Person, actor
from app.storage.safety_rows import (
    Of,
    SafetyEvent,
    SafetySeen,
    SafetySymptom,
    row_id,
)
from app.storage.stop_questions import (
    EVENTS,
    LOOKS,
    OF_EPISODE,
    OF_VISIT,
    OPEN_OF_PATIENT,
    Pair,
    Rows,
    in_round,
    of_both,
    sets_seen_to,
    stopped_trials,
)
from app.storage.trials import Round, Trial, trial_for

#: Said together or not at all.
PRESSURES: Final = ("systolic", "diastolic")


@dataclass(frozen=True, slots=True)
class Answers:
    """What is said of a stop. None and empty mean that nobody has said it."""

    what: str | None = None
    head_strike: str | None = None
    blood_thinner: str | None = None
    symptoms: frozenset[str] = frozenset()
    called: str = ""
    called_at: datetime | None = None
    systolic: int | None = None
    diastolic: int | None = None
    heart_rate: int | None = None
    saturation: int | None = None
    position: str | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Stop:
    """A trial or set that was stopped for safety, and what came of it.

    `what` is the measure or activity it was of. `event_id` is the row the answers are
    from; `seen` names who has looked into it.
    """

    row: Trial | ActivitySet
    what: str
    on_date: date
    patient_id: int
    label: str
    by: str
    by_role: str
    answers: Answers = field(default_factory=Answers)
    event_id: int | None = None
    seen: tuple[SafetySeen, ...] = ()

    @property
    def of(self) -> Of:
        return "set" if isinstance(self.row, ActivitySet) else "trial"

    @property
    def pointers(self) -> tuple[int | None, int | None]:
        """The trial and the set that a row of this stop points at: one of the two."""
        return (None, self.row.id) if self.of == "set" else (self.row.id, None)

    @property
    def against(self) -> str:
        """The orders or risks that a set was done against, as tags."""
        return self.row.against if isinstance(self.row, ActivitySet) else ""

    @property
    def is_slip(self) -> bool:
        """Voided before anything was said of it: a wrong tap.

        Never one against an order: a void does not answer for that.
        """
        quiet = self.event_id is None and not self.against
        return self.row.voided_at is not None and quiet

    @property
    def is_open(self) -> bool:
        """Nobody who may has looked into it yet."""
        return not self.seen

    @property
    def is_unanswered(self) -> bool:
        """Stopped for safety, and nobody has noted what followed."""
        return self.row.outcome == "stopped" and self.event_id is None

    @property
    def at(self) -> datetime:
        """When it happened, as far as it is known."""
        made = self.row
        return made.done_at if isinstance(made, ActivitySet) else made.recorded_at


def record_answers(
    session: Session,
    person: Person,
    made_id: int,
    said: Mapping[str, Any],
    *,
    of: Of = "trial",
    base_id: int | None,
    now: datetime,
) -> Stop:
    """Keep what is said of a stop, by the names of Answers.

    `base_id` is the row the form was filled from: only what differs from it is taken
    over, so that two people at one bedside do not undo each other. The same again adds
    nothing.
    """
    stop = stop_for(session, person, made_id, "record_trial", of)
    base = _base(session, stop, base_id)
    answers = replace(stop.answers, **_changed(base, said))
    if answers == stop.answers:
        return stop
    columns = {f.name: getattr(answers, f.name) for f in fields(answers)}
    del columns["symptoms"]
    event = SafetyEvent(
        **columns,
        trial_id=stop.pointers[0],
        set_id=stop.pointers[1],
        replaces_id=stop.event_id,
        recorded_by=person.id,
        recorded_at=now,
    )
    session.add(event)
    session.flush()
    for symptom in answers.symptoms:
        session.add(SafetySymptom(event_id=event.id, symptom=symptom))
    session.flush()
    audit.deed(session, "recorded_safety_event", event, by=person.id, now=now)
    return replace(stop, answers=answers, event_id=event.id)


def _base(session: Session, stop: Stop, base_id: int | None) -> Answers:
    """The answers a form was filled from; nothing yet when there was no row."""
    event = session.get(SafetyEvent, base_id) if base_id else None
    if event is None or row_id(event, stop.of) != stop.row.id:
        return Answers()
    wanted = select(SafetySymptom).where(SafetySymptom.event_id == event.id)
    return _said(event, session.exec(wanted))


def _changed(base: Answers, said: Mapping[str, Any]) -> dict[str, Any]:
    changed = {
        name: value for name, value in said.items() if value != getattr(base, name)
    }
    if changed.keys() & set(PRESSURES):
        # One reading of the cuff: the halves of two would be nobody's.
        changed |= {name: said[name] for name in PRESSURES}
    return changed


def _said(event: SafetyEvent, symptoms: Iterable[SafetySymptom]) -> Answers:
    named: dict[str, Any] = {
        f.name: getattr(event, f.name, None) for f in fields(Answers)
    }
    named["symptoms"] = frozenset(row.symptom for row in symptoms)
    return Answers(**named)


def mark_seen(
    session: Session, person: Person, made_id: int, now: datetime, of: Of = "trial"
) -> Stop:
    """Say that `person` has looked into a stop; once is enough."""
    stop = stop_for(session, person, made_id, "look_into_stop", of)
    if any(row.person_id == person.id for row in stop.seen):
        return stop
    row = SafetySeen(
        trial_id=stop.pointers[0],
        set_id=stop.pointers[1],
        person_id=person.id,
        role=person.role,
        seen_at=now,
    )
    session.add(row)
    session.flush()
    audit.deed(session, "looked_into_stop", row, by=person.id, now=now)
    return replace(stop, seen=(*stop.seen, row))


def stop_for(
    session: Session,
    person: Person,
    made_id: int,
    deed: str = "see_patient",
    of: Of = "trial",
) -> Stop:
    """The stop, if `person` may do `deed` to its patient: see `patient_for`."""
    if of == "set":
        set_for(session, person, made_id, deed)
        wanted = sets_seen_to().where(col(ActivitySet.id) == made_id)
    else:
        trial_for(session, person, made_id, deed)
        wanted = stopped_trials().where(col(Trial.id) == made_id)
    found = _stops(session, of, session.exec(wanted))
    if not found:
        raise NotFound
    return found[0]


def open_stops_of(session: Session, patient_id: int) -> list[Stop]:
    """A patient's stops that nobody has looked into, oldest first, without slips."""
    return _by_key(session, OPEN_OF_PATIENT, patient_id)


def stops_that_hold(session: Session, patient_id: int, day: date) -> list[Stop]:
    """A day's stops for safety of a patient, of any test or activity, oldest first,
    of which nobody noted what followed or that nobody looked into."""
    wanted = (col(Patient.id) == patient_id, col(Visit.local_date) == day)
    found = _of_both(session, *map(session.exec, of_both(*wanted)))
    return [
        stop
        for stop in _without_slips(found)
        if stop.row.outcome == "stopped" and (stop.is_open or stop.is_unanswered)
    ]


def stops_in(session: Session, round: Round) -> list[Stop]:
    """The stops of one round, oldest first, without slips."""
    found = in_round(session, round.id)  # type: ignore[no-untyped-call]
    return _without_slips(_stops(session, "trial", found))


def stops_of_activity(
    session: Session, patient_id: int, activity: str, day: date
) -> list[Stop]:
    """A day's stops of one activity of one patient, oldest first, without slips."""
    wanted = sets_seen_to().where(
        col(Patient.id) == patient_id,
        col(ActivitySet.activity) == activity,
        col(Visit.local_date) == day,
    )
    return _without_slips(_stops(session, "set", session.exec(wanted)))


def answers_of_sets(session: Session, set_ids: Sequence[int]) -> dict[int, Answers]:
    """What was noted after these sets, by the set's number."""
    events = _last_events(session, "set", [*set_ids])
    symptoms = _symptoms(session, [event.id for event in events.values()])
    return {key: _said(e, symptoms.get(e.id, ())) for key, e in events.items()}


def stops_of_visit(session: Session, visit: Visit) -> list[Stop]:
    """The stops of one visit, oldest first, without slips."""
    return _by_key(session, OF_VISIT, visit.id)


def stops_of_episode(session: Session, episode: Episode) -> list[Stop]:
    """The stops of one episode, oldest first, without slips."""
    return _by_key(session, OF_EPISODE, episode.id)


def _by_key(session: Session, pair: Pair, key: int) -> list[Stop]:
    return _without_slips(_of_both(session, *(ask(session, key) for ask in pair)))


def _without_slips(stops: Iterable[Stop]) -> list[Stop]:
    return [stop for stop in stops if not stop.is_slip]


def students_stops(session: Session, person: Person) -> list[Stop]:
    """What students stopped and no supervisor has looked into, oldest first.

    Only for who may look into everybody's of their own world. A student's void does not
    take one off this list.
    """
    everyone = Subject(is_demo=person.is_demo, assigned=False)
    if person.role != SUPERVISOR or not may(actor(person), "look_into_stop", everyone):
        return []
    both = of_both(
        col(Person.role) == "student",
        col(Patient.is_demo).is_(person.is_demo),
        unless_seen=col(SafetySeen.role) == SUPERVISOR,
    )
    return _of_both(session, *map(session.exec, both))


def _of_both(session: Session, trials: Rows, sets: Rows) -> list[Stop]:
    """Stops of trials and of sets, oldest first."""
    found = [*_stops(session, "trial", trials), *_stops(session, "set", sets)]
    return sorted(found, key=lambda stop: (stop.on_date, stop.row.recorded_at))


def _stops(session: Session, of: Of, found: Rows) -> list[Stop]:
    rows = list(found)
    ids = [row[0].id for row in rows]
    if not ids:
        return []
    events = _last_events(session, of, ids)
    symptoms = _symptoms(session, [event.id for event in events.values()])
    seen = _seen(session, of, ids)
    stops = []
    for row in rows:
        stop = replace(Stop(*row), seen=tuple(seen.get(row[0].id, ())))
        event = events.get(row[0].id)
        if event is not None:
            said = _said(event, symptoms.get(event.id, ()))
            stop = replace(stop, answers=said, event_id=event.id)
        stops.append(stop)
    return stops


def _last_events(session: Session, of: Of, ids: list[int]) -> dict[int, SafetyEvent]:
    """Of each trial or set, the row that no other replaces: the newest."""
    events = EVENTS[of](session, ids)
    return {row_id(event, of) or 0: event for event in events}


def _symptoms(session: Session, event_ids: list[int]) -> dict[int, list[SafetySymptom]]:
    found: dict[int, list[SafetySymptom]] = {}
    if not event_ids:
        return found
    wanted = select(SafetySymptom).where(col(SafetySymptom.event_id).in_(event_ids))
    for row in session.exec(wanted):
        found.setdefault(row.event_id, []).append(row)
    return found


def _seen(session: Session, of: Of, ids: list[int]) -> dict[int, list[SafetySeen]]:
    found: dict[int, list[SafetySeen]] = {}
    for row in LOOKS[of](session, ids):
        found.setdefault(row_id(row, of) or 0, []).append(row)
    return found
