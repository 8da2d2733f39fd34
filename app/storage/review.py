"""Handing in, signing, reading, returning and co-signing; each text kept for good.

A text is one note of a visit, made from its events with its author's own words, and is
hashed with the one before it in that visit, so that a changed letter shows. A
reviewer's comments and checklist are never part of it; their statement is a text of
its own.
"""

import hashlib
import json
from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any, Final

from sqlalchemy import JSON, func
from sqlalchemy.orm import aliased
from sqlmodel import Field, Session, col, select

from app.access import STUDENT
from app.clinical.note import NOTE_KINDS
from app.storage import audit
from app.storage.episodes import Episode, Visit
from app.storage.errors import NotAllowed, NotFound, StorageProblem
from app.storage.patients import Patient, patient_for
from app.storage.people import Person
from app.storage.prepared import rows_by
from app.storage.tables import Numbered, between, check, hexadecimal, length, one_of

#: After documentation practice (common practice): what a chart review looks at.
CHECKLIST: Final = {
    "orders": "Order, precautions and weight-bearing match what was done",
    "diagnosis": "Diagnoses support the work",
    "prior": "Prior level and living situation are there",
    "baseline": "A baseline number for every goal, in the same unit",
    "protocol": "Tests done by protocol, deviations said",
    "reference": "The reference fits the person",
    "change": "Change judged against error, not by eye",
    "skill": "The skill is stated: what was graded, and why",
    "assistance": "Assistance believable against scores and events",
    "minutes": "Minutes agree with start and stop",
    "education": "Education and teach-back",
    "vitals": "Vital signs where needed, stops looked into",
    "goals": "Goals whole, dates inside the plan, status true",
    "own_words": "Not the same as last time",
    "signatures": "Signatures, late entries marked, student's statement there",
}
#: How the supervisor was there: ticked by them, never pre-set.
PRESENCE: Final = {
    "in_room": "in the room the whole time",
    "in_sight": "in line of sight",
    "on_site": "on site",
}
DECISIONS: Final = ("returned", "approved", "co_signed")
#: Nothing said is an empty column, not the word `null` in it.
JSON_OR_NULL: Final = JSON(none_as_null=True)
#: Notes of what happened in a visit: written once it is closed.
OF_CLOSED: Final = ("visit", "evaluation")


class VisitText(Numbered, table=True):
    """What was handed in or signed of a visit. Never changed: a new one follows it.

    `note` is the kind of note; texts from before there were several have none and are
    visit notes, with `own_words` beside their lines. `parts` are the lines as they were
    made and as they were written, `readings` the visit's results as they read that day.
    """

    __tablename__ = "visit_text"
    __table_args__ = (
        one_of("kind", ("handed_in", "signed")),
        hexadecimal("hash", 64),
        hexadecimal("previous_hash", 64),
        length("own_words", 0, 4000),
        length("edition", 1, 64),
        length("version", 1, 40),
        one_of("note", NOTE_KINDS),
    )

    visit_id: int = Field(foreign_key="visit.id", index=True)
    kind: str
    lines: list[str] = Field(sa_type=JSON)
    own_words: str
    edition: str
    version: str
    author_id: int = Field(foreign_key="person.id")
    written_at: datetime
    previous_hash: str
    hash: str
    note: str | None = None
    parts: list[dict[str, Any]] | None = Field(default=None, sa_type=JSON_OR_NULL)
    readings: list[dict[str, Any]] | None = Field(default=None, sa_type=JSON_OR_NULL)


class ReviewComment(Numbered, table=True):
    """A remark on one line, for the author and never for the record."""

    __tablename__ = "review_comment"
    __table_args__ = (between("line", 0, 10_000), length("words", 1, 500))

    text_id: int = Field(foreign_key="visit_text.id", index=True)
    line: int
    words: str
    person_id: int = Field(foreign_key="person.id")
    written_at: datetime


class ReviewDecision(Numbered, table=True):
    """What a supervisor decided, with their own statement."""

    __tablename__ = "review_decision"
    __table_args__ = (
        one_of("decision", DECISIONS),
        one_of("presence", PRESENCE),
        between("minutes", 0, 600),
        length("statement", 0, 2000),
        check("said", "decision = 'approved' OR length(statement) >= 1"),
        check("presence_when", "decision <> 'co_signed' OR presence IS NOT NULL"),
        hexadecimal("hash", 64),
    )

    text_id: int = Field(foreign_key="visit_text.id", unique=True)
    decision: str
    statement: str
    presence: str | None = None
    minutes: int | None = None
    checked: list[str] = Field(sa_type=JSON)
    person_id: int = Field(foreign_key="person.id")
    decided_at: datetime
    hash: str


