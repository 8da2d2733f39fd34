"""Sets of activities as they were done. A set is never edited: it is voided.

The ids come from the phone: sent again with the same content they find what they made,
with other content they are refused.
"""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import date, datetime
from typing import Any, Final

from sqlalchemy import JSON
from sqlmodel import Field, Session, col, select

from app.clinical.assistance import CUE_AMOUNTS, CUE_KINDS, LEVELS
from app.clinical.doing import HAND_SUPPORT, OUTCOMES
from app.clinical.make_safe import SYMPTOMS
from app.clinical.visiting import EFFORT_SCALES, NOT_DONE
from app.storage import audit
from app.storage.episodes import Episode, Visit
from app.storage.errors import NotFound, SameIdOtherBody
from app.storage.patients import patient_for
from app.storage.people import Person
from app.storage.prepared import rows_among, rows_by
from app.storage.tables import (
    WORD,
    Numbered,
    Table,
    between,
    check,
    hexadecimal,
    is_only,
    length,
    number_text,
    one_of,
    partial_index,
    signed_number_text,
    uid,
)
from app.storage.trials import DISTANCE_UNITS, LONGEST_MS
from app.storage.voiding import void

LONGEST_NOTE: Final = 300
LONGEST_LOG: Final = 8000
LONGEST_AGAINST: Final = 400
_TAGS: Final = is_only("against", f"{WORD} ")
#: What somebody looks into: see `stop_questions.to_look_into`.
_LOOK_INTO: Final = "outcome = 'stopped' OR against <> ''"


class ActivitySet(Numbered, table=True):
    """One bout of an activity in a visit. Written once; only voiding adds to it.

    `grade` is a plain decimal in the unit of the activity's grade. `log` is what a
    caller called; `override` the reason for which a risk was gone against. `against`
    are the orders or risks, as tags, that it was done against all the same.
    `after_stop` is what was said to go on after a stop for safety of that day.
    """

    __tablename__ = "activity_set"
    __table_args__ = (
        uid(),
        length("activity", 3, 8),
        check("grade", signed_number_text("grade")),
        one_of("outcome", OUTCOMES),
        one_of("reason", NOT_DONE),
        check("reason_when", "reason IS NULL OR outcome = 'not_done'"),
        *(between(name, 0, 9999) for name in (
            "reps", "steps", "steps_to_recover", "passes", "hazards", "calls",
            "correct", "errors",
        )),
        between("time_ms", 0, LONGEST_MS),
        check("distance", number_text("distance")),
        one_of("distance_unit", DISTANCE_UNITS),
        check("unit_with_distance", "(distance IS NULL) = (distance_unit IS NULL)"),
        check(
            "correct_of_calls",
            "correct IS NULL OR (calls IS NOT NULL AND correct <= calls)",
        ),
        one_of("hand_support", HAND_SUPPORT),
        one_of("level", LEVELS),
        between("helpers", 0, 4),
        one_of("cue_kind", CUE_KINDS),
        one_of("cue_amount", CUE_AMOUNTS),
        one_of("effort_scale", EFFORT_SCALES),
        between("effort", 0, 20),
        check("effort_which", "(effort IS NULL) = (effort_scale IS NULL)"),
        length("note", 0, LONGEST_NOTE),
        length("override", 0, LONGEST_NOTE),
        check(
            "against",
            f"length(against) <= {LONGEST_AGAINST} AND {_TAGS}",
        ),
        partial_index(
            "ix_activity_set_look_into",
            "recorded_by",
            rule=_LOOK_INTO,
        ),
        hexadecimal("body_hash", 64),
        check(
            "voided",
            "(voided_at IS NULL AND voided_by IS NULL AND void_reason IS NULL) OR "
            "(voided_at IS NOT NULL AND voided_by IS NOT NULL "
            "AND void_reason IS NOT NULL AND length(void_reason) BETWEEN 1 AND 500)",
        ),
    )  # fmt: skip

    uid: str = Field(unique=True)
    visit_id: int = Field(foreign_key="visit.id", index=True)
    activity: str
    outcome: str
    reason: str | None = None
    grade: str | None = None
    reps: int | None = None
    holds_ms: list[int] = Field(sa_type=JSON)
    time_ms: int | None = None
    distance: str | None = None
    distance_unit: str | None = None
    steps: int | None = None
    steps_to_recover: int | None = None
    passes: int | None = None
    hazards: int | None = None
    calls: int | None = None
    correct: int | None = None
    errors: int | None = None
    hand_support: str | None = None
    level: str | None = None
    helpers: int | None = None
    cue_kind: str | None = None
    cue_amount: str | None = None
    effort: int | None = None
    effort_scale: str | None = None
    no_symptom: bool = False
    note: str = ""
    override: str = ""
    against: str = ""
    after_stop: bool | None = None
    log: dict[str, Any] = Field(sa_type=JSON)
    done_at: datetime
    recorded_at: datetime
    recorded_by: int = Field(foreign_key="person.id")
    body_hash: str
    voided_at: datetime | None = None
    voided_by: int | None = Field(default=None, foreign_key="person.id")
    void_reason: str | None = None


