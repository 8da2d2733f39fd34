"""Home sheets: what a helper was taught and took home, and what was taken back.

A sheet never changes: another one takes its place. It holds no identifier; who it is
for follows from its episode.
"""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime

from sqlmodel import Field, Session, col, select
from sqlmodel.sql.expression import SelectOfScalar

from app.clinical.home_sheet import (
    CHANGES,
    HELPERS,
    LONGEST_CHANGE,
    MOST_SETS,
    MOST_TIMES_A_WEEK,
)
from app.storage import audit
from app.storage.episodes import Episode
from app.storage.errors import NotFound, SameIdOtherBody
from app.storage.patients import Patient, patient_for
from app.storage.people import Person
from app.storage.prepared import prepared, rows_by
from app.storage.tables import (
    Numbered,
    Table,
    between,
    check,
    hexadecimal,
    length,
    one_of,
    signed_number_text,
    uid,
)


class HomeSheet(Numbered, table=True):
    """One sheet as handed over. Written once; only taking it back adds to it.

    `change_words` says the change of the home when the closed list does not.
    """

    __tablename__ = "home_sheet"
    __table_args__ = (
        uid(),
        one_of("helper", HELPERS),
        one_of("home_change", CHANGES),
        length("change_words", 0, LONGEST_CHANGE),
        check("change_when", "(change_words <> '') = (home_change = 'other')"),
        hexadecimal("body_hash", 64),
        check("ended", "(ended_at IS NULL) = (ended_by IS NULL)"),
    )

    uid: str = Field(unique=True)
    episode_id: int = Field(foreign_key="episode.id", index=True)
    helper: str
    home_change: str
    change_words: str = ""
    made_at: datetime
    made_by: int = Field(foreign_key="person.id")
    body_hash: str
    ended_at: datetime | None = None
    ended_by: int | None = Field(default=None, foreign_key="person.id")


class HomeSheetItem(Table, table=True):
    """An activity on a sheet. It stands there only after its teach-back."""

    __tablename__ = "home_sheet_item"
    __table_args__ = (
        between("place", 1, 9),
        length("activity", 3, 8),
        check("grade", signed_number_text("grade")),
        between("sets", 1, MOST_SETS),
        between("times_a_week", 1, MOST_TIMES_A_WEEK),
        check("taught_back", "taught_back"),
    )

    sheet_id: int = Field(foreign_key="home_sheet.id", primary_key=True)
    place: int = Field(primary_key=True)
    activity: str
    grade: str
    sets: int
    times_a_week: int
    taught_back: bool


@dataclass(frozen=True, slots=True)
class SheetItem:
    """What is said of one activity; `grade` is a plain decimal in its own unit."""

    activity: str
    grade: str
    sets: int
    times_a_week: int
    taught_back: bool


@dataclass(frozen=True, slots=True)
class SheetBody:
    """What is said of a sheet when it is made."""

    helper: str
    home_change: str
    change_words: str
    items: tuple[SheetItem, ...]


def make_sheet(
    session: Session,
    person: Person,
    episode: Episode,
    body: SheetBody,
    *,
    uid: str,
    now: datetime,
) -> HomeSheet:
    """Hand one over; the one before is taken back. The same form again makes none.

    Whether its activities are allowed is asked by who calls: it needs the catalogue.
    """
    patient_for(session, person, episode.patient_id, "sign_treatment")
    text = json.dumps([episode.patient_id, asdict(body)], sort_keys=True)
    body_hash = hashlib.sha256(text.encode()).hexdigest()
    known = session.exec(select(HomeSheet).where(HomeSheet.uid == uid)).first()
    if known is not None:
        if (known.made_by, known.body_hash) != (person.id, body_hash):
            raise SameIdOtherBody
        return known
    for before in _current(session, episode.patient_id):
        _end(session, person, before, now)
    sheet = HomeSheet(
        uid=uid, episode_id=episode.id, helper=body.helper,
        home_change=body.home_change, change_words=body.change_words,
        made_at=now, made_by=person.id, body_hash=body_hash,
    )  # fmt: skip
    session.add(sheet)
    session.flush()
    for place, item in enumerate(body.items, 1):
        session.add(HomeSheetItem(sheet_id=sheet.id, place=place, **asdict(item)))
    session.flush()
    audit.deed(session, "made_home_sheet", sheet, by=person.id, now=now)
    return sheet


def end_sheet(
    session: Session, person: Person, sheet: HomeSheet, *, now: datetime
) -> None:
    """Take it back; one that was taken back before keeps its day."""
    episode = session.get_one(Episode, sheet.episode_id)
    patient_for(session, person, episode.patient_id, "sign_treatment")
    if sheet.ended_at is None:
        _end(session, person, sheet, now)


def _end(session: Session, person: Person, sheet: HomeSheet, now: datetime) -> None:
    sheet.ended_at, sheet.ended_by = now, person.id
    session.add(sheet)
    session.flush()
    audit.deed(session, "withdrew_home_sheet", sheet, by=person.id, now=now)


def sheet_for(
    session: Session, person: Person, sheet_id: int, deed: str = "see_patient"
) -> tuple[HomeSheet, Patient]:
    """The sheet and its patient, if `person` may do `deed` to them."""
    sheet = session.get(HomeSheet, sheet_id)
    if sheet is None:
        raise NotFound
    episode = session.get_one(Episode, sheet.episode_id)
    return sheet, patient_for(session, person, episode.patient_id, deed)


def current_sheet(session: Session, patient_id: int) -> HomeSheet | None:
    """What is at a patient's home now, of whatever stretch of care."""
    found = _current(session, patient_id).all()
    return found[0] if found else None


@prepared
def _current(patient_id: int) -> SelectOfScalar[HomeSheet]:
    wanted = (
        select(HomeSheet)
        .join(Episode, col(HomeSheet.episode_id) == col(Episode.id))
        .where(Episode.patient_id == patient_id, col(HomeSheet.ended_at).is_(None))
    )
    return wanted.order_by(col(HomeSheet.id).desc())


def sheets_made(
    session: Session, episode_id: int, person_id: int
) -> Sequence[HomeSheet]:
    """All that somebody handed over in a stretch of care, oldest first."""
    return _made(session, episode_id, person_id).all()


@prepared
def _made(episode_id: int, person_id: int) -> SelectOfScalar[HomeSheet]:
    wanted = select(HomeSheet).where(
        HomeSheet.episode_id == episode_id, HomeSheet.made_by == person_id
    )
    return wanted.order_by(col(HomeSheet.id))


def items_of(session: Session, sheet: HomeSheet) -> Sequence[HomeSheetItem]:
    """The activities of a sheet, in order."""
    return _items(session, sheet.id).all()


_items = rows_by(HomeSheetItem, "sheet_id", "place")
