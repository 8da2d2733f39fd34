"""Home and bedside: measure by room, what it means, and what is to be changed."""

import uuid
from collections.abc import Sequence
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.catalogue.load import Catalogue
from app.clinical.dimensions import PHASES, ROOMS, UNITS, parse_length
from app.clinical.quantities import BadNumber
from app.clinical.ramps import ramp_for, ramp_words, slope_of, slope_words
from app.clinical.room_changes import CHANGES, NEXT, STATES, WHO
from app.clinical.seat_height import SHOES
from app.storage.episodes import Visit, episode_or_none, open_episode, visit_today
from app.storage.patients import Patient, details_of, patient_for
from app.storage.people import Person
from app.storage.room_measurements import (
    LONGEST,
    ChangeNow,
    RoomMeasure,
    add_change,
    change_for,
    changes_of,
    measure_for,
    measures_of,
    move_change,
    record_measure,
    void_measure,
)
from app.web import room_form, room_picture, room_view
from app.web.dates import day_words
from app.web.deps import (
    Form,
    FormDep,
    FormProblem,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    SiteDep,
    WriteSession,
    Zone,
    page,
    site_of,
)

router = APIRouter()
FIRST_ROOM: Final = next(iter(ROOMS))
RAMP_SECTIONS: Final = ("ramp_slope", "ramp_rise", "ramp_landing", "ramp_wide",
                        "handrail_height")  # fmt: skip


@router.get("/patients/{patient_id}/rooms")
def show(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    patient_id: RowId,
    room: str = FIRST_ROOM,
    shoes: str = "on",
    after: int = 0,
) -> HTMLResponse:
    """`after`: the change that is about to be measured."""
    patient = patient_for(session, me, patient_id)
    typed = Form([("room", room), ("shoes", shoes)])
    of = _change_named(session, patient, str(after or ""))
    if of is not None:
        told = [("room", of.row.room), ("phase", "after"), ("of", str(of.row.id))]
        thing = [("thing", of.before.thing)] if of.before else []
        typed = Form([*told, *thing, ("shoes", shoes)])
    return _page(request, session, patient, typed)


def _page(
    request: Request,
    session: Session,
    patient: Patient,
    typed: Form,
    part: str = "",
    errors: dict[str, str] | None = None,
) -> HTMLResponse:
    """`part` is the form that `typed` and `errors` belong to, when one was sent."""
    shelf = site_of(request).catalogue
    rows = measures_of(session, patient.id)
    room = typed.text("room") if typed.text("room") in ROOMS else FIRST_ROOM
    return page(
        request,
        "rooms/show.html",
        status=422 if errors else 200,
        patient=patient,
        room=room,
        rooms=ROOMS,
        counts={r: sum(m.room == r and not m.voided_at for m in rows) for r in ROOMS},
        typed=typed,
        part=part,
        errors=errors or {},
        uid=typed.text("uid") or uuid.uuid4().hex,
        open=episode_or_none(session, patient) is not None,
        unit=typed.text("unit") or (rows[0].unit if rows else UNITS[0]),
        phases=PHASES,
        changes=CHANGES,
        who=WHO,
        states=STATES,
        next_of=NEXT,
        longest=LONGEST,
        proposed=changes_of(session, patient.id),
        day=lambda at: day_words(at.astimezone(site_of(request).zone).date()),
        words=lambda row: room_view.length_of(row).words,
        **_of_room(session, shelf, patient, rows, room, typed),
    )


def _of_room(
    session: Session,
    shelf: Catalogue,
    patient: Patient,
    rows: Sequence[RoomMeasure],
    room: str,
    typed: Form,
) -> dict[str, Any]:
    """What was measured in this room, against the person and the references."""
    details = details_of(session, patient)
    shoes = typed.text("shoes") if typed.text("shoes") in SHOES else "on"
    leg = room_view.leg_of(details, shoes)
    here = [row for row in rows if row.room == room]
    usual, others = room_view.offered(shelf, room)
    return {
        "views": [room_view.view_of(row, shelf, leg) for row in here],
        "pairs": room_view.pairs_of(here, shelf),
        "picture": room_view.picture_of(here, shelf, leg),
        "usual": usual,
        "others": others,
        "leg": room_view.leg_view(leg, details, shelf) if leg else None,
        "shoes": SHOES,
        "sizes": shelf.dimensions,
        "rules": room_view.seat_rules(shelf),
    }


@router.post("/patients/{patient_id}/rooms", response_model=None)
def add(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
    patient_id: RowId,
) -> Response:
    """Keep one measurement; `of` names the change whose outcome it is."""
    patient = patient_for(session, me, patient_id, "record_visit")
    errors: dict[str, str] = {}
    said = room_form.measure(form, errors, site.catalogue.dimensions.things)
    of = _change_named(session, patient, form.text("of"))
    if errors:
        return _page(request, session, patient, form, "measure", errors)
    uid = form.uid()
    visit = _visit(session, me, patient, uid, now, zone)
    row, _ = record_measure(session, me, visit, said, uid=uid, now=now)
    if of is not None and said["phase"] == "after":
        move_change(session, me, of.row, "done", now=now, after_id=row.id)
    return _back(patient, said["room"], form, "latest")


