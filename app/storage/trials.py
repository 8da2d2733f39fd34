"""Rounds and their trials, as they happened. A trial is never edited: it is voided.

A round is the trials of one test at one visit under one set-up; they make one score.
The ids come from the phone: sent again with the same content they find what they made,
with other content they are refused.
"""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import date, datetime
from typing import Any, Final
from uuid import NAMESPACE_OID, uuid5
from zoneinfo import ZoneInfo

from sqlalchemy import JSON, UniqueConstraint, func
from sqlmodel import Field, Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from app.clinical.vocabulary import OUTCOMES, UNABLE_REASONS
from app.storage import audit
from app.storage.episodes import Episode, Visit, visit_today
from app.storage.errors import NotFound, SameIdOtherBody
from app.storage.patients import patient_for
from app.storage.people import Person
from app.storage.prepared import prepared
from app.storage.round_help import phones_of
from app.storage.tables import (
    Numbered,
    between,
    check,
    hexadecimal,
    is_one_of,
    length,
    number_text,
    one_of,
    partial_index,
    uid,
)
from app.storage.voiding import void

#: Ten hours: no trial takes longer, and a forgotten stopwatch is no trial.
LONGEST_MS: Final = 36_000_000
#: A distance keeps the unit it was read in; a time is always whole milliseconds.
DISTANCE_UNITS: Final = ("in", "cm")
_NUMBERS: Final = ("raw_ms", "raw_value", "count")
_HOW_MANY_NUMBERS: Final = " + ".join(
    f"CASE WHEN {column} IS NULL THEN 0 ELSE 1 END" for column in _NUMBERS
)
_NON_ZERO: Final = "ltrim(raw_value, '0.') <> ''"


class Round(Numbered, table=True):
    """The trials of one measure at one visit under one set-up (`facts`)."""

    __tablename__ = "round"
    __table_args__ = (
        uid(),
        length("measure", 1, 80),
        length("variant", 0, 80),
    )

    uid: str = Field(unique=True)
    visit_id: int = Field(foreign_key="visit.id", index=True)
    person_id: int = Field(foreign_key="person.id")
    measure: str
    variant: str
    facts: dict[str, str] = Field(sa_type=JSON)
    created_at: datetime


class Trial(Numbered, table=True):
    """One attempt. Written once by `record_trial`; only voiding adds to it."""

    __tablename__ = "trial"
    __table_args__ = (
        uid(),
        UniqueConstraint("round_id", "place"),
        # Stops are few and looked for on every list: one small index holds them all.
        partial_index(
            "ix_trial_stopped",
            "recorded_by",
            rule="outcome = 'stopped'",
        ),
        partial_index(
            "ix_trial_without_number",
            "round_id",
            "outcome",
            rule="outcome <> 'completed'",
        ),
        check("place", "place >= 1"),
        one_of("outcome", OUTCOMES),
        between("raw_ms", 1, LONGEST_MS),
        between("count", 0, 9999),
        check("raw_value", f"{number_text('raw_value')} AND {_NON_ZERO}"),
        one_of("raw_unit", DISTANCE_UNITS),
        check("unit_with_value", "(raw_value IS NULL) = (raw_unit IS NULL)"),
        check("start_mark", number_text("start_mark")),
        check("end_mark", number_text("end_mark")),
        check("both_marks", "(start_mark IS NULL) = (end_mark IS NULL)"),
        check("marks_with_value", "start_mark IS NULL OR raw_value IS NOT NULL"),
        check(
            "number_when_completed",
            f"({_HOW_MANY_NUMBERS}) = CASE outcome WHEN 'completed' THEN 1 ELSE 0 END",
        ),
        check(
            "reason",
            "length(reason) <= 500 AND (outcome <> 'completed' OR reason = '') AND "
            f"(outcome <> 'unable' OR {is_one_of('reason', ['', *UNABLE_REASONS])})",
        ),
        hexadecimal("body_hash", 64),
        check(
            "voided",
            "(voided_at IS NULL AND voided_by IS NULL AND void_reason IS NULL) OR "
            "(voided_at IS NOT NULL AND voided_by IS NOT NULL "
            "AND void_reason IS NOT NULL AND length(void_reason) BETWEEN 1 AND 500)",
        ),
    )

    uid: str = Field(unique=True)
    round_id: int = Field(foreign_key="round.id")
    place: int
    practice: bool
    outcome: str
    reason: str
    raw_ms: int | None = None
    raw_value: str | None = None
    raw_unit: str | None = None
    start_mark: str | None = None
    end_mark: str | None = None
    count: int | None = None
    inputs: dict[str, str] = Field(sa_type=JSON)
    splits_ms: list[int] = Field(sa_type=JSON)
    clocks: dict[str, Any] = Field(sa_type=JSON)
    recorded_at: datetime
    recorded_by: int = Field(foreign_key="person.id")
    body_hash: str
    voided_at: datetime | None = None
    voided_by: int | None = Field(default=None, foreign_key="person.id")
    void_reason: str | None = None


