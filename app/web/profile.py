"""The occupational profile: before, at home, falls, and what matters to the person."""

from collections.abc import Mapping
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.clinical.vocabulary import (
    FALL_QUESTIONS,
    PERSON_FACTS,
)
from app.identifiers import warning
from app.storage.episodes import open_episode
from app.storage.errors import StaleVersion
from app.storage.patients import Patient, details_of, patient_for
from app.storage.profile import Profile, profile_of, write_profile
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
)
from app.web.profile_words import CHOICES
from app.web.versions import version_in

router = APIRouter()
CLOSED: Final = {**CHOICES, **FALL_QUESTIONS}
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
    return _page(request, session, patient, Form(_typed(profile)), version, {})


def _typed(profile: Profile | None) -> list[tuple[str, str]]:
    names = (*CLOSED, *TEXTS)
    return [(name, getattr(profile, name, None) or "") for name in names]


def _said(pairs: Mapping[str, str]) -> dict[str, str]:
    """What a form says, in words, by what it is called there."""
    said = {label: words.get(pairs[k], "") for k, (label, words) in CLOSED.items()}
    return said | {label: pairs[k] for k, (label, _) in TEXTS.items()}


def _page(
    request: Request,
    session: Session,
    patient: Patient,
    typed: Form,
    version: int,
    errors: dict[str, str],
    compare: Compare | None = None,
    doubt: str = "",
) -> HTMLResponse:
    falls = details_of(session, patient).facts.get("fall_history", "")
    return page(
        request,
        "patients/profile.html",
        status=422 if errors else 409 if compare else 200,
        patient=patient,
        typed=typed,
        version=version,
        errors=errors,
        choices=CHOICES,
        falls=FALL_QUESTIONS,
        fallen=PERSON_FACTS["fall_history"].get(falls, ""),
        texts=TEXTS,
        compare=compare,
        doubt=doubt,
    )


@router.post("/patients/{patient_id}/profile", response_model=None)
def save(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
    patient_id: RowId,
) -> Response:
    patient = patient_for(session, me, patient_id, "edit_patient")
    episode = open_episode(session, patient)
    errors = _errors(form)
    if errors:
        return _page(request, session, patient, form, version_in(form), errors)
    said: dict[str, str | None] = {name: form.text(name) or None for name in CLOSED}
    said |= {name: form.text(name) for name in TEXTS}
    try:
        saved = write_profile(
            session, me, episode, said, version=version_in(form), now=now
        )
    except StaleVersion:
        theirs = profile_of(session, episode)
        was, typed = dict(_typed(theirs)), {n: form.text(n) for n in said}
        if was == typed:
            return RedirectResponse(f"/patients/{patient.id}", 303)
        compare = compared(
            session, theirs.edited_by if theirs else None,
            theirs.edited_at if theirs else None, _said(was), _said(typed), zone,
        )  # fmt: skip
        version = theirs.version if theirs else 0
        return _page(request, session, patient, form, version, {}, compare)
    doubt = warning({TEXTS[name][0].lower(): form.text(name) for name in TEXTS})
    if doubt:
        return _page(request, session, patient, form, saved.version, {}, doubt=doubt)
    return RedirectResponse(f"/patients/{patient.id}", 303)


def _errors(form: Form) -> dict[str, str]:
    errors = {
        name: "Choose one."
        for name, (_, words) in CLOSED.items()
        if form.text(name) and form.text(name) not in words
    }
    for name, (_, most) in TEXTS.items():
        if len(form.text(name)) > most:
            errors[name] = f"At most {most} letters; these are {len(form.text(name))}."
    return errors
