"""Which trials and sets somebody has to look into, as the database is asked."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final

from sqlalchemy import ColumnElement, literal_column, or_, true
from sqlmodel import Session, col, select

from app.storage.activity_sets import ActivitySet
from app.storage.episodes import Episode, Visit
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.prepared import prepared, rows_among
from app.storage.safety_rows import Of, SafetyEvent, SafetySeen, seen_ids
from app.storage.trials import Round, Trial

#: A trial or set, its test or activity, its day, whose it is, and who recorded it.
Rows = Iterable[Any]
#: What asks for trials and what asks for sets, by one key.
Pair = tuple[Callable[[Session, int], Rows], Callable[[Session, int], Rows]]

_ABOUT: Final = (
    Visit.local_date, Patient.id, Patient.label, Person.name, Person.role,
)  # fmt: skip


def stopped_trials() -> Any:
    return (
        select(Trial, Round.measure, *_ABOUT)  # type: ignore[call-overload]
        .join(Round, col(Trial.round_id) == col(Round.id))
        .join(Visit, col(Round.visit_id) == col(Visit.id))
        .join(Episode, col(Visit.episode_id) == col(Episode.id))
        .join(Patient, col(Episode.patient_id) == col(Patient.id))
        .join(Person, col(Trial.recorded_by) == col(Person.id))
        # In the statement's text: a bound value would not find the small index.
        .where(col(Trial.outcome) == literal_column("'stopped'"))
        .order_by(col(Visit.local_date), col(Trial.id))
    )


def sets_seen_to() -> Any:
    return (
        select(ActivitySet, ActivitySet.activity, *_ABOUT)  # type: ignore[call-overload]
        .join(Visit, col(ActivitySet.visit_id) == col(Visit.id))
        .join(Episode, col(Visit.episode_id) == col(Episode.id))
        .join(Patient, col(Episode.patient_id) == col(Patient.id))
        .join(Person, col(ActivitySet.recorded_by) == col(Person.id))
        .where(to_look_into())
        .order_by(col(Visit.local_date), col(ActivitySet.id))
    )


def to_look_into() -> ColumnElement[bool]:
    """Of sets: stopped, or done against an order or a risk. As its index has it."""
    return or_(
        col(ActivitySet.outcome) == literal_column("'stopped'"),
        col(ActivitySet.against) != literal_column("''"),
    )


def of_both(
    *where: ColumnElement[bool], unless_seen: ColumnElement[bool] | None = None
) -> tuple[Any, Any]:
    """Of trials and of sets; without those with such a look."""
    trials, sets = stopped_trials().where(*where), sets_seen_to().where(*where)
    if unless_seen is not None:
        trials = trials.where(col(Trial.id).not_in(seen_ids("trial", unless_seen)))
        sets = sets.where(col(ActivitySet.id).not_in(seen_ids("set", unless_seen)))
    return trials, sets


def _by(column: Any, unless_seen: ColumnElement[bool] | None = None) -> Pair:
    @prepared
    def trials(key: int) -> Any:
        return of_both(col(column) == key, unless_seen=unless_seen)[0]

    @prepared
    def sets(key: int) -> Any:
        return of_both(col(column) == key, unless_seen=unless_seen)[1]

    return trials, sets


OPEN_OF_PATIENT: Final = _by(Patient.id, unless_seen=true())
OF_VISIT: Final = _by(Visit.id)
OF_EPISODE: Final = _by(Episode.id)


@prepared
def in_round(round_id: int) -> Any:
    return stopped_trials().where(col(Round.id) == round_id)


#: What was noted after such trials or sets, oldest first; and who looked into them.
EVENTS: Final[Mapping[Of, Callable[[Session, list[int]], Iterable[SafetyEvent]]]] = {
    "trial": rows_among(SafetyEvent, "trial_id", "id"),
    "set": rows_among(SafetyEvent, "set_id", "id"),
}
LOOKS: Final[Mapping[Of, Callable[[Session, list[int]], Iterable[SafetySeen]]]] = {
    "trial": rows_among(SafetySeen, "trial_id", "id"),
    "set": rows_among(SafetySeen, "set_id", "id"),
}
