"""What was seen in a visit, append-only: symptoms, vital signs, tasks, limits.

Each row carries the id its form made, so that a repeat finds it; a task may be voided
with a reason, and nothing is changed.
"""

from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime
from functools import cache
from typing import Any, Final, TypeVar
from uuid import uuid4

from sqlmodel import Field, Session, col, select

from app.clinical.assistance import CUE_AMOUNTS, CUE_KINDS, FEDERAL, LEVELS
from app.clinical.visiting import (
    ARMS,
    CARRIERS,
    DEVICES,
    EFFORT_SCALES,
    FLOW_TENTHS,
    LIMITED,
    NOT_DONE,
    OPEN_FLOW,
    POSITIONS,
    SET_UPS,
    TASKS,
    VITALS,
    Limit,
)
from app.storage import audit
from app.storage.episodes import Episode, Visit
from app.storage.errors import SameIdOtherBody
from app.storage.patients import patient_for
from app.storage.people import Person
from app.storage.prepared import rows_among, rows_by
from app.storage.tables import (
    Numbered,
    between,
    check,
    hexadecimal,
    is_one_of,
    length,
    one_of,
    uid,
)
from app.storage.voiding import void

_BOUNDS: Final = tuple(between(name, v.low, v.high) for name, v in VITALS.items())


class SymptomCheck(Numbered, table=True):
    """Answers at the start of a visit, each of which may stay open.

    Answers tapped one after the other are rows of one `asking`: the id of the form.
    """

    __tablename__ = "symptom_check"
    __table_args__ = (
        uid(),
        one_of("agreed", ("yes", "declined")),
        one_of("dizzy", ("yes", "no")),
        one_of("fell", ("yes", "no")),
        one_of("slept", ("well", "badly")),
        between("pain", 0, 10),
        length("words", 0, 300),
        hexadecimal("asking", 32),
    )

    uid: str = Field(unique=True)
    visit_id: int = Field(foreign_key="visit.id", index=True)
    asking: str | None = None
    agreed: str | None = None
    pain: int | None = None
    dizzy: str | None = None
    fell: str | None = None
    slept: str | None = None
    words: str = ""
    recorded_at: datetime
    recorded_by: int = Field(foreign_key="person.id")


class VitalSigns(Numbered, table=True):
    """One set, in one position."""

    __tablename__ = "vital_signs"
    __table_args__ = (
        uid(),
        one_of("position", POSITIONS),
        one_of("arm", ARMS),
        one_of("effort_scale", EFFORT_SCALES),
        between("effort", 0, 20),
        check("effort_which", "(effort IS NULL) = (effort_scale IS NULL)"),
        check("pressures", "diastolic < systolic"),
        length("oxygen", 0, 40),
        one_of("carrier", CARRIERS),
        between("flow_tenths", *FLOW_TENTHS),
        check("flow_of", "flow_tenths IS NULL OR carrier IS NOT NULL"),
        check(
            "flow_when",
            f"carrier IS NULL OR {is_one_of('carrier', OPEN_FLOW)} "
            "OR flow_tenths IS NOT NULL",
        ),
        check("flow_none", "carrier <> 'room_air' OR flow_tenths IS NULL"),
        between("temperature_tenths", 300, 440),
        *_BOUNDS,
    )

    uid: str = Field(unique=True)
    visit_id: int = Field(foreign_key="visit.id", index=True)
    position: str
    arm: str | None = None
    systolic: int | None = None
    diastolic: int | None = None
    heart_rate: int | None = None
    saturation: int | None = None
    oxygen: str = ""  # as it was written before there was a list
    carrier: str | None = None
    flow_tenths: int | None = None
    breathing: int | None = None
    pain: int | None = None
    dizziness: int | None = None
    effort: int | None = None
    effort_scale: str | None = None
    temperature_tenths: int | None = None
    recorded_at: datetime
    recorded_by: int = Field(foreign_key="person.id")


