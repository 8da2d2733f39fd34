"""Taking in a caseload's files: first all of them read and decided, then all written.

What is here already is known by its content, and by the id that follows from it, so
that the same file again adds nothing. Nobody already here is changed by a file.
"""

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from itertools import islice
from typing import BinaryIO, Final
from zoneinfo import ZoneInfo

from sqlmodel import Session, select

from app.access import may
from app.catalogue.load import Catalogue
from app.clinical.days import full_day
from app.exports.caseload_csv import (
    PATIENT_COLUMNS,
    SCORE_COLUMNS,
    CareCells,
    PatientRow,
    ScoreRow,
)
from app.exports.caseload_reading import Problem, ReadRow, columns_of, rows_of
from app.exports.csv_cells import BadFile, read
from app.exports.trials_csv import TRIAL_COLUMNS
from app.storage import audit
from app.storage.caseload_rows import by_label, handles, tried_rounds
from app.storage.episodes import Episode, add_episode, close_episode
from app.storage.errors import NotAllowed
from app.storage.past_rounds import PastRound, keep_rounds, kept_among
from app.storage.patients import (
    Patient,
    PatientDetails,
    add_patient,
    details_of,
    patients_by_uid,
)
from app.storage.people import Person, actor
from app.storage.precautions import add_precaution, end_precaution
from app.storage.profile import write_profile
from app.web.exporting import Told, in_silence, score_row
from app.web.import_ids import content_of, details_from, patient_uid, round_uid, said_of
from app.web.past_trials import past_round
from app.web.rejudging import keep_all

#: Rows looked up and written together, since a statement costs more than a row.
AT_A_TIME: Final = 1000
HERE: Final = "is here already"
DEMO_ONLY: Final = "These are invented patients of a demo. A real site takes none."
NO_NAMES: Final = (
    "This site keeps no names and no record numbers. Empty both columns, or set "
    "TAPELINE_IDENTIFIERS to full."
)
TWICE: Final = (
    "scores.csv and trials.csv hold the same trials: give one of them, or they would "
    "be taken in twice."
)
NO_CARE: Final = "This patient has no stretch of care that the scores belong to."
REAL: Final = "A demo takes invented patients only: rows that say yes under invented."


@dataclass(frozen=True, slots=True)
class CaseloadFile:
    """A file by its name, opened anew for each reading."""

    name: str
    open: Callable[[], BinaryIO]


@dataclass(frozen=True, slots=True)
class Line:
    """What one row would do or has done, or what is wrong with it."""

    file: str
    line: int
    does: str
    problems: tuple[Problem, ...] = ()

    @property
    def adds(self) -> bool:
        return self.does not in ("", HERE)


@dataclass(slots=True)
class _Known:
    """A label met so far: who it is, or will be, and the rounds they have already."""

    details: PatientDetails
    uid: str
    patient: Patient | None = None
    is_new: bool = False
    has_care: bool = False
    rounds: Counter[str] = field(default_factory=Counter)


@dataclass(frozen=True, slots=True)
class _RoundRow:
    """A row of scores whose patient is known; `held`: that patient has it already."""

    file: str
    line: int
    row: ScoreRow
    whose: _Known
    uid: str
    held: bool


@dataclass(slots=True)
class Import:
    """One import as it goes on. With `write` off it decides the same and adds nothing.

    The demo's people take invented rows and nobody else does.
    """

    session: Session
    me: Person
    shelf: Catalogue
    now: datetime
    zone: ZoneInfo
    write: bool = False
    known: dict[str, _Known | str] = field(default_factory=dict)
    #: Who is here already by the id of a row at hand.
    here: dict[str, Patient] = field(default_factory=dict)
    counted: Counter[tuple[str, str]] = field(default_factory=Counter)
    touched: dict[int, Patient] = field(default_factory=dict)
    #: Rounds that are decided and not yet written, by patient.
    waiting: dict[int, list[PastRound]] = field(default_factory=dict)
    handles: dict[int, str] = field(default_factory=dict)
    labels: dict[str, list[int]] = field(default_factory=dict)
    progress: Told = in_silence
    #: Who looks after whom the files add; None: who imports.
    holder: Person | None = None
    #: Whether the site keeps names and record numbers.
    full: bool = False

    @property
    def today(self) -> date:
        return self.now.astimezone(self.zone).date()


