"""A visit on one screen: begin, symptoms, vital signs, tests, tasks, leave, close."""

import uuid
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session, col, select

from app.access import STUDENT, Subject, may
from app.clinical import assistance, hand_off, teaching, visiting
from app.storage import visits
from app.storage.episodes import Episode, Visit, open_episode, visit_today
from app.storage.errors import NotAllowed, NotFound
from app.storage.left_visits import is_left_open, look_into
from app.storage.notes import notes_open
from app.storage.observations import (
    SymptomCheck,
    TaskObservation,
    VitalSigns,
    answer,
    asked,
    codes_in,
    give_code,
    limits_of,
    merged,
    record,
    recorded,
    void_observation,
)
from app.storage.patients import Patient, patient_for
from app.storage.people import Person, actor
from app.storage.safety import stops_of_visit
from app.web import visit_forms
from app.web.dates import day_words, moment_words
from app.web.deps import (
    Form,
    FormDep,
    FormProblem,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    Site,
    WriteSession,
    Zone,
    page,
    site_of,
    wants_fragment,
)
from app.web.helping_view import help_offers
from app.web.leaving import exit_lines
from app.web.note_links import notes_of
from app.web.planning import plan_of_visit
from app.web.stops import stop_name, stop_path
from app.web.visit_deeds import DEEDS, Asked
from app.web.visit_events import Event, events_of, symptom_words
from app.web.visit_services import Clock, day_view

router = APIRouter()
Reader = Callable[[Form, dict[str, str]], dict[str, Any]]
#: Each part of a visit that is entered: its table and the reader of its form.
PARTS: Final[
    dict[str, tuple[Any, Callable[[Form, dict[str, str]], dict[str, Any]]]]
] = {
    "symptoms": (SymptomCheck, visit_forms.symptoms),
    "vitals": (VitalSigns, visit_forms.vitals),
    "tasks": (TaskObservation, visit_forms.task),
}
#: Parts whose form is sent again at each tap.
TAPPED: Final = ("symptoms", "exit")
#: Answers tapped within this time go on with the same asking after a reload.
SAME_ASKING: Final = timedelta(minutes=10)
#: Codes of tasks that were not attempted.
NOT_TRIED: Final = ("07", "09", "10", "88")


@router.post("/patients/{patient_id}/visit")
def begin(
    form: FormDep, me: SignedIn, session: WriteSession, now: Now, zone: Zone,
    patient_id: RowId,
) -> RedirectResponse:  # fmt: skip
    """Today's visit, begun or gone on with."""
    patient = patient_for(session, me, patient_id, "record_visit")
    episode = open_episode(session, patient)
    visit = visit_today(session, me, episode, now=now, zone=zone, uid=form.uid())
    return RedirectResponse(f"/visits/{visit.id}", 303)


@router.get("/patients/{patient_id}/visits")
def all_of(
    request: Request, me: SignedIn, session: ReadSession, patient_id: RowId
) -> HTMLResponse:
    patient = patient_for(session, me, patient_id)
    found = visits.visits_of(session, patient.id)
    trials = visits.trials_in(session, [visit.id for visit in found])
    lines = [
        (visit, day_words(visit.local_date), _state(visit), trials.get(visit.id, 0))
        for visit in found
    ]
    return page(
        request, "visits/list.html", patient=patient, lines=lines, kinds=visiting.KINDS
    )


def _state(visit: Visit) -> str:
    if visit.kind == "missed":
        return f"missed: {visiting.NOT_DONE[visit.missed_reason or 'time']}"
    return "closed" if visit.closed_at else "not closed"


@router.get("/visits/{visit_id}")
def show(
    request: Request, me: SignedIn, session: ReadSession, now: Now, visit_id: RowId
) -> HTMLResponse:
    visit, patient = visits.visit_for(session, me, visit_id)
    return _page(request, session, me, visit, patient, now)


