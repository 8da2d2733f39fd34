"""The episode of a patient: what for, where, to what end; closing it and going on."""

from datetime import date, datetime

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session

from app.clinical.vocabulary import EPISODE_ENDS, SETTINGS
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
from app.web.patient_form import Care, FormErrors, care, since
from app.web.rejudging import keep_all
from app.web.versions import version_in

router = APIRouter()


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
) -> HTMLResponse:
    found = episodes_of(session, patient)
    current = next((e for e in found if e.closed_on is None), None)
    return page(
        request,
        "episodes/show.html",
        status=422 if errors else 409 if wrong else 200,
        patient=patient,
        current=current,
        earlier=[e for e in found if e.closed_on is not None],
        typed=typed or Form(_typed(current)),
        errors=errors,
        wrong=wrong,
        settings=SETTINGS,
        ends=EPISODE_ENDS,
        today=today,
    )


def _typed(episode: Episode | None) -> list[tuple[str, str]]:
    if episode is None:
        return []
    return [
        ("reason", episode.reason),
        ("setting", episode.setting),
        ("plan", episode.plan),
        ("order_on", episode.order_on.isoformat() if episode.order_on else ""),
        ("plan_on", episode.plan_on.isoformat() if episode.plan_on else ""),
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
    order_on = since(form, "order_on", today, errors)
    plan_on = since(form, "plan_on", today, errors)
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
            plan=said.plan, order_on=order_on, plan_on=plan_on,
            version=given, now=now,
        )  # fmt: skip
    except StaleVersion as stale:
        if _same(current, said, order_on, plan_on):  # the form was sent twice
            return RedirectResponse(f"/patients/{patient.id}", 303)
        told = _now_is(current, stale)
        return _page(request, session, patient, form, {}, today, told)
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


def _same(
    episode: Episode, said: Care, order_on: date | None, plan_on: date | None
) -> bool:
    was = (episode.reason, episode.setting, episode.plan)
    dates = (episode.order_on, episode.plan_on)
    return (was, dates) == ((said.reason, said.setting, said.plan), (order_on, plan_on))


def _now_is(episode: Episode, stale: StaleVersion) -> str:
    setting = SETTINGS[episode.setting]
    return (
        f"{stale.sentence} It is now: {episode.reason}; {setting}; "
        f"to {episode.plan} function."
    )


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
    except StaleVersion as stale:
        return _page(request, session, patient, None, {}, today, stale.sentence)
    return RedirectResponse(f"/patients/{episode.patient_id}", 303)


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
    try:
        reopen_episode(session, me, episode, version=version_in(form), now=now)
    except StorageProblem as stale:
        today = now.astimezone(zone).date()
        return _page(request, session, patient, None, {}, today, stale.sentence)
    return RedirectResponse(f"/patients/{episode.patient_id}", 303)
