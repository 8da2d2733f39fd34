"""Reading stored scores again when the catalogue has changed since they were read.

Trials are never touched: a score is a cache of the one reading function, and lists must
not show what an older edition said.
"""

from collections.abc import Callable
from datetime import datetime

from sqlalchemy import Engine

from app.catalogue.load import Catalogue
from app.storage.database import read_session, write_session
from app.storage.patients import Patient
from app.storage.scores import of_other_editions
from app.storage.trials import Round
from app.web.judging import keep

#: Scores read again in one transaction, so that a stop loses little and blocks nobody.
BATCH = 100


def rebuild_scores(
    engine: Engine,
    shelf: Catalogue,
    *,
    now: datetime,
    progress: Callable[[int, int], None],
) -> int:
    """Bring every score to this edition; `progress(done, all)` after each batch."""
    with read_session(engine) as session:
        stale = [
            (score.round_id, score.patient_id)
            for score in of_other_editions(session, shelf.edition)
            if _known(session.get_one(Round, score.round_id), shelf)
        ]
    for start in range(0, len(stale), BATCH):
        batch = stale[start : start + BATCH]
        with write_session(engine) as session:
            for round_id, patient_id in batch:
                patient = session.get_one(Patient, patient_id)
                round = session.get_one(Round, round_id)
                keep(session, shelf, patient, round, now=now)
        progress(start + len(batch), len(stale))
    return len(stale)


def _known(round: Round, shelf: Catalogue) -> bool:
    """A test that left the catalogue keeps its last reading."""
    return round.measure in shelf.measures