class AlreadyDecided(StorageProblem):
    """Somebody decided on this text before."""

    sentence = "This was decided already. Open it again to see what was said."


def text_hash(text: VisitText) -> str:
    """Over everything a reader relies on, and the text before it."""
    said = [
        text.visit_id, text.kind, text.lines, text.own_words, text.edition,
        text.version, text.author_id, text.written_at.isoformat(), text.previous_hash,
    ]  # fmt: skip
    later = {"note": text.note, "parts": text.parts, "readings": text.readings}
    held = {name: value for name, value in later.items() if value is not None}
    return _hash([*said, held] if held else said)


def decision_hash(made: ReviewDecision) -> str:
    said = [
        made.text_id, made.decision, made.statement, made.presence, made.minutes,
        sorted(made.checked), made.person_id, made.decided_at.isoformat(),
    ]  # fmt: skip
    return _hash(said)


def _hash(said: list[Any]) -> str:
    written = json.dumps(
        said, ensure_ascii=False, separators=(",", ":"), sort_keys=True
    )
    return hashlib.sha256(written.encode()).hexdigest()


def texts_of(
    session: Session, visit: Visit, note: str = "visit"
) -> Sequence[VisitText]:
    """All of one kind of note, the oldest first.

    Asked for of all kinds alike: a page that shows them asks the database once.
    """
    texts = _texts(session, visit.id)
    return [text for text in texts if (text.note or "visit") == note]


_texts = rows_by(VisitText, "visit_id", "id")


def write_text(
    session: Session,
    person: Person,
    visit: Visit,
    lines: Sequence[str],
    *,
    own_words: str = "",
    note: str | None = None,
    parts: list[dict[str, Any]] | None = None,
    readings: list[dict[str, Any]] | None = None,
    edition: str,
    version: str,
    now: datetime,
) -> VisitText:
    """Hand in (a student) or sign (the others) a note; of what happened, once closed.

    Whoever calls has asked whether `person` may. The same again is the one that is
    there; a returned one may be written anew.
    """
    kind = note or "visit"
    _must_be_ready(person, visit, kind)
    stands = _standing(session, visit, kind)
    if stands is not None:
        if (stands.lines, stands.own_words) == (list(lines), own_words):
            return stands
        raise NotAllowed("It was handed in already and has not been returned.")
    text = VisitText(
        visit_id=visit.id, kind="handed_in" if person.role == STUDENT else "signed",
        lines=list(lines), own_words=own_words, edition=edition, version=version,
        author_id=person.id, written_at=now, note=note, parts=parts, readings=readings,
        previous_hash=_end_of_chain(session, visit), hash=audit.START,
    )  # fmt: skip
    text.hash = text_hash(text)
    session.add(text)
    session.flush()
    audit.deed(session, f"{text.kind}_{kind}", text, by=person.id, now=now)
    return text


def _must_be_ready(person: Person, visit: Visit, kind: str) -> None:
    if kind == "visit" and visit.person_id != person.id:
        raise NotAllowed("This is a colleague's visit: its note is theirs.")
    if kind in OF_CLOSED and visit.closed_at is None:
        raise NotAllowed("Close the visit first, then finish its note.")


def _standing(session: Session, visit: Visit, kind: str) -> VisitText | None:
    """The text that stands, so that no other can be written; none if returned."""
    before = texts_of(session, visit, kind)
    return before[-1] if before and not is_returned(session, before[-1]) else None


def is_returned(session: Session, text: VisitText) -> bool:
    made = decision_of(session, text)
    return made is not None and made.decision == "returned"


