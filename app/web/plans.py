"""The plan of today's session: what to do, in order, at which grade."""

import uuid
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.clinical import session_plan as core
from app.clinical.doing import DoneSet
from app.clinical.grading import propose
from app.clinical.quantities import plain
from app.clinical.session_plan import Plan, Refused
from app.storage.episodes import Episode, open_episode
from app.storage.errors import StaleVersion
from app.storage.patients import Patient, patient_for
from app.storage.people import Person
from app.storage.plans import write_plan
from app.web.activity_words import deficit_words
from app.web.choosing import said_today
from app.web.comparing import Compare, compared
from app.web.deps import (
    Form,
    FormDep,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    SiteDep,
    WriteSession,
    page,
    site_of,
)
from app.web.done_sets import done_sets
from app.web.open_visit import open_visit_of
from app.web.planning import (
    USUAL_MINUTES,
    Earlier,
    Planned,
    activity_in,
    earlier_for,
    kept_lines,
    may_go_against,
    planned,
    rows_of,
    tags_on,
    typed_grade,
)
from app.web.treat_page import treat_page
from app.web.versions import version_in

router = APIRouter()
#: What a button of the plan may ask for, before the activity it is about.
DEEDS: Final = ("up", "down", "remove", "take")


@dataclass(slots=True)
class Desk:
    """Everything one request about a plan works with."""

    request: Request
    session: Session
    me: Person
    patient: Patient
    episode: Episode
    today: date
    now: datetime
    tags: list[str]
    sets: list[DoneSet]
    held: Planned
    errors: dict[str, str] = field(default_factory=dict)

    @property
    def earlier(self) -> Earlier | None:
        shelf = site_of(self.request).catalogue
        return earlier_for(
            self.session, shelf, self.me, self.episode, self.today, self.sets
        )


def _desk(
    request: Request, session: Session, me: Person, patient_id: int, now: datetime
) -> Desk:
    site = site_of(request)
    patient = patient_for(session, me, patient_id, "record_visit")
    today = now.astimezone(site.zone).date()
    episode = open_episode(session, patient)
    tags = tags_on(session, episode, today)
    held = planned(session, site.catalogue, me, episode, today, tags)
    sets = done_sets(session, patient.id)
    return Desk(request, session, me, patient, episode, today, now, tags, sets, held)


@router.get("/patients/{patient_id}/plan")
def show(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    now: Now,
    patient_id: RowId,
    copied: str = "",
) -> HTMLResponse:
    """`copied=yes`: also what could not come along from the earlier one."""
    desk = _desk(request, session, me, patient_id, now)
    return _page(desk, Form(), copied=copied == "yes")


@router.post("/patients/{patient_id}/plan/add", response_model=None)
def add(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    patient_id: RowId,
) -> Response:
    """One more at the end. It asks for no version: whatever else is planned stays."""
    desk = _desk(request, session, me, patient_id, now)
    activity = activity_in(site.catalogue, form)
    proposal = propose(activity, desk.sets)
    try:
        made = core.add(
            desk.held.plan,
            core.item_of(activity, proposal.value),
            desk.tags,
            may_override=may_go_against(me, desk.patient),
            reason=form.text("reason"),
        )
    except Refused as no:
        errors = {f"reason-{activity.id}": no.sentence}
        if form.text("back") == "plan":
            return _page(desk, form, errors)
        return treat_page(
            request, session, me, desk.patient, desk.today, form=form, errors=errors
        )
    _keep(desk, made, desk.held.version)
    return RedirectResponse(_back(desk, form, activity.id), 303)


def _back(desk: Desk, form: Form, activity_id: str) -> str:
    here = f"/patients/{desk.patient.id}"
    if form.text("back") == "plan":
        return f"{here}/plan#{activity_id}"
    only = form.text("deficit")
    known = only in deficit_words(site_of(desk.request).catalogue)
    return f"{here}/treat{f'?deficit={only}' if known else ''}#{activity_id}"


@router.post("/patients/{patient_id}/plan/copy")
def copy(
    request: Request, me: SignedIn, session: WriteSession, now: Now, patient_id: RowId
) -> RedirectResponse:
    """What the last session held, after what is planned already."""
    desk = _desk(request, session, me, patient_id, now)
    earlier = desk.earlier
    if earlier is not None:
        made = _copied(desk, earlier)
        if made.plan != desk.held.plan:
            _keep(desk, made.plan, desk.held.version)
    return RedirectResponse(f"/patients/{desk.patient.id}/plan?copied=yes", 303)