class VitalLimit(Numbered, table=True):
    """What the order says of one vital sign; the newest row of a kind holds."""

    __tablename__ = "vital_limit"
    __table_args__ = (
        one_of("vital", LIMITED),
        between("low", 0, 300),
        between("high", 0, 300),
        check("range", "low < high"),
        length("set_by", 1, 80),
    )

    episode_id: int = Field(foreign_key="episode.id", index=True)
    vital: str
    low: int | None = None
    high: int | None = None
    set_by: str
    set_on: date
    recorded_at: datetime
    recorded_by: int = Field(foreign_key="person.id")


class TaskObservation(Numbered, table=True):
    """How one task of the day went, without any test."""

    __tablename__ = "task_observation"
    __table_args__ = (
        uid(),
        one_of("task", TASKS),
        one_of("level", LEVELS),
        one_of("not_done", NOT_DONE),
        check("one_of_both", "(level IS NULL) <> (not_done IS NULL)"),
        between("share", 0, 100),
        between("helpers", 0, 4),
        one_of("cue_kind", CUE_KINDS),
        one_of("cue_amount", CUE_AMOUNTS),
        one_of("federal", FEDERAL),
        one_of("device_kind", DEVICES),
        one_of("set_up_kind", SET_UPS),
        length("device", 0, 80),
        length("set_up", 0, 200),
        length("note", 0, 300),
        check(
            "voided",
            "(voided_at IS NULL AND void_reason IS NULL) OR "
            "(voided_at IS NOT NULL AND length(void_reason) BETWEEN 1 AND 200)",
        ),
        check("void_who", "voided_by IS NULL OR voided_at IS NOT NULL"),
    )

    uid: str = Field(unique=True)
    visit_id: int = Field(foreign_key="visit.id", index=True)
    task: str
    level: str | None = None
    not_done: str | None = None
    share: int | None = None
    helpers: int = 0
    cue_kind: str | None = None
    cue_amount: str | None = None
    federal: str | None = None
    device_kind: str | None = None
    set_up_kind: str | None = None
    device: str = ""
    set_up: str = ""
    note: str = ""
    recorded_at: datetime
    recorded_by: int = Field(foreign_key="person.id")
    voided_at: datetime | None = None
    voided_by: int | None = Field(default=None, foreign_key="person.id")
    void_reason: str | None = None


class TaskCode(Numbered, table=True):
    """The federal code somebody gave a task after it was recorded; the newest holds.

    `proposed` is what stood beside it then, if anything did.
    """

    __tablename__ = "task_code"
    __table_args__ = (one_of("code", FEDERAL), one_of("proposed", FEDERAL))

    task_id: int = Field(foreign_key="task_observation.id", index=True)
    code: str
    proposed: str | None = None
    recorded_at: datetime
    recorded_by: int = Field(foreign_key="person.id")


Row = TypeVar("Row", SymptomCheck, VitalSigns, TaskObservation)
#: What the program itself writes into a row, and no form.
_OURS: Final = frozenset(
    (
        "id",
        "uid",
        "visit_id",
        "asking",
        "recorded_at",
        "recorded_by",
        "voided_at",
        "voided_by",
        "void_reason",
    )
)


def record(
    session: Session,
    person: Person,
    visit: Visit,
    table: type[Row],
    said: Mapping[str, Any],
    *,
    uid: str,
    now: datetime,
) -> Row:
    """Keep one; the same id again finds it, and with other words it is refused."""
    episode = session.get_one(Episode, visit.episode_id)
    patient_for(session, person, episode.patient_id, "record_visit")
    row = table(
        **said, uid=uid, visit_id=visit.id, recorded_at=now, recorded_by=person.id
    )
    known = session.exec(select(table).where(table.uid == uid)).first()
    if known is not None:
        if _said(known) != _said(row) or known.visit_id != visit.id:
            raise SameIdOtherBody
        return known
    session.add(row)
    session.flush()
    audit.deed(session, f"recorded_{table.__tablename__}", row, by=person.id, now=now)
    return row


def _said(row: SymptomCheck | VitalSigns | TaskObservation) -> dict[str, Any]:
    return {k: v for k, v in row.model_dump().items() if k not in _OURS}


def recorded(session: Session, visit: Visit, table: type[Row]) -> Sequence[Row]:
    """All of one kind in a visit, in order."""
    rows: Sequence[Row] = _recorded(table)(session, visit.id).all()
    return rows


