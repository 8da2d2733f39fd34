"""Hand-offs as they were given: to whom, in which words, and whether they read it back.

A row never changes. A student's hand-off needs a co-signature before it is given, so
that none is recorded under a student's name.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from sqlalchemy import JSON
from sqlmodel import Field, Session, select

from app.access import STUDENT
from app.clinical.hand_off import AUDIENCES, GIVEN_TO, MOST_LETTERS
from app.clinical.visiting import HAND_OFF_TO
from app.storage import audit
from app.storage.episodes import Episode, Visit
from app.storage.errors import NotAllowed, SameIdOtherBody, StorageProblem
from app.storage.patients import patient_for
from app.storage.people import Person
from app.storage.prepared import rows_by
from app.storage.tables import Numbered, check, is_one_of, one_of, uid
from app.storage.visits import exit_items, set_exit_items

NOT_YET: Final = (
    "A student's hand-off needs a co-signature first. Show this card to your "
    "supervisor, who gives it. Nothing was recorded."
)
_PAIRS: Final = " OR ".join(
    f"(audience = '{to}' AND {is_one_of('given_to', roles)})"
    for to, roles in GIVEN_TO.items()
)


class HandOff(Numbered, table=True):
    """One hand-off. `lines` are the words as given, in order."""

    __tablename__ = "hand_off"
    __table_args__ = (
        uid(),
        one_of("audience", AUDIENCES),
        one_of("given_to", HAND_OFF_TO),
        check("given_when", _PAIRS),
    )

    uid: str = Field(unique=True)
    visit_id: int = Field(foreign_key="visit.id", index=True)
    audience: str
    given_to: str
    lines: list[str] = Field(sa_type=JSON)
    read_back: bool
    given_at: datetime
    given_by: int = Field(foreign_key="person.id")


@dataclass(frozen=True, slots=True)
class HandOffBody:
    """What is said of a hand-off when it is given."""

    audience: str
    given_to: str
    lines: tuple[str, ...]
    read_back: bool


class NothingSaid(StorageProblem):
    """A hand-off without a word, or with too many."""

    sentence = "A hand-off holds at least one line, and none that is too long."


def give(
    session: Session,
    person: Person,
    visit: Visit,
    body: HandOffBody,
    *,
    uid: str,
    now: datetime,
) -> HandOff:
    """Record one; an open exit list takes it as its answer, if that is still open.

    The same id again finds the first; with other words it is refused.
    """
    episode = session.get_one(Episode, visit.episode_id)
    patient_for(session, person, episode.patient_id, "record_visit")
    if person.role == STUDENT:
        raise NotAllowed(NOT_YET)
    known = session.exec(select(HandOff).where(HandOff.uid == uid)).first()
    if known is not None:
        if (known.visit_id, known.given_by, body_of(known)) != (
            visit.id, person.id, body,
        ):  # fmt: skip
            raise SameIdOtherBody
        return known
    if not body.lines or any(not 0 < len(s) <= MOST_LETTERS for s in body.lines):
        raise NothingSaid
    row = HandOff(
        uid=uid, visit_id=visit.id, audience=body.audience, given_to=body.given_to,
        lines=list(body.lines), read_back=body.read_back, given_at=now,
        given_by=person.id,
    )  # fmt: skip
    session.add(row)
    session.flush()
    audit.deed(session, "gave_hand_off", row, by=person.id, now=now)
    if visit.closed_at is None and "hand_off" not in exit_items(session, visit):
        set_exit_items(session, person, visit, {"hand_off": body.given_to}, now)
    return row


def body_of(row: HandOff) -> HandOffBody:
    return HandOffBody(row.audience, row.given_to, tuple(row.lines), row.read_back)


def hand_offs_in(session: Session, visit: Visit) -> Sequence[HandOff]:
    """All of a visit, in order."""
    return _in_visit(session, visit.id).all()


_in_visit = rows_by(HandOff, "visit_id", "id")
