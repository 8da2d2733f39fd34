"""Practice as the pages on agreement and competence need it: attempts, tests, words."""

from sqlmodel import Session

from app.practice.attempt import Attempt
from app.storage.people import Person
from app.storage.practice import attempts_of, shared_attempts


def own_attempts(session: Session, me: Person) -> tuple[Attempt, ...]:
    """All of one's own, shared or not: for nobody else's eyes."""
    return attempts_of(session, me)


def shared_in_world(session: Session, me: Person) -> tuple[Attempt, ...]:
    """What everybody of the same world shared; whoever calls has asked who may."""
    return shared_attempts(session, is_demo=me.is_demo)


def shared_by(session: Session, person: Person) -> tuple[Attempt, ...]:
    """What one person shared."""
    return tuple(a for a in attempts_of(session, person) if a.shared)
