"""What people said of a deficit that rules found or missed: append-only words.

The latest word of a deficit in a stretch of care holds. Adding one is part of a visit's
record, open to whoever may record it, a student too, and it stands under their name and
role. Striking one overrules a rule, which is an evaluating therapist's judgement, so it
needs the right to sign an interpretation; so does taking a strike back. An addition is
taken back by who made it, or by who may judge.
"""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Final

from sqlmodel import Field, Session, col, select
from sqlmodel.sql.expression import Select

from app.storage import audit
from app.storage.episodes import Episode, Visit
from app.storage.errors import SameIdOtherBody
from app.storage.observations import TaskObservation
from app.storage.patients import patient_for
from app.storage.people import Person
from app.storage.prepared import prepared
from app.storage.tables import Numbered, check, length, one_of, uid
from app.storage.tables import word as plain_word

WORDS: Final = ("added", "struck", "back")
ADDING, JUDGING = "record_visit", "sign_interpretation"
_DEEDS: Final = {
    "added": "added_deficit",
    "struck": "struck_deficit",
    "back": "took_back_deficit",
}


class DeficitWord(Numbered, table=True):
    """One word on one deficit in one stretch of care. Written by `say`, never changed.

    Which deficits there are is data of the catalogue, so the key is any plain word.
    """

    __tablename__ = "deficit_word"
    __table_args__ = (
        uid(),
        plain_word("deficit"),
        one_of("word", WORDS),
        length("reason", 0, 300),
        check("why", "word = 'back' OR length(reason) >= 1"),
    )

    uid: str = Field(unique=True)
    episode_id: int = Field(foreign_key="episode.id", index=True)
    deficit: str
    word: str
    reason: str
    on_date: date
    recorded_at: datetime
    recorded_by: int = Field(foreign_key="person.id")


def words_in(
    session: Session, episode: Episode
) -> Sequence[tuple[DeficitWord, Person]]:
    """Every word of a stretch of care in order, with who said it."""
    return _words(session, episode.id).all()


@prepared
def _words(episode_id: int) -> Select[DeficitWord, Person]:
    return (
        select(DeficitWord, Person)
        .join(Person, col(Person.id) == col(DeficitWord.recorded_by))
        .where(DeficitWord.episode_id == episode_id)
        .order_by(col(DeficitWord.id))
    )


def tasks_seen(
    session: Session, episode: Episode
) -> Sequence[tuple[TaskObservation, date]]:
    """Tasks that were done in a stretch of care, oldest first, with their day."""
    return _done_tasks(session, episode.id).all()


@prepared
def _done_tasks(episode_id: int) -> Select[TaskObservation, date]:
    wanted = (
        select(TaskObservation, col(Visit.local_date))
        .join(Visit, col(Visit.id) == col(TaskObservation.visit_id))
        .where(
            Visit.episode_id == episode_id,
            col(TaskObservation.voided_at).is_(None),
            col(TaskObservation.level).is_not(None),
        )
    )
    return wanted.order_by(col(Visit.local_date), col(TaskObservation.id))


def say(
    session: Session,
    person: Person,
    episode: Episode,
    deficit: str,
    word: str,
    reason: str,
    *,
    uid: str,
    day: date,
    now: datetime,
) -> DeficitWord | None:
    """Add a word said on `day`. The same id again finds it, or is refused.

    None when there is nothing to take back. Raise NotAllowed by the rule above.
    """
    last = _last(session, episode, deficit)
    patient_for(session, person, episode.patient_id, _deed(person, word, last))
    known = session.exec(select(DeficitWord).where(DeficitWord.uid == uid)).first()
    if known is not None:
        said = (known.episode_id, known.deficit, known.word, known.reason)
        if (*said, known.recorded_by) != (
            episode.id, deficit, word, reason, person.id,
        ):  # fmt: skip
            raise SameIdOtherBody
        return known
    if word == "back" and (last is None or last.word == "back"):
        return None
    row = DeficitWord(
        uid=uid, episode_id=episode.id, deficit=deficit, word=word, reason=reason,
        on_date=day, recorded_at=now, recorded_by=person.id,
    )  # fmt: skip
    session.add(row)
    session.flush()
    audit.deed(session, _DEEDS[word], row, by=person.id, now=now)
    return row


def _last(session: Session, episode: Episode, deficit: str) -> DeficitWord | None:
    wanted = select(DeficitWord).where(
        DeficitWord.episode_id == episode.id, DeficitWord.deficit == deficit
    )
    return session.exec(wanted.order_by(col(DeficitWord.id).desc())).first()


def _deed(person: Person, word: str, last: DeficitWord | None) -> str:
    """What somebody must be allowed to do, to say this word now."""
    if word == "added" and (last is None or last.word != "struck"):
        return ADDING
    own = last is not None and last.recorded_by == person.id
    if word == "back" and (last is None or (last.word != "struck" and own)):
        return ADDING
    return JUDGING