def take_in(doing: Import, files: Sequence[CaseloadFile]) -> Iterator[Line]:
    """Every row of the files in order, patients before scores."""
    if not may(actor(doing.me), "import_caseload", None):
        raise NotAllowed
    doing.handles = handles(doing.session)
    doing.labels = by_label(doing.session, demo=doing.me.is_demo)
    kinds, shelf = [(_kind(file), file) for file in files], doing.shelf.measures
    if {SCORE_COLUMNS, TRIAL_COLUMNS} <= {kind for kind, _ in kinds}:
        yield _wrong(files[-1].name, 1, "", TWICE)
        return
    for _, file in sorted(kinds, key=lambda each: each[0] != PATIENT_COLUMNS):
        with file.open() as stream:
            for rows in _chunks(rows_of(stream, shelf, doing.today)):
                yield from _lines(doing, file.name, rows)
                _keep_waiting(doing)
    if doing.write:
        _judge(doing)


def _chunks(rows: Iterable[ReadRow]) -> Iterator[list[ReadRow]]:
    left = iter(rows)
    while chunk := list(islice(left, AT_A_TIME)):
        yield chunk


def _kind(file: CaseloadFile) -> Sequence[str]:
    """The columns of its kind; a file that cannot be read says so row by row later."""
    try:
        with file.open() as stream:
            return columns_of(read(stream)[0])
    except BadFile:
        return PATIENT_COLUMNS


def _keep_waiting(doing: Import) -> None:
    """What was decided so far, written patient by patient and not row by row."""
    for patient_id, past in doing.waiting.items():
        who, now, zone = doing.touched[patient_id], doing.now, doing.zone
        keep_rounds(doing.session, doing.me, who, past, now=now, zone=zone)
    doing.waiting.clear()


def _judge(doing: Import) -> None:
    """Scores of everybody whose trials came, by the one reading function."""
    for done, patient in enumerate(doing.touched.values(), 1):
        doing.progress(done, len(doing.touched))
        keep_all(doing.session, doing.shelf, patient, now=doing.now)
    if doing.touched or any(_is_added(k) for k in doing.known.values()):
        audit.deed(
            doing.session, "imported_caseload", doing.me, by=doing.me.id, now=doing.now
        )


def _is_added(known: _Known | str) -> bool:
    return isinstance(known, _Known) and known.is_new


def _lines(doing: Import, name: str, rows: Sequence[ReadRow]) -> Iterator[Line]:
    """What rows do, in order. What is here of them is asked for all at once."""
    people = [details_from(r.row) for r in rows if isinstance(r.row, PatientRow)]
    wanted = [patient_uid(details, demo=doing.me.is_demo) for details in people]
    doing.here = patients_by_uid(doing.session, wanted)
    met = [_looked_at(doing, name, read) for read in rows]
    uids = [each.uid for each in met if isinstance(each, _RoundRow)]
    kept = kept_among(doing.session, uids)
    for each in met:
        yield each if isinstance(each, Line) else _scores(doing, each, kept)


def _looked_at(doing: Import, name: str, read: ReadRow) -> Line | _RoundRow:
    if read.row is None:
        return Line(name, read.line, "", read.problems)
    if read.row.invented != doing.me.is_demo:
        says = DEMO_ONLY if read.row.invented else REAL
        return _wrong(name, read.line, "invented", says)
    try:
        if isinstance(read.row, PatientRow):
            return Line(name, read.line, _patient(doing, read.row))
        return _round_row(doing, name, read.line, read.row)
    except _NotTaken as fault:
        return _wrong(name, read.line, fault.column, str(fault))


def _wrong(name: str, line: int, column: str, says: str) -> Line:
    return Line(name, line, "", (Problem(line, column, says),))


class _NotTaken(Exception):
    """A good row that does not fit what is here."""

    def __init__(self, column: str, says: str) -> None:
        super().__init__(says)
        self.column = column


def _patient(doing: Import, row: PatientRow) -> str:
    if (row.full_name or row.record_number) and not doing.full:
        raise _NotTaken("full_name", NO_NAMES)
    details = details_from(row)
    known = doing.known.get(row.label)
    if known is None:
        known = doing.known[row.label] = _whose(doing, details)
        first = True
    elif isinstance(known, str) or known.details != details:
        raise _NotTaken("label", "An earlier row says something else of this label.")
    else:
        first = False
    if not known.is_new:
        return HERE
    if row.care is not None:
        known.has_care = True
        if known.patient is not None:
            _add_care(doing, known.patient, row.care)
    if first:
        return "adds a patient"
    if row.care is None:
        return HERE
    return "adds a stretch of care"


def _whose(doing: Import, details: PatientDetails) -> _Known:
    """The patient of a row: here by its id, here by its label, or new."""
    uid = patient_uid(details, demo=doing.me.is_demo)
    found = doing.here.get(uid)
    if found is None:
        found = _of_label(doing, details)
    if found is not None:
        return _here(doing, details, found)
    made = None
    if doing.write:
        made = add_patient(
            doing.session, doing.me, details, uid=uid, holder=doing.holder,
            now=doing.now,
        )  # fmt: skip
    return _Known(details, uid, made, is_new=True)


