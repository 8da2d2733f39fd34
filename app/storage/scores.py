"""Scores with the headline read from them: a cache of the one reading function.

Written in the transaction that changes a round, so that lists stay fast. Nothing is
typed in here and nothing is judged.
"""

from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime

from sqlalchemy import Index, func
from sqlmodel import Field, Session, col, select

from app.clinical.quantities import UNIT_WORDS
from app.clinical.vocabulary import OUTCOMES
from app.storage.episodes import Episode, Visit
from app.storage.tables import Numbered, check, one_of
from app.storage.trials import Round, Trial


class Score(Numbered, table=True):
    """The one score of a round. Written by `keep_score` and `drop_score` only."""

    __tablename__ = "score"
    __table_args__ = (
        Index(None, "patient_id", "measure", "on_date"),
        one_of("outcome", OUTCOMES),
        one_of("unit", UNIT_WORDS),
        check("value_when_completed", "(outcome = 'completed') = (value IS NOT NULL)"),
    )

    round_id: int = Field(foreign_key="round.id", unique=True)
    patient_id: int = Field(foreign_key="patient.id")
    measure: str
    on_date: date
    outcome: str
    value: str | None = None
    unit: str
    variant: str
    lead_says: str
    lead_source: str
    lead_crossed: bool | None = None
    change_verdict: str | None = None
    edition: str
    computed_at: datetime


@dataclass(frozen=True, slots=True)
class DerivedScore:
    """What scoring and reading made of a round. `value` is the decimal as shown.

    `lead_crossed` is None when no reading leads, `change_verdict` when none was judged.
    """

    outcome: str
    value: str | None
    unit: str
    variant: str
    edition: str
    lead_says: str = ""
    lead_source: str = ""
    lead_crossed: bool | None = None
    change_verdict: str | None = None


def keep_score(
    session: Session, round: Round, derived: DerivedScore, *, now: datetime
) -> Score:
    """Write a round's score over the one it had."""
    score = _score_of(session, round)
    if score is None:
        patient_id, on_date = _whose_and_when(session, round)
        score = Score(
            round_id=round.id,
            patient_id=patient_id,
            measure=round.measure,
            on_date=on_date,
            computed_at=now,
            **asdict(derived),
        )
    else:
        score.sqlmodel_update(asdict(derived), update={"computed_at": now})
    session.add(score)
    session.flush()
    return score


def drop_score(session: Session, round: Round) -> None:
    """Forget a round's score: its trials make none any more."""
    score = _score_of(session, round)
    if score is not None:
        session.delete(score)
        session.flush()


def _score_of(session: Session, round: Round) -> Score | None:
    return session.exec(select(Score).where(Score.round_id == round.id)).first()


def _whose_and_when(session: Session, round: Round) -> tuple[int, date]:
    wanted = (
        select(col(Episode.patient_id), col(Visit.local_date))
        .join(Visit, col(Visit.episode_id) == col(Episode.id))
        .where(Visit.id == round.visit_id)
    )
    return session.exec(wanted).one()


def scores_of(
    session: Session, patient_ids: Collection[int], measure: str | None = None
) -> Sequence[Score]:
    """The scores of these patients, each one's oldest first."""
    wanted = select(Score).where(col(Score.patient_id).in_(patient_ids))
    if measure is not None:
        wanted = wanted.where(Score.measure == measure)
    in_order = wanted.order_by(
        col(Score.patient_id), col(Score.on_date), col(Score.round_id)
    )
    return session.exec(in_order).all()


def of_other_editions(session: Session, edition: str) -> Sequence[Score]:
    """Scores that were read from another edition of the catalogue."""
    wanted = select(Score).where(Score.edition != edition).order_by(col(Score.id))
    return session.exec(wanted).all()


def unfinished_rounds(
    session: Session, patient_id: int, day: date
) -> Sequence[tuple[Round, int]]:
    """Rounds of that day with trials that make no score yet, and how many they are."""
    trials = func.count(col(Trial.id))
    wanted = (
        select(Round, trials)
        .join(Visit, col(Round.visit_id) == col(Visit.id))
        .join(Episode, col(Visit.episode_id) == col(Episode.id))
        .join(Trial, col(Trial.round_id) == col(Round.id))
        .outerjoin(Score, col(Score.round_id) == col(Round.id))
        .where(
            Episode.patient_id == patient_id,
            Visit.local_date == day,
            col(Score.id).is_(None),
            col(Trial.voided_at).is_(None),
            col(Trial.practice).is_(False),
        )
        .group_by(col(Round.id))
        .order_by(col(Round.id))
    )
    return session.exec(wanted).all()
