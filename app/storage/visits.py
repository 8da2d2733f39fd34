"""Visits as they went: begun, paused, gone on with, closed; minutes and the exit list.

A pause is a row of its own, so that no minute is edited away. What happens in a visit
is in `observations`; whoever calls has fetched the visit with the right to do so.
"""

from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Final

from sqlalchemy import delete
from sqlmodel import Field, Session, col, func, select
from sqlmodel.sql.expression import SelectOfScalar

from app.access import ASSISTANT, STUDENT, Subject, may
from app.clinical.visiting import (
    EXIT_LIST,
    HAND_OFF_TO,
    JUDGED,
    KINDS,
    MINUTES,
    NOT_DONE,
    PAUSES,
    STRIP_STATES,
)
from app.storage import audit
from app.storage.episodes import Episode, Visit
from app.storage.errors import NotFound, StorageProblem
from app.storage.patients import Patient, patient_for
from app.storage.people import Person, actor
from app.storage.prepared import prepared, rows_by
from app.storage.safety import stops_of_visit
from app.storage.strip_counts import refusal
from app.storage.tables import Numbered, Table, check, one_of
from app.storage.trials import Round, Trial

#: Longer no visit lasts: it was left open.
FORGOTTEN: Final = timedelta(hours=12)
#: The pause that a visit gone on with after its closing was; nobody chooses it.
CLOSING: Final = "closed"

STOP_OPEN: Final = "what followed the stop for safety, which nobody has noted"


class VisitPause(Numbered, table=True):
    """A stretch that does not count. Without an end it goes on."""

    __tablename__ = "visit_pause"
    __table_args__ = (one_of("reason", PAUSES), check("until", "until >= since"))

    visit_id: int = Field(foreign_key="visit.id", index=True)
    since: datetime
    until: datetime | None = None
    reason: str


class ExitItem(Table, table=True):
    """One line of the exit list, done or not applicable; untouched, it has no row.

    `strip_state` says where the strip is; rows from before it was asked have none.
    """

    __tablename__ = "exit_item"
    __table_args__ = (
        one_of("item", EXIT_LIST),
        one_of("state", ("done", "not_applicable")),
        one_of("told_role", HAND_OFF_TO),
        check(
            "told_when",
            "told_role IS NULL OR (item = 'hand_off' AND state = 'done')",
        ),
        one_of("strip_state", STRIP_STATES),
        check(
            "strip_when",
            "strip_state IS NULL OR (item = 'strip' AND "
            "(state = 'not_applicable') = (strip_state = 'none_used'))",
        ),
    )

    visit_id: int = Field(foreign_key="visit.id", primary_key=True)
    item: str = Field(primary_key=True)
    state: str
    told_role: str | None = None
    strip_state: str | None = None
    recorded_at: datetime
    recorded_by: int = Field(foreign_key="person.id")


class NotReady(StorageProblem):
    """A visit that cannot be closed yet: the sentence says what is open."""


def visit_for(
    session: Session, person: Person, visit_id: int, deed: str = "see_patient"
) -> tuple[Visit, Patient]:
    """A visit and its patient, if `person` may do `deed` to them."""
    visit = session.get(Visit, visit_id)
    if visit is None:
        raise NotFound
    episode = session.get_one(Episode, visit.episode_id)
    return visit, patient_for(session, person, episode.patient_id, deed)


def open_visit(
    session: Session, person: Person, patient_id: int, day: date
) -> Visit | None:
    """Somebody's visit of a day to a patient, if it is not closed."""
    return _open(session, patient_id, person.id, day).first()


@prepared
def _open(patient_id: int, person_id: int, day: date) -> SelectOfScalar[Visit]:
    wanted = select(Visit).join(Episode, col(Episode.id) == col(Visit.episode_id))
    return wanted.where(
        Episode.patient_id == patient_id,
        Visit.person_id == person_id,
        Visit.local_date == day,
        col(Visit.closed_at).is_(None),
        Visit.kind != "missed",
    ).order_by(col(Visit.id).desc())


def visits_of(session: Session, patient_id: int, most: int = 200) -> Sequence[Visit]:
    """All visits of a patient, the latest first."""
    wanted = (
        select(Visit)
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .where(Episode.patient_id == patient_id)
    )
    in_order = wanted.order_by(col(Visit.local_date).desc(), col(Visit.id).desc())
    return session.exec(in_order.limit(most)).all()


def trials_in(session: Session, visit_ids: Collection[int]) -> dict[int, int]:
    """How many trials each visit holds, voided ones too."""
    wanted = (
        select(Round.visit_id, func.count(col(Trial.id)))
        .join(Trial, col(Trial.round_id) == col(Round.id))
        .where(col(Round.visit_id).in_(visit_ids))
        .group_by(col(Round.visit_id))
    )
    return dict(session.exec(wanted).all())


