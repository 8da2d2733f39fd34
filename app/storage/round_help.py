"""A second phone that starts and stops the clock of a round, and what the two told.

Who opened, who joined and when it ended is kept; it says later whose phone may have
pressed. The presses themselves only carry signals from phone to phone, so that any
process that serves the site knows them, and go when the help ends.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any, Final

from sqlalchemy import JSON, UniqueConstraint, delete
from sqlmodel import Field, Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from app.clinical.two_clocks import Exchange, Stamp
from app.clinical.two_phones import HELPER, KINDS, OWNER, SIDES, Press
from app.storage import audit
from app.storage.errors import NotAllowed
from app.storage.people import Person
from app.storage.prepared import prepared
from app.storage.tables import Numbered, hexadecimal, one_of, partial_index

#: A round that was opened for help and left is not open for ever.
LASTS: Final = timedelta(hours=4)


class NotOpenForHelp(NotAllowed):
    """Nobody asked for a second phone, or it has ended."""

    sentence = (
        "This test is not open for a second phone. Ask the one who holds the clock to "
        "tap “Second phone”."
    )


class HelpTaken(NotAllowed):
    """Somebody else holds the second phone."""

    sentence = "Somebody already helps with this test on another phone."


class RoundHelp(Numbered, table=True):
    """One time that a round was open for a second phone. Written by this module."""

    __tablename__ = "round_help"
    __table_args__ = (
        partial_index(
            "ix_round_help_open",
            "round_id",
            unique=True,
            rule="ended_at IS NULL",
        ),
    )

    round_id: int = Field(foreign_key="round.id", index=True)
    owner_id: int = Field(foreign_key="person.id")
    helper_id: int | None = Field(default=None, foreign_key="person.id")
    opened_at: datetime
    joined_at: datetime | None = None
    ended_at: datetime | None = None

    def side_of(self, person: Person) -> str:
        """Which phone this person's is; empty for anybody else."""
        return {self.owner_id: OWNER, self.helper_id: HELPER}.get(person.id, "")


class HelpPress(Numbered, table=True):
    """What one phone told the other, once: a trial is started by a phone only once."""

    __tablename__ = "help_press"
    __table_args__ = (
        hexadecimal("trial_uid", 32),
        one_of("kind", KINDS),
        one_of("side", SIDES),
        UniqueConstraint("help_id", "trial_uid", "kind", "side"),
    )

    help_id: int = Field(foreign_key="round_help.id")
    trial_uid: str
    kind: str
    side: str
    person_id: int = Field(foreign_key="person.id")
    #: The phone's clock at the press, and the exchange with the server beside it.
    stamp: dict[str, Any] = Field(sa_type=JSON)
    told_at: datetime


def help_on(session: Session, round_id: int, now: datetime) -> RoundHelp | None:
    """The help that a round is open for now."""
    found = _not_ended(session, round_id).first()
    return found if found and now - found.opened_at < LASTS else None


@prepared
def _not_ended(round_id: int) -> SelectOfScalar[RoundHelp]:
    return select(RoundHelp).where(
        RoundHelp.round_id == round_id, col(RoundHelp.ended_at).is_(None)
    )


def open_help(
    session: Session, owner: Person, round_id: int, now: datetime
) -> RoundHelp:
    """Let a second phone join; what was open before and forgotten is ended."""
    found = help_on(session, round_id, now)
    if found is not None:
        if found.owner_id != owner.id:
            raise NotAllowed("Another phone holds the clock of this test.")
        return found
    _forget_old(session, round_id, now)
    opened = RoundHelp(round_id=round_id, owner_id=owner.id, opened_at=now)
    session.add(opened)
    session.flush()
    audit.deed(session, "opened_help", opened, by=owner.id, now=now)
    return opened


def join_help(
    session: Session, helper: Person, round_id: int, now: datetime
) -> RoundHelp:
    """Hold the second phone, if nobody else does."""
    found = help_on(session, round_id, now)
    if found is None:
        raise NotOpenForHelp
    if found.owner_id == helper.id:
        raise NotAllowed("Your own phone holds this clock. A colleague's can help.")
    if found.helper_id == helper.id:
        return found
    if found.helper_id is not None:
        raise HelpTaken
    found.helper_id, found.joined_at = helper.id, now
    session.add(found)
    session.flush()
    audit.deed(session, "joined_help", found, by=helper.id, now=now)
    return found


