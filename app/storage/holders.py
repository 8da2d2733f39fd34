"""Who may be made to look after patients whom somebody else adds."""

from collections.abc import Sequence

from sqlmodel import Session, col, select

from app.access import STUDENT
from app.storage.people import Person


def possible_holders(session: Session, by: Person) -> Sequence[Person]:
    """Everybody active of the same world but students; `by` first."""
    wanted = select(Person).where(
        col(Person.active), Person.role != STUDENT, col(Person.is_demo).is_(by.is_demo)
    )
    in_order = wanted.order_by((col(Person.id) == by.id).desc(), col(Person.name))
    return session.exec(in_order).all()
