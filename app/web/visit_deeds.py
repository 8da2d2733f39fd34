"""The deeds of a visit itself: its kind, a pause, minutes, leaving, closing."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from sqlmodel import Session

from app.clinical import visiting
from app.storage import services, visits
from app.storage.episodes import Episode, Visit
from app.storage.errors import NotAllowed
from app.storage.notes import notes_open
from app.storage.observations import set_limit
from app.storage.patients import Patient
from app.storage.people import Person
from app.web import visit_forms
from app.web.deps import Form
from app.web.leaving import read_leaving
from app.web.visit_services import day_count, read_choice, read_minutes


@dataclass(frozen=True, slots=True)
class Asked:
    """Who asks for what of which visit; what is wrong is put into `errors`."""

    session: Session
    me: Person
    visit: Visit
    form: Form
    errors: dict[str, str]
    now: datetime
    today: date


def _kind(a: Asked) -> None:
    if a.form.text("kind") not in visiting.KINDS or a.form.text("kind") == "missed":
        a.errors["kind"] = "Choose the kind of visit."
        return
    visits.set_kind(a.session, a.me, a.visit, a.form.text("kind"), a.now)


def _pause(a: Asked) -> None:
    chosen = a.form.text("reason")
    if chosen not in visiting.PAUSES or chosen == visits.CLOSING:
        a.errors["reason"] = "Choose why it pauses."
        return
    visits.pause(a.session, a.me, a.visit, chosen, a.now)


def _resume(a: Asked) -> None:
    try:
        visits.resume(a.session, a.me, a.visit, today=a.today, now=a.now)
    except visits.NotReady as refused:
        a.errors["kind"] = refused.sentence


def _minutes(a: Asked) -> None:
    said = visit_forms.minutes(a.form, a.errors)
    if a.visit.closed_at and not notes_open(a.session, a.visit):
        # What is billed stays what was signed; a visit that goes on has more to tell.
        a.errors["minutes"] = (
            "A note of this visit was handed in or signed, so its minutes stay as they "
            "are: put right what is wrong in an addendum to it."
        )
    if not a.errors:
        visits.set_minutes(a.session, a.me, a.visit, said, a.now)


def _services(a: Asked) -> None:
    here = services.minutes_in(a.session, a.visit)
    known = services.services_of(a.session, a.me)
    offered = [s for s in known if s.active or s.id in here]
    said = read_minutes(a.form, offered, a.errors)
    if a.errors:
        return
    try:
        services.set_service_minutes(a.session, a.me, a.visit, said, a.now)
    except services.VisitClosed as refused:
        a.errors["services"] = refused.sentence


def _units(a: Asked) -> None:
    """Only Medicare's rule leaves a tie, so it is asked whatever the site counts by."""
    counted = day_count(a.session, a.me, a.visit, "medicare")
    chosen = read_choice(a.form, counted, a.errors)
    if a.errors:
        return
    try:
        services.choose_units(a.session, a.me, a.visit, chosen, a.now)
    except services.VisitClosed as refused:
        a.errors["services"] = refused.sentence


def _leave(a: Asked) -> None:
    """The exit list as it was answered; what was not touched is not recorded.

    An answer that may not stand is refused alone: the others are kept.
    """
    states = read_leaving(a.session, a.visit, a.form, a.errors)
    if not states and not a.errors:
        a.errors["exit"] = "Nothing is ticked yet."
    if states:
        visits.set_exit_items(a.session, a.me, a.visit, states, a.now)


def _close(a: Asked) -> None:
    episode = a.session.get_one(Episode, a.visit.episode_id)
    patient = a.session.get_one(Patient, episode.patient_id)
    if not visits.may_close(a.me, patient, a.visit.kind):
        raise NotAllowed(
            "An evaluation, re-evaluation or discharge is closed by the therapist."
        )
    without = a.form.text("without")
    if len(without) > 200:
        a.errors["without"] = "At most 200 letters."
        return
    try:
        visits.close(a.session, a.me, a.visit, without_list=without, now=a.now)
    except visits.NotReady as refused:
        a.errors["close"] = refused.sentence


def _miss(a: Asked) -> None:
    told, again = a.form.text("told"), a.form.text("again")
    if a.form.text("missed_reason") not in visiting.NOT_DONE:
        a.errors["missed_reason"] = "Choose why it did not happen."
    if len(told) > 80 or len(again) > 80:
        a.errors["told"] = "At most 80 letters each."
    if not a.errors:
        try:
            visits.miss(
                a.session,
                a.me,
                a.visit,
                reason=a.form.text("missed_reason"),
                told=told,
                again=again,
                now=a.now,
            )
        except visits.NotReady as refused:
            a.errors["missed_reason"] = refused.sentence


def _limits(a: Asked) -> None:
    said = visit_forms.limits(a.form, a.errors)
    if not 1 <= len(a.form.text("set_by")) <= 80:
        a.errors["set_by"] = "Who ordered them? A role, not a name."
    if a.errors:
        return
    episode = a.session.get_one(Episode, a.visit.episode_id)
    for vital, limit in said.items():
        set_limit(
            a.session, a.me, episode, vital, limit, set_by=a.form.text("set_by"),
            on=a.visit.local_date, now=a.now,
        )  # fmt: skip


DEEDS: Final[Mapping[str, Callable[[Asked], None]]] = {
    "kind": _kind,
    "pause": _pause,
    "resume": _resume,
    "minutes": _minutes,
    "services": _services,
    "units": _units,
    "exit": _leave,
    "close": _close,
    "missed": _miss,
    "limits": _limits,
}