def _of_label(doing: Import, details: PatientDetails) -> Patient | None:
    found = doing.labels.get(details.label, [])
    if len(found) > 1:
        raise _NotTaken("label", f"{len(found)} patients here have this label.")
    if not found:
        return None
    patient = doing.session.get_one(Patient, found[0])
    if said_of(details_of(doing.session, patient)) != said_of(details):
        raise _NotTaken(
            "label",
            "A patient with this label is here, and other things are known of them. "
            "Give the row another label, or take it out.",
        )
    return patient


def _here(doing: Import, details: PatientDetails, patient: Patient) -> _Known:
    """Somebody who is here, with the rows their rounds would be told by."""
    rounds = Counter(
        content_of(score_row(doing.shelf, "", kept, doing.handles, demo=False))
        for kept in tried_rounds(doing.session, patient.id)
    )
    wanted = select(Episode.id).where(Episode.patient_id == patient.id)
    has_care = doing.session.exec(wanted).first() is not None
    return _Known(details, patient.uid, patient, has_care=has_care, rounds=rounds)


def _add_care(doing: Import, patient: Patient, care: CareCells) -> None:
    session, me, now = doing.session, doing.me, doing.now
    episode = add_episode(
        session, me, patient, reason=care.reason, setting=care.setting,
        plan=care.plan, opened_on=care.opened_on, now=now,
    )  # fmt: skip
    episode.order_on, episode.plan_on = care.order_on, care.plan_on
    _add_profile(doing, episode, care)
    for told in care.precautions:
        row = add_precaution(
            session, me, episode, tag=told.tag, note=told.note, set_by=told.set_by,
            set_on=told.set_on or care.opened_on, review_on=told.review_on, now=now,
        )  # fmt: skip
        if told.ended_on is not None:
            end_precaution(
                session, me, row, on=told.ended_on, note=told.why_ended, now=now
            )
    if care.closed_on is not None:
        close_episode(
            session, me, episode, on=care.closed_on, why=care.end_reason or None,
            now=now,
        )  # fmt: skip


def _add_profile(doing: Import, episode: Episode, care: CareCells) -> None:
    """What is a closed choice; own words are in no file."""
    said = {
        "prior_self_care": care.prior_self_care or None,
        "prior_mobility": care.prior_mobility or None,
        "lives_with": care.lives_with or None,
    }
    if any(said.values()):
        write_profile(doing.session, doing.me, episode, said, version=0, now=doing.now)


def _round_row(doing: Import, name: str, line: int, row: ScoreRow) -> _RoundRow:
    whose = _scored(doing, row.label)
    _not_before_birth(whose.details, row.on)
    content = content_of(row)
    doing.counted[whose.uid, content] += 1
    place = doing.counted[whose.uid, content]
    uid = round_uid(whose.uid, content, place)
    return _RoundRow(name, line, row, whose, uid, place <= whose.rounds[content])


def _scores(doing: Import, met: _RoundRow, kept: Collection[str]) -> Line:
    """What it does, and the round put by to be written."""
    row, whose = met.row, met.whose
    if met.held or met.uid in kept:
        return Line(met.file, met.line, HERE)
    if not whose.has_care:
        return _wrong(met.file, met.line, "label", NO_CARE)
    if whose.patient is not None and doing.write:
        doing.touched[whose.patient.id] = whose.patient
        waiting = doing.waiting.setdefault(whose.patient.id, [])
        waiting.append(past_round(met.uid, row))
    number, test = len(row.trials), doing.shelf.measures[row.measure].name
    trials = "1 trial" if number == 1 else f"{number} trials"
    return Line(met.file, met.line, f"adds {trials} of {test} on {full_day(row.on)}")


def _scored(doing: Import, label: str) -> _Known:
    known = doing.known.get(label)
    if known is None:
        found = doing.labels.get(label, [])
        if len(found) == 1:
            patient = doing.session.get_one(Patient, found[0])
            known = _here(doing, details_of(doing.session, patient), patient)
        elif found:
            known = f"{len(found)} patients here have this label."
        else:
            known = "No patient has this label, in the files or here."
        doing.known[label] = known
    if isinstance(known, str):
        raise _NotTaken("label", known)
    return known


def _not_before_birth(details: PatientDetails, day: date) -> None:
    born = details.birth_date
    year = born.year if born else details.birth_year
    if (born and day < born) or (year and day.year < year):
        raise _NotTaken("date", "This day lies before the person was born.")