def _page(
    request: Request,
    session: Session,
    me: Person,
    visit: Visit,
    patient: Patient,
    now: datetime,
    part: str = "",
    typed: Form | None = None,
    errors: dict[str, str] | None = None,
) -> HTMLResponse:
    return page(
        request,
        "visits/show.html",
        status=422 if errors else 200,
        visit=visit,
        patient=patient,
        may_close=visits.may_close(me, patient, visit.kind),
        student=me.role == STUDENT,
        mine=visit.person_id == me.id,
        may_look=may(actor(me), "review", Subject(patient.is_demo))
        and is_left_open(session, visit),
        part=part,
        help_offers=help_offers(request, session, patient.id),
        planned=plan_of_visit(session, site_of(request).catalogue, visit),
        typed=typed or Form(),
        errors=errors or {},
        uid=(typed.text("uid") if typed else "") or uuid.uuid4().hex,
        going_on=_going_on(session, me, visit, now),
        lists=visiting,
        help=assistance,
        teach=teaching,
        audiences=hand_off.AUDIENCES,
        **_seen(session, site_of(request), me, visit, now),
    )


def _going_on(session: Session, me: Person, visit: Visit, now: datetime) -> Form:
    """The asking that this person is in the middle of: its id and its answers."""
    rows = recorded(session, visit, SymptomCheck)
    last = rows[-1] if rows else None
    if (
        last is None or last.asking is None or last.recorded_by != me.id
        or now - last.recorded_at > SAME_ASKING
    ):  # fmt: skip
        return Form()
    same = [row for row in rows if row.asking == last.asking]
    said = {"asking": last.asking} | merged(same)
    return Form((key, str(value)) for key, value in said.items())


def _names(session: Session, events: list[Event]) -> dict[int, str]:
    wanted = select(Person.id, Person.name).where(
        col(Person.id).in_({e.by for e in events if e.by is not None})
    )
    return dict(session.exec(wanted).all())


def _seen(
    session: Session, site: Site, me: Person, visit: Visit, now: datetime
) -> dict[str, Any]:
    """What happened so far, and what the clock says of it."""
    episode = session.get_one(Episode, visit.episode_id)
    answered = visits.exit_items(session, visit)
    events = events_of(session, site.catalogue, visit)
    tasks = recorded(session, visit, TaskObservation)
    return {
        "unsigned": notes_open(session, visit),
        "notes": notes_of(session, visit, mine=visit.person_id == me.id),
        "episode": episode,
        "events": events,
        "names": _names(session, events),
        "codes": codes_in(session, visit),
        "several": visits.tests_in(session, visit.id) > 1,
        "offers": {row.id: proposal(row) for row in tasks},
        "not_tried": NOT_TRIED,
        "clock": lambda at: moment_words(at, site.zone).partition(", ")[2],
        "day": day_words(visit.local_date),
        "is_today": visit.local_date == now.astimezone(site.zone).date(),
        **_minutes(session, site, me, visit, now),
        "answered": answered,
        "exit_lines": exit_lines(session, visit),
        "missing": visits.missing(visits.standing(session, visit, answered)),
        "limits": limits_of(session, episode),
        "unanswered": [
            (stop_path(stop), stop_name(site.catalogue, stop, short=False))
            for stop in stops_of_visit(session, visit)
            if stop.is_unanswered
        ],
    }


def _minutes(
    session: Session, site: Site, me: Person, visit: Visit, now: datetime
) -> dict[str, Any]:
    """What the clock says, how the minutes were spent, and what was given in them."""
    pauses = visits.pauses_of(session, visit)
    total, away = visits.counted_minutes(visit, pauses, now)
    spent = {name: getattr(visit, f"{name}_minutes") for name in visiting.MINUTES}
    clock = Clock(total - away, away, sum(spent.values()))
    return {
        "paused": any(p.until is None for p in pauses),
        "total": total,
        "away": away,
        "spent": spent,
        "short": sum(spent.values()) - (total - away) if any(spent.values()) else 0,
        "services": day_view(session, me, visit, site.settings.units_rule, clock),
    }


@router.post("/visits/{visit_id}/looked")
def looked(
    me: SignedIn, session: WriteSession, now: Now, visit_id: RowId
) -> RedirectResponse:
    """A supervisor has looked into why it was left without the exit list."""
    look_into(session, me, visit_id, now)
    return RedirectResponse(f"/visits/{visit_id}#exit", 303)


