"""A visit in the making, for tests of what its notes say."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from sqlmodel import Session, select

from app.clinical.note import Line
from app.clinical.visit_facts import VisitFacts
from app.storage.database import read_session, write_session
from app.storage.episodes import Episode, Visit, open_episode
from app.storage.goal_rows import GoalBody
from app.storage.goals import sign_goal
from app.storage.observations import (
    TaskObservation,
    record,
)
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.trials import Trial, TrialBody
from app.web.deps import Site
from app.web.note_facts import evaluation_lines, visit_facts, visit_lines
from tests.conftest import person_by
from tests.make import (
    NOW,
    TODAY,
    make_goal,
    make_round,
    make_trial,
    make_visit,
    new_uid,
)

STANDS = {"measure": "five_times_sit_to_stand", "variant": "single"}
SETUP = {"seat_height": "17.5 in", "arms_used": "no", "device": "none"}


@dataclass
class Bedside:
    """A visit in the making, by the therapist who owns the patient."""

    session: Session
    me: Person
    patient: Patient
    episode: Episode
    visit: Visit

    def test(self, *bodies: TrialBody, visit: Visit | None = None, **said: Any) -> int:
        """A round of a test; its number."""
        at = visit or self.visit
        kind = {**STANDS, "facts": SETUP, **said}
        round = make_round(self.session, self.me, at, **kind)
        for body in bodies:
            make_trial(self.session, self.me, round, body)
        return round.id

    def task(self, **said: Any) -> TaskObservation:
        return record(
            self.session, self.me, self.visit, TaskObservation,
            {"task": "transfer_toilet", **said}, uid=new_uid(), now=NOW,
        )  # fmt: skip

    def goal(self, *, signed: bool = True, **said: Any) -> int:
        body = {
            "term": "short", "who": "patient", "kind": "score",
            "by_date": TODAY + timedelta(days=28), "task": "transfer_toilet",
            "measure": "five_times_sit_to_stand", "target_value": "12.0",
            "target_unit": "s", **said,
        }  # fmt: skip
        row = make_goal(self.session, self.me, self.episode, GoalBody(**body))
        if signed:
            sign_goal(self.session, self.me, row, version=1, now=NOW)
        return row.id

    def on(self, days: int) -> Visit:
        """Another visit, so many days from today."""
        return make_visit(
            self.session, self.me, self.episode, now=NOW + timedelta(days=days)
        )


@contextmanager
def bedside(site: Site) -> Iterator[Bedside]:
    """Today's visit of the therapist to their patient, to be written into."""
    with write_session(site.engine) as session:
        me = person_by(session, "therapist")
        patient = session.exec(select(Patient)).one()
        episode = open_episode(session, patient)
        yield Bedside(session, me, patient, episode, make_visit(session, me, episode))


def facts_of(site: Site, visit_id: int, **said: Any) -> VisitFacts:
    with read_session(site.engine) as session:
        return visit_facts(session, site, session.get_one(Visit, visit_id), **said)


def lines_of(site: Site, visit_id: int, kind: str = "visit") -> dict[str, Line]:
    make = visit_lines if kind == "visit" else evaluation_lines
    with read_session(site.engine) as session:
        lines = make(session, site, session.get_one(Visit, visit_id))
    return {line.key: line for line in lines}


def trials_of(at: Bedside, round_id: int) -> Sequence[Trial]:
    return at.session.exec(select(Trial).where(Trial.round_id == round_id)).all()


def timed(seconds: str) -> TrialBody:
    return TrialBody(raw_ms=int(seconds.replace(".", "")) * 100)
