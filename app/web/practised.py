"""Practice as the pages on agreement and competence need it: attempts, tests, words."""

from collections.abc import Mapping

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.practice.attempt import Attempt
from app.storage.people import Person
from app.storage.practice import attempts_of, shared_attempts

TESTS = (
    "five_times_sit_to_stand", "thirty_second_chair_stand", "timed_up_and_go",
    "gait_speed", "functional_reach", "four_square_step", "single_leg_stance",
)  # fmt: skip


def key_edition() -> str:
    return "edition-1"


def practised_tests(shelf: Catalogue) -> Mapping[str, str]:
    """The tests that have simulated patients: id and name, by name."""
    named = {
        test: shelf.measures[test].name for test in TESTS if test in shelf.measures
    }
    return dict(sorted(named.items(), key=lambda pair: pair[1]))


def fault_words(kind: str) -> str:
    return kind.replace("_", " ")


def own_attempts(session: Session, me: Person) -> tuple[Attempt, ...]:
    """All of one's own, shared or not: for nobody else's eyes."""
    return attempts_of(session, me)


def shared_in_world(session: Session, me: Person) -> tuple[Attempt, ...]:
    """What everybody of the same world shared; whoever calls has asked who may."""
    return shared_attempts(session, is_demo=me.is_demo)


def shared_by(session: Session, person: Person) -> tuple[Attempt, ...]:
    """What one person shared."""
    return tuple(a for a in attempts_of(session, person) if a.shared)
