"""The episode of a patient: what for, where, to what end; closing it and going on."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.clinical.vocabulary import EPISODE_ENDS, REOPENINGS, SETTINGS
from app.storage.episodes import (
    Episode,
    add_episode,
    close_episode,
    edit_episode,
    episode_for,
    episodes_of,
    reopen_episode,
)
from app.storage.errors import StaleVersion, StorageProblem
from app.storage.patients import Patient, patient_for
from app.storage.people import Person
from app.web.comparing import Compare, compared
from app.web.deps import (
    Form,
    FormDep,
    Now,
    ReadSession,
    RowId,
    SignedIn,
    SiteDep,
    WriteSession,
    Zone,
    page,
)
from app.web.note_links import report_paths
from app.web.patient_form import Care, FormErrors, care, since
from app.web.rejudging import keep_all
from app.web.versions import version_in

router = APIRouter()
#: The days of an episode that may be typed, and what each is called on the form.
DATES: Final = {
    "start_on": "Start of care",
    "order_on": "Order or referral dated",
    "plan_on": "Plan of care dated",
}


@router.get("/patients/{patient_id}/episodes")
def show(
    request: Request, me: SignedIn, session: ReadSession, now: Now, zone: Zone,
    patient_id: RowId,
) -> HTMLResponse:  # fmt: skip
    patient = patient_for(session, me, patient_id, "manage_episode")
    return _page(request, session, patient, None, {}, now.astimezone(zone).date())


def _page(
    request: Request,
    session: Session,
    patient: Patient,
    typed: Form | None,
    errors: dict[str, str],
    today: date,
    wrong: str = "",
    compare: Compare | None = None,
) -> HTMLResponse:
    found = episodes_of(session, patient)
    current = next((e for e in found if e.closed_on is None), None)
    return page(
        request,
        "episodes/show.html",
        status=422 if errors else 409 if wrong or compare else 200,
        patient=patient,
        current=current,
        compare=compare,
        earlier=[e for e in found if e.closed_on is not None],
        reports=report_paths(session, current),
        typed=typed or Form(_typed(current)),
        errors=errors,
        wrong=wrong,
        settings=SETTINGS,
        ends=EPISODE_ENDS,
        reopenings=REOPENINGS,
        today=today,
    )


def _typed(episode: Episode | None) -> list[tuple[str, str]]:
    if episode is None:
        return []
    dates = ((name, getattr(episode, name)) for name in DATES)
    return [
        ("reason", episode.reason),
        ("setting", episode.setting),
        ("plan", episode.plan),
        *((name, day.isoformat() if day else "") for name, day in dates),
    ]


@router.post("/patients/{patient_id}/episodes", response_model=None)
def save(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
    patient_id: RowId,
) -> Response:
    """Change the open episode, or open one where there is none."""
    patient = patient_for(session, me, patient_id, "manage_episode")
    today = now.astimezone(zone).date()
    errors: dict[str, str] = {}
    days = {name: since(form, name, today, errors) for name in DATES}
    try:
        said = care(form)
    except FormErrors as wrong:
        errors |= wrong.errors
    if errors:
        return _page(request, session, patient, form, errors, today)
    current, given = _current(session, me, patient, form, said, today, now)
    try:
        edit_episode(
            session, me, current, reason=said.reason, setting=said.setting,
            plan=said.plan, **days, version=given, now=now,
        )  # fmt: skip
    except StaleVersion:
        theirs, yours = _said(_typed(current)), _said(form.pairs)
        if theirs == yours:  # the form was sent twice
            return RedirectResponse(f"/patients/{patient.id}", 303)
        compare = compared(
            session, current.edited_by, current.edited_at, theirs, yours, zone
        )
        return _page(request, session, patient, form, {}, today, compare=compare)
    keep_all(session, site.catalogue, patient, now=now)
    return RedirectResponse(f"/patients/{patient.id}", 303)


def _current(
    session: Session,
    me: Person,
    patient: Patient,
    form: Form,
    said: Care,
    today: date,
    now: datetime,
) -> tuple[Episode, int]:
    """The open episode, or a new one; and the version the form was filled in on."""
    for episode in episodes_of(session, patient):
        if episode.closed_on is None:
            return episode, version_in(form)
    opened = add_episode(
        session, me, patient, reason=said.reason, setting=said.setting, plan=said.plan,
        opened_on=today, now=now,
    )  # fmt: skip
    return opened, opened.version


def _said(typed: Sequence[tuple[str, str]]) -> dict[str, str]:
    """What a form says, in words, by what it is called there."""
    said = dict(typed)
    return {
        "What care is for": said.get("reason", "").strip(),
        "Where": SETTINGS.get(said.get("setting", ""), ""),
        "Plan": f"{said.get('plan', '')} function",
        **{words: said.get(name, "").strip() for name, words in DATES.items()},
    }


@router.post("/episodes/{episode_id}/close", response_model=None)
def close(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
    episode_id: RowId,
) -> Response:
    episode = episode_for(session, me, episode_id, "manage_episode")
    patient = session.get_one(Patient, episode.patient_id)
    today = now.astimezone(zone).date()
    errors: dict[str, str] = {}
    on = since(form, "closed_on", today, errors) or today
    if on < episode.opened_on:
        errors["closed_on"] = "It was not open yet on that day."
    if form.text("end_reason") not in EPISODE_ENDS:
        errors["end_reason"] = "Choose why it ends."
    if errors:
        typed = Form([*_typed(episode), *form.pairs])
        return _page(request, session, patient, typed, errors, today)
    try:
        close_episode(
            session, me, episode, on=on, why=form.text("end_reason"),
            version=version_in(form), now=now,
        )  # fmt: skip
    except StaleVersion:
        why = EPISODE_ENDS[form.text("end_reason")]
        theirs, yours = _ended(episode), {"Last day": str(on), "Why it ends": why}
        if theirs == yours:
            return RedirectResponse(f"/patients/{episode.patient_id}", 303)
        compare = compared(
            session, episode.edited_by, episode.edited_at, theirs, yours, zone
        )
        kept = None  # closed by now: what was typed belongs to no form any more
        if episode.closed_on is None:
            kept = Form([*_typed(episode), *form.pairs])
        return _page(request, session, patient, kept, {}, today, compare=compare)
    return RedirectResponse(f"/patients/{episode.patient_id}", 303)


def _ended(episode: Episode) -> dict[str, str]:
    """How an episode was closed, in words; or that it is open and was changed."""
    if episode.closed_on is None:
        return {"Why it ends": f"it does not; changed: {episode.reason}"}
    words = EPISODE_ENDS.get(episode.end_reason or "", "")
    return {"Last day": str(episode.closed_on), "Why it ends": words}


@router.post("/episodes/{episode_id}/reopen", response_model=None)
def reopen(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    now: Now,
    zone: Zone,
    episode_id: RowId,
) -> Response:
    episode = episode_for(session, me, episode_id, "manage_episode")
    patient = session.get_one(Patient, episode.patient_id)
    today = now.astimezone(zone).date()
    why = form.text("why")
    if why not in REOPENINGS:
        errors = {f"why-{episode.id}": "Choose why it goes on."}
        return _page(request, session, patient, None, errors, today)
    try:
        reopen_episode(session, me, episode, why=why, version=version_in(form), now=now)
    except StorageProblem as stale:
        return _page(request, session, patient, None, {}, today, stale.sentence)
    return RedirectResponse(f"/patients/{episode.patient_id}", 303)
