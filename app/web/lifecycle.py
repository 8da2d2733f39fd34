"""A patient's record as a whole: close, reopen, archive, fold into another, delete."""

from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session, col, select

from app.access import may
from app.clinical.vocabulary import PURGES, SEXES
from app.storage.duplicates import fold
from app.storage.episodes import episodes_of
from app.storage.errors import StorageProblem
from app.storage.patients import (
    Patient,
    archive_patient,
    close_patient,
    details_of,
    patient_for,
    reopen_patient,
)
from app.storage.people import Person, actor
from app.storage.purge import purge
from app.storage.trials import rounds_of
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
)
from app.web.person_words import about_words
from app.web.reauth import PassphraseFault
from app.web.rejudging import keep_all
from app.web.versions import version_in

router = APIRouter()
DEEDS: Final = {
    "close": close_patient,
    "reopen": reopen_patient,
    "archive": archive_patient,
}


@router.get("/patients/{patient_id}/record")
def show(
    request: Request, me: SignedIn, session: ReadSession, patient_id: RowId
) -> HTMLResponse:
    patient = patient_for(session, me, patient_id, "manage_episode")
    return _page(request, me, patient, {})


def _page(
    request: Request,
    me: Person,
    patient: Patient,
    errors: dict[str, str],
    wrong: str = "",
    typed: Form | None = None,
) -> HTMLResponse:
    return page(
        request,
        "patients/record.html",
        status=422 if errors else 409 if wrong else 200,
        patient=patient,
        oversees=may(actor(me), "see_desk", None),
        errors=errors,
        wrong=wrong,
        typed=typed or Form(),
        purges=PURGES,
    )


@router.post("/patients/{patient_id}/record", response_model=None)
def change(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    patient_id: RowId,
) -> Response:
    """Close, reopen or archive."""
    patient = patient_for(session, me, patient_id, "manage_episode")
    deed = DEEDS.get(form.text("deed"))
    if deed is None:
        return _page(request, me, patient, {"deed": "Choose what to do."})
    try:
        deed(session, me, patient_id, version=version_in(form), now=now)
    except StorageProblem as refused:
        return _page(request, me, patient, {}, refused.sentence)
    return RedirectResponse(f"/patients/{patient_id}/record", 303)


@router.post("/patients/{patient_id}/fold", response_model=None)
def fold_in(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    patient_id: RowId,
) -> Response:
    """First both side by side, then the one that was chosen to stay."""
    one = patient_for(session, me, patient_id, "merge_patient")
    other = _by_label(session, one, form.text("label"))
    if other is None:
        told = {"label": "No other patient here has exactly this label."}
        return _page(request, me, one, told, typed=form)
    keep = {"this": (one, other), "other": (other, one)}.get(form.text("keep"))
    if keep is None:
        asked = form.text("sure") == "yes"
        sides = [_side(session, p) for p in (one, other)]
        return page(
            request, "patients/fold.html", status=422 if asked else 200, one=one,
            other=other, sides=sides, unlike=unlike(*sides),
            errors={"keep": "Choose which record stays."} if asked else {},
        )  # fmt: skip
    kept, folded = keep
    fold(session, me, kept.id, folded.id, now=now)
    keep_all(session, site.catalogue, kept, now=now)
    return RedirectResponse(f"/patients/{kept.id}", 303)


def _by_label(session: Session, kept: Patient, label: str) -> Patient | None:
    """The one open patient with this label, of the same world."""
    wanted = select(Patient).where(
        Patient.label == label,
        Patient.id != kept.id,
        col(Patient.is_demo).is_(kept.is_demo),
        col(Patient.merged_into).is_(None),
    )
    found = session.exec(wanted.limit(2)).all()
    return found[0] if len(found) == 1 else None


def unlike(one: dict[str, str], other: dict[str, str]) -> list[str]:
    """What both say, and say differently, of what one person has only once."""
    return [
        what
        for what in ("Born", "Sex")
        if one[what] != other[what] and "not said" not in (one[what], other[what])
    ]


def _side(session: Session, patient: Patient) -> dict[str, str]:
    details = details_of(session, patient)
    born = details.birth_date or details.birth_year or "not said"
    rounds = rounds_of(session, patient.id)
    return {
        "Born": str(born),
        "Sex": SEXES.get(details.sex or "", "not said"),
        "About": about_words(details) or "nothing said",
        "Episodes": str(len(episodes_of(session, patient))),
        "Tests": str(len(rounds)),
    }


@router.post("/patients/{patient_id}/purge", response_model=None)
def delete(
    request: Request,
    form: FormDep,
    me: SignedIn,
    fault: PassphraseFault,
    session: WriteSession,
    now: Now,
    patient_id: RowId,
) -> Response:
    """For good: why, the label typed again, the passphrase; nothing comes back."""
    patient = patient_for(session, me, patient_id, "purge_patient")
    errors = {"passphrase": fault} if fault else {}
    if form.text("typed_label") != patient.label:
        errors["typed_label"] = "Type the label exactly as it stands above."
    if form.text("why") not in PURGES:
        errors["why"] = "Choose why it may be deleted."
    if errors:
        return _page(request, me, patient, errors, typed=form)
    try:
        purge(session, me, patient_id, why=form.text("why"), now=now)
    except StorageProblem as refused:
        return _page(request, me, patient, {}, refused.sentence)
    return RedirectResponse("/caseload", 303)
