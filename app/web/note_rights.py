"""Who may word, sign or hand in which note of a visit, and why somebody may not."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from types import MappingProxyType
from typing import Final

from sqlmodel import Session

from app.access import ASSISTANT, STUDENT, Subject, may
from app.clinical.note import NOTE_KINDS
from app.clinical.visiting import JUDGED
from app.storage.episodes import Visit
from app.storage.errors import NotFound
from app.storage.patients import Patient
from app.storage.people import Person, actor
from app.storage.review import OF_CLOSED

#: The deed of signing each kind; a note of progress or discharge is a judgement.
SIGNING: Final[Mapping[str, str]] = MappingProxyType(
    {
        "visit": "sign_treatment",
        "evaluation": "sign_evaluation",
        "progress": "sign_interpretation",
        "discharge": "sign_discharge",
    }
)
#: A draft older than this after the visit's end is shown as late. Common practice.
LATE_AFTER: Final = timedelta(hours=24)


@dataclass(frozen=True, slots=True)
class Right:
    """`edits` the words, `ends` it by `sign` or `hand_in`; else `why` it ends not."""

    edits: bool
    ends: str
    why: str = ""


def known_note(visit: Visit, note: str) -> None:
    """Raise NotFound for a kind there is not, and for a visit that was missed."""
    if note not in NOTE_KINDS or visit.kind == "missed":
        raise NotFound


def right(
    session: Session, me: Person, visit: Visit, patient: Patient, note: str
) -> Right:
    """For a visit that `me` was let see."""
    whom = Subject(patient.is_demo, assigned=True)
    signs = may(actor(me), SIGNING[note], whom)
    mine = visit.person_id == me.id
    edits = mine or may(actor(me), "co_sign", whom) or (signs and note != "visit")
    why = _why_not(session, me, visit, note, signs, mine)
    if why:
        return Right(edits, "", why)
    return Right(edits, "hand_in" if me.role == STUDENT else "sign")


def _why_not(
    session: Session, me: Person, visit: Visit, note: str, signs: bool, mine: bool
) -> str:
    """Empty when they may; else the sentence that says who does, or what is first."""
    if note == "visit" and not mine:
        return "This is a colleague's visit: its note is theirs."
    if me.role == STUDENT and note != "visit":
        return "You may draft it. The therapist signs it."
    if me.role == ASSISTANT and (note != "visit" or visit.kind in JUDGED):
        return (
            "An evaluation, re-evaluation, report or discharge is signed by the "
            "therapist. You may draft it."
        )
    if me.role != STUDENT and not signs:
        return "Somebody else signs this note."
    if note == "evaluation" and not mine and not _cannot_sign(session, visit):
        return "This is a colleague's evaluation: they sign it."
    if note in OF_CLOSED and visit.closed_at is None:
        return "Close the visit first, then finish its note."
    return ""


def _cannot_sign(session: Session, visit: Visit) -> bool:
    """Whose evaluation somebody else signs."""
    author = session.get_one(Person, visit.person_id)
    return author.role in (STUDENT, ASSISTANT)


def hours_late(visit: Visit, now: datetime) -> int:
    """Whole hours since a visit was closed, if they are too many; else 0."""
    passed = now - visit.closed_at if visit.closed_at else timedelta()
    return int(passed.total_seconds() // 3600) if passed > LATE_AFTER else 0