def _copied(desk: Desk, earlier: Earlier) -> core.Standing:
    return core.copied(
        desk.held.plan,
        earlier.items,
        desk.tags,
        may_override=may_go_against(desk.me, desk.patient),
        reasons={},
    )


@router.post("/patients/{patient_id}/plan", response_model=None)
def change(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    patient_id: RowId,
) -> Response:
    """What was typed of all, and what the button asks of one."""
    desk = _desk(request, session, me, patient_id, now)
    plan = _typed(desk, form)
    deed, _, about = form.text("do").partition(" ")
    if not desk.errors and deed in DEEDS:
        plan = _done(desk, plan, deed, about)
    if desk.errors:
        return _page(desk, form, desk.errors)
    try:
        _keep(desk, plan, version_in(form))
    except StaleVersion:
        if plan == desk.held.plan:
            return RedirectResponse(f"/patients/{desk.patient.id}/plan", 303)
        return _page(desk, form, compare=_compare(desk, plan))
    return RedirectResponse(f"/patients/{desk.patient.id}/plan#{about}", 303)


def _typed(desk: Desk, form: Form) -> Plan:
    """The plan with the grades and sets of the form; what is wrong goes to `errors`."""
    plan = desk.held.plan
    for item in desk.held.now.plan.items:
        key = item.activity.id
        grade, sets = form.get(f"grade-{key}"), form.get(f"sets-{key}")
        try:
            if grade is not None:
                at = typed_grade(grade)
                if at is None:
                    raise Refused("Type a number.")
                plan = core.with_grade(plan, key, at, desk.tags)
        except Refused as no:
            desk.errors[f"grade-{key}"] = no.sentence
        try:
            if sets is not None:
                number = sets.strip()
                whole = number.isascii() and number.isdigit() and len(number) < 4
                plan = core.with_sets(plan, key, int(number) if whole else 0, desk.tags)
        except Refused as no:
            desk.errors[f"sets-{key}"] = no.sentence
    return plan


def _done(desk: Desk, plan: Plan, deed: str, about: str) -> Plan:
    if deed == "remove":
        return core.remove(plan, about, desk.tags)
    if deed == "take":
        item = next((i for i in plan.items if i.activity.id == about), None)
        if item is None:
            return plan
        value = propose(item.activity, desk.sets).value
        return core.with_grade(plan, about, value, desk.tags)
    return core.move(plan, about, -1 if deed == "up" else 1, desk.tags)


def _keep(desk: Desk, plan: Plan, version: int) -> None:
    write_plan(
        desk.session, desk.me, desk.episode, desk.today, kept_lines(plan),
        uid=uuid.uuid4().hex, version=version, now=desk.now,
    )  # fmt: skip


def _compare(desk: Desk, yours: Plan) -> Compare:
    row, zone = desk.held.row, site_of(desk.request).zone
    return compared(
        desk.session, row.person_id if row else None, row.edited_at if row else None,
        _said(desk.held.plan), _said(yours), zone,
    )  # fmt: skip


def _said(plan: Plan) -> dict[str, str]:
    """Each activity in words, with its place, since the order may differ too."""
    return {
        i.activity.name: f"{place}: {i.activity.grade.words(i.grade)}, {i.sets} sets"
        for place, i in enumerate(plan.items, 1)
    }


def _page(
    desk: Desk,
    typed: Form,
    errors: dict[str, str] | None = None,
    compare: Compare | None = None,
    copied: bool = False,
) -> HTMLResponse:
    site = site_of(desk.request)
    said = said_today(site, desk.me, desk.patient, desk.today)
    left = said.minutes or USUAL_MINUTES
    earlier, now = desk.earlier, desk.held.now
    missing = _copied(desk, earlier).taken_out if earlier and copied else ()
    return page(
        desk.request,
        "treat/plan.html",
        status=422 if errors else 409 if compare else 200,
        patient=desk.patient,
        rows=rows_of(now.plan.items, desk.sets, desk.tags, said),
        taken_out=now.taken_out,
        missing=missing,
        minutes=now.plan.minutes,
        left=left,
        over=now.plan.minutes - left,
        version=desk.held.version,
        earlier=earlier,
        may_override=may_go_against(desk.me, desk.patient),
        number=plain,
        typed=typed,
        errors=errors or {},
        compare=compare,
        open_visit=open_visit_of(desk.request, desk.session, desk.patient.id),
    )
