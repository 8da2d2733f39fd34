"""Team checks as the page on agreement tells them, and the trials of one."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.practice.attempt import Attempt
from app.storage.people import Person
from app.storage.team_check_rows import TeamCheck
from app.storage.team_checks import checks_in_world, members_of
from app.web.dates import day_words
from app.web.practice_asked import Member, member_of
from app.web.practised import key_edition


@dataclass(frozen=True, slots=True)
class CheckLine:
    """One check: when it was set, of how many trials, and how far each person is."""

    id: int
    day: str
    trials: int
    ended: bool
    members: tuple[Member, ...]


def team_checks(session: Session, by: Person, measure: str) -> dict[int, TeamCheck]:
    """By number, the newest first."""
    return {row.id: row for row in checks_in_world(session, by, measure)}


def check_line(
    session: Session, row: TeamCheck, now: datetime, zone: ZoneInfo
) -> CheckLine:
    """`ended`: it was set under another edition of the key."""
    today = now.astimezone(zone).date()
    return CheckLine(
        row.id, day_words(row.set_at.astimezone(zone).date(), today), len(row.trials),
        row.edition != key_edition(),
        tuple(member_of(session, row, person) for person in members_of(session, row)),
    )  # fmt: skip


def in_check(tries: Sequence[Attempt], row: TeamCheck | None) -> Sequence[Attempt]:
    """Those at the showings of a check; all of them where none is asked for."""
    if row is None:
        return tries
    showings = set(row.showings)
    return [a for a in tries if (a.case, a.trial, a.seed) in showings]
