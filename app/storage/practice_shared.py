"""Who sees a practice attempt: its owner, and supervisors once it is shared."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select

from app.access import Subject, may
from app.storage import audit
from app.storage.errors import NotFound, StorageProblem
from app.storage.people import Person, actor
from app.storage.practice import PracticeAttempt, PracticeShowing
from app.storage.team_check_rows import TeamCheckMember


class SharedForGood(StorageProblem):
    """A sign-off stands on it."""

    sentence = (
        "A supervisor has signed off on this attempt, so that it stays shared. "
        "Nothing was changed."
    )


class SharedInCheck(StorageProblem):
    """It is one of a team check, in which everybody's trials are compared."""

    sentence = (
        "This trial is one of a team check: what is sent there stays shared, as was "
        "said before it began. Nothing was changed."
    )


class KeyWaits(StorageProblem):
    """Whoever still has to do the very same trial may not see its key."""

    sentence = (
        "This trial is one of a team check that you are in. Its key is shown once you "
        "have sent yours."
    )


def attempt_for(
    session: Session, person: Person, attempt_id: int, *, edition: str = ""
) -> tuple[PracticeAttempt, PracticeShowing]:
    """Their own, or one that was shared with those who see shared practice.

    `edition`: today's, where known. Of another nothing can be sent any more, so that
    its keys wait for nobody.

    Raises:
        KeyWaits: it is of a team check, and they have yet to do the same trial there.
    """
    row = session.get(PracticeAttempt, attempt_id)
    if row is None:
        raise NotFound
    owner = session.get_one(Person, row.person_id)
    sees = row.shared and may(
        actor(person), "see_shared_practice", Subject(owner.is_demo)
    )
    if row.person_id != person.id and not sees:
        raise NotFound
    showing = session.get_one(PracticeShowing, row.showing_id)
    if edition in ("", showing.edition) and row.id in keys_waiting(
        session, person, owner, showing.edition
    ):
        raise KeyWaits
    return row, showing


def keys_waiting(
    session: Session, reader: Person, person: Person, edition: str
) -> frozenset[int]:
    """Attempts of one person whose keys wait until the reader has done the same trial.

    `edition`: today's; keys of any other wait for nobody.
    """
    asked, own = aliased(TeamCheckMember), aliased(PracticeShowing)
    sent = (
        select(PracticeAttempt.id)
        .join(own, col(PracticeAttempt.showing_id) == own.id)
        .where(
            own.check_id == PracticeShowing.check_id,
            own.check_place == PracticeShowing.check_place,
            own.person_id == reader.id,
        )
        .correlate(PracticeShowing)
    )
    theirs = aliased(PracticeAttempt)
    wanted = (
        select(theirs.id)
        .join(PracticeShowing, col(theirs.showing_id) == PracticeShowing.id)
        .join(asked, col(PracticeShowing.check_id) == asked.check_id)
        .where(
            asked.person_id == reader.id,
            theirs.person_id == person.id,
            PracticeShowing.edition == edition,
            ~sent.exists(),
        )
    )
    return frozenset(session.exec(wanted))


def share(
    session: Session, person: Person, attempt_id: int, *, shared: bool, now: datetime
) -> PracticeAttempt:
    """Show an attempt to supervisors, or take it back: its owner alone.

    Raises:
        SharedForGood: taken back, but a sign-off stands on it.
        SharedInCheck: taken back, but it is of a team check.
    """
    row, showing = attempt_for(session, person, attempt_id)
    if row.person_id != person.id:
        raise NotFound
    if row.stays_shared and not shared:
        raise SharedForGood
    if showing.check_id is not None and not shared:
        raise SharedInCheck
    if row.shared != shared:
        row.shared = shared
        session.add(row)
        session.flush()
        did = "shared_practice" if shared else "took_back_practice"
        audit.deed(session, did, row, by=person.id, now=now)
    return row


def keep_shared(session: Session, attempt_ids: Sequence[int]) -> None:
    """What a sign-off stands on can no longer be taken back."""
    for attempt_id in attempt_ids:
        row = session.get_one(PracticeAttempt, attempt_id)
        if not row.shared:
            raise NotFound
        row.stays_shared = True
        session.add(row)
    session.flush()
