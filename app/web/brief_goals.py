"""Goals beside other things: a line on the brief, a notch on a test's tape."""

from dataclasses import dataclass

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.goals import one_line
from app.clinical.measure import Measure
from app.storage.episodes import Episode
from app.storage.goals import body_of, goals_of
from app.web.goal_book import goal_of
from app.web.goal_view import target_notch
from app.web.tape import Notch


@dataclass(frozen=True, slots=True)
class GoalLine:
    """One open goal in one line."""

    number: int
    says: str
    unsigned: bool


def goal_lines(
    session: Session, shelf: Catalogue, episode: Episode | None
) -> list[GoalLine]:
    """The open goals of the open episode."""
    if episode is None:
        return []
    return [
        GoalLine(
            row.number,
            one_line(goal_of(body_of(row)), shelf.measures.get(row.measure or "")),
            row.signed_at is None,
        )
        for row in goals_of(session, episode)
        if row.closed_on is None
    ]


def goal_notches(
    session: Session, episode: Episode | None, measure: Measure, unit: str
) -> list[Notch]:
    """The open targets of one test, in the unit its tape is drawn in."""
    if episode is None:
        return []
    return [
        target_notch(goal_of(body_of(row)).target)
        for row in goals_of(session, episode)
        if row.closed_on is None
        and (row.measure, row.target_unit) == (measure.id, unit)
    ]