def _visit(
    session: Session, me: Person, patient: Patient, uid: str, now: datetime,
    zone: ZoneInfo,
) -> Visit:  # fmt: skip
    """Today's visit; one that is begun by this takes an id from it."""
    own = uuid.uuid5(uuid.NAMESPACE_OID, uid).hex
    episode = open_episode(session, patient)
    return visit_today(session, me, episode, now=now, zone=zone, uid=own)


def _change_named(session: Session, patient: Patient, named: str) -> ChangeNow | None:
    """A change of this patient, by its number as text."""
    found = changes_of(session, patient.id) if named else []
    return next((c for c in found if str(c.row.id) == named), None)


def _back(patient: Patient, room: str, form: Form, at: str) -> RedirectResponse:
    shoes = "&shoes=off" if form.text("shoes") == "off" else ""
    return RedirectResponse(
        f"/patients/{patient.id}/rooms?room={room}{shoes}#{at}", 303
    )


@router.post("/patients/{patient_id}/rooms/changes", response_model=None)
def propose(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
    patient_id: RowId,
) -> Response:
    patient = patient_for(session, me, patient_id, "record_visit")
    errors: dict[str, str] = {}
    said = room_form.change(form, errors)
    before = form.text("before")
    mine = {str(row.id): row for row in measures_of(session, patient.id)}
    if before and before not in mine:
        errors["before"] = "Choose one of these measurements."
    if errors:
        return _page(request, session, patient, form, "change", errors)
    said["before_id"] = mine[before].id if before else None
    uid = form.uid()
    visit = _visit(session, me, patient, uid, now, zone)
    add_change(session, me, visit, said, uid=uid, now=now)
    return _back(patient, said["room"], form, "changes")


@router.post("/room-changes/{change_id}/state")
def move(
    form: FormDep, me: SignedIn, session: WriteSession, now: Now, change_id: RowId
) -> RedirectResponse:
    """Agreed, done or declined."""
    row, patient = change_for(session, me, change_id, "record_visit")
    if form.text("state") not in STATES:
        raise FormProblem("Choose how far it is.")
    move_change(session, me, row, form.text("state"), now=now)
    return _back(patient, form.text("room") or row.room, form, "changes")


@router.post("/room-measures/{room_measure_id}/void")
def void(
    form: FormDep, me: SignedIn, session: WriteSession, now: Now, room_measure_id: RowId
) -> RedirectResponse:
    row, patient = measure_for(session, me, room_measure_id, "record_visit")
    reason = form.text("void_reason")
    if not 1 <= len(reason) <= LONGEST:
        raise FormProblem("Say in a few words why this does not count.")
    void_measure(session, me, row, reason=reason, now=now)
    return _back(patient, row.room, form, "latest")


@router.get("/patients/{patient_id}/rooms/ramp")
def ramp(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    site: SiteDep,
    patient_id: RowId,
    rise: str = "",
    run: str = "",
    unit: str = UNITS[0],
) -> HTMLResponse:
    """From a rise what it takes; with a run how steep it is. Lengths are nobody's."""
    patient = patient_for(session, me, patient_id)
    errors: dict[str, str] = {}
    found = _ramp(rise, run, unit, errors) if rise or run else {}
    things = site.catalogue.dimensions.things
    return page(
        request,
        "rooms/ramp.html",
        "rooms/_ramp.html",
        status=422 if errors else 200,
        patient=patient,
        typed=Form([("rise", rise), ("run", run), ("unit", unit)]),
        errors=errors,
        references=[
            (things[k].name, r) for k in RAMP_SECTIONS for r in things[k].references
        ],
        **{"says": "", "rise": "", "slope": "", "picture": None, **found},
    )


def _ramp(rise: str, run: str, unit: str, errors: dict[str, str]) -> dict[str, Any]:
    lengths = {}
    for name, text in (("rise", rise), ("run", run)):
        try:
            if text or name == "rise":
                lengths[name] = parse_length(text, unit, "size")
        except BadNumber as fault:
            errors[name] = str(fault)
        else:
            if name in lengths and not lengths[name].value:
                errors[name] = "0 is no ramp."
    if errors:
        return {}
    made = ramp_for(lengths["rise"])
    says = ramp_words(made, lengths["rise"].unit)
    there = slope_of(lengths["rise"], lengths["run"]) if "run" in lengths else None
    return {
        "says": says,
        "rise": lengths["rise"].words,
        "slope": slope_words(there) if there else "",
        "picture": room_picture.ramp_picture(made, says),
    }
