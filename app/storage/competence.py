"""What a sign-off of timing and scoring asks for, who was signed off, what to practise.

Nothing here ever changes: a newer rule or list follows the one before, a sign-off that
does not stand is withdrawn with a reason, and both stay. It touches no patient.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date, datetime
from typing import Any, Final

from sqlalchemy import JSON, Index
from sqlmodel import Field, Session, col, func, select

from app.access import Subject, may
from app.practice.competence import Rule
from app.practice.scale import SCALES
from app.storage import audit
from app.storage.errors import NotAllowed, NotFound, StorageProblem
from app.storage.people import Person, actor
from app.storage.tables import Numbered, Table, between, length, one_of, uid

#: Lowest and highest of each threshold; of the result's own in thousandths of its unit.
BOUNDS: Final[Mapping[str, tuple[int, int]]] = {
    "least_trials": (10, 200),
    "most_bias": (10, 5000),
    "most_apart": (10, 10_000),
    "least_seen": (1, 100),
    "least_kappa": (1, 100),
}
#: Rules of two thresholds are still called as they were when all of them were times.
_NAMED: Final = {"most_bias": "most_bias_ms", "most_apart": "most_apart_ms"}
LONGEST_WORDS: Final = 500
MOST_LISTED: Final = 200


class CompetenceRule(Numbered, table=True):
    """What a sign-off of one test and edition of the key asks; the newest counts.

    `unit`: what `most_bias` and `most_apart` are thousandths of. `carried_from`: the
    edition whose thresholds a supervisor confirmed for this one; empty when set anew.
    """

    __tablename__ = "competence_rule"
    __table_args__ = (
        length("measure", 1, 60),
        length("edition", 1, 64),
        *(
            between(name, low, high, called=_NAMED.get(name, name))
            for name, (low, high) in BOUNDS.items()
        ),
        one_of("unit", SCALES),
        length("carried_from", 0, 64),
        Index(None, "is_demo", "measure", "edition"),
    )

    is_demo: bool
    measure: str
    edition: str
    least_trials: int
    most_bias: int
    most_apart: int
    least_seen: int
    least_kappa: int
    unit: str = "s"
    carried_from: str = ""
    set_at: datetime
    set_by: int = Field(foreign_key="person.id")


class CompetenceSignOff(Numbered, table=True):
    """Somebody times and scores one test as the key does. Of that edition alone.

    `figures` are those it rested on, as they were shown; `until` is its last day.
    """

    __tablename__ = "competence_sign_off"
    __table_args__ = (
        uid(),
        length("measure", 1, 60),
        length("edition", 1, 64),
        length("words", 0, LONGEST_WORDS),
    )

    uid: str = Field(unique=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    measure: str
    edition: str
    figures: list[dict[str, Any]] = Field(sa_type=JSON)
    words: str
    until: date | None = None
    signed_at: datetime
    signed_by: int = Field(foreign_key="person.id")


class CompetenceWithdrawal(Table, table=True):
    """A sign-off that no longer stands, and why."""

    __tablename__ = "competence_withdrawal"
    __table_args__ = (length("reason", 1, LONGEST_WORDS),)

    sign_off_id: int = Field(foreign_key="competence_sign_off.id", primary_key=True)
    reason: str
    withdrawn_at: datetime
    withdrawn_by: int = Field(foreign_key="person.id")


class PracticeList(Numbered, table=True):
    """What somebody is asked to practise: trials by test; the newest list counts."""

    __tablename__ = "practice_list"

    person_id: int = Field(foreign_key="person.id", index=True)
    trials: dict[str, int] = Field(sa_type=JSON)
    set_at: datetime
    set_by: int = Field(foreign_key="person.id")


class OwnCompetence(StorageProblem):
    """A record by oneself about oneself is worth nothing."""

    sentence = "Your own sign-off takes another supervisor. Nothing was signed."


def oversees(person: Person) -> bool:
    """Whether they see what others shared, and sign it off."""
    return may(actor(person), "sign_competence", Subject(person.is_demo))


def learners(session: Session, by: Person) -> Sequence[Person]:
    """Everybody of the same world who may sign in, by name."""
    if not oversees(by):
        raise NotAllowed
    wanted = select(Person).where(
        col(Person.is_demo).is_(by.is_demo), col(Person.active)
    )
    return session.exec(wanted.order_by(func.lower(Person.name), col(Person.id))).all()


def learner(session: Session, by: Person, person_id: int) -> Person:
    """Somebody of the same world, for whoever signs off there."""
    if not oversees(by):
        raise NotAllowed
    person = session.get(Person, person_id)
    if person is None or not may(actor(by), "sign_competence", Subject(person.is_demo)):
        raise NotFound
    return person


def rule_for(
    session: Session, person: Person, measure: str, edition: str
) -> CompetenceRule | None:
    """What was set last in this person's world; None: the defaults hold."""
    wanted = select(CompetenceRule).where(
        col(CompetenceRule.is_demo).is_(person.is_demo),
        CompetenceRule.measure == measure,
        CompetenceRule.edition == edition,
    )
    return session.exec(wanted.order_by(col(CompetenceRule.id).desc())).first()


def rule_before(
    session: Session, person: Person, measure: str, edition: str
) -> CompetenceRule | None:
    """What was set last for any other edition; it does not hold for this one."""
    wanted = select(CompetenceRule).where(
        col(CompetenceRule.is_demo).is_(person.is_demo),
        CompetenceRule.measure == measure,
        CompetenceRule.edition != edition,
    )
    return session.exec(wanted.order_by(col(CompetenceRule.id).desc())).first()


