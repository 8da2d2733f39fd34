"""Changing what is known of a patient, when somebody else may be doing the same."""

from dataclasses import replace
from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from app.clinical.vocabulary import (
    CONDITIONS,
    PERSON_FACTS,
    SEXES,
    SIDED,
    SIDES,
    SIZES,
)
from app.identifiers import warning
from app.storage.errors import StaleVersion
from app.storage.patients import (
    Patient,
    PatientDetails,
    details_of,
    edit_patient,
    patient_for,
)
from app.web.comparing import Compare, compared
from app.web.deps import (
    Form,
    FormDep,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    WriteSession,
    Zone,
    page,
    site_of,
)
from app.web.patient_form import FormErrors, patient_details
from app.web.person_words import condition_more
from app.web.rejudging import keep_all
from app.web.versions import version_in

router = APIRouter()


@router.get("/patients/{patient_id}/edit")
def show(
    request: Request, me: SignedIn, session: ReadSession, patient_id: RowId
) -> HTMLResponse:
    patient = patient_for(session, me, patient_id, "edit_patient")
    typed = Form(typed_as(details_of(session, patient)))
    return _page(request, patient, typed, {})


def typed_as(details: PatientDetails) -> list[tuple[str, str]]:
    """Details as the form would have sent them."""
    born = details.birth_date.isoformat() if details.birth_date else ""
    pairs = [
        ("label", details.label),
        ("birth_date", born),
        ("birth_year", str(details.birth_year or "")),
        ("sex", details.sex or ""),
        ("full_name", details.full_name),
        ("record_number", details.record_number),
        *details.facts.items(),
    ]
    for name, onset in details.conditions.items():
        pairs.append(("condition", name))
        pairs.append((f"since-{name}", str(onset or "")))
        pairs.append((f"side-{name}", details.sides.get(name, "")))
    for key, (value, unit) in details.sizes.items():
        pairs += [(key, value), (f"{key}_unit", unit)]
    return pairs


@router.post("/patients/{patient_id}/edit", response_model=None)
def edit(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
    patient_id: RowId,
) -> Response:
    """Save it, or show what somebody else changed meanwhile beside what was typed."""
    patient = patient_for(session, me, patient_id, "edit_patient")
    try:
        details = patient_details(form, now.astimezone(zone).date())
    except FormErrors as wrong:
        return _page(request, patient, form, wrong.errors)
    if site_of(request).settings.identifiers != "full":  # its fields are not shown
        details = replace(
            details,
            full_name=patient.full_name,
            record_number=patient.record_number,
        )
    try:
        edit_patient(
            session, me, patient_id, details, version=version_in(form), now=now
        )
    except StaleVersion:
        was = details_of(session, patient)
        if was == details:
            return RedirectResponse(f"/patients/{patient_id}", 303)
        compare = compared(
            session, patient.edited_by, patient.edited_at, _said(was), _said(details),
            zone,
        )  # fmt: skip
        return _page(request, patient, form, {}, compare)
    keep_all(session, site_of(request).catalogue, patient, now=now)
    return _saved(request, patient, details)


def _saved(request: Request, patient: Patient, details: PatientDetails) -> Response:
    """Back to the brief, by way of a word about what could tell who this is."""
    kept = site_of(request).settings.identifiers == "full"
    doubt = "" if kept else warning({"the label": details.label})
    if not doubt:
        return RedirectResponse(f"/patients/{patient.id}", 303)
    return page(request, "patients/doubt.html", patient=patient, doubt=doubt)


def _page(
    request: Request,
    patient: Patient,
    typed: Form,
    errors: dict[str, str],
    compare: Compare | None = None,
) -> HTMLResponse:
    return page(
        request,
        "patients/edit.html",
        status=422 if errors else 409 if compare else 200,
        patient=patient,
        typed=typed,
        errors=errors,
        compare=compare,
        full=site_of(request).settings.identifiers == "full",
        sexes=SEXES,
        conditions=CONDITIONS,
        facts=PERSON_FACTS,
        sizes=SIZES,
        sided=SIDED,
        sides=SIDES,
    )


def _said(details: PatientDetails) -> dict[str, str]:
    """Each thing in words, by what it is called on the form."""
    said = {
        "Label": details.label,
        "Birth date": _day(details.birth_date),
        "Birth year": str(details.birth_year or ""),
        "Sex": SEXES.get(details.sex or "", ""),
        "Name": details.full_name,
        "Record number": details.record_number,
    }
    for name in details.conditions:
        more = condition_more(details, name)
        said[CONDITIONS[name].capitalize()] = f"yes {more}".strip()
    for key, value in details.facts.items():
        said[key.replace("_", " ").capitalize()] = PERSON_FACTS[key][value]
    for key, (value, unit) in details.sizes.items():
        said[SIZES[key][0]] = f"{value} {unit}"
    return said


def _day(day: date | None) -> str:
    return day.isoformat() if day else ""