def tests_in(session: Session, visit_id: int) -> int:
    """How many different tests a visit holds, finished or not."""
    wanted = select(func.count(func.distinct(Round.measure)))
    return session.exec(wanted.where(Round.visit_id == visit_id)).one()


def visit_with_several(session: Session, round_ids: Collection[int]) -> int | None:
    """The visit that holds two or more of these rounds' tests, the latest such."""
    tests = func.count(func.distinct(Round.measure))
    wanted = (
        select(Round.visit_id)
        .where(col(Round.id).in_(round_ids))
        .group_by(col(Round.visit_id))
        .having(tests > 1)
        .order_by(col(Round.visit_id).desc())
    )
    return session.exec(wanted).first()


def visit_ids_of(session: Session, episode: Episode) -> frozenset[int]:
    """The visits of one episode, by number."""
    return frozenset(_ids_in(session, episode.id))


def visits_in(session: Session, episode: Episode) -> Sequence[Visit]:
    """All of one episode, the missed ones too, oldest first."""
    return _in_episode(session, episode.id).all()


def pauses_of(session: Session, visit: Visit) -> Sequence[VisitPause]:
    return _pauses(session, visit.id).all()


_ids_in = prepared(lambda key: select(Visit.id).where(Visit.episode_id == key))
_pauses = rows_by(VisitPause, "visit_id", "since")
_in_episode = rows_by(Visit, "episode_id", "local_date", "id")
_exits = rows_by(ExitItem, "visit_id")


def set_kind(
    session: Session, person: Person, visit: Visit, kind: str, now: datetime
) -> None:
    """Say what kind of visit it is; the same again changes nothing."""
    if kind not in KINDS or kind == "missed":
        raise NotFound
    if visit.kind == kind:
        return
    visit.kind = kind
    _done(session, person, visit, "set_visit_kind", now)


def _done(
    session: Session, person: Person, visit: Visit, did: str, now: datetime
) -> None:
    session.add(visit)
    session.flush()
    audit.deed(session, did, visit, by=person.id, now=now)


def miss(
    session: Session,
    person: Person,
    visit: Visit,
    *,
    reason: str,
    told: str,
    again: str,
    now: datetime,
) -> None:
    """The visit did not happen: why, who was told, when it is tried again."""
    if reason not in NOT_DONE:
        raise NotFound
    if trials_in(session, [visit.id]):
        raise NotReady("Tests were done in this visit, so it was not missed.")
    visit.kind, visit.missed_reason = "missed", reason
    visit.missed_told, visit.missed_again = told, again
    visit.closed_at, visit.closed_by = visit.closed_at or now, person.id
    _done(session, person, visit, "missed_visit", now)


def pause(
    session: Session, person: Person, visit: Visit, reason: str, now: datetime
) -> VisitPause:
    """Stop the minutes; while it is paused the same again finds that pause."""
    open_pause = _open_pause(session, visit)
    if open_pause is not None:
        return open_pause
    row = VisitPause(visit_id=visit.id, since=now, reason=reason)
    session.add(row)
    session.flush()
    audit.deed(session, "paused_visit", row, by=person.id, now=now)
    return row


def _open_pause(session: Session, visit: Visit) -> VisitPause | None:
    rows = [p for p in pauses_of(session, visit) if p.until is None]
    return rows[0] if rows else None


def resume(
    session: Session, person: Person, visit: Visit, *, today: date, now: datetime
) -> None:
    """Go on, also with a visit that was closed today: leaving is checked again then."""
    row = _open_pause(session, visit)
    if visit.local_date != today:
        raise NotReady("Only today's visit can go on. Start a new one.")
    if row is None and visit.closed_at is not None:
        row = VisitPause(
            visit_id=visit.id, since=visit.closed_at, until=now, reason=CLOSING
        )
        session.exec(delete(ExitItem).where(col(ExitItem.visit_id) == visit.id))
        visit.left_without = ""
        visit.closed_at, visit.closed_by = None, None
    if row is None:
        return
    row.until = max(row.since, now)
    session.add(row)
    _done(session, person, visit, "resumed_visit", now)