class SetSymptom(Table, table=True):
    """A symptom that came with a set. Written with it."""

    __tablename__ = "set_symptom"
    __table_args__ = (one_of("symptom", SYMPTOMS),)

    set_id: int = Field(foreign_key="activity_set.id", primary_key=True)
    symptom: str = Field(primary_key=True)


@dataclass(frozen=True, slots=True)
class SetBody:
    """What the phone says of a set; None and empty mean that nobody said it."""

    outcome: str = "done"
    reason: str | None = None
    grade: str | None = None
    reps: int | None = None
    holds_ms: list[int] = field(default_factory=list)
    time_ms: int | None = None
    distance: str | None = None
    distance_unit: str | None = None
    steps: int | None = None
    steps_to_recover: int | None = None
    passes: int | None = None
    hazards: int | None = None
    calls: int | None = None
    correct: int | None = None
    errors: int | None = None
    hand_support: str | None = None
    level: str | None = None
    helpers: int | None = None
    cue_kind: str | None = None
    cue_amount: str | None = None
    effort: int | None = None
    effort_scale: str | None = None
    symptoms: tuple[str, ...] = ()
    no_symptom: bool = False
    note: str = ""
    override: str = ""
    after_stop: bool | None = None
    log: dict[str, Any] = field(default_factory=dict)


def record_set(
    session: Session,
    person: Person,
    visit: Visit,
    activity: str,
    *,
    uid: str,
    body: SetBody,
    at: datetime,
    now: datetime,
    against: str = "",
) -> tuple[ActivitySet, bool]:
    """Keep a set; True says that it is new, False that this id was kept before.

    Whether the activity is allowed is asked by who calls: it needs the catalogue, and
    says what it was done `against`. What was done is kept in any case.
    """
    episode = session.get_one(Episode, visit.episode_id)
    patient_for(session, person, episode.patient_id, "record_visit")
    body_hash = _hash(episode.patient_id, activity, asdict(body))
    known = set_by_uid(session, uid)
    if known is not None:
        if (known.recorded_by, known.body_hash) != (person.id, body_hash):
            raise SameIdOtherBody
        return known, False
    row = ActivitySet(
        **{k: v for k, v in asdict(body).items() if k != "symptoms"},
        uid=uid,
        visit_id=visit.id,
        activity=activity,
        against=against,
        done_at=at,
        recorded_at=now,
        recorded_by=person.id,
        body_hash=body_hash,
    )
    _add(session, row, body.symptoms)
    return row, True


def _add(session: Session, row: ActivitySet, symptoms: Sequence[str]) -> None:
    session.add(row)
    session.flush()
    session.add_all(SetSymptom(set_id=row.id, symptom=s) for s in {*symptoms})
    session.flush()
    did = "recorded_set_against" if row.against else "recorded_set"
    audit.deed(session, did, row, by=row.recorded_by, now=row.recorded_at)


