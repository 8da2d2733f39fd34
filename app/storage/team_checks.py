"""Team checks: the very same showings, set for several people, so that they compare.

Case, trial and seed of each showing are laid down when the check is set; everybody is
shown them in that order, each once. Nothing here touches a patient.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Final

from sqlmodel import Session, col, func, select

from app.storage import audit
from app.storage.competence import learner, oversees
from app.storage.errors import NotAllowed, NotFound
from app.storage.people import Person
from app.storage.practice import PracticeAttempt, PracticeShowing
from app.storage.team_check_rows import Shown, TeamCheck, TeamCheckMember

#: Trials of one check, at least what agreement is told from, and at most.
FEWEST: Final = 10
MOST: Final = 40


def set_check(
    session: Session,
    by: Person,
    *,
    uid: str,
    measure: str,
    edition: str,
    showings: Sequence[Shown],
    people: Sequence[int],
    now: datetime,
) -> TeamCheck:
    """The same showings for at least two people of one world; the same id finds it."""
    members = [learner(session, by, number) for number in sorted(set(people))]
    if len(members) < 2:
        raise NotAllowed("A team check takes at least two people.")
    known = session.exec(select(TeamCheck).where(TeamCheck.uid == uid)).first()
    if known is not None:
        return known
    row = TeamCheck(
        uid=uid, is_demo=by.is_demo, measure=measure, edition=edition,
        trials=[list(shown) for shown in showings], set_at=now, set_by=by.id,
    )  # fmt: skip
    session.add(row)
    session.flush()
    session.add_all(
        TeamCheckMember(check_id=row.id, person_id=member.id) for member in members
    )
    session.flush()
    audit.deed(session, "set_team_check", row, by=by.id, now=now)
    return row


def checks_of(session: Session, person: Person) -> Sequence[TeamCheck]:
    """Those a person is asked to do, or has done, the newest first."""
    wanted = (
        select(TeamCheck)
        .join(TeamCheckMember)
        .where(TeamCheckMember.person_id == person.id)
        .order_by(col(TeamCheck.id).desc())
    )
    return session.exec(wanted).all()


def check_for(session: Session, person: Person, check_id: int) -> TeamCheck:
    """One that this person is asked to do; any other is not there."""
    row = session.get(TeamCheck, check_id)
    if row is None or session.get(TeamCheckMember, (check_id, person.id)) is None:
        raise NotFound
    return row


def checks_in_world(session: Session, by: Person, measure: str) -> Sequence[TeamCheck]:
    """Of one test, for whoever signs off there, the newest first."""
    if not oversees(by):
        raise NotAllowed
    wanted = select(TeamCheck).where(
        col(TeamCheck.is_demo).is_(by.is_demo), TeamCheck.measure == measure
    )
    return session.exec(wanted.order_by(col(TeamCheck.id).desc())).all()


def members_of(session: Session, check: TeamCheck) -> Sequence[Person]:
    """By name."""
    wanted = (
        select(Person)
        .join(TeamCheckMember)
        .where(TeamCheckMember.check_id == check.id)
        .order_by(func.lower(Person.name), col(Person.id))
    )
    return session.exec(wanted).all()


def shown_in(session: Session, check: TeamCheck, person: Person) -> dict[int, str]:
    """By place, from 1, the showings a person has had, answered or not: their ids."""
    wanted = select(PracticeShowing.check_place, PracticeShowing.uid).where(
        PracticeShowing.check_id == check.id, PracticeShowing.person_id == person.id
    )
    return {place: uid for place, uid in session.exec(wanted) if place}


def sent_in(
    session: Session, check: TeamCheck, *, stopped: bool = False
) -> dict[int, int]:
    """How many trials of it each person has answered, or stopped to make safe."""
    wanted = (
        select(PracticeShowing.person_id, func.count())
        .join(PracticeAttempt)
        .where(PracticeShowing.check_id == check.id)
        .group_by(col(PracticeShowing.person_id))
    )
    if stopped:
        wanted = wanted.where(col(PracticeAttempt.made_safe))
    return dict(session.exec(wanted).all())
