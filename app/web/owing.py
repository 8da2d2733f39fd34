"""What is owed to a patient, made from scores, stops, precautions, visits and clocks.

`keep_owed` runs at the end of every change to a patient, in its transaction: whoever
fetched the patient to change something has put them on the session's list.
"""

from collections.abc import Callable, Iterator, Sequence
from datetime import date

from sqlalchemy import Engine
from sqlmodel import Session, col, select

from app.catalogue.load import Catalogue
from app.clinical import change as changes
from app.clinical.days import full_day
from app.clinical.owing import Clocks, owed_by
from app.storage.database import read_session, write_session
from app.storage.episodes import Episode, open_episode
from app.storage.errors import NotFound
from app.storage.left_visits import left_open
from app.storage.owing import (
    LEFT,
    SET,
    OwedLine,
    forget_owed,
    last_events,
    owed_to,
    replace_owed,
    set_basis,
    treatment_days,
)
from app.storage.patients import Patient, touched
from app.storage.precautions import PrecautionOnEpisode, precautions_on
from app.storage.review import waiting_visits
from app.storage.safety import open_stops_of
from app.storage.scores import Score, scores_of
from app.web.due import clearance_of
from app.web.last_scores import value_words
from app.web.stops import stop_name, stop_sort

#: A latest result that asks for a look before anything else.
TROUBLE = (changes.REAL_LOSS, changes.NEWLY_UNABLE)
BATCH = 200


def keep_owed(session: Session, shelf: Catalogue, clocks: Clocks, today: date) -> None:
    """For everybody this session changed."""
    for patient_id in touched(session):
        patient = session.get(Patient, patient_id)
        if patient is None:  # deleted for good
            continue
        if patient.closed_at is not None:
            forget_owed(session, patient.id)
        else:
            lines = owed_lines(session, shelf, clocks, patient, today)
            replace_owed(session, patient.id, lines)


def owed_lines(
    session: Session, shelf: Catalogue, clocks: Clocks, patient: Patient, today: date
) -> list[OwedLine]:
    """Everything owed, also what falls due later."""
    lines = [*_stops(session, shelf, patient), *_waiting(session, patient)]
    lines += _left(session, patient)
    latest: dict[str, Score] = {}
    for score in scores_of(session, [patient.id]):
        if score.measure in shelf.measures:
            latest[score.measure] = score
    lines += _look_into(shelf, latest)
    try:
        episode = open_episode(session, patient)
    except NotFound:
        return lines
    held = precautions_on(session, episode, today)
    lines += _retests(shelf, latest, held, clocks.retest)
    lines += _clocks(session, clocks, episode)
    return lines


def _stops(session: Session, shelf: Catalogue, patient: Patient) -> Iterator[OwedLine]:
    for stop in open_stops_of(session, patient.id):
        says = f"{stop_name(shelf, stop)}: {stop_sort(stop)}"
        whose = SET if stop.of == "set" else ""
        yield OwedLine("look_into", stop.on_date, says, whose, stop.row.id)


def _waiting(session: Session, patient: Patient) -> Iterator[OwedLine]:
    for visit in waiting_visits(session, patient.id):
        says = f"Student's visit of {full_day(visit.local_date)}"
        yield OwedLine("co_sign", visit.local_date, says, ref=visit.id)


def _left(session: Session, patient: Patient) -> Iterator[OwedLine]:
    """The reason stays in the visit: it is somebody's own words."""
    for visit in left_open(session, patient.id):
        says = f"Visit of {full_day(visit.local_date)}"
        says += " left without the exit list" if visit.left_without else ""
        says += ": strip left in the room, and fetched" if visit.strip_left_at else ""
        yield OwedLine("look_into", visit.local_date, says, LEFT, visit.id)


def _look_into(shelf: Catalogue, latest: dict[str, Score]) -> Iterator[OwedLine]:
    for measure_id, score in latest.items():
        if score.change_verdict in TROUBLE:
            short = shelf.measures[measure_id].short
            says = f"{short}: {score.change_verdict}"
            yield OwedLine("look_into", score.on_date, says, measure_id)


def _retests(
    shelf: Catalogue,
    latest: dict[str, Score],
    held: Sequence[PrecautionOnEpisode],
    every: int | None,
) -> Iterator[OwedLine]:
    """A test that an order blocks is not due while it holds; one declined was not done.

    An order with its last day known frees the test on that day without a touch.
    """
    for_good = [p.tag for p in held if p.ended_on is None]
    for measure_id, score in latest.items():
        measure = shelf.measures[measure_id]
        if score.outcome in ("declined", "not_done"):
            continue
        day = measure.due_after(score.on_date, every)
        if day is None or not clearance_of(measure, for_good).allowed:
            continue
        ends = [
            p.ended_on
            for p in held
            if p.ended_on and not clearance_of(measure, [p.tag]).allowed
        ]
        last = value_words(score.outcome, score.value, score.unit)
        says = f"{measure.short}, last {last}"
        yield OwedLine("retest", max([day, *ends]), says, measure_id)


def _clocks(session: Session, clocks: Clocks, episode: Episode) -> Iterator[OwedLine]:
    last = last_events(session, episode)
    words = {
        "report": "Progress report",
        "recertify": "Recertification",
        "reassess": "Home-health reassessment",
    }
    for owed in owed_by(
        treatment_days(session, episode),
        clocks=clocks,
        reported=last.get("report"),
        certified=last.get("recertify"),
        reassessed=last.get("reassess"),
    ):
        if owed.due_on is not None:
            says = words[owed.kind]
            if owed.kind == "report":
                says += f", {owed.words}"
            yield OwedLine(owed.kind, owed.due_on, says, ref=episode.id)


def rebuild_owed(
    engine: Engine,
    shelf: Catalogue,
    clocks: Clocks,
    today: date,
    progress: Callable[[int, int], None],
) -> int:
    """Make it again for everybody."""
    with read_session(engine) as session:
        ids = list(session.exec(select(Patient.id).order_by(col(Patient.id))))
    for start in range(0, len(ids), BATCH):
        batch = ids[start : start + BATCH]
        with write_session(engine) as session:
            touched(session).update(batch)
            keep_owed(session, shelf, clocks, today)
        progress(start + len(batch), len(ids))
    with write_session(engine) as session:
        set_basis(session, basis(shelf, clocks))
    return len(ids)


def basis(shelf: Catalogue, clocks: Clocks) -> str:
    """What all rows depend on beside the patients: when it changes, all are stale."""
    return f"{clocks.words}, catalogue {shelf.edition}"


def owed_differs(
    session: Session, shelf: Catalogue, clocks: Clocks, patient: Patient, today: date
) -> bool:
    """Whether what is stored is not what would be made now: for `doctor`."""
    kept = {
        (o.kind, o.measure, o.ref, o.due_on, o.says)
        for o in owed_to(session, patient.id)
    }
    if patient.closed_at is not None:
        return bool(kept)
    made = {
        (x.kind, x.measure, x.ref, x.due_on, x.says)
        for x in owed_lines(session, shelf, clocks, patient, today)
    }
    return kept != made
