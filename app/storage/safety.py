"""What was done after a trial was stopped for safety, and who has looked into it.

Like trials, an answer is never edited: what is said later is a new row that names the
one it replaces, so that the last row of a trial is what holds. Vital signs and times
are as the bedside gave them.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import date, datetime
from typing import Any, Final

from sqlalchemy import Index, Select, UniqueConstraint, literal_column, text
from sqlmodel import Field, Session, col, select

from app.access import SUPERVISOR, THERAPIST, Subject, may
from app.clinical.make_safe import (
    LONGEST_CALLED,
    LONGEST_NOTE,
    POSITIONS,
    SYMPTOMS,
    VITALS,
    WHATS,
    YES_NO,
)
from app.storage import audit
from app.storage.episodes import Episode, Visit
from app.storage.errors import NotFound
from app.storage.patients import Patient
from app.storage.people import Person, actor
from app.storage.tables import Numbered, Table, between, check, length, one_of
from app.storage.trials import Round, Trial, trial_for

#: Whose look ends a stop's place on the brief.
LOOKERS: Final = (THERAPIST, SUPERVISOR)
#: Said together or not at all.
PRESSURES: Final = ("systolic", "diastolic")


class SafetyEvent(Numbered, table=True):
    """The answers after one stop as they stood at `recorded_at`; all are optional."""

    __tablename__ = "safety_event"
    __table_args__ = (
        Index(
            "ix_safety_event_first",
            "trial_id",
            unique=True,
            sqlite_where=text("replaces_id IS NULL"),
            postgresql_where=text("replaces_id IS NULL"),
        ),
        one_of("what", WHATS),
        one_of("head_strike", YES_NO),
        one_of("blood_thinner", YES_NO),
        one_of("position", POSITIONS),
        *(between(name, vital.low, vital.high) for name, vital in VITALS.items()),
        check("pressures", "diastolic < systolic"),
        length("called", 0, LONGEST_CALLED),
        length("note", 0, LONGEST_NOTE),
    )

    trial_id: int = Field(foreign_key="trial.id", index=True)
    replaces_id: int | None = Field(
        default=None, foreign_key="safety_event.id", unique=True
    )
    what: str | None = None
    head_strike: str | None = None
    blood_thinner: str | None = None
    called: str = ""
    called_at: datetime | None = None
    systolic: int | None = None
    diastolic: int | None = None
    heart_rate: int | None = None
    saturation: int | None = None
    position: str | None = None
    note: str = ""
    recorded_by: int = Field(foreign_key="person.id")
    recorded_at: datetime


class SafetySymptom(Table, table=True):
    """A symptom in one row of answers. Written with it."""

    __tablename__ = "safety_symptom"
    __table_args__ = (one_of("symptom", SYMPTOMS),)

    event_id: int = Field(foreign_key="safety_event.id", primary_key=True)
    symptom: str = Field(primary_key=True)


class SafetySeen(Numbered, table=True):
    """Somebody has looked into a stop, in the role they had then."""

    __tablename__ = "safety_seen"
    __table_args__ = (
        UniqueConstraint("trial_id", "person_id"),
        one_of("role", LOOKERS),
    )

    trial_id: int = Field(foreign_key="trial.id")
    person_id: int = Field(foreign_key="person.id")
    role: str
    seen_at: datetime


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
    """A trial that was stopped for safety, and what came of it.

    `event_id` is the row the answers are from; `seen` names who has looked into it.
    """

    trial: Trial
    measure: str
    on_date: date
    patient_id: int
    label: str
    by: str
    by_role: str
    answers: Answers = field(default_factory=Answers)
    event_id: int | None = None
    seen: tuple[SafetySeen, ...] = ()

    @property
    def is_slip(self) -> bool:
        """Voided before anything was said of it: a wrong tap."""
        return self.trial.voided_at is not None and self.event_id is None

    @property
    def is_open(self) -> bool:
        """Nobody who may has looked into it yet."""
        return not self.seen


def record_answers(
    session: Session,
    person: Person,
    trial_id: int,
    said: Mapping[str, Any],
    *,
    base_id: int | None,
    now: datetime,
) -> Stop:
    """Keep what is said of a stop, by the names of Answers.

    `base_id` is the row the form was filled from: only what differs from it is taken
    over, so that two people at one bedside do not undo each other. The same again adds
    nothing.
    """
    stop = stop_for(session, person, trial_id, "record_trial")
    base = _base(session, trial_id, base_id)
    answers = replace(stop.answers, **_changed(base, said))
    if answers == stop.answers:
        return stop
    columns = {f.name: getattr(answers, f.name) for f in fields(answers)}
    del columns["symptoms"]
    event = SafetyEvent(
        **columns,
        trial_id=trial_id,
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


def _base(session: Session, trial_id: int, base_id: int | None) -> Answers:
    """The answers a form was filled from; nothing yet when there was no row."""
    event = session.get(SafetyEvent, base_id) if base_id else None
    if event is None or event.trial_id != trial_id:
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


def mark_seen(session: Session, person: Person, trial_id: int, now: datetime) -> Stop:
    """Say that `person` has looked into a stop; once is enough."""
    stop = stop_for(session, person, trial_id, "look_into_stop")
    if any(row.person_id == person.id for row in stop.seen):
        return stop
    row = SafetySeen(
        trial_id=trial_id, person_id=person.id, role=person.role, seen_at=now
    )
    session.add(row)
    session.flush()
    audit.deed(session, "looked_into_stop", row, by=person.id, now=now)
    return replace(stop, seen=(*stop.seen, row))


def stop_for(
    session: Session, person: Person, trial_id: int, deed: str = "see_patient"
) -> Stop:
    """The stop, if `person` may do `deed` to its patient: see `patient_for`."""
    trial = trial_for(session, person, trial_id, deed)
    found = _stops(session, _wanted().where(col(Trial.id) == trial.id))
    if not found:
        raise NotFound
    return found[0]


def open_stops_of(session: Session, patient_id: int) -> list[Stop]:
    """A patient's stops that nobody has looked into, oldest first, without slips."""
    looked = select(SafetySeen.trial_id)
    wanted = _wanted().where(
        col(Patient.id) == patient_id, col(Trial.id).not_in(looked)
    )
    return [stop for stop in _stops(session, wanted) if not stop.is_slip]


