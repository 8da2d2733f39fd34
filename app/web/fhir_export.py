"""One patient's record as a FHIR bundle, for whoever may hand it on."""

from datetime import datetime
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlmodel import Session

from app.storage import audit
from app.storage.database import write_session
from app.storage.patients import Patient, patient_for
from app.web.deps import (
    Now,
    ReadSession,
    RowId,
    SignedIn,
    SiteDep,
    page,
    site_of,
)
from app.web.reauth import PassphraseFault

router = APIRouter()
#: The file's name holds a day and no label.
FILE: Final = "tapeline-record-{:%Y-%m-%d}.fhir.json"


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
    from app.web import fhir_file

    return page(
        request,
        "files/fhir.html",
        status=422 if errors else 200,
        patient=patient,
        left_out=fhir_file.left_out(session, site_of(request), patient, now),
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
    from app.web import fhir_file

    patient = patient_for(session, me, patient_id, "export_patient")
    if fault:
        return _page(request, session, patient, now, {"passphrase": fault})
    made = fhir_file.made(session, site, patient, now)
    with site.gate, write_session(site.engine) as writing:
        audit.deed(writing, "exported_patient", patient, by=me.id, now=now)
    name = FILE.format(now.astimezone(site.zone))
    return Response(
        made,
        media_type=fhir_file.MEDIA_TYPE,
        headers={"content-disposition": f'attachment; filename="{name}"'},
    )