def as_rule(row: CompetenceRule) -> Rule:
    """A row as the plain value."""
    return Rule(**{name: getattr(row, name) for name in BOUNDS}, unit=row.unit)


def set_rule(
    session: Session, by: Person, measure: str, edition: str, rule: Rule, now: datetime
) -> CompetenceRule:
    """From now on; sign-offs keep what they rested on. The same again does nothing."""
    return _set(session, by, measure, edition, rule, "set_competence_rule", now)


def carry_rule(
    session: Session, by: Person, measure: str, edition: str, before_id: int,
    now: datetime,
) -> CompetenceRule:  # fmt: skip
    """As before, confirmed for the new key: by a supervisor, and never by itself.

    Raises:
        NotFound: that rule is not the last one of another edition, or this edition
            has one already.
    """
    if not oversees(by):
        raise NotAllowed
    before = rule_before(session, by, measure, edition)
    if before is None or before.id != before_id:
        raise NotFound
    held = rule_for(session, by, measure, edition)
    if held is not None:
        if held.carried_from == before.edition:  # the same form once more
            return held
        raise NotFound
    return _set(
        session, by, measure, edition, as_rule(before), "carried_competence_rule", now,
        carried_from=before.edition,
    )  # fmt: skip


def _set(
    session: Session, by: Person, measure: str, edition: str, rule: Rule, deed: str,
    now: datetime, carried_from: str = "",
) -> CompetenceRule:  # fmt: skip
    if not oversees(by):
        raise NotAllowed
    before = rule_for(session, by, measure, edition)
    if before and as_rule(before) == rule:
        return before
    row = CompetenceRule(
        is_demo=by.is_demo, measure=measure, edition=edition, set_at=now, set_by=by.id,
        carried_from=carried_from, **asdict(rule),
    )  # fmt: skip
    session.add(row)
    session.flush()
    audit.deed(session, deed, row, by=by.id, now=now)
    return row


def sign_offs_of(
    session: Session, person: Person
) -> Sequence[tuple[CompetenceSignOff, CompetenceWithdrawal | None]]:
    """All that were ever made of somebody, the newest first, with what ended them.

    Whoever calls has fetched `person` as themselves or by `learner`.
    """
    joined = col(CompetenceWithdrawal.sign_off_id) == col(CompetenceSignOff.id)
    wanted = (
        select(CompetenceSignOff, CompetenceWithdrawal)
        .outerjoin(CompetenceWithdrawal, joined)
        .where(CompetenceSignOff.person_id == person.id)
    )
    return session.exec(wanted.order_by(col(CompetenceSignOff.id).desc())).all()


def sign(
    session: Session,
    by: Person,
    person: Person,
    *,
    uid: str,
    measure: str,
    edition: str,
    figures: list[dict[str, Any]],
    words: str,
    until: date | None,
    now: datetime,
) -> CompetenceSignOff:
    """Sign somebody off; the same form again is the same sign-off."""
    learner(session, by, person.id)
    if by.id == person.id:
        raise OwnCompetence
    wanted = select(CompetenceSignOff).where(CompetenceSignOff.uid == uid)
    before = session.exec(wanted).first()
    if before is not None:
        return before
    row = CompetenceSignOff(
        uid=uid, person_id=person.id, measure=measure, edition=edition,
        figures=figures, words=words, until=until, signed_at=now, signed_by=by.id,
    )  # fmt: skip
    session.add(row)
    session.flush()
    audit.deed(session, "signed_competence", row, by=by.id, now=now)
    return row


def sign_off_for(session: Session, by: Person, sign_off_id: int) -> CompetenceSignOff:
    """A sign-off of somebody of the same world, for whoever signs off there."""
    if not oversees(by):
        raise NotAllowed
    row = session.get(CompetenceSignOff, sign_off_id)
    if row is None:
        raise NotFound
    learner(session, by, row.person_id)
    return row


def withdraw(
    session: Session, by: Person, row: CompetenceSignOff, reason: str, now: datetime
) -> None:
    """It no longer stands from now on; withdrawn once, it stays withdrawn."""
    learner(session, by, row.person_id)
    if session.get(CompetenceWithdrawal, row.id) is not None:
        return
    session.add(
        CompetenceWithdrawal(
            sign_off_id=row.id, reason=reason, withdrawn_at=now, withdrawn_by=by.id
        )
    )
    session.flush()
    audit.deed(session, "withdrew_competence", row, by=by.id, now=now)


def list_of(session: Session, person: Person) -> PracticeList | None:
    """What they are asked to practise; a list without trials asks for nothing."""
    wanted = select(PracticeList).where(PracticeList.person_id == person.id)
    return session.exec(wanted.order_by(col(PracticeList.id).desc())).first()


def set_list(
    session: Session,
    by: Person,
    person: Person,
    trials: Mapping[str, int],
    now: datetime,
) -> None:
    """Another list instead of the one before; the same again changes nothing."""
    learner(session, by, person.id)
    before = list_of(session, person)
    asked = {measure: many for measure, many in trials.items() if many}
    if asked == (before.trials if before else {}):
        return
    row = PracticeList(person_id=person.id, trials=asked, set_at=now, set_by=by.id)
    session.add(row)
    session.flush()
    audit.deed(session, "set_practice_list", row, by=by.id, now=now)
