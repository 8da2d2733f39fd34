"""Attempts as plain values, each beside its key: what agreement is judged from."""

from collections.abc import Sequence
from decimal import Decimal
from typing import cast

from sqlmodel import Session, col, select

from app.practice.attempt import Attempt, Beside, Way
from app.practice.make_safe import standing_of
from app.practice.scale import FINE
from app.practice.splits import offs
from app.storage.people import Person
from app.storage.practice import PracticeAttempt, PracticeShowing, rows_of


def attempts_of(session: Session, person: Person) -> tuple[Attempt, ...]:
    """A person's own attempts, watched or read in words, in order."""
    return attempts_in(rows_of(session, person))


def attempts_in(
    pairs: Sequence[tuple[PracticeAttempt, PracticeShowing]],
) -> tuple[Attempt, ...]:
    """Of rows that come newest first, in order.

    One that was stopped to make safe gave no result to be laid beside the key.
    """
    kept = (pair for pair in reversed(pairs) if not pair[0].made_safe)
    return tuple(as_attempt(*pair) for pair in kept)


def stopped_of(session: Session, person: Person) -> tuple[Attempt, ...]:
    """Those of a person that were stopped to make safe, in order."""
    kept = (pair for pair in reversed(rows_of(session, person)) if pair[0].made_safe)
    return tuple(as_attempt(*pair) for pair in kept)


def shared_attempts(session: Session, *, is_demo: bool = False) -> tuple[Attempt, ...]:
    """Shared attempts of one world that were not stopped, in order."""
    wanted = (
        select(PracticeAttempt, PracticeShowing)
        .join(PracticeShowing)
        .join(Person, col(PracticeAttempt.person_id) == Person.id)
        .where(
            col(PracticeAttempt.shared),
            ~col(PracticeAttempt.made_safe),
            Person.is_demo == is_demo,
        )
        .order_by(col(PracticeAttempt.id))
    )
    return tuple(as_attempt(*pair) for pair in session.exec(wanted))


def as_attempt(row: PracticeAttempt, showing: PracticeShowing) -> Attempt:
    """A row as the plain value beside its key; without a stopwatch, without timing."""
    taken = start = stop = None
    if row.start_ms is not None and row.stop_ms is not None:
        taken = row.stop_ms - row.start_ms
        start = row.start_ms - row.key_start_ms
        stop = row.stop_ms - row.key_stop_ms
    return Attempt(
        id=row.id,
        person=row.person_id,
        case=showing.case_id,
        measure=showing.measure,
        trial=showing.trial,
        seed=showing.seed,
        edition=showing.edition,
        taken_ms=taken,
        key_ms=row.key_stop_ms - row.key_start_ms,
        start_off_ms=start,
        stop_off_ms=stop,
        faults_said=frozenset(row.faults_said),
        faults_key=frozenset(row.key_faults),
        valid_said=row.valid_said,
        valid_key=row.key_valid,
        at=row.sent_at,
        shared=row.shared,
        way=cast(Way, row.way),
        split_offs_ms=() if taken is None else offs(row.splits, row.key_splits),
        count=_beside(row.count, row.key_count, "count"),
        distance=_beside(row.distance, row.key_distance, "in"),
        press=standing_of(row.made_safe, row.made_safe_ms, row.key_safe_ms),
    )


def _beside(said: int | str | None, key: int | str | None, unit: str) -> Beside | None:
    """Both in thousandths; None where either was not said."""
    if said is None or key is None or "" in (said, key):
        return None
    return Beside(round(Decimal(said) * FINE), round(Decimal(key) * FINE), unit)