@dataclass(frozen=True, slots=True)
class TrialBody:
    """What the phone says of a trial. Exactly one number, and only when completed."""

    outcome: str = "completed"
    reason: str = ""
    practice: bool = False
    raw_ms: int | None = None
    raw_value: str | None = None
    raw_unit: str | None = None
    start_mark: str | None = None
    end_mark: str | None = None
    count: int | None = None
    inputs: dict[str, str] = field(default_factory=dict)
    splits_ms: list[int] = field(default_factory=list)
    clocks: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class RoundTrials:
    """A round, the day of its visit there, and all its trials in order."""

    round: Round
    on_date: date
    trials: tuple[Trial, ...]


def start_round(
    session: Session,
    person: Person,
    visit: Visit,
    *,
    uid: str,
    measure: str,
    variant: str,
    facts: dict[str, str],
    now: datetime,
) -> Round:
    """Begin a round, or find the one this id began.

    A repeat may come on a later visit of the same episode: the network was away.
    """
    episode = session.get_one(Episode, visit.episode_id)
    patient_for(session, person, episode.patient_id, "record_trial")
    known = session.exec(select(Round).where(Round.uid == uid)).first()
    if known is not None:
        said = (person.id, measure, variant, facts, visit.episode_id)
        return _known_round(session, known, said)
    begun = Round(
        uid=uid,
        visit_id=visit.id,
        person_id=person.id,
        measure=measure,
        variant=variant,
        facts=facts,
        created_at=now,
    )
    session.add(begun)
    session.flush()
    audit.deed(session, "started_round", begun, by=person.id, now=now)
    return begun


def round_of_trial(
    session: Session, person: Person, asked: Round, uid: str
) -> Round | None:
    """Where a trial that is sent again was put the first time, from this phone or from
    the other one of the round `asked` for; None when it is new."""
    known = session.exec(select(Trial).where(Trial.uid == uid)).first()
    theirs = known and _by_the_other(session, person, asked, known)
    if known is None or not (theirs or known.recorded_by == person.id):
        return None
    return round_for(session, person, known.round_id, "record_trial")


def round_on(
    session: Session,
    person: Person,
    round: Round,
    *,
    at: datetime,
    now: datetime,
    zone: ZoneInfo,
) -> Round:
    """The round a trial taken `at` belongs to: this one, or its like on that day.

    A score is of one visit, so a trial of another local day begins a round of its own
    under the same set-up. Its id follows from this one's and the day, so that a repeat
    finds it. A trial is never older than its round: then the phone's clock is slow.
    """
    visit = session.get_one(Visit, round.visit_id)
    day = at.astimezone(zone).date()
    if day == visit.local_date or at < round.created_at:
        return round
    uid = uuid5(NAMESPACE_OID, f"{round.uid} {person.id} {day}").hex
    episode = session.get_one(Episode, visit.episode_id)
    that_day = visit_today(session, person, episode, now=at, zone=zone, uid=uid)
    return start_round(
        session,
        person,
        that_day,
        uid=uid,
        measure=round.measure,
        variant=round.variant,
        facts=round.facts,
        now=now,
    )


def _known_round(session: Session, known: Round, said: tuple[Any, ...]) -> Round:
    """The round this id began before, if what is said of it now is the same."""
    its_visit = session.get_one(Visit, known.visit_id)
    was = (known.person_id, known.measure, known.variant, known.facts)
    if (*was, its_visit.episode_id) != said:
        raise SameIdOtherBody
    return known


@prepared
def _patient_of(round_id: int) -> SelectOfScalar[int]:
    return (
        select(Episode.patient_id)
        .join(Visit, col(Visit.episode_id) == col(Episode.id))
        .join(Round, col(Round.visit_id) == col(Visit.id))
        .where(Round.id == round_id)
    )


def round_for(
    session: Session, person: Person, round_id: int, deed: str = "see_patient"
) -> Round:
    """The round, if `person` may do `deed` to its patient: see `patient_for`."""
    patient_id = _patient_of(session, round_id).first()
    if patient_id is None:
        raise NotFound
    patient_for(session, person, patient_id, deed)
    return session.get_one(Round, round_id)


