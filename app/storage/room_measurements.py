"""What was measured at home or at the bedside, and what is to be changed there.

Append-only: a measurement is voided with a reason, and a change moves on by a step of
its own, so that who agreed to what stays to be read.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from sqlmodel import Field, Session, col, select

from app.clinical.dimensions import PHASES, ROOMS, UNITS
from app.clinical.room_changes import CHANGES, NEXT, STATES, WHO
from app.storage import audit
from app.storage.episodes import Episode, Visit
from app.storage.errors import NotFound, SameIdOtherBody, StaleVersion
from app.storage.patients import Patient, patient_for
from app.storage.people import Person
from app.storage.prepared import rows_among, rows_by
from app.storage.tables import (
    WORD,
    Numbered,
    check,
    is_only,
    length,
    number_text,
    one_of,
    uid,
)
from app.storage.voiding import void

LONGEST: Final = 200
_KEY: Final = WORD + "0123456789"


class RoomMeasure(Numbered, table=True):
    """One length as it was entered. Written once; only voiding adds to it."""

    __tablename__ = "room_measure"
    __table_args__ = (
        uid(),
        one_of("room", ROOMS),
        check(
            "thing",
            f"length(thing) BETWEEN 1 AND 40 AND {is_only('thing', _KEY)}",
        ),
        check("value", number_text("value")),
        one_of("unit", UNITS),
        one_of("phase", PHASES),
        length("note", 0, LONGEST),
        check(
            "voided",
            "(voided_at IS NULL AND voided_by IS NULL AND void_reason IS NULL) OR "
            "(voided_at IS NOT NULL AND voided_by IS NOT NULL "
            "AND void_reason IS NOT NULL "
            f"AND length(void_reason) BETWEEN 1 AND {LONGEST})",
        ),
    )

    uid: str = Field(unique=True)
    visit_id: int = Field(foreign_key="visit.id", index=True)
    room: str
    thing: str
    value: str
    unit: str
    phase: str
    note: str = ""
    recorded_at: datetime
    recorded_by: int = Field(foreign_key="person.id")
    voided_at: datetime | None = None
    voided_by: int | None = Field(default=None, foreign_key="person.id")
    void_reason: str | None = None


class RoomChange(Numbered, table=True):
    """Something to change in a room, with the measurement it comes from."""

    __tablename__ = "room_change"
    __table_args__ = (
        uid(),
        one_of("room", ROOMS),
        one_of("change", CHANGES),
        one_of("who", WHO),
        length("words", 0, LONGEST),
        check("other_words", "change <> 'other' OR length(words) >= 1"),
    )

    uid: str = Field(unique=True)
    visit_id: int = Field(foreign_key="visit.id", index=True)
    room: str
    change: str
    who: str
    words: str = ""
    before_id: int | None = Field(
        default=None, foreign_key="room_measure.id", index=True
    )
    recorded_at: datetime
    recorded_by: int = Field(foreign_key="person.id")


class RoomChangeStep(Numbered, table=True):
    """How far a change is; the newest step holds. `after_id`: measured once done."""

    __tablename__ = "room_change_step"
    __table_args__ = (
        one_of("state", STATES),
        check("after_when", "after_id IS NULL OR state = 'done'"),
    )

    change_id: int = Field(foreign_key="room_change.id", index=True)
    state: str
    after_id: int | None = Field(
        default=None, foreign_key="room_measure.id", index=True
    )
    recorded_at: datetime
    recorded_by: int = Field(foreign_key="person.id")


class NotNow(StaleVersion):
    """A change that cannot go there from where it is."""

    sentence = "Somebody moved this on meanwhile: look at the list again."


@dataclass(frozen=True, slots=True)
class ChangeNow:
    """A change, how far it is, and its measurements before and after."""

    row: RoomChange
    state: str
    since: datetime
    before: RoomMeasure | None
    after: RoomMeasure | None


#: What the program itself writes into a row, and no form.
_OURS: Final = frozenset(
    (
        "id", "uid", "visit_id", "recorded_at", "recorded_by", "voided_at",
        "voided_by", "void_reason",
    )
)  # fmt: skip


def _said(row: RoomMeasure | RoomChange) -> dict[str, Any]:
    return {k: v for k, v in row.model_dump().items() if k not in _OURS}


def record_measure(
    session: Session,
    person: Person,
    visit: Visit,
    said: Mapping[str, Any],
    *,
    uid: str,
    now: datetime,
) -> tuple[RoomMeasure, bool]:
    """Keep one; True says that it is new. The same id with other words is refused."""
    patient_id = _patient_of(session, person, visit, "record_visit")
    row = RoomMeasure(
        **said, uid=uid, visit_id=visit.id, recorded_at=now, recorded_by=person.id
    )
    known = session.exec(select(RoomMeasure).where(RoomMeasure.uid == uid)).first()
    if known is not None:
        _same(session, known, row, patient_id)
        return known, False
    session.add(row)
    session.flush()
    audit.deed(session, "measured_room", row, by=person.id, now=now)
    return row, True


def _patient_of(session: Session, person: Person, visit: Visit, deed: str) -> int:
    episode = session.get_one(Episode, visit.episode_id)
    return patient_for(session, person, episode.patient_id, deed).id


def _same(
    session: Session,
    known: RoomMeasure | RoomChange,
    row: RoomMeasure | RoomChange,
    patient_id: int,
) -> None:
    """The same person, patient and words, also when it is sent after midnight."""
    visit = session.get_one(Visit, known.visit_id)
    of = session.get_one(Episode, visit.episode_id).patient_id
    mine = (known.recorded_by, of) == (row.recorded_by, patient_id)
    if not mine or _said(known) != _said(row):
        raise SameIdOtherBody


def measure_for(
    session: Session, person: Person, measure_id: int, deed: str = "see_patient"
) -> tuple[RoomMeasure, Patient]:
    """A measurement and its patient, if `person` may do `deed` to them."""
    row = session.get(RoomMeasure, measure_id)
    if row is None:
        raise NotFound
    return row, _fetched(session, person, row.visit_id, deed)


def change_for(
    session: Session, person: Person, change_id: int, deed: str = "see_patient"
) -> tuple[RoomChange, Patient]:
    row = session.get(RoomChange, change_id)
    if row is None:
        raise NotFound
    return row, _fetched(session, person, row.visit_id, deed)


def _fetched(session: Session, person: Person, visit_id: int, deed: str) -> Patient:
    visit = session.get_one(Visit, visit_id)
    episode = session.get_one(Episode, visit.episode_id)
    return patient_for(session, person, episode.patient_id, deed)


def void_measure(
    session: Session, person: Person, row: RoomMeasure, *, reason: str, now: datetime
) -> None:
    """It stays as it was recorded and no longer counts; the first reason is kept."""
    void(session, person, row, "voided_room_measure", reason, now)


def measures_of(session: Session, patient_id: int) -> Sequence[RoomMeasure]:
    """All of a patient, the latest first; voided ones too."""
    wanted = (
        select(RoomMeasure)
        .join(Visit, col(Visit.id) == col(RoomMeasure.visit_id))
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .where(Episode.patient_id == patient_id)
    )
    latest = (col(RoomMeasure.recorded_at).desc(), col(RoomMeasure.id).desc())
    return session.exec(wanted.order_by(*latest)).all()


def measures_in(session: Session, visit: Visit) -> Sequence[RoomMeasure]:
    """All of one visit in order, the voided ones too."""
    return _in_visit(session, visit.id).all()


_in_visit = rows_by(RoomMeasure, "visit_id", "id")


def add_change(
    session: Session,
    person: Person,
    visit: Visit,
    said: Mapping[str, Any],
    *,
    uid: str,
    now: datetime,
) -> RoomChange:
    """Propose one. `before_id` must be of the same patient: whoever calls looks."""
    patient_id = _patient_of(session, person, visit, "record_visit")
    row = RoomChange(
        **said, uid=uid, visit_id=visit.id, recorded_at=now, recorded_by=person.id
    )
    known = session.exec(select(RoomChange).where(RoomChange.uid == uid)).first()
    if known is not None:
        _same(session, known, row, patient_id)
        return known
    session.add(row)
    session.flush()
    audit.deed(session, "proposed_room_change", row, by=person.id, now=now)
    _step(session, person, row, "proposed", None, now)
    return row


def _step(
    session: Session,
    person: Person,
    row: RoomChange,
    state: str,
    after_id: int | None,
    now: datetime,
) -> None:
    made = RoomChangeStep(
        change_id=row.id, state=state, after_id=after_id, recorded_at=now,
        recorded_by=person.id,
    )  # fmt: skip
    session.add(made)
    session.flush()
    if state != "proposed":
        audit.deed(session, f"{state}_room_change", made, by=person.id, now=now)


def move_change(
    session: Session,
    person: Person,
    row: RoomChange,
    state: str,
    *,
    now: datetime,
    after_id: int | None = None,
) -> None:
    """Say how far it is; the same again adds nothing."""
    last = _steps(session, [row.id])[row.id]
    if last.state == state and after_id in (None, last.after_id):
        return
    measured = after_id is not None  # what was measured is never refused
    if state not in NEXT[last.state] and not measured:
        raise NotNow
    _step(session, person, row, state, after_id, now)


def _steps(session: Session, change_ids: Iterable[int]) -> dict[int, RoomChangeStep]:
    """The newest step of each."""
    rows = _steps_of(session, list(change_ids))
    return {row.change_id: row for row in rows}


_steps_of = rows_among(RoomChangeStep, "change_id", "id")


def changes_of(session: Session, patient_id: int) -> list[ChangeNow]:
    """All of a patient with how far each is, in the order they were proposed."""
    wanted = (
        select(RoomChange)
        .join(Visit, col(Visit.id) == col(RoomChange.visit_id))
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .where(Episode.patient_id == patient_id)
    )
    rows = session.exec(wanted.order_by(col(RoomChange.id))).all()
    return _now(session, rows)


def changes_in(session: Session, visit: Visit) -> list[ChangeNow]:
    """What was proposed in one visit."""
    return _now(session, _proposed_in(session, visit.id).all())


_proposed_in = rows_by(RoomChange, "visit_id", "id")


def _now(session: Session, rows: Sequence[RoomChange]) -> list[ChangeNow]:
    steps = _steps(session, [row.id for row in rows])
    ids = {row.before_id for row in rows} | {s.after_id for s in steps.values()}
    wanted = select(RoomMeasure).where(col(RoomMeasure.id).in_(ids - {None}))
    measures = {m.id: m for m in session.exec(wanted)} if ids - {None} else {}
    return [
        ChangeNow(
            row,
            steps[row.id].state,
            steps[row.id].recorded_at,
            measures.get(row.before_id or 0),
            measures.get(steps[row.id].after_id or 0),
        )
        for row in rows
    ]
