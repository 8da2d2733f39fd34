"""The occupational profile: before, at home, falls, and what matters to the person."""

from collections.abc import Mapping
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from app.clinical.vocabulary import FALLS_LAST_YEAR, LIVES_WITH, PRIOR_LEVELS
from app.identifiers import warning
from app.storage.episodes import open_episode
from app.storage.errors import StaleVersion
from app.storage.patients import Patient, patient_for
from app.storage.profile import Profile, profile_of, write_profile
from app.web.deps import (
    Form,
    FormDep,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    WriteSession,
    page,
)
from app.web.versions import version_in

router = APIRouter()
CHOICES: Final[Mapping[str, tuple[str, Mapping[str, str]]]] = {
    "prior_self_care": ("Washing and dressing before", PRIOR_LEVELS),
    "prior_mobility": ("Getting about before", PRIOR_LEVELS),
    "lives_with": ("Lives", LIVES_WITH),
    "falls": ("Falls in the last twelve months", FALLS_LAST_YEAR),
}
TEXTS: Final[Mapping[str, tuple[str, int]]] = {
    "home": ("Home: stairs, bathroom, thresholds", 300),
    "helper": ("Who helps, by their role", 200),
    "matters": ("What matters to them, in their words", 500),
}


@router.get("/patients/{patient_id}/profile")
def show(
    request: Request, me: SignedIn, session: ReadSession, patient_id: RowId
) -> HTMLResponse:
    patient = patient_for(session, me, patient_id, "edit_patient")
    profile = profile_of(session, open_episode(session, patient))
    version = profile.version if profile else 0
    return _page(request, patient, Form(_typed(profile)), version, {})


def _typed(profile: Profile | None) -> list[tuple[str, str]]:
    names = (*CHOICES, *TEXTS)
    return [(name, getattr(profile, name, None) or "") for name in names]


def _page(
    request: Request,
    patient: Patient,
    typed: Form,
    version: int,
    errors: dict[str, str],
    theirs: Profile | None = None,
    doubt: str = "",
) -> HTMLResponse:
    return page(
        request,
        "patients/profile.html",
        status=422 if errors else 409 if theirs else 200,
        patient=patient,
        typed=typed,
        version=version,
        errors=errors,
        choices=CHOICES,
        texts=TEXTS,
        theirs=dict(_typed(theirs)) if theirs else None,
        doubt=doubt,
    )


@router.post("/patients/{patient_id}/profile", response_model=None)
def save(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    patient_id: RowId,
) -> Response:
    patient = patient_for(session, me, patient_id, "edit_patient")
    episode = open_episode(session, patient)
    errors = _errors(form)
    if errors:
        return _page(request, patient, form, version_in(form), errors)
    said: dict[str, str | None] = {name: form.text(name) or None for name in CHOICES}
    said |= {name: form.text(name) for name in TEXTS}
    try:
        saved = write_profile(
            session, me, episode, said, version=version_in(form), now=now
        )
    except StaleVersion:
        theirs = profile_of(session, episode)
        if theirs and dict(_typed(theirs)) == {n: form.text(n) for n in said}:
            return RedirectResponse(f"/patients/{patient.id}", 303)
        version = theirs.version if theirs else 0
        return _page(request, patient, form, version, {}, theirs)
    doubt = warning({TEXTS[name][0].lower(): form.text(name) for name in TEXTS})
    if doubt:
        return _page(request, patient, form, saved.version, {}, doubt=doubt)
    return RedirectResponse(f"/patients/{patient.id}", 303)


def _errors(form: Form) -> dict[str, str]:
    errors = {
        name: "Choose one."
        for name, (_, words) in CHOICES.items()
        if form.text(name) and form.text(name) not in words
    }
    for name, (_, most) in TEXTS.items():
        if len(form.text(name)) > most:
            errors[name] = f"At most {most} letters; these are {len(form.text(name))}."
    return errors
