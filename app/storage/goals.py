"""Goals of an episode, and how each stood. A signed goal is never reworded.

A goal keeps its number for the whole episode: another wording is another goal, which
says which one it replaces. How an open goal stands is a row of its own each time.
"""

import hashlib
import json
from collections.abc import Collection, Sequence
from dataclasses import asdict
from datetime import date, datetime
from typing import Any

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.access import STUDENT
from app.clinical.goals import REPLACED
from app.storage import audit
from app.storage.episodes import Episode
from app.storage.errors import (
    NotAllowed,
    NotFound,
    SameIdOtherBody,
    StaleVersion,
    StorageProblem,
)
from app.storage.goal_rows import SAID, GoalBody, GoalRow, GoalWord, Standing
from app.storage.patients import patient_for
from app.storage.people import Person
from app.storage.prepared import rows_among, rows_by


class GoalIsSigned(StorageProblem):
    """A signed goal stands as it is: close it, or put another in its place."""

    sentence = (
        "This goal is signed and stays as it reads. Close it, or upgrade or downgrade "
        "it into a new one. Nothing was changed."
    )


class GoalIsClosed(StorageProblem):
    """A closed goal takes nothing more."""

    sentence = "This goal was closed. Nothing was changed."


def body_of(goal: GoalRow) -> GoalBody:
    return GoalBody(**{name: getattr(goal, name) for name in SAID})


def goal_hash(goal: GoalRow) -> str:
    """Over every word of a goal, its number and its start."""
    said = asdict(body_of(goal)) | {"number": goal.number, "episode": goal.episode_id}
    return hashlib.sha256(_written(said)).hexdigest()


def _written(said: dict[str, Any]) -> bytes:
    return json.dumps(said, sort_keys=True, default=str, ensure_ascii=False).encode()


def add_goal(
    session: Session,
    person: Person,
    episode: Episode,
    body: GoalBody,
    *,
    uid: str,
    on: date,
    replaces: GoalRow | None = None,
    now: datetime,
) -> GoalRow:
    """Write a goal, not signed yet; the same id with the same words adds nothing."""
    patient_for(session, person, episode.patient_id, "record_visit")
    known = session.exec(select(GoalRow).where(GoalRow.uid == uid)).first()
    if known is not None:
        same = known.episode_id == episode.id and known.set_by == person.id
        if not same or body_of(known) != body:
            raise SameIdOtherBody
        return known
    _check_parent(session, episode, body)
    goal = GoalRow(
        **asdict(body), uid=uid, episode_id=episode.id,
        number=_next_number(session, episode), set_on=on, set_by=person.id,
        recorded_at=now, replaces_id=replaces.id if replaces else None,
    )  # fmt: skip
    return _keep(session, person, goal, "set_goal", now)


def _next_number(session: Session, episode: Episode) -> int:
    """Never given again: goals are closed and never deleted."""
    last = select(func.max(GoalRow.number)).where(GoalRow.episode_id == episode.id)
    return (session.exec(last).one() or 0) + 1


def _check_parent(session: Session, episode: Episode, body: GoalBody) -> None:
    if body.parent_id is None:
        return
    parent = session.get(GoalRow, body.parent_id)
    if parent is None or parent.episode_id != episode.id or parent.term != "long":
        raise NotFound("That long-term goal is not one of this episode.")


def _keep(
    session: Session, person: Person, goal: GoalRow, did: str, now: datetime
) -> GoalRow:
    session.add(goal)
    session.flush()
    audit.deed(session, did, goal, by=person.id, now=now)
    return goal


def edit_goal(
    session: Session,
    person: Person,
    goal: GoalRow,
    body: GoalBody,
    *,
    version: int,
    now: datetime,
) -> None:
    """Word an unsigned goal anew. Raise GoalIsSigned, GoalIsClosed, StaleVersion."""
    episode = _episode(session, person, goal, "record_visit")
    if goal.signed_at is not None:
        raise GoalIsSigned
    _must_be_open(goal, version)
    _check_parent(session, episode, body)
    for name, value in asdict(body).items():
        setattr(goal, name, value)
    goal.version += 1
    goal.edited_at, goal.edited_by = now, person.id
    _keep(session, person, goal, "edited_goal", now)


def _episode(session: Session, person: Person, goal: GoalRow, deed: str) -> Episode:
    episode = session.get_one(Episode, goal.episode_id)
    patient_for(session, person, episode.patient_id, deed)
    return episode


def _must_be_open(goal: GoalRow, version: int) -> None:
    if goal.closed_on is not None:
        raise GoalIsClosed
    if goal.version != version:
        raise StaleVersion


