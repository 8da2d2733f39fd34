"""Practice as the pages on agreement and competence need it: attempts, tests, words."""

from collections.abc import Mapping

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.practice.attempt import Attempt
from app.practice.faults import FAULTS
from app.storage.people import Person
from app.storage.practice_beside import attempts_of, shared_attempts, stopped_of
from app.web.practice_book import book


def key_edition() -> str:
    """The edition of the key that attempts of today are compared with."""
    return book().edition


def practised_tests(shelf: Catalogue) -> Mapping[str, str]:
    """The tests that have simulated trials: id and name, by name."""
    tests = {case.measure for case in book().cases.values()}
    named = {test: shelf.measures[test].name for test in tests}
    return dict(sorted(named.items(), key=lambda pair: pair[1]))


def unit_of(shelf: Catalogue, test: str) -> str:
    """What a test's result is judged in: seconds, a count, or inches.

    A speed and a test that has left the catalogue are judged by their times.
    """
    found = shelf.measures.get(test)
    return {"count": "count", "distance": "in"}.get(found.kind if found else "", "s")


def fault_words(kind: str) -> str:
    """What a fault is called; one of an earlier edition may be known no more."""
    found = FAULTS.get(kind)
    return found.words if found else kind.replace("_", " ")


def own_attempts(session: Session, me: Person) -> tuple[Attempt, ...]:
    """All of one's own, shared or not: for nobody else's eyes."""
    return attempts_of(session, me)


def own_stopped(session: Session, me: Person) -> tuple[Attempt, ...]:
    """One's own that were stopped to make safe, shared or not."""
    return stopped_of(session, me)


def stopped_by(session: Session, person: Person) -> tuple[Attempt, ...]:
    """What one person stopped to make safe, and shared."""
    return tuple(a for a in stopped_of(session, person) if a.shared)


def shared_in_world(session: Session, me: Person) -> tuple[Attempt, ...]:
    """What everybody of the same world shared; whoever calls has asked who may."""
    return shared_attempts(session, is_demo=me.is_demo)


def shared_by(session: Session, person: Person) -> tuple[Attempt, ...]:
    """What one person shared."""
    return tuple(a for a in attempts_of(session, person) if a.shared)