def counted_minutes(
    visit: Visit, pauses: Sequence[VisitPause], now: datetime
) -> tuple[int, int]:
    """Whole minutes: all that passed, and those of the pauses.

    A visit that nobody closed on its day tells nothing of its length.
    """
    if (visit.closed_at or now) - visit.started_at > FORGOTTEN:
        return 0, 0
    end = visit.closed_at or now
    total = end - visit.started_at
    away = sum(((min(p.until or end, end) - p.since) for p in pauses), start=end - end)
    return max(0, int(total.total_seconds() // 60)), int(away.total_seconds() // 60)


def set_minutes(
    session: Session,
    person: Person,
    visit: Visit,
    minutes: Mapping[str, int],
    now: datetime,
) -> None:
    """How the minutes were spent; they need not add up, but it is said when not."""
    for name in MINUTES:
        setattr(visit, f"{name}_minutes", minutes.get(name, 0))
    _done(session, person, visit, "set_minutes", now)


def exit_rows(session: Session, visit: Visit) -> Sequence[ExitItem]:
    return _exits(session, visit.id).all()


def exit_items(session: Session, visit: Visit) -> dict[str, str]:
    """Each line that was answered; the hand-off by its role, the strip by its place."""
    rows = exit_rows(session, visit)
    return {row.item: row.told_role or row.strip_state or row.state for row in rows}


def set_exit_items(
    session: Session,
    person: Person,
    visit: Visit,
    states: Mapping[str, str],
    now: datetime,
) -> None:
    """What was looked at on leaving; a line said before takes the newer word.

    The hand-off's word is the role it went to, or that there was none to give; the
    strip's is one of STRIP_STATES, and `refusal` is asked by who calls. A form that is
    sent again at each of its taps changes what is new in it and nothing else.
    """
    said = exit_items(session, visit)
    fresh = {item: word for item, word in states.items() if said.get(item) != word}
    for item, word in fresh.items():
        role = word if word in HAND_OFF_TO else None
        place = word if word in STRIP_STATES else None
        state = "not_applicable" if word == "none_used" else word
        state = "done" if role or (place and state == word) else state
        row = session.get(ExitItem, (visit.id, item)) or ExitItem(
            visit_id=visit.id, item=item, state=state, recorded_at=now,
            recorded_by=person.id,
        )  # fmt: skip
        _strip_moved(visit, row, place, now)
        row.state, row.told_role, row.strip_state = state, role, place
        row.recorded_at, row.recorded_by = now, person.id
        session.add(row)
    if fresh:
        _done(session, person, visit, "left_room", now)


def _strip_moved(visit: Visit, row: ExitItem, place: str | None, now: datetime) -> None:
    """A strip that was left by mistake stays with the visit, but for a slip of a tap.

    It outlives the list: a visit gone on with answers the list again.
    """
    if place == "retrieved":
        visit.strip_left_at = visit.strip_left_at or now
    elif row.strip_state == "retrieved" and visit.strip_left_at == row.recorded_at:
        visit.strip_left_at = None


def may_close(person: Person, patient: Patient, kind: str) -> bool:
    """An assistant signs no evaluation; a student's visit waits for a co-signature."""
    whom = Subject(patient.is_demo, assigned=True)
    if person.role == STUDENT:
        return may(actor(person), "submit_for_co_signature", whom)
    if person.role == ASSISTANT:
        return kind not in JUDGED
    return may(actor(person), "sign_treatment", whom)


def close(
    session: Session,
    person: Person,
    visit: Visit,
    *,
    without_list: str = "",
    now: datetime,
) -> None:
    """End a visit once the exit list and each of its stops for safety were answered.

    Who has to leave says why instead; the supervisor sees that.
    """
    if visit.closed_at is not None:
        return
    answered = exit_items(session, visit)
    open_lines = missing(standing(session, visit, answered))
    stops = [stop for stop in stops_of_visit(session, visit) if stop.is_unanswered]
    if (open_lines or stops) and not without_list:
        open_said = [EXIT_LIST[item] for item in open_lines]
        said = ", ".join([*([STOP_OPEN] if stops else []), *open_said])
        why = refusal(session, visit, answered.get("strip", ""))
        why = f" {why}" if why else ""
        raise NotReady(f"Before you leave: {said}.{why} Or say why you had to go.")
    row = _open_pause(session, visit)
    if row is not None:
        row.until = max(row.since, now)
        session.add(row)
    visit.closed_at, visit.closed_by = now, person.id
    visit.left_without = without_list if open_lines or stops else ""
    _done(session, person, visit, "closed_visit", now)


def standing(
    session: Session, visit: Visit, answered: Mapping[str, str]
) -> dict[str, str]:
    """The answers that may stand: a set or an order since then can undo the strip's."""
    undone = refusal(session, visit, answered.get("strip", ""))
    return {i: word for i, word in answered.items() if i != "strip" or not undone}


def missing(answered: Collection[str]) -> list[str]:
    return [item for item in EXIT_LIST if item not in answered]