def sign_goal(
    session: Session, person: Person, goal: GoalRow, *, version: int, now: datetime
) -> None:
    """Sign it as it reads; signed again it keeps its first signature.

    Signing what a student wrote is co-signing it.
    """
    _episode(session, person, goal, "sign_goals")
    if goal.signed_at is not None:
        return
    _must_be_open(goal, version)
    author = session.get_one(Person, goal.set_by)
    goal.version += 1
    goal.signed_at, goal.signed_by = now, person.id
    goal.signed_hash = goal_hash(goal)
    did = "co_signed_goal" if author.role == STUDENT else "signed_goal"
    _keep(session, person, goal, did, now)


def close_goal(
    session: Session,
    person: Person,
    goal: GoalRow,
    *,
    word: str,
    reason: str = "",
    on: date,
    version: int,
    now: datetime,
) -> None:
    """End a goal for good; the same again is one. Who may sign ends a signed one.

    An unsigned one can only be discontinued.
    """
    signed = goal.signed_at is not None
    _episode(session, person, goal, "sign_goals" if signed else "record_visit")
    if goal.closed_on is not None and (goal.close_word, goal.close_reason) == (
        word, reason,
    ):  # fmt: skip
        return
    _must_be_open(goal, version)
    if not signed and word != "discontinued":
        raise NotAllowed("Sign it first: what nobody signed is neither met nor missed.")
    goal.version += 1
    # Also where the clock was set back since it was set.
    goal.closed_on = max(on, goal.set_on)
    goal.close_word, goal.closed_by = word, person.id
    goal.close_reason = reason
    _keep(session, person, goal, "closed_goal", now)


def replace_goal(
    session: Session,
    person: Person,
    goal: GoalRow,
    body: GoalBody,
    *,
    word: str,
    reason: str,
    uid: str,
    on: date,
    version: int,
    now: datetime,
) -> GoalRow:
    """Close a signed goal as upgraded or downgraded, and write the one in its place."""
    episode = _episode(session, person, goal, "sign_goals")
    if word not in REPLACED:
        raise NotFound
    close_goal(
        session, person, goal, word=word, reason=reason, on=on, version=version, now=now
    )
    return add_goal(
        session, person, episode, body, uid=uid, on=on, replaces=goal, now=now
    )


def say_standing(
    session: Session,
    person: Person,
    goal: GoalRow,
    said: Standing,
    *,
    uid: str,
    on: date,
    now: datetime,
) -> GoalWord:
    """Write how an open goal stands. That it no longer moves is a judgement."""
    deed = "sign_goals" if said.word == "plateau" else "record_visit"
    _episode(session, person, goal, deed)
    known = session.exec(select(GoalWord).where(GoalWord.uid == uid)).first()
    if known is not None:
        was = {name: getattr(known, name) for name in asdict(said)}
        if known.goal_id != goal.id or was != asdict(said):
            raise SameIdOtherBody
        return known
    if goal.closed_on is not None:
        raise GoalIsClosed
    row = GoalWord(
        **asdict(said), uid=uid, goal_id=goal.id, on_date=on, recorded_at=now,
        recorded_by=person.id,
    )  # fmt: skip
    session.add(row)
    session.flush()
    audit.deed(session, "said_how_goal_stands", row, by=person.id, now=now)
    return row


def goal_for(
    session: Session, person: Person, goal_id: int, deed: str = "see_patient"
) -> tuple[GoalRow, Episode]:
    """The goal and its episode, if `person` may do `deed` to its patient."""
    goal = session.get(GoalRow, goal_id)
    if goal is None:
        raise NotFound
    return goal, _episode(session, person, goal, deed)


def goals_of(session: Session, episode: Episode) -> Sequence[GoalRow]:
    """All of an episode by number, the closed ones too."""
    return _in_episode(session, episode.id).all()


_in_episode = rows_by(GoalRow, "episode_id", "number")


def standings_of(
    session: Session, goals: Collection[GoalRow]
) -> dict[int, list[GoalWord]]:
    """How each stood, oldest first, by the goal's number of row."""
    found: dict[int, list[GoalWord]] = {}
    for row in _words(session, [goal.id for goal in goals]):
        found.setdefault(row.goal_id, []).append(row)
    return found


_words = rows_among(GoalWord, "goal_id", "on_date", "id")


def broken_goals(session: Session) -> list[str]:
    """Signed goals whose words no longer fit their signature: for `doctor`."""
    wanted = select(GoalRow).where(col(GoalRow.signed_hash).is_not(None))
    rows = session.exec(wanted.order_by(col(GoalRow.id)))
    return [f"goal {row.id}" for row in rows if row.signed_hash != goal_hash(row)]
