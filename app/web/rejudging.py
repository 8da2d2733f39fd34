"""All rounds of a patient judged at once, in few queries, by the one reading function.

For what looks at a whole site: checking stored scores, writing them anew, taking in
past scores. It says of a round exactly what `judging.judge` says of it.
"""

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Final

from sqlmodel import Session, col, select
from sqlmodel.sql.expression import Select

from app.catalogue.load import Catalogue
from app.storage.episodes import Episode, Visit
from app.storage.patients import Patient, PatientDetails, details_of
from app.storage.prepared import prepared
from app.storage.scores import (
    DerivedScore,
    Score,
    scores_of,
    write_scores,
)
from app.storage.trials import Round, RoundTrials, rounds_of
from app.web.judging import (
    Ask,
    Judged,
    body_of,
    derived,
    judged,
    pairs_by_day,
    person_on,
)

#: What an edition alone may have changed is no fault.
EDITION: Final = "edition"


@dataclass(frozen=True, slots=True)
class Compared:
    """A round's stored score beside what its trials make now; `differs` names columns.

    `older` says that another edition of the catalogue was read, which is no fault.
    """

    round: Round
    on_date: date
    stored: Score | None
    made: DerivedScore | None
    differs: tuple[str, ...]
    older: bool


def every(_round: Round) -> bool:
    return True


def judged_all(
    session: Session,
    shelf: Catalogue,
    patient: Patient,
    wanted: Callable[[Round], bool] = every,
    details: PatientDetails | None = None,
    *,
    held: Callable[[RoundTrials], bool] | None = None,
    ask: Ask | None = None,
) -> Iterator[Judged]:
    """Every wanted round that the catalogue still knows, oldest first.

    The others are fetched all the same: a score is read against them. `details`: what
    is known of the patient, where somebody has fetched it already. `held`: as if
    there were only these, so that no reading rests on another either.
    """
    by_test: dict[str, list[RoundTrials]] = {}
    known = [
        kept
        for kept in rounds_of(session, patient.id)
        if is_known(shelf, kept.round) and (held is None or held(kept))
    ]
    for kept in known:
        by_test.setdefault(kept.round.measure, []).append(kept)
    details = details or details_of(session, patient)
    settings = dict(_settings(session, patient.id).all())
    body = body_of(details)
    for kept in known:
        if not wanted(kept.round):
            continue
        measure = shelf.measures[kept.round.measure]
        person = person_on(details, settings[kept.round.id], kept.on_date)
        others = {other: by_test.get(other, []) for other in measure.made_from}
        pairs = pairs_by_day(shelf, measure, others)
        yield judged(measure, kept, by_test[measure.id], person, pairs, body, ask)


def is_known(shelf: Catalogue, round: Round) -> bool:
    """A test or a rule that left the catalogue keeps its last reading."""
    measure = shelf.measures.get(round.measure)
    rules = ["", *(v.id for v in measure.variants)] if measure else []
    return round.variant in rules


@prepared
def _settings(patient_id: int) -> Select[int, str]:
    return (
        select(Round.id, Episode.setting)
        .join(Visit, col(Visit.id) == col(Round.visit_id))
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .where(Episode.patient_id == patient_id)
    )


def compared_all(
    session: Session, shelf: Catalogue, patient: Patient
) -> Iterator[Compared]:
    """Each round whose stored score is not what its trials make."""
    stored = {score.round_id: score for score in scores_of(session, [patient.id])}
    for each in judged_all(session, shelf, patient):
        score = stored.pop(each.round.id, None)
        made = derived(each.result, shelf.edition) if each.result else None
        found = _compared(each, score, made)
        if found.differs or found.older:
            yield found
    for left in stored.values():
        round = session.get_one(Round, left.round_id)
        if is_known(shelf, round):
            yield Compared(
                round, left.on_date, left, None, ("patient_id",), older=False
            )


def _compared(each: Judged, score: Score | None, made: DerivedScore | None) -> Compared:
    older = score is not None and made is not None and score.edition != made.edition
    if score is None or made is None:
        differs: tuple[str, ...] = () if not (score or made) else ("value",)
    else:
        wanted = {**asdict(made), "on_date": each.on_date, "measure": each.measure.id}
        differs = tuple(k for k, v in wanted.items() if getattr(score, k) != v)
    return Compared(each.round, each.on_date, score, made, differs, older)


def keep_all(
    session: Session, shelf: Catalogue, patient: Patient, *, now: datetime
) -> int:
    """Write every score of a patient as its trials make it now; how many changed."""
    changed = list(compared_all(session, shelf, patient))
    # A row under another patient or day is made anew, not written over.
    write_scores(
        session,
        patient.id,
        [found.round.id for found in changed],
        [(f.round, f.on_date, f.made) for f in changed if f.made is not None],
        now=now,
    )
    return len(changed)