def trial_for(
    session: Session, person: Person, trial_id: int, deed: str = "see_patient"
) -> Trial:
    """The trial, if `person` may do `deed` to its patient: see `patient_for`."""
    trial = session.get(Trial, trial_id)
    if trial is None:
        raise NotFound
    round_for(session, person, trial.round_id, deed)
    return trial


def record_trial(
    session: Session,
    person: Person,
    round: Round,
    *,
    uid: str,
    body: TrialBody,
    now: datetime,
    helped: Round | None = None,
) -> tuple[Trial, bool]:
    """Keep a trial; True says that it is new, False that this id was kept before.
    `helped`: the round that was open for a second phone, if another day's keeps it."""
    round_for(session, person, round.id, "record_trial")
    body_hash = body_hash_of(round, body)
    known = session.exec(select(Trial).where(Trial.uid == uid)).first()
    if known is not None:
        same = (known.recorded_by, known.body_hash) == (person.id, body_hash)
        if not same and not _by_the_other(session, person, helped or round, known):
            raise SameIdOtherBody
        return known, False
    trial = Trial(
        **asdict(body),
        uid=uid,
        round_id=round.id,
        place=_next_place(session, round),
        recorded_at=now,
        recorded_by=person.id,
        body_hash=body_hash,
    )
    session.add(trial)
    session.flush()
    audit.deed(session, "recorded_trial", trial, by=person.id, now=now)
    return trial, True


def _by_the_other(session: Session, person: Person, held: Round, known: Trial) -> bool:
    """Two phones timed it, and the other one's person saved it first: that stands."""
    both, of_two = {known.recorded_by, person.id}, "helped" in known.clocks
    return of_two and any(both == set(p) for p in phones_of(session, held.id))


def body_hash_of(round: Round, body: TrialBody) -> str:
    said = json.dumps([round.uid, asdict(body)], sort_keys=True)
    return hashlib.sha256(said.encode()).hexdigest()


def _next_place(session: Session, round: Round) -> int:
    last = select(func.max(Trial.place)).where(Trial.round_id == round.id)
    return (session.exec(last).one() or 0) + 1


def void_trial(
    session: Session, person: Person, trial: Trial, *, reason: str, now: datetime
) -> Trial:
    """Take a trial out of its score for a reason; the row stays as it was recorded.

    A trial that is already voided keeps its first reason.
    """
    round_for(session, person, trial.round_id, "void_trial")
    void(session, person, trial, "voided_trial", reason, now)
    return trial


def trials_of(session: Session, round: Round) -> Sequence[Trial]:
    """All trials of a round in order, the voided ones too."""
    wanted = select(Trial).where(Trial.round_id == round.id)
    return session.exec(wanted.order_by(col(Trial.place))).all()


def rounds_of(
    session: Session, patient_id: int, measure: str | None = None
) -> Sequence[RoundTrials]:
    """A patient's rounds with all their trials, oldest first, in two queries."""
    of_one = () if measure is None else (measure,)
    asked = _ROUNDS_OF_ONE if of_one else _ROUNDS
    rounds, rows = (ask(session, patient_id, *of_one).all() for ask in asked)
    trials: dict[int, list[Trial]] = {}
    for trial in rows:
        trials.setdefault(trial.round_id, []).append(trial)
    return [RoundTrials(r, day, tuple(trials.get(r.id, ()))) for r, day in rounds]


def _rounds(patient_id: int, measure: str | None = None) -> Any:
    wanted = (
        select(Round, col(Visit.local_date))
        .join(Visit, col(Round.visit_id) == col(Visit.id))
        .join(Episode, col(Visit.episode_id) == col(Episode.id))
        .where(Episode.patient_id == patient_id)
        .order_by(col(Visit.local_date), col(Round.id))
    )
    return wanted if measure is None else wanted.where(Round.measure == measure)


def _trials(rounds: Any) -> Any:
    ids = rounds.with_only_columns(col(Round.id)).order_by(None)
    wanted = select(Trial).where(col(Trial.round_id).in_(ids))
    return wanted.order_by(col(Trial.round_id), col(Trial.place))


_ROUNDS: Final[Any] = (
    prepared(lambda whose: _rounds(whose)),
    prepared(lambda whose: _trials(_rounds(whose))),
)
_ROUNDS_OF_ONE: Final[Any] = (
    prepared(lambda whose, measure: _rounds(whose, measure)),
    prepared(lambda whose, measure: _trials(_rounds(whose, measure))),
)
