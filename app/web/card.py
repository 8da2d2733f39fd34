"""An activity's card at the bedside: what it says of this person today."""

import uuid
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final

from fastapi import Request
from fastapi.responses import HTMLResponse
from sqlmodel import Session

from app.clinical import assistance, bedside_rules, doing, make_safe, visiting
from app.clinical.activity import CALLERS, Activity
from app.clinical.allowing import Permit
from app.clinical.make_safe import SYMPTOMS
from app.clinical.quantities import plain
from app.clinical.treating import not_today
from app.storage.activity_sets import ActivitySet, any_set_on, sets_of, symptoms_of
from app.storage.episodes import Visit, episode_or_none
from app.storage.patients import Patient, details_of
from app.storage.people import Person
from app.storage.plans import lines_of, plan_on
from app.storage.safety import stops_of_activity, stops_that_hold
from app.web.after_stop import STATEMENT
from app.web.choosing import said_today
from app.web.deps import Form, page, site_of
from app.web.done_sets import as_done
from app.web.open_visit import open_visit_of
from app.web.person_words import about_words, age_words
from app.web.set_form import read_grade
from app.web.set_words import done_words, last_time_words
from app.web.stops import against_words, stop_views
from app.web.strip_picture import strip_pictures

#: What stays as it was in the set before; whatever was counted or felt is asked anew.
REMEMBERED: Final = (
    "hand_support", "level", "helpers", "cue_kind", "cue_amount", "effort_scale",
    "override",
)  # fmt: skip
Rows = Sequence[tuple[ActivitySet, Visit]]


@dataclass(frozen=True, slots=True)
class SetLine:
    """One set of today. `number` is its place among those that were done."""

    id: int
    number: int | None
    words: str
    mind: tuple[str, ...]
    felt: str
    voided: str


@dataclass(frozen=True, slots=True)
class GradeChoice:
    """One step of the grade: `which` way it lies from the one shown."""

    value: str
    words: str
    which: str


def card_page(
    request: Request,
    session: Session,
    patient: Patient,
    activity: Activity,
    stands: Permit,
    *,
    may_override: bool,
    asked: str = "",
    goes_on: bool = False,
    form: Form | None = None,
    errors: dict[str, str] | None = None,
    saved: ActivitySet | None = None,
) -> HTMLResponse:
    """The card, or only its work; with its form filled again where it was refused."""
    site = site_of(request)
    today = site.clock().astimezone(site.zone).date()
    rows = sets_of(session, patient.id, activity=activity.id, voided=True)
    mine = [row for row, visit in rows if visit.local_date == today]
    closed = stands.blocked or (stands.needs_reason and not may_override)
    plan = _planned(request, session, patient, activity, today)
    return page(
        request,
        "activities/card.html",
        "activities/_work.html",
        status=422 if errors else 200,
        patient=patient,
        activity=activity,
        stands=stands,
        closed=closed,
        saved=saved,
        **_form(mine, form, errors, goes_on),
        open_visit=open_visit_of(request, session, patient.id),
        plan=plan,
        not_now=not_today(activity, said_today(site, request.state.me, patient, today)),
        **_at_grade(activity, grade_for(activity, rows, today, asked, plan.grade)),
        **_so_far(session, patient, activity, rows, mine, today),
        **_stops(request, session, patient, activity, today),
        **LISTS,
    )


def _form(
    mine: Sequence[ActivitySet],
    form: Form | None,
    errors: dict[str, str] | None,
    goes_on: bool,
) -> dict[str, Any]:
    """What the form of the next set begins with: as it was refused, or as the last."""
    return {
        "typed": form or Form(),
        "errors": errors or {},
        "uid": (form.text("uid") if form else "") or uuid.uuid4().hex,
        "other_uid": uuid.uuid4().hex,
        "before": _remembered(mine, form),
        "goes_on": goes_on or form is not None,
    }


#: Closed words that the card's templates choose from.
LISTS: Final = {
    "safe": make_safe,
    "rules": bedside_rules,
    "lists": doing,
    "help": assistance,
    "reasons": visiting.NOT_DONE,
    "callers": CALLERS,
}


def _at_grade(activity: Activity, grade: Decimal) -> dict[str, Any]:
    return {
        "grade": grade,
        "grade_words": activity.grade.words(grade),
        "choices_of_grade": tuple(_choices(activity, grade)),
        "pictures": strip_pictures(activity, grade),
    }


def _so_far(
    session: Session,
    patient: Patient,
    activity: Activity,
    rows: Rows,
    mine: Sequence[ActivitySet],
    today: date,
) -> dict[str, Any]:
    """What was done of it today and the last time, and whether anything was today."""
    return {
        "first": not any_set_on(session, patient.id, today),
        "lines": _lines(session, mine, activity),
        "done": _done(mine),
        "last_time": _last_time(session, activity, rows, today),
        **_who(session, patient, today),
    }


def _stops(
    request: Request, session: Session, patient: Patient, activity: Activity, day: date
) -> dict[str, Any]:
    site = site_of(request)
    me: Person = request.state.me
    of_it = stops_of_activity(session, patient.id, activity.id, day)
    hold = stops_that_hold(session, patient.id, day)
    stops, held_by = (
        stop_views(found, me, site.catalogue, site.zone, day) for found in (of_it, hold)
    )
    fallen = any(stop.on_floor for stop in held_by)
    return {
        "stops": stops, "held_by": held_by, "fallen": fallen, "statement": STATEMENT,
    }  # fmt: skip


