"""Exports by page: of a caseload for supervisors, of a patient for who may.

Everything is sent as it is made, told of one moment of the database, after the
passphrase was given once more. What waits for a co-signature stays out and is counted.
"""

from collections.abc import Iterator
from typing import Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlmodel import Session, col

from app.access import may
from app.clinical.vocabulary import closed
from app.storage import audit
from app.storage.caseload_rows import labelled
from app.storage.database import read_session
from app.storage.errors import NotAllowed
from app.storage.patients import Patient, patient_for
from app.storage.people import Person, actor
from app.web.archive import archived, sent
from app.web.deidentifying import Deidentifying
from app.web.deps import (
    Form,
    FormDep,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    Site,
    SiteDep,
    WriteSession,
    Zone,
    page,
)
from app.web.exported_tables import Members, Tables
from app.web.exporting import Named
from app.web.reauth import PassphraseFault
from app.web.released import (
    LeftOut,
    held,
    left_of,
    left_out,
    open_ones,
    released,
    single_ones,
    unsigned_goals,
)

router = APIRouter()
TABLES, DEIDENTIFIED = "tables", "deidentified"
KINDS: Final = closed(
    tables="Trials, scores and readings of the caseload",
    deidentified="De-identified tests and treatment",
)


@router.get("/exports")
def choose(request: Request, me: SignedIn, session: ReadSession) -> HTMLResponse:
    _may(me)
    return _page(request, session, me, Form(), {})


def _may(me: Person) -> None:
    if not may(actor(me), "export_caseload", None):
        raise NotAllowed


def _page(
    request: Request, session: Session, me: Person, typed: Form, errors: dict[str, str]
) -> HTMLResponse:
    single = held(session, single_ones(demo=me.is_demo), seen=True)
    return page(
        request,
        "exports/caseload.html",
        status=422 if errors else 200,
        open_ones=held(session, open_ones(demo=me.is_demo)),
        single_ones=single,
        left=None,
        large=single.large,
        kinds=KINDS,
        typed=typed,
        errors=errors,
    )


@router.get("/exports/left-out")
def count_left_out(
    request: Request, me: SignedIn, session: ReadSession
) -> HTMLResponse:
    """Asked for by the page that offers an export: on a large site it takes long."""
    _may(me)
    single = single_ones(demo=me.is_demo)
    of_open, of_single = left_out(session, open_ones(demo=me.is_demo), single)
    return page(
        request,
        "exports/left_out.html",
        "exports/_left_out.html",
        left={
            "open": of_open,
            "single": of_single,
            "goals": unsigned_goals(session, single),
        },
    )


@router.post("/exports")
def take_out(
    request: Request,
    form: FormDep,
    me: SignedIn,
    fault: PassphraseFault,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
) -> Response:
    _may(me)
    what, days = form.text("what"), form.text("day_offsets") == "yes"
    errors = {"passphrase": fault} if fault else {}
    if what not in KINDS:
        errors["what"] = "Choose what to export."
    if errors:
        return _page(request, session, me, form, errors)
    if what == TABLES:
        audit.deed(session, "exported_tables", me, by=me.id, now=now)
        name = f"tapeline-tables-{now.astimezone(zone):%Y-%m-%d}"
        return sent(_caseload(site, demo=me.is_demo), name)
    did = "exported_deidentified_days" if days else "exported_deidentified"
    audit.deed(session, did, me, by=me.id, now=now)
    name = "tapeline-counted-days" if days else "tapeline-deidentified"
    return sent(_deidentified(site, me.is_demo, days), name)


def _caseload(site: Site, *, demo: bool) -> Iterator[bytes]:
    with read_session(site.engine) as session:
        named = labelled(session, demo=demo)
        (left,) = left_out(session, open_ones(demo=demo))
        yield from archived(_members(session, site, named, left, demo=demo))


def _members(
    session: Session, site: Site, named: Named, left: LeftOut, *, demo: bool
) -> Members:
    tables = Tables(session, site.catalogue, named, demo)
    yield from tables.members()
    yield "contents.txt", _contents(tables, left)


def _contents(tables: Tables, left: LeftOut) -> Iterator[str]:
    yield from tables.contents()
    yield f"left out, waiting for a co-signature: {left.words}\r\n"


def _deidentified(site: Site, demo: bool, days: bool) -> Iterator[bytes]:
    with read_session(site.engine) as session:
        made = Deidentifying(session, site.catalogue, demo, day_offsets=days)
        yield from archived(made.members())


@router.get("/patients/{patient_id}/exports")
def choose_for(
    request: Request, me: SignedIn, session: ReadSession, patient_id: RowId
) -> HTMLResponse:
    patient = patient_for(session, me, patient_id, "export_patient")
    return _page_for(request, session, patient, {})


def _page_for(
    request: Request, session: Session, patient: Patient, errors: dict[str, Any]
) -> HTMLResponse:
    return page(
        request,
        "exports/patient.html",
        status=422 if errors else 200,
        patient=patient,
        held=held(session, col(Patient.id) == patient.id),
        left=left_of(released(session, patient.id)),
        errors=errors,
    )


@router.post("/patients/{patient_id}/exports")
def take_out_for(
    request: Request,
    me: SignedIn,
    fault: PassphraseFault,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
    patient_id: RowId,
) -> Response:
    patient = patient_for(session, me, patient_id, "export_patient")
    if fault:
        return _page_for(request, session, patient, {"passphrase": fault})
    audit.deed(session, "exported_patient", patient, by=me.id, now=now)
    named = [(patient.label, patient.id)]
    name = f"tapeline-patient-{now.astimezone(zone):%Y-%m-%d}"
    return sent(_patient(site, named, demo=patient.is_demo), name)


def _patient(site: Site, named: Named, *, demo: bool) -> Iterator[bytes]:
    with read_session(site.engine) as session:
        ((_, patient_id),) = named
        left = left_of(released(session, patient_id))
        yield from archived(_members(session, site, named, left, demo=demo))
