"""One patient's record as a FHIR bundle, for whoever may hand it on."""

from datetime import datetime
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlmodel import Session

from app.exports.fhir_bundle import MEDIA_TYPE, bundle
from app.exports.fhir_json import fhir_json
from app.exports.fhir_values import Record
from app.storage import audit
from app.storage.database import write_session
from app.storage.patients import Patient, patient_for
from app.web.deps import (
    Now,
    ReadSession,
    RowId,
    SignedIn,
    Site,
    SiteDep,
    page,
    site_of,
)
from app.web.fhir_record import record_of, teller_of
from app.web.reauth import PassphraseFault

router = APIRouter()
#: The file's name holds a day and no label.
FILE: Final = "tapeline-record-{:%Y-%m-%d}.fhir.json"


def _record(session: Session, site: Site, patient: Patient, now: datetime) -> Record:
    teller = teller_of(site.settings, site.catalogue)
    return record_of(session, patient, teller, now)


@router.get("/patients/{patient_id}/fhir")
def ask(
    request: Request, me: SignedIn, session: ReadSession, now: Now, patient_id: RowId
) -> HTMLResponse:
    """What the file holds and what stays behind, before anybody makes one."""
    patient = patient_for(session, me, patient_id, "export_patient")
    return _page(request, session, patient, now, {})


def _page(
    request: Request,
    session: Session,
    patient: Patient,
    now: datetime,
    errors: dict[str, str],
) -> HTMLResponse:
    left_out = _record(session, site_of(request), patient, now).left_out
    return page(
        request,
        "files/fhir.html",
        status=422 if errors else 200,
        patient=patient,
        left_out=left_out.sentences,
        errors=errors,
    )


@router.post("/patients/{patient_id}/fhir", response_model=None)
def take_out(
    request: Request,
    me: SignedIn,
    fault: PassphraseFault,
    session: ReadSession,
    site: SiteDep,
    now: Now,
    patient_id: RowId,
) -> Response:
    """Judging a long record takes seconds: only the deed itself takes the lock."""
    patient = patient_for(session, me, patient_id, "export_patient")
    if fault:
        return _page(request, session, patient, now, {"passphrase": fault})
    made = fhir_json(bundle(_record(session, site, patient, now)))
    with site.gate, write_session(site.engine) as writing:
        audit.deed(writing, "exported_patient", patient, by=me.id, now=now)
    name = FILE.format(now.astimezone(site.zone))
    return Response(
        made,
        media_type=MEDIA_TYPE,
        headers={"content-disposition": f'attachment; filename="{name}"'},
    )