@router.post("/visits/{visit_id}/{part}", response_model=None)
def enter(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    visit_id: RowId,
    part: str,
) -> Response:
    """One set of answers, or one deed of the visit itself."""
    visit, patient = visits.visit_for(session, me, visit_id, "record_visit")
    deed = DEEDS.get(part)
    if part not in PARTS and deed is None:
        raise NotFound
    errors: dict[str, str] = {}
    tapped = part in TAPPED and wants_fragment(request)
    if deed is not None:
        if visit.person_id != me.id and part != "limits":
            raise NotAllowed("This is a colleague's visit: begin your own.")
        today = now.astimezone(site_of(request).zone).date()
        deed(Asked(session, me, visit, form, errors, now, today))
    else:
        table, read = PARTS[part]
        said = read(form, errors)
        if not errors and tapped:
            answer(session, me, visit, said, asking=form.uid(), now=now)
        elif not errors:
            uid = form.uid()
            own = {"asking": uid} if table is SymptomCheck else {}
            record(session, me, visit, table, said | own, uid=uid, now=now)
    if errors:
        return _page(request, session, me, visit, patient, now, part, form, errors)
    if tapped:
        return _saved(request, session, visit, part, form, now)
    return RedirectResponse(f"/visits/{visit.id}#{part}", 303)


def _saved(
    request: Request, session: Session, visit: Visit, part: str, form: Form,
    now: datetime,
) -> HTMLResponse:  # fmt: skip
    """The answer to a tap: when it was saved, and what is saved so far."""
    answered = visits.exit_items(session, visit)
    said: dict[str, Any] = {}
    if part == "symptoms":
        said = merged(asked(session, visit, form.uid()))
    return page(
        request,
        "visits/_saved.html",
        part=part,
        at=moment_words(now, site_of(request).zone).partition(", ")[2],
        said=symptom_words(said),
        answers=said,
        missing=visits.missing(visits.standing(session, visit, answered)),
        lists=visiting,
    )


@router.post("/visits/{visit_id}/tasks/{task_id}/void")
def void_task(
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    visit_id: RowId,
    task_id: RowId,
) -> RedirectResponse:
    visit, row = _task(session, me, visit_id, task_id)
    reason = form.text("void_reason")
    if not 1 <= len(reason) <= 200:
        raise FormProblem("Say in a few words why this does not count.")
    void_observation(session, me, row, reason, now)
    return RedirectResponse(f"/visits/{visit.id}#tasks", 303)


@router.post("/visits/{visit_id}/tasks/{task_id}/code")
def code_task(
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    visit_id: RowId,
    task_id: RowId,
) -> RedirectResponse:
    """Take the code that is proposed, or give another; until the visit is handed in."""
    visit, row = _task(session, me, visit_id, task_id)
    code = form.text("code")
    if code not in assistance.FEDERAL or (row.level is None) != (code in NOT_TRIED):
        raise FormProblem("Choose a code that fits what was recorded.")
    if not notes_open(session, visit):
        raise FormProblem("The visit was handed in: its codes stand as they are.")
    offer = proposal(row)
    give_code(
        session, me, row, code, proposed=offer.code if offer else None, now=now
    )  # fmt: skip
    return RedirectResponse(f"/visits/{visit.id}#tasks", 303)


def _task(
    session: Session, me: Person, visit_id: int, task_id: int
) -> tuple[Visit, TaskObservation]:
    visit, _ = visits.visit_for(session, me, visit_id, "record_visit")
    row = session.get(TaskObservation, task_id)
    if row is None or row.visit_id != visit.id:
        raise NotFound
    return visit, row


def proposal(row: TaskObservation) -> assistance.Proposal | None:
    """What the code of a task most likely is; none for one not done."""
    if row.level is None or row.voided_at is not None:
        return None
    return assistance.proposed(
        row.level, row.helpers, row.share, cued=row.cue_kind is not None
    )