def end_help(
    session: Session, person: Person, round_id: int, now: datetime
) -> RoundHelp | None:
    """By either of the two, or because the round is done; what was told is cleared."""
    found = help_on(session, round_id, now)
    if found is None:
        return None
    if not found.side_of(person):
        raise NotAllowed("Only the two phones of this test can end this.")
    _end(session, found, now)
    audit.deed(session, "ended_help", found, by=person.id, now=now)
    return found


def round_done(session: Session, round_id: int, now: datetime) -> None:
    """Nothing is left to start or stop: there is a score, or another day has begun."""
    found = _not_ended(session, round_id).first()
    if found is not None:
        _end_by_itself(session, found, now)


def _end_by_itself(session: Session, help: RoundHelp, now: datetime) -> None:
    """The trail says when it was seen to be over, the row when it was over."""
    ran_out = help.opened_at + LASTS <= now
    _end(session, help, now)
    if ran_out:
        audit.deed(session, "saw_help_over", help, by=None, now=now)
    else:
        audit.deed(session, "ended_help", help, by=None, now=now)


def _end(session: Session, help: RoundHelp, now: datetime) -> None:
    help.ended_at = min(now, help.opened_at + LASTS)
    session.add(help)
    session.flush()
    session.exec(delete(HelpPress).where(col(HelpPress.help_id) == help.id))


def _forget_old(session: Session, round_id: int, now: datetime) -> None:
    """What was left open on this round, and whatever else nobody ended in time."""
    left = select(RoundHelp).where(
        col(RoundHelp.ended_at).is_(None),
        (col(RoundHelp.round_id) == round_id)
        | (col(RoundHelp.opened_at) < now - LASTS),
    )
    for help in session.exec(left).all():
        _end_by_itself(session, help, now)


def tell(
    session: Session,
    help: RoundHelp,
    person: Person,
    press: Press,
    now: datetime,
) -> None:
    """Keep what a phone tells; the same told again changes nothing."""
    known = select(HelpPress.id).where(
        HelpPress.help_id == help.id,
        HelpPress.trial_uid == press.trial,
        HelpPress.kind == press.kind,
        HelpPress.side == press.side,
    )
    if session.exec(known).first() is not None:
        return
    stamp, exchange = press.stamp, press.stamp.exchange
    told = {"origin": stamp.origin, "mono": stamp.mono, "exchange": None}
    if exchange is not None:
        t = exchange
        told["exchange"] = [t.t0, t.t1, t.t2, t.t3, t.scale]  # type: ignore[assignment]
    session.add(
        HelpPress(
            help_id=help.id, trial_uid=press.trial, kind=press.kind, side=press.side,
            person_id=person.id, stamp=told, told_at=now,
        )
    )  # fmt: skip
    session.flush()


def presses_of(session: Session, help: RoundHelp) -> Sequence[Press]:
    """All that was told, in order of arrival."""
    wanted = select(HelpPress).where(HelpPress.help_id == help.id)
    rows = session.exec(wanted.order_by(col(HelpPress.id))).all()
    return [_press(row) for row in rows]


def _press(row: HelpPress) -> Press:
    times = row.stamp["exchange"]
    stamp = Stamp(
        phone=f"{row.side} {row.person_id}",
        origin=row.stamp["origin"],
        mono=row.stamp["mono"],
        exchange=Exchange(*times) if times else None,
    )
    return Press(row.trial_uid, row.kind, row.side, row.person_id, stamp)


def phones_of(session: Session, round_id: int) -> Sequence[tuple[int, int | None]]:
    """Who held the owner's and the helper's phone of a round, now or before."""
    wanted = select(RoundHelp.owner_id, RoundHelp.helper_id).where(
        RoundHelp.round_id == round_id
    )
    return session.exec(wanted.order_by(col(RoundHelp.id))).all()