def stops_in(session: Session, round: Round) -> list[Stop]:
    """The stops of one round, oldest first, without slips."""
    found = _stops(session, _wanted().where(col(Round.id) == round.id))
    return [stop for stop in found if not stop.is_slip]


def stops_of_visit(session: Session, visit: Visit) -> list[Stop]:
    """The stops of one visit, oldest first, without slips."""
    found = _stops(session, _wanted().where(col(Visit.id) == visit.id))
    return [stop for stop in found if not stop.is_slip]


def students_stops(session: Session, person: Person) -> list[Stop]:
    """What students stopped and no supervisor has looked into, oldest first.

    Only for who may look into everybody's of their own world. A student's void does not
    take one off this list.
    """
    everyone = Subject(is_demo=person.is_demo, assigned=False)
    if person.role != SUPERVISOR or not may(actor(person), "look_into_stop", everyone):
        return []
    looked = select(SafetySeen.trial_id).where(SafetySeen.role == SUPERVISOR)
    wanted = _wanted().where(
        col(Person.role) == "student",
        col(Patient.is_demo).is_(person.is_demo),
        col(Trial.id).not_in(looked),
    )
    return _stops(session, wanted)


Found = tuple[Trial, str, date, int, str, str, str]


def _wanted() -> Select[Found]:
    wanted: Any = (
        select(
            Trial, Round.measure, Visit.local_date,
            Patient.id, Patient.label, Person.name, Person.role,
        )  # type: ignore[call-overload]
        .join(Round, col(Trial.round_id) == col(Round.id))
        .join(Visit, col(Round.visit_id) == col(Visit.id))
        .join(Episode, col(Visit.episode_id) == col(Episode.id))
        .join(Patient, col(Episode.patient_id) == col(Patient.id))
        .join(Person, col(Trial.recorded_by) == col(Person.id))
        # In the statement's text: a bound value would not find the small index.
        .where(col(Trial.outcome) == literal_column("'stopped'"))
        .order_by(col(Visit.local_date), col(Trial.id))
    )  # fmt: skip
    return wanted  # type: ignore[no-any-return]


def _stops(session: Session, wanted: Select[Found]) -> list[Stop]:
    rows: Sequence[Any] = session.execute(wanted).all()
    ids = [row[0].id for row in rows]
    if not ids:
        return []
    events = _last_events(session, ids)
    symptoms = _symptoms(session, [event.id for event in events.values()])
    seen = _seen(session, ids)
    stops = []
    for row in rows:
        trial: Trial = row[0]
        stop = replace(Stop(*row), seen=tuple(seen.get(trial.id, ())))
        event = events.get(trial.id)
        if event is not None:
            said = _said(event, symptoms.get(event.id, ()))
            stop = replace(stop, answers=said, event_id=event.id)
        stops.append(stop)
    return stops


def _last_events(session: Session, trial_ids: list[int]) -> dict[int, SafetyEvent]:
    """Of each trial, the row that no other replaces: the newest."""
    wanted = select(SafetyEvent).where(col(SafetyEvent.trial_id).in_(trial_ids))
    in_order = session.exec(wanted.order_by(col(SafetyEvent.id)))
    return {event.trial_id: event for event in in_order}


def _symptoms(session: Session, event_ids: list[int]) -> dict[int, list[SafetySymptom]]:
    found: dict[int, list[SafetySymptom]] = {}
    wanted = select(SafetySymptom).where(col(SafetySymptom.event_id).in_(event_ids))
    for row in session.exec(wanted):
        found.setdefault(row.event_id, []).append(row)
    return found


def _seen(session: Session, trial_ids: list[int]) -> dict[int, list[SafetySeen]]:
    found: dict[int, list[SafetySeen]] = {}
    wanted = select(SafetySeen).where(col(SafetySeen.trial_id).in_(trial_ids))
    for row in session.exec(wanted.order_by(col(SafetySeen.id))):
        found.setdefault(row.trial_id, []).append(row)
    return found