def _who(session: Session, patient: Patient, today: date) -> dict[str, Any]:
    told = details_of(session, patient)
    age = age_words(told.birth_date, told.birth_year, told.sex, today)
    return {"who": " · ".join(part for part in (age, about_words(told)) if part)}


@dataclass(frozen=True, slots=True)
class InPlan:
    """Where an activity stands in somebody's own plan of today: its grade there, empty
    when it is not in it, and the one after it."""

    grade: str = ""
    after: Activity | None = None
    any: bool = False


def _planned(
    request: Request,
    session: Session,
    patient: Patient,
    activity: Activity,
    today: date,
) -> InPlan:
    episode = episode_or_none(session, patient)
    if episode is None:
        return InPlan()
    lines = lines_of(session, plan_on(session, request.state.me, episode, today))
    keys = [line.activity for line in lines]
    if activity.id not in keys:
        return InPlan(any=bool(keys))
    place = keys.index(activity.id)
    known = site_of(request).catalogue.activities
    after = next((known[key] for key in keys[place + 1 :] if key in known), None)
    return InPlan(lines[place].grade, after, any=True)


def grade_for(
    activity: Activity, rows: Rows, today: date, asked: str, planned: str = ""
) -> Decimal:
    """The grade to begin with: asked for, today's last, planned, last done, the start.

    One that the activity does not have is passed over.
    """
    counted = [(row, visit) for row, visit in rows if row.voided_at is None]
    of_today = [row for row, visit in counted if visit.local_date == today]
    told = [
        asked,
        *(row.grade or "" for row in reversed(of_today)),
        planned,
        *(row.grade or "" for row, _ in reversed(counted) if row.outcome == "done"),
    ]
    found = (read_grade(activity, text) for text in told if text)
    return next((value for value in found if value is not None), activity.grade.start)


def _choices(activity: Activity, now: Decimal) -> Iterator[GradeChoice]:
    """Easier, as it is, harder: one step each way where there is one.

    Where the therapist measures, the number is a finding, and nothing is harder.
    """
    grade, measured = activity.grade, activity.position == "none"
    for which, value in (
        ("easier", None if measured else grade.easier(now)),
        ("now", now),
        ("harder", None if measured else grade.harder(now)),
    ):
        if value is not None:
            yield GradeChoice(plain(value), grade.words(value), which)


def _lines(
    session: Session, rows: Sequence[ActivitySet], activity: Activity
) -> list[SetLine]:
    symptoms = symptoms_of(session, rows)
    lines, number = [], 0
    for row in rows:
        counts = row.outcome == "done" and row.voided_at is None
        number += counts
        words = done_words(row, activity, symptoms.get(row.id, ()))
        place = number if counts else None
        felt = _felt(symptoms.get(row.id, ())) if counts else ""
        void = row.void_reason or ""
        lines.append(SetLine(row.id, place, words, minded(row), felt, void))
    return lines


def _felt(symptoms: Collection[str]) -> str:
    """What came on in a set and asks for a look before the next one."""
    mild = ("tired", "wanted_to_stop")
    return ", ".join(
        words for key, words in SYMPTOMS.items() if key in symptoms and key not in mild
    )


def minded(row: ActivitySet) -> tuple[str, ...]:
    """What somebody must look at: an order in force, or two things not both true."""
    said = []
    if row.against and row.voided_at is None:
        said.append(f"Done against {against_words(row.against)}: look into it.")
    if row.level and row.helpers is not None and row.voided_at is None:
        said += assistance.contradictions(row.level, row.helpers, bool(row.cue_kind))
    return tuple(said)


def _done(rows: Sequence[ActivitySet]) -> int:
    return sum(row.outcome == "done" and row.voided_at is None for row in rows)


def _last_time(session: Session, activity: Activity, rows: Rows, today: date) -> str:
    """All that was tried on the last day before this one, with its stops."""
    earlier = [
        (row, visit)
        for row, visit in rows
        if row.voided_at is None
        and row.outcome in doing.TRIED
        and visit.local_date < today
    ]
    if not earlier:
        return ""
    day = earlier[-1][1].local_date
    of_day = [(row, visit) for row, visit in earlier if visit.local_date == day]
    stops = [
        doing.stop_said(s.symptoms, s.after)
        for s in as_done(session, of_day)
        if s.outcome == "stopped"
    ]
    return last_time_words([row for row, _ in of_day], activity, day, today, stops)


def _remembered(rows: Sequence[ActivitySet], form: Form | None) -> dict[str, str]:
    """The answers that a form begins with, as text: what was typed, else kept."""
    if form is not None:
        return {}
    kept = [row for row in rows if row.voided_at is None and row.outcome == "done"]
    if not kept:
        return {}
    last = {name: getattr(kept[-1], name) for name in REMEMBERED}
    last["unit"] = kept[-1].distance_unit
    return {name: str(value) for name, value in last.items() if value is not None}
