"""Practice trials that were shown, and what somebody timed and said of each.

Nothing here is about a patient, and no table here points at one. A showing's seed is
drawn before anything of it is served; an attempt keeps the key beside what was said, as
the key was then. An attempt is made once of a showing and never changed; only whom it
is shared with is. It is its owner's own until shared.
"""

import secrets
from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any, Final, cast

from sqlalchemy import JSON, Index
from sqlmodel import Field, Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from app.access import Subject, may
from app.practice.attempt import BEGUN, WAYS, Said, Way
from app.practice.case import Key
from app.practice.make_safe import held_to, safe_from
from app.storage.errors import NotFound, SameIdOtherBody
from app.storage.people import Person, actor
from app.storage.tables import (
    Numbered,
    between,
    check,
    length,
    number_text,
    one_of,
    uid,
)
from app.storage.team_check_rows import TeamCheck

#: Seeds fit a whole number of every database.
SEEDS: Final = 2**31 - 1
#: An hour: no figure moves so long. A clock may be started before the figure.
LONGEST_MS: Final = 3_600_000


class PracticeShowing(Numbered, table=True):
    """One showing of a trial: drawn by `draw`, before the page has it.

    `check_id` and `check_place`: it is one of a team check (`storage/team_checks.py`).
    `way`: whether its figure was handed out or it is told in words, since the words
    with their moments tell the key; None where that was not kept, or not begun yet.
    """

    __tablename__ = "practice_showing"
    __table_args__ = (
        uid(),
        length("case_id", 1, 80),
        length("measure", 1, 80),
        between("trial", 1, 999),
        between("seed", 0, SEEDS),
        length("edition", 1, 64),
        check("of_check", "(check_id IS NULL) = (check_place IS NULL)"),
        one_of("way", BEGUN),
        Index(None, "check_id", "check_place", "person_id", unique=True),
    )

    uid: str = Field(unique=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    case_id: str
    measure: str
    trial: int
    seed: int
    edition: str
    shown_at: datetime
    check_id: int | None = Field(
        default=None, foreign_key=f"{TeamCheck.__tablename__}.id"
    )
    check_place: int | None = None
    way: str | None = None


class PracticeAttempt(Numbered, table=True):
    """What was said of one showing, and its key. Only sharing changes afterwards.

    `way`: watched or read in words; empty where that was not kept. `stays_shared`: a
    sign-off stands on it. `made_safe`: "Stop - make safe" was pressed, in practice
    alone; `key_safe_ms`: from when on the key asks for it, if so. The rest of the key
    is then what had begun by the press, and does not count.
    """

    __tablename__ = "practice_attempt"
    __table_args__ = (
        uid(),
        Index("ix_practice_attempt_shared", "shared", "person_id"),
        between("start_ms", -LONGEST_MS, LONGEST_MS),
        between("stop_ms", -LONGEST_MS, LONGEST_MS),
        between("typed_ms", 1, LONGEST_MS),
        check("one_time", "(start_ms IS NULL) = (stop_ms IS NULL)"),
        check("watched_or_read", "start_ms IS NULL OR typed_ms IS NULL"),
        check("order", "start_ms <= stop_ms"),
        between("count", 0, 999),
        between("key_count", 0, 999),
        one_of("way", WAYS),
        check("distance", f"distance = '' OR ({number_text('distance')})"),
        check("stays_shared", "shared OR NOT stays_shared"),
        check("made_safe", "NOT made_safe OR (start_ms IS NULL AND typed_ms IS NULL)"),
        check("made_safe_ms", "made_safe OR made_safe_ms IS NULL"),
    )

    uid: str = Field(unique=True)
    showing_id: int = Field(foreign_key="practice_showing.id", unique=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    start_ms: int | None = None
    stop_ms: int | None = None
    typed_ms: int | None = None
    splits: list[int] = Field(sa_type=JSON)
    count: int | None = None
    distance: str = ""
    faults_said: list[str] = Field(sa_type=JSON)
    valid_said: bool | None = None
    way: str = ""
    key_start_ms: int
    key_stop_ms: int
    key_splits: list[int] = Field(sa_type=JSON)
    key_faults: list[str] = Field(sa_type=JSON)
    key_valid: bool
    key_count: int | None = None
    key_distance: str = ""
    sent_at: datetime
    shared: bool = False
    stays_shared: bool = False
    made_safe: bool = False
    made_safe_ms: int | None = None
    key_safe_ms: int | None = None


def draw(
    session: Session,
    person: Person,
    *,
    case: str,
    measure: str,
    trial: int,
    edition: str,
    uid: str,
    now: datetime,
    seed: int | None = None,
    of_check: tuple[int, int] | None = None,
) -> tuple[PracticeShowing, bool]:
    """A showing with a seed nobody chose, and whether it is new; the same id finds it.

    `seed` is given where several people are to see the very same trial; `of_check` is
    then the team check and the place in it.

    Raises:
        SameIdOtherBody: the id is another person's, or of another trial.
    """
    wanted = select(PracticeShowing).where(PracticeShowing.uid == uid)
    known = session.exec(wanted).first()
    if known is not None:
        if (known.person_id, known.case_id, known.trial) != (person.id, case, trial):
            raise SameIdOtherBody
        return known, False
    if seed is None:
        seed = _seed(session, person, case, trial, edition)
    check_id, place = of_check or (None, None)
    row = PracticeShowing(
        uid=uid, person_id=person.id, case_id=case, measure=measure, trial=trial,
        seed=seed, edition=edition, shown_at=now, check_id=check_id, check_place=place,
    )  # fmt: skip
    session.add(row)
    session.flush()
    return row, True


def _seed(session: Session, person: Person, case: str, trial: int, edition: str) -> int:
    """One that others of this world were shown and this person was not; else a new one.

    So that several raters see the very same trials and can be compared. Which of them
    is drawn by chance, so that nobody can be told beforehand what they will see.
    """
    own = select(PracticeShowing.seed).where(
        PracticeShowing.person_id == person.id,
        PracticeShowing.case_id == case,
        PracticeShowing.trial == trial,
    )
    wanted = (
        select(PracticeShowing.seed)
        .join(Person, col(PracticeShowing.person_id) == Person.id)
        .where(
            PracticeShowing.case_id == case,
            PracticeShowing.trial == trial,
            PracticeShowing.edition == edition,
            col(Person.is_demo).is_(person.is_demo),
            # A team check's are seen there first, by all in it, or not at all.
            col(PracticeShowing.check_id).is_(None),
            col(PracticeShowing.seed).not_in(own),
        )
        .distinct()
    )
    if may(actor(person), "see_shared_practice", Subject(person.is_demo)):
        wanted = wanted.where(col(PracticeShowing.seed).not_in(_shared(case, trial)))
    others = session.exec(wanted).all()
    return secrets.choice(others) if others else secrets.randbelow(SEEDS)


def _shared(case: str, trial: int) -> SelectOfScalar[int]:
    """Seeds whose keys a reader of shared practice may have looked at."""
    return (
        select(PracticeShowing.seed)
        .join(PracticeAttempt)
        .where(
            PracticeShowing.case_id == case,
            PracticeShowing.trial == trial,
            col(PracticeAttempt.shared),
        )
    )


def showing_for(session: Session, person: Person, showing_id: int) -> PracticeShowing:
    """Their own; anybody else's is not there."""
    row = session.get(PracticeShowing, showing_id)
    if row is None or row.person_id != person.id:
        raise NotFound
    return row


def begin_as(session: Session, showing: PracticeShowing, way: Way) -> Way:
    """How it is begun: as was chosen first, whatever is asked for later."""
    if showing.way is None:
        showing.way = way
        session.add(showing)
        session.flush()
    return begun_as(showing)


def begun_as(showing: PracticeShowing) -> Way:
    """Watched or in words; empty where that was not kept."""
    return cast(Way, showing.way or "")


def send(
    session: Session,
    person: Person,
    showing: PracticeShowing,
    said: Said,
    key: Key,
    *,
    now: datetime,
) -> PracticeAttempt:
    """Keep what was said of a showing: once. The same again finds it.

    Raises:
        SameIdOtherBody: something else was sent of this showing before.
    """
    showing_for(session, person, showing.id)
    known = sent_of(session, showing)
    if known is not None:
        if said_of(known) != said:
            raise SameIdOtherBody
        return known
    row = PracticeAttempt(
        **_columns(said, key),
        uid=showing.uid,
        showing_id=showing.id,
        person_id=person.id,
        sent_at=now,
    )
    session.add(row)
    session.flush()
    return row


def _columns(said: Said, key: Key) -> dict[str, Any]:
    told, due = asdict(said), safe_from(key)
    if said.made_safe:
        key = held_to(key, said.made_safe_ms, said.faults)
    return {
        **{name: told[name] for name in _AS_SAID},
        "splits": list(said.splits),
        "faults_said": sorted(said.faults),
        "valid_said": said.valid,
        "key_start_ms": key.start_ms,
        "key_stop_ms": key.stop_ms,
        "key_splits": list(key.splits),
        "key_faults": sorted({fault.kind for fault in key.faults}),
        "key_valid": key.valid,
        "key_count": key.count,
        "key_distance": "" if key.distance is None else str(key.distance),
        "key_safe_ms": due,
    }


_AS_SAID: Final = (
    "start_ms", "stop_ms", "typed_ms", "count", "distance", "way", "made_safe",
    "made_safe_ms",
)  # fmt: skip


def said_of(row: PracticeAttempt) -> Said:
    """What was sent, as a plain value."""
    return Said(
        **{name: getattr(row, name) for name in _AS_SAID},
        splits=tuple(row.splits),
        faults=tuple(row.faults_said),
        valid=row.valid_said,
    )


def sent_of(session: Session, showing: PracticeShowing) -> PracticeAttempt | None:
    """What was sent of a showing, if anything was."""
    wanted = select(PracticeAttempt).where(PracticeAttempt.showing_id == showing.id)
    return session.exec(wanted).first()


def rows_of(
    session: Session, person: Person
) -> Sequence[tuple[PracticeAttempt, PracticeShowing]]:
    """All a person's own, read in words too, newest first."""
    wanted = (
        select(PracticeAttempt, PracticeShowing)
        .join(PracticeShowing)
        .where(PracticeAttempt.person_id == person.id)
        .order_by(col(PracticeAttempt.id).desc())
    )
    return session.exec(wanted).all()