_recorded = cache(lambda table: rows_by(table, "visit_id", "id"))


def recorded_in(
    session: Session, visit_ids: Collection[int], table: type[Row]
) -> Sequence[Row]:
    """All of one kind in several visits, in order."""
    wanted = select(table).where(col(table.visit_id).in_(visit_ids))
    return session.exec(wanted.order_by(col(table.id))).all()


def merged(rows: Sequence[SymptomCheck]) -> dict[str, Any]:
    """What several rows of one asking say together: the newest word on each."""
    said: dict[str, Any] = {}
    for row in rows:
        said |= {k: v for k, v in _said(row).items() if v not in (None, "")}
    return said


def asked(session: Session, visit: Visit, asking: str) -> Sequence[SymptomCheck]:
    """The rows of one asking, in order."""
    wanted = select(SymptomCheck).where(
        SymptomCheck.visit_id == visit.id, SymptomCheck.asking == asking
    )
    return session.exec(wanted.order_by(col(SymptomCheck.id))).all()


def answer(
    session: Session,
    person: Person,
    visit: Visit,
    said: Mapping[str, Any],
    *,
    asking: str,
    now: datetime,
) -> None:
    """Keep what is new of a form that is sent again at each of its taps."""
    before = merged(asked(session, visit, asking))
    fresh = {
        k: v for k, v in said.items() if v not in (None, "") and v != before.get(k)
    }
    if fresh:
        fresh["asking"] = asking
        record(
            session, person, visit, SymptomCheck, fresh, uid=uuid4().hex, now=now
        )  # fmt: skip


def give_code(
    session: Session,
    person: Person,
    row: TaskObservation,
    code: str,
    *,
    proposed: str | None,
    now: datetime,
) -> None:
    """Give a task its federal code; the same again adds nothing."""
    last = session.exec(
        select(TaskCode)
        .where(TaskCode.task_id == row.id)
        .order_by(col(TaskCode.id).desc())
    ).first()
    if (last.code if last else row.federal) == code:
        return
    given = TaskCode(
        task_id=row.id, code=code, proposed=proposed, recorded_at=now,
        recorded_by=person.id,
    )  # fmt: skip
    session.add(given)
    session.flush()
    audit.deed(session, "gave_task_code", given, by=person.id, now=now)


def codes_in(session: Session, visit: Visit) -> dict[int, str]:
    """The code that holds for each task of a visit that has one."""
    tasks = recorded(session, visit, TaskObservation)
    codes = {row.id: row.federal for row in tasks if row.federal}
    for given in _codes(session, [t.id for t in tasks]):
        codes[given.task_id] = given.code
    return codes


_codes = rows_among(TaskCode, "task_id", "id")


def void_observation(
    session: Session, person: Person, row: TaskObservation, reason: str, now: datetime
) -> None:
    """It stays as it was recorded, and no longer counts."""
    void(session, person, row, "voided_task", reason, now)


def set_limit(
    session: Session,
    person: Person,
    episode: Episode,
    vital: str,
    limit: Limit,
    *,
    set_by: str,
    on: date,
    now: datetime,
) -> None:
    """Write what the order says; both ends open means that it says nothing any more."""
    patient_for(session, person, episode.patient_id, "set_precaution")
    if limits_of(session, episode).get(vital, Limit(None, None)) == limit:
        return
    row = VitalLimit(
        episode_id=episode.id, vital=vital, low=limit.low, high=limit.high,
        set_by=set_by, set_on=on, recorded_at=now, recorded_by=person.id,
    )  # fmt: skip
    session.add(row)
    session.flush()
    audit.deed(session, "set_limit", row, by=person.id, now=now)


def limits_of(
    session: Session, episode: Episode, at: datetime | None = None
) -> dict[str, Limit]:
    """What holds now, or held at some time before."""
    wanted = select(VitalLimit).where(VitalLimit.episode_id == episode.id)
    if at is not None:
        wanted = wanted.where(col(VitalLimit.recorded_at) <= at)
    rows = session.exec(wanted.order_by(col(VitalLimit.id)))
    return {row.vital: Limit(row.low, row.high) for row in rows}
