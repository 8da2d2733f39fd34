"""Changing what is known of a patient, when somebody else may be doing the same."""

from dataclasses import dataclass, replace
from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.clinical.vocabulary import CONDITIONS, PERSON_FACTS, SEXES, SIZES
from app.identifiers import warning
from app.storage.errors import StaleVersion
from app.storage.patients import (
    Patient,
    PatientDetails,
    details_of,
    edit_patient,
    patient_for,
)
from app.storage.people import Person
from app.web.dates import moment_words
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
from app.web.rejudging import keep_all
from app.web.versions import version_in

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Differs:
    """One thing that two people said differently."""

    what: str
    theirs: str
    yours: str


@dataclass(frozen=True, slots=True)
class Compare:
    """Who was quicker, when, and what differs."""

    by: str
    at: str
    differs: tuple[Differs, ...]


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
    for name, since in details.conditions.items():
        pairs.append(("condition", name))
        pairs.append((f"since-{name}", since.isoformat() if since else ""))
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
        compare = _compare(session, patient, was, details, zone)
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
    )


def _compare(
    session: Session,
    patient: Patient,
    theirs: PatientDetails,
    yours: PatientDetails,
    zone: Zone,
) -> Compare:
    by = session.get(Person, patient.edited_by) if patient.edited_by else None
    at = moment_words(patient.edited_at, zone) if patient.edited_at else ""
    a, b = _said(theirs), _said(yours)
    differs = tuple(
        Differs(what, a.get(what, "") or "nothing", b.get(what, "") or "nothing")
        for what in dict.fromkeys((*a, *b))
        if a.get(what, "") != b.get(what, "")
    )
    return Compare(by.name if by else "somebody", at, differs)


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
    for name, since in details.conditions.items():
        said[CONDITIONS[name].capitalize()] = f"yes {_day(since)}".strip()
    for key, value in details.facts.items():
        said[key.replace("_", " ").capitalize()] = PERSON_FACTS[key][value]
    for key, (value, unit) in details.sizes.items():
        said[SIZES[key][0]] = f"{value} {unit}"
    return said


def _day(day: date | None) -> str:
    return day.isoformat() if day else ""