def returned_to(
    session: Session, person: Person
) -> Sequence[tuple[VisitText, Visit, int, str]]:
    """This person's texts that wait to be written anew, the oldest first.

    Each with its visit and its patient's id and label. Whoever calls keeps those whose
    patient `person` may see.
    """
    anew = aliased(VisitText)
    wanted = (
        select(VisitText, Visit, Patient.id, Patient.label)
        .join(ReviewDecision, col(ReviewDecision.text_id) == col(VisitText.id))
        .join(Visit, col(Visit.id) == col(VisitText.visit_id))
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .join(Patient, col(Patient.id) == col(Episode.patient_id))
        .where(
            ReviewDecision.decision == "returned",
            VisitText.author_id == person.id,
            ~select(anew.id)
            .where(
                anew.visit_id == VisitText.visit_id,
                func.coalesce(anew.note, "visit")
                == func.coalesce(VisitText.note, "visit"),
                col(anew.id) > col(VisitText.id),
            )
            .exists(),
        )
    )
    return session.exec(wanted.order_by(col(VisitText.id))).all()


def _end_of_chain(session: Session, visit: Visit) -> str:
    """All texts of a visit make one chain, whatever note each is of."""
    wanted = select(VisitText.hash).where(VisitText.visit_id == visit.id)
    last = session.exec(wanted.order_by(col(VisitText.id).desc())).first()
    return last or audit.START


def decision_of(session: Session, text: VisitText) -> ReviewDecision | None:
    wanted = select(ReviewDecision).where(ReviewDecision.text_id == text.id)
    return session.exec(wanted).one_or_none()


def text_for(
    session: Session, person: Person, text_id: int, deed: str
) -> tuple[VisitText, Visit, int]:
    """A text with its visit and patient's id, if `person` may do `deed` to them."""
    text = session.get(VisitText, text_id)
    if text is None:
        raise NotFound
    visit = session.get_one(Visit, text.visit_id)
    episode = session.get_one(Episode, visit.episode_id)
    patient_for(session, person, episode.patient_id, deed)
    return text, visit, episode.patient_id


def comment(
    session: Session, person: Person, text: VisitText, line: int, words: str,
    now: datetime,
) -> ReviewComment:  # fmt: skip
    """Say something about one line."""
    row = ReviewComment(
        text_id=text.id, line=line, words=words, person_id=person.id, written_at=now
    )
    session.add(row)
    session.flush()
    audit.deed(session, "commented", row, by=person.id, now=now)
    return row


def comments_on(session: Session, text: VisitText) -> Sequence[ReviewComment]:
    wanted = select(ReviewComment).where(ReviewComment.text_id == text.id)
    return session.exec(wanted.order_by(col(ReviewComment.id))).all()


def decide(
    session: Session,
    person: Person,
    text: VisitText,
    decision: str,
    *,
    statement: str,
    presence: str | None,
    minutes: int | None,
    checked: Collection[str],
    now: datetime,
) -> ReviewDecision:
    """Return, approve or co-sign; once for each text."""
    if decision_of(session, text) is not None:
        raise AlreadyDecided
    made = ReviewDecision(
        text_id=text.id, decision=decision, statement=statement, presence=presence,
        minutes=minutes, checked=sorted(checked), person_id=person.id, decided_at=now,
        hash=audit.START,
    )  # fmt: skip
    made.hash = decision_hash(made)
    session.add(made)
    session.flush()
    audit.deed(session, decision, made, by=person.id, now=now)
    return made


def waiting_visits(session: Session, patient_id: int) -> Sequence[Visit]:
    """Closed visits of students whose latest text nobody has decided on."""
    decided = select(ReviewDecision.text_id)
    newer = select(VisitText.visit_id).where(
        VisitText.kind == "handed_in", col(VisitText.id).not_in(decided)
    )
    wanted = (
        select(Visit)
        .join(Episode, col(Episode.id) == col(Visit.episode_id))
        .where(Episode.patient_id == patient_id, col(Visit.id).in_(newer))
    )
    return session.exec(wanted.order_by(col(Visit.local_date), col(Visit.id))).all()


def broken_texts(session: Session) -> list[str]:
    """Texts and decisions whose words no longer fit their hash: for `doctor`."""
    found = []
    last: dict[int, str] = {}
    for text in session.exec(select(VisitText).order_by(col(VisitText.id))):
        before = last.get(text.visit_id, audit.START)
        if text.hash != text_hash(text) or text.previous_hash != before:
            found.append(f"visit_text {text.id}")
        last[text.visit_id] = text.hash
    for made in session.exec(select(ReviewDecision)):
        if made.hash != decision_hash(made):
            found.append(f"review_decision {made.id}")
    return found
