"""Rows of a plan as the core reads them, and what its page shows of each activity."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from sqlmodel import Session

from app.access import Subject, may
from app.catalogue.load import Catalogue
from app.clinical.activity import Activity
from app.clinical.allowing import permit
from app.clinical.choosing import Today
from app.clinical.doing import DoneSet
from app.clinical.grading import Proposal, propose, sessions_of
from app.clinical.precautions import Precaution
from app.clinical.quantities import plain
from app.clinical.session_plan import (
    Item,
    Plan,
    Standing,
    item_of,
    standing,
    unblocked,
)
from app.clinical.treating import not_today
from app.storage.episodes import Episode, Visit
from app.storage.errors import NotFound
from app.storage.patients import Patient
from app.storage.people import Person, actor
from app.storage.plans import (
    PlanLine,
    SessionPlan,
    lines_of,
    plan_before,
    plan_on,
)
from app.storage.precautions import precautions_on
from app.web.dates import day_words
from app.web.deps import Form, FormProblem

#: Minutes of a visit when nothing was said.
USUAL_MINUTES = 30
_GRADE = re.compile(r"-?\d{1,5}([.,]\d{1,4})?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Planned:
    """Today's plan of somebody: without what is blocked, and as it stands now."""

    row: SessionPlan | None
    plan: Plan
    now: Standing

    @property
    def version(self) -> int:
        return self.row.version if self.row else 0


@dataclass(frozen=True, slots=True)
class Earlier:
    """What can be copied: where it comes from, in words, and its items."""

    says: str
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One activity on the plan page, with the grade that is proposed next."""

    item: Item
    proposal: Proposal
    mind: tuple[Precaution, ...]
    against: tuple[Precaution, ...]
    not_now: tuple[str, ...]

    @property
    def activity(self) -> Activity:
        return self.item.activity

    @property
    def rungs(self) -> list[tuple[str, str]]:
        """Grades to choose from where each has a name, the easiest first."""
        grade, found = self.activity.grade, []
        at: Decimal | None = grade.easiest
        while grade.rungs and at is not None:
            found.append((plain(at), grade.words(at)))
            at = grade.harder(at)
        return found


def tags_on(session: Session, episode: Episode, day: date) -> list[str]:
    return [p.tag for p in precautions_on(session, episode, day)]


def may_go_against(me: Person, patient: Patient) -> bool:
    """Of a patient who was fetched for `me`: so they are assigned, or see everybody."""
    return may(actor(me), "go_against_risk", Subject(patient.is_demo, assigned=True))


def planned(
    session: Session,
    shelf: Catalogue,
    me: Person,
    episode: Episode,
    day: date,
    tags: Iterable[str],
) -> Planned:
    row = plan_on(session, me, episode, day)
    plan = plan_of(shelf, lines_of(session, row))
    return Planned(row, unblocked(plan, tags), standing(plan, tags))


def plan_of_visit(session: Session, shelf: Catalogue, visit: Visit) -> Standing:
    """What the visit's own person planned for its day, under the orders of then."""
    episode = session.get_one(Episode, visit.episode_id)
    who, day = session.get_one(Person, visit.person_id), visit.local_date
    tags = tags_on(session, episode, day)
    return planned(session, shelf, who, episode, day, tags).now


def plan_of(shelf: Catalogue, lines: Iterable[PlanLine]) -> Plan:
    """Kept lines as a plan; an activity the catalogue no longer has is left out."""
    return Plan(
        tuple(
            Item(
                shelf.activities[line.activity],
                Decimal(line.grade),
                line.sets,
                line.minutes,
                line.override,
                tuple(line.against),
            )
            for line in lines
            if line.activity in shelf.activities
        )
    )


def kept_lines(plan: Plan) -> list[PlanLine]:
    return [
        PlanLine(
            i.activity.id,
            plain(i.grade),
            i.sets,
            i.minutes,
            i.override,
            list(i.against),
        )
        for i in plan.items
    ]


def rows_of(
    items: Sequence[Item], sets: Sequence[DoneSet], tags: Iterable[str], today: Today
) -> list[PlanRow]:
    in_force = tuple(tags)
    rows = []
    for item in items:
        found = permit(item.activity, in_force)
        proposal = propose(item.activity, sets)
        beyond = not_today(item.activity, today)
        rows.append(PlanRow(item, proposal, found.cautions, found.risks, beyond))
    return rows


def earlier_for(
    session: Session,
    shelf: Catalogue,
    me: Person,
    episode: Episode,
    day: date,
    sets: Sequence[DoneSet],
) -> Earlier | None:
    """The last session before today, else one's own last plan; None without either."""
    sessions = sessions_of(s for s in sets if s.on < day)
    items = done_items(shelf, sessions[-1]) if sessions else ()
    if items:
        return Earlier(f"the session of {day_words(sessions[-1][0].on, day)}", items)
    row = plan_before(session, me, episode, day)
    if row is None:
        return None
    items = plan_of(shelf, lines_of(session, row)).items
    return Earlier(f"the plan of {day_words(row.for_date, day)}", items)


def done_items(shelf: Catalogue, sets: Sequence[DoneSet]) -> tuple[Item, ...]:
    """What was done as items: in that order, at the last grade, at the usual dose."""
    last: dict[str, Decimal | None] = {}
    for done in sets:
        known = last.get(done.activity)
        last[done.activity] = done.grade if done.grade is not None else known
    return tuple(
        item_of(shelf.activities[key], _inside(shelf.activities[key], grade))
        for key, grade in last.items()
        if key in shelf.activities
    )


def _inside(activity: Activity, grade: Decimal | None) -> Decimal | None:
    return grade if grade is not None and activity.grade.within(grade) else None


def activity_or_not_found(shelf: Catalogue, key: str) -> Activity:
    found = shelf.activities.get(key)
    if found is None:
        raise NotFound("There is no such activity.")
    return found


def activity_in(shelf: Catalogue, form: Form) -> Activity:
    found = shelf.activities.get(form.text("activity"))
    if found is None:
        raise FormProblem("There is no such activity. Open the page again.")
    return found


def typed_grade(text: str) -> Decimal | None:
    """A grade as typed, None when it is no number."""
    text = text.strip()
    return Decimal(text.replace(",", ".")) if _GRADE.fullmatch(text) else None
