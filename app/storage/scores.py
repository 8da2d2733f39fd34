"""Scores with the headline read from them: a cache of the one reading function.

Written in the transaction that changes a round, so that lists stay fast. Nothing is
typed in here and nothing is judged.
"""

from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any, Final

from sqlalchemy import Index, and_, false, func, or_, update
from sqlmodel import Field, Session, col, select
from sqlmodel.sql.expression import Select, SelectOfScalar

from app.clinical.quantities import UNIT_WORDS
from app.clinical.vocabulary import OUTCOMES
from app.storage.episodes import Episode, Visit
from app.storage.prepared import prepared
from app.storage.tables import Numbered, check, one_of, partial_index
from app.storage.trials import Round, Trial

#: What was not tried says nothing of how it went: the last try stands.
NOT_TRIED: Final = ("declined", "not_done")


class Score(Numbered, table=True):
    """The one score of a round: `keep_score`, `write_scores`, `drop_score` write it.

    `newest` marks the latest try of a test by its patient, `again` that there was one
    before it: else every list would have to rank all scores of the site.
    """

    __tablename__ = "score"
    __table_args__ = (
        Index(None, "patient_id", "measure", "on_date"),
        # As SQLAlchemy writes the question: a partial index must match it.
        partial_index(
            "ix_score_newest",
            "patient_id",
            "measure",
            rule="newest",
            on_sqlite="newest = 1",
        ),
        # SQLite reads `newest` again: without it here it would fetch every row.
        partial_index(
            "ix_score_newest_by_test",
            "measure",
            "outcome",
            "change_verdict",
            "again",
            "patient_id",
            "newest",
            rule="newest",
            on_sqlite="newest = 1",
        ),
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
    newest: bool = False
    again: bool = False


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
    mark_newest(session, score.patient_id, score.measure)
    return score


def write_scores(
    session: Session,
    patient_id: int,
    rounds: Collection[int],
    made: Sequence[tuple[Round, date, DerivedScore]],
    *,
    now: datetime,
) -> None:
    """Forget the scores of these rounds, and write those that were `made` of them.

    For many at once. A row that stands under another patient goes as well.
    """
    wanted = select(Score).where(col(Score.round_id).in_(rounds))
    before = session.exec(wanted).all()
    for score in before:
        session.delete(score)
    session.flush()
    session.add_all(
        Score(
            round_id=round.id,
            patient_id=patient_id,
            measure=round.measure,
            on_date=on_date,
            computed_at=now,
            **asdict(derived),
        )
        for round, on_date, derived in made
    )
    session.flush()
    for whose in {patient_id, *(score.patient_id for score in before)}:
        mark_all_newest(session, whose)


def drop_score(session: Session, round: Round) -> None:
    """Forget a round's score: its trials make none any more."""
    score = _score_of(session, round)
    if score is not None:
        session.delete(score)
        session.flush()
        mark_newest(session, score.patient_id, score.measure)


def mark_newest(session: Session, patient_id: int, measure: str) -> None:
    """Say anew which of a patient's scores of a test is the latest try."""
    theirs = and_(col(Score.patient_id) == patient_id, col(Score.measure) == measure)
    tried = select(Score.id).where(theirs, col(Score.outcome).not_in(NOT_TRIED))
    in_order = tried.order_by(col(Score.on_date).desc(), col(Score.round_id).desc())
    last = session.exec(in_order.limit(2)).all()
    is_last = col(Score.id) == (last[0] if last else None)
    session.exec(
        update(Score)
        .where(theirs, or_(col(Score.newest), is_last))
        .values(newest=is_last, again=is_last if len(last) == 2 else false())
    )


def mark_all_newest(session: Session, patient_id: int) -> None:
    """The same for every test a patient has a score of, in two statements."""
    tries: dict[str, list[int]] = {}
    scores = scores_of(session, [patient_id])
    for score in reversed(scores):
        if score.outcome not in NOT_TRIED:
            tries.setdefault(score.measure, []).append(score.id)
    last = {ids[0]: len(ids) > 1 for ids in tries.values()}
    for score in scores:
        score.newest, score.again = score.id in last, last.get(score.id, False)
    session.flush()


def wrongly_marked(session: Session) -> Sequence[int]:
    """Patients whose marks of the latest try are not what their scores say."""
    same = (col(Score.patient_id), col(Score.measure))
    place: Any = func.row_number().over(
        partition_by=same,
        order_by=(col(Score.on_date).desc(), col(Score.round_id).desc()),
    )
    tries: Any = func.count().over(partition_by=same)
    ranked: Any = (
        select(col(Score.id), (place == 1).label("first"), (tries > 1).label("more"))
        .where(col(Score.outcome).not_in(NOT_TRIED))
        .subquery()
    )
    first = func.coalesce(ranked.c.first, false())
    wanted = (
        select(Score.patient_id)
        .outerjoin(ranked, ranked.c.id == col(Score.id))
        .where(
            or_(
                col(Score.newest) != first,
                col(Score.again) != and_(first, func.coalesce(ranked.c.more, false())),
            )
        )
        .distinct()
    )
    return session.exec(wanted).all()


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
    if measure is not None:
        wanted = _of_patients(patient_ids).where(Score.measure == measure)
        return session.exec(wanted).all()
    return _all_of(session, list(patient_ids)).all()


def _of_patients(patient_ids: Collection[int]) -> SelectOfScalar[Score]:
    wanted = select(Score).where(col(Score.patient_id).in_(patient_ids))
    return wanted.order_by(
        col(Score.patient_id), col(Score.on_date), col(Score.round_id)
    )


_all_of = prepared(_of_patients)


def of_other_editions(session: Session, edition: str) -> Sequence[Score]:
    """Scores that were read from another edition of the catalogue."""
    wanted = select(Score).where(Score.edition != edition).order_by(col(Score.id))
    return session.exec(wanted).all()


def unfinished_rounds(
    session: Session, patient_id: int, day: date
) -> Sequence[tuple[Round, int]]:
    """Rounds of that day with trials that make no score yet, and how many they are."""
    return _unfinished(session, patient_id, day).all()


@prepared
def _unfinished(patient_id: int, day: date) -> Select[Round, int]:
    trials = func.count(col(Trial.id))
    return (
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