def _hash(patient_id: int, activity: str, said: dict[str, Any]) -> str:
    """Without what was not asked yet when older phones and rows were made."""
    if said["after_stop"] is None:
        said = {name: value for name, value in said.items() if name != "after_stop"}
    text = json.dumps([patient_id, activity, said], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()


def set_by_uid(session: Session, uid: str) -> ActivitySet | None:
    return session.exec(select(ActivitySet).where(ActivitySet.uid == uid)).first()


def set_for(
    session: Session, person: Person, set_id: int, deed: str = "see_patient"
) -> tuple[ActivitySet, Visit]:
    """The set and its visit, if `person` may do `deed` to its patient."""
    row = session.get(ActivitySet, set_id)
    if row is None:
        raise NotFound
    visit = session.get_one(Visit, row.visit_id)
    episode = session.get_one(Episode, visit.episode_id)
    patient_for(session, person, episode.patient_id, deed)
    return row, visit


def void_set(
    session: Session, person: Person, set_id: int, *, reason: str, now: datetime
) -> ActivitySet:
    """Take a set out of the record's sums; one voided before keeps its reason."""
    row, _ = set_for(session, person, set_id, "record_visit")
    void(session, person, row, "voided_set", reason, now)
    return row


def sets_of(
    session: Session, patient_id: int, *, activity: str = "", voided: bool = False
) -> Sequence[tuple[ActivitySet, Visit]]:
    """A patient's sets with their visits, oldest first; voided ones when asked."""
    wanted = (
        select(ActivitySet, Visit)
        .join(Visit, col(ActivitySet.visit_id) == col(Visit.id))
        .join(Episode, col(Visit.episode_id) == col(Episode.id))
        .where(Episode.patient_id == patient_id)
    )
    if activity:
        wanted = wanted.where(ActivitySet.activity == activity)
    if not voided:
        wanted = wanted.where(col(ActivitySet.voided_at).is_(None))
    order = (col(Visit.local_date), col(ActivitySet.done_at), col(ActivitySet.id))
    return session.exec(wanted.order_by(*order)).all()


def sets_of_episode(
    session: Session, episode: Episode
) -> Sequence[tuple[ActivitySet, Visit]]:
    """An episode's sets that count, with their visits, oldest first."""
    wanted = (
        select(ActivitySet, Visit)
        .join(Visit, col(ActivitySet.visit_id) == col(Visit.id))
        .where(Visit.episode_id == episode.id, col(ActivitySet.voided_at).is_(None))
    )
    order = (col(Visit.local_date), col(ActivitySet.done_at), col(ActivitySet.id))
    return session.exec(wanted.order_by(*order)).all()


def sets_in(session: Session, visit: Visit) -> Sequence[ActivitySet]:
    """All sets of one visit in order, the voided ones too."""
    return _in_visit(session, visit.id).all()


_in_visit = rows_by(ActivitySet, "visit_id", "id")


def any_set_on(session: Session, patient_id: int, day: date) -> bool:
    """Whether any set of any activity was recorded on a day, by anybody."""
    wanted = (
        select(ActivitySet.id)
        .join(Visit, col(ActivitySet.visit_id) == col(Visit.id))
        .join(Episode, col(Visit.episode_id) == col(Episode.id))
        .where(Episode.patient_id == patient_id, Visit.local_date == day)
    )
    return session.exec(wanted.limit(1)).first() is not None


def symptoms_of(
    session: Session, sets: Sequence[ActivitySet]
) -> dict[int, tuple[str, ...]]:
    """The symptoms of these sets, by the set's number."""
    found: dict[int, tuple[str, ...]] = {}
    for row in _symptoms(session, [row.id for row in sets]):
        found[row.set_id] = (*found.get(row.set_id, ()), row.symptom)
    return found


_symptoms = rows_among(SetSymptom, "set_id", "symptom")
