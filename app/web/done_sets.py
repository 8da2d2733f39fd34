"""Rows of sets as the core reads them."""

from collections.abc import Sequence
from decimal import Decimal

from sqlmodel import Session

from app.clinical.doing import NUMBERS, DoneSet
from app.storage.activity_sets import ActivitySet, sets_of, symptoms_of
from app.storage.episodes import Visit
from app.storage.safety import Answers, answers_of_sets


def done_sets(session: Session, patient_id: int, activity: str = "") -> list[DoneSet]:
    """A patient's sets that count, oldest first."""
    found = sets_of(session, patient_id, activity=activity)
    return as_done(session, found)


def as_done(
    session: Session, found: Sequence[tuple[ActivitySet, Visit]]
) -> list[DoneSet]:
    symptoms = symptoms_of(session, [row for row, _ in found])
    stopped = [row.id for row, _ in found if row.outcome == "stopped"]
    answers = answers_of_sets(session, stopped)
    return [
        _done(row, visit, symptoms.get(row.id, ()), answers.get(row.id, Answers()))
        for row, visit in found
    ]


def _done(
    row: ActivitySet, visit: Visit, symptoms: Sequence[str], answers: Answers
) -> DoneSet:
    numbers = {name: getattr(row, name) for name in NUMBERS}
    return DoneSet(
        id=row.id,
        activity=row.activity,
        on=visit.local_date,
        visit_id=visit.id,
        at=row.done_at,
        outcome=row.outcome,
        grade=None if row.grade is None else Decimal(row.grade),
        numbers={name: n for name, n in numbers.items() if n is not None},
        holds_ms=tuple(row.holds_ms),
        distance=None if row.distance is None else Decimal(row.distance),
        distance_unit=row.distance_unit or "",
        hand_support=row.hand_support or "",
        level=row.level or "",
        helpers=row.helpers,
        effort=row.effort,
        effort_scale=row.effort_scale or "",
        symptoms=tuple(sorted({*symptoms, *answers.symptoms})),
        after=answers.what or "",
        no_symptom=row.no_symptom,
    )
