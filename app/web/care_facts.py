"""The facts of an episode as rows of a table: each mark of its picture is some.

Whatever draws a mark first adds the fact here and keeps its number, so that the picture
and the table can say nothing different.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.doing import DoneSet
from app.clinical.timeline import Span
from app.storage.activity_sets import sets_of_episode
from app.storage.episodes import Episode, Visit
from app.storage.falls import falls_said
from app.storage.goal_rows import GoalRow
from app.storage.goals import goals_of
from app.storage.observations import SymptomCheck
from app.storage.patients import Patient, PatientDetails, details_of
from app.storage.precautions import PrecautionOnEpisode, all_precautions
from app.storage.safety import Stop, stops_of_episode
from app.storage.trials import RoundTrials, rounds_of
from app.storage.visits import visits_in
from app.web.dates import day_words
from app.web.done_sets import as_done
from app.web.rejudging import is_known


@dataclass(frozen=True, slots=True)
class Fact:
    """One row of the table. `key` is its number; `number` is empty where none was."""

    key: int
    day: date
    on: str
    what: str
    number: str
    unit: str
    words: str
    visit_id: int | None


@dataclass(slots=True)
class Facts:
    """The rows as they come; `table` puts them in order. `last` is the last day."""

    last: date
    rows: list[Fact] = field(default_factory=list)

    def add(
        self,
        day: date,
        what: str,
        words: str = "",
        *,
        number: str = "",
        unit: str = "",
        visit_id: int | None = None,
    ) -> int:
        """The number of the row."""
        key, on = len(self.rows) + 1, day_words(day, self.last)
        self.rows.append(Fact(key, day, on, what, number, unit, words, visit_id))
        return key

    def table(self) -> list[Fact]:
        return sorted(self.rows, key=lambda fact: (fact.day, fact.key))


@dataclass(frozen=True, slots=True, kw_only=True)
class Care:
    """All that an episode's picture is made of, fetched in so many queries once.

    `rounds` are of every episode, by test, since composites and comparisons need them.
    """

    shelf: Catalogue
    patient: Patient
    details: PatientDetails
    episode: Episode
    span: Span
    visits: Sequence[Visit]
    rounds: Mapping[str, Sequence[RoundTrials]]
    sets: Sequence[DoneSet]
    goals: Sequence[GoalRow]
    stops: Sequence[Stop]
    falls: Sequence[tuple[SymptomCheck, Visit]]
    precautions: Sequence[PrecautionOnEpisode]

    @property
    def here(self) -> frozenset[int]:
        return frozenset(visit.id for visit in self.visits)

    @property
    def held(self) -> list[Visit]:
        return [visit for visit in self.visits if visit.kind != "missed"]


def care_of(
    session: Session,
    shelf: Catalogue,
    patient: Patient,
    episode: Episode,
    today: date,
) -> Care:
    """Everything of one episode, in as many queries however much there is."""
    visits = visits_in(session, episode)
    rounds: dict[str, list[RoundTrials]] = {}
    for kept in rounds_of(session, patient.id):
        if is_known(shelf, kept.round):
            rounds.setdefault(kept.round.measure, []).append(kept)
    span = span_of(episode, visits, today)
    return Care(
        shelf=shelf,
        patient=patient,
        details=details_of(session, patient),
        episode=episode,
        span=span,
        visits=visits,
        rounds=rounds,
        sets=as_done(session, sets_of_episode(session, episode)),
        goals=goals_of(session, episode),
        stops=stops_of_episode(session, episode),
        falls=falls_said(session, episode),
        precautions=[
            p for p in all_precautions(session, episode)[::-1] if _meets(p, span)
        ],
    )


def span_of(episode: Episode, visits: Sequence[Visit], today: date) -> Span:
    """From the start of care to today or the end; wider where a visit lies outside."""
    days = [visit.local_date for visit in visits]
    first = min([episode.began_on, *days])
    return Span(first, max([episode.closed_on or today, first, *days]))


def _meets(row: PrecautionOnEpisode, span: Span) -> bool:
    return row.set_on <= span.last and (row.ended_on or span.last) >= span.first
