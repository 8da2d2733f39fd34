"""Without the network: the service worker, the bedside sheet, attaching what it took.

The sheet and the worker are nobody's: they say the same to everyone and hold nothing of
a patient. What was taken on the sheet waits on the phone until somebody who is signed
in says whose it is.
"""

import hashlib
import json
import re
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlmodel import Session

from app.access import may
from app.catalogue.load import Catalogue
from app.clinical import make_safe
from app.clinical.measure import Measure
from app.clinical.precautions import PRECAUTIONS, Precaution
from app.clinical.visiting import NOT_DONE
from app.clinical.vocabulary import UNABLE_REASONS
from app.resources import folder
from app.storage.caseload import caseload_for
from app.storage.episodes import Visit, episode_on, visit_today
from app.storage.errors import NotFound
from app.storage.patients import Patient, patient_for
from app.storage.people import Person, actor
from app.storage.precautions import precautions_on
from app.storage.trials import Round, Trial, record_trial, rounds_of, start_round
from app.web.assets import Assets
from app.web.dates import day_words
from app.web.deps import (
    AskedId,
    Form,
    FormDep,
    FormProblem,
    Now,
    ReadSession,
    SignedIn,
    Site,
    SiteDep,
    WriteSession,
    Zone,
    page,
    render,
)
from app.web.due import clearance_of
from app.web.joined import as_script
from app.web.judging import keep
from app.web.person_words import age_words, condition_words
from app.web.setup_form import FactField, fact_fields, facts_from
from app.web.trial_form import FieldProblem, trial_body
from app.web.trial_words import trial_words

public = APIRouter()
router = APIRouter()

WORKER: Final = "sw.js"
#: The pages' module that the worker runs too.
GUARD: Final = "pack_guard.js"
#: What the worker keeps beside the sheet: what a page runs on, not pictures for lists.
KEPT_FILES: Final = (".js", ".css", ".svg")
#: Longer ago nobody remembers whose a result was.
OLDEST: Final = timedelta(days=7)
#: How far a phone's clock may be ahead of ours.
AHEAD: Final = timedelta(minutes=10)
MOST_TRIALS: Final = 50
UID: Final = re.compile(r"[0-9a-f]{32}", re.ASCII)
#: What must be known and allow it before a test. Common practice.
ORDERS: Final = {
    "weight": "Weight-bearing",
    "surgical": "After surgery: hip, back, breastbone",
    "pressure": "Blood pressure",
    "oxygen": "Oxygen",
}
#: Tests that a phone can take by itself; the others need what was done before.
TAKEN_ALONE: Final = ("time", "speed", "distance", "count")
#: Asked only before a standing test: from the seat no leg has to carry the person.
STANDING_ONLY: Final = ("weight",)
CUT_SHORT: Final = "The results did not arrive whole. They are still on the phone."


@dataclass(frozen=True, slots=True)
class SheetRound:
    """Stands where a round of a patient would, so that the same forms can be used."""

    id: str
    facts: dict[str, str]


@dataclass(frozen=True, slots=True)
class TestSheet:
    """One test on the sheet, before anything was done."""

    measure: Measure
    fields: list[FactField]
    round: SheetRound
    needed: int
    blocked_by: tuple[Precaution, ...]
    ceiling: int | None
    orders: dict[str, str]
    completed: int = 0
    trials: tuple[Trial, ...] = ()
    stage: None = None


@dataclass(frozen=True, slots=True)
class Choice:
    """A patient to choose, in the fewest words that tell them apart."""

    patient_id: int
    label: str
    about: str


@dataclass(frozen=True, slots=True)
class Taken:
    """One trial as it was taken on the sheet."""

    uid: str
    fields: Form


@public.get("/bedside")
def sheet(request: Request, site: SiteDep) -> HTMLResponse:
    return HTMLResponse(_sheet(request, site))


@public.get("/sw.js")
def worker(request: Request, site: SiteDep) -> Response:
    """The worker, told what to keep. Its text changes whenever any of that does."""
    assets: Assets = request.app.state.assets
    files = sorted(name for name in assets.names if name.endswith(KEPT_FILES))
    urls = [assets.url(name) for name in files if name != WORKER]
    sheet = hashlib.sha256(_sheet(request, site).encode()).hexdigest()
    told = {
        "VERSION": f"{assets.edition}-{sheet[:12]}",
        "SHEET": "/bedside",
        "FILES": urls,
    }
    head = "".join(f"const {name} = {json.dumps(is_)};\n" for name, is_ in told.items())
    static = folder("static")
    guard = as_script((static / "js" / GUARD).read_text(encoding="utf-8"))
    source = guard + (static / WORKER).read_text(encoding="utf-8")
    allowed = {"service-worker-allowed": "/"}
    return Response(head + source, media_type="text/javascript", headers=allowed)


def _sheet(request: Request, site: Site) -> str:
    """The same for everybody, so made once: no id, no time, nobody's name."""
    state = request.app.state
    if getattr(state, "sheet_of", None) is not site.catalogue:
        state.sheet = _make_sheet(request, site)
        state.sheet_of = site.catalogue
    made: str = state.sheet
    return made


def _make_sheet(request: Request, site: Site) -> str:
    return render(
        request,
        "bedside/sheet.html",
        sheets=[
            _test_sheet(m)
            for m in site.catalogue.measures.values()
            if m.kind in TAKEN_ALONE
        ],
        left_out=[
            m.name
            for m in site.catalogue.measures.values()
            if m.kind not in TAKEN_ALONE
        ],
        edition=site.catalogue.edition,
        nothing=Form(),
        typed=Form(),
        errors={},
        before=None,
        unable_reasons=UNABLE_REASONS,
        safe=make_safe,
        sheet_reasons=tuple(NOT_DONE.values()),
    )


def _test_sheet(measure: Measure) -> TestSheet:
    return TestSheet(
        measure=measure,
        fields=fact_fields(measure, [], Form(), {}),
        round=SheetRound(f"bedside-{measure.id}", {}),
        needed=measure.variants[0].of,
        blocked_by=tuple(PRECAUTIONS[tag] for tag in measure.must_not),
        ceiling=measure.ceiling({}),
        orders=orders_for(measure),
    )


def orders_for(measure: Measure) -> dict[str, str]:
    """The orders that must be known before this test, with their words."""
    spared = STANDING_ONLY if measure.posture == "seated" else ()
    return {key: said for key, said in ORDERS.items() if key not in spared}


@router.get("/bedside/attach")
def waiting(
    request: Request,
    me: SignedIn,
    session: ReadSession,
    now: Now,
    zone: Zone,
    patient: AskedId = 0,
) -> HTMLResponse:
    """`patient`: somebody to choose from beside one's own, from their page."""
    today = now.astimezone(zone).date()
    return page(
        request,
        "bedside/attach.html",
        patients=_choices(session, me, today, patient),
        chosen=patient,
        whole=may(actor(me), "see_desk", None),
        days=OLDEST.days,
    )


def _choices(session: Session, me: Person, today: date, asked: int) -> list[Choice]:
    """Their own patients, or all of a small demo; and the one asked for, first."""
    choices = []
    if asked:
        patient = patient_for(session, me, asked, "record_trial")
        choices.append(Choice(patient.id, patient.label, ""))
    for row in caseload_for(
        session, me, demo=me.is_demo, day=today, own=not me.is_demo
    ):
        if row.patient_id == asked:
            continue
        who = age_words(row.birth_date, row.birth_year, row.sex, today)
        about = condition_words(row.conditions) or row.reason or who
        choices.append(Choice(row.patient_id, row.label, about))
    return choices


@router.post("/bedside/attach")
def attach(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
) -> HTMLResponse:
    """All trials of one round, or none. Sent again it finds what it made before.

    Answered with the page itself, not a redirect: the phone forgets what this names.
    """
    patient = patient_for(session, me, _patient_id(form), "record_trial")
    measure = _measure(site.catalogue, form.text("measure"))
    at, taken = _moment(form, now), _taken(form)
    episode = episode_on(session, patient, at.astimezone(zone).date())
    visit = visit_today(session, me, episode, now=at, zone=zone, uid=_visit_uid(form))
    round = _round(session, me, visit, measure, form, now)
    trials = [_record(session, me, round, measure, each, now) for each in taken]
    _read_again(session, site.catalogue, patient, round, visit.local_date, now)
    tags = [p.tag for p in precautions_on(session, episode, visit.local_date)]
    return page(
        request,
        "bedside/attached.html",
        "bedside/_attached.html",
        ids=[each.uid for each in taken],
        measure=measure,
        patient=patient,
        round=round,
        words=[trial_words(trial, measure) for trial in trials],
        day=day_words(visit.local_date),
        blocked_by=clearance_of(measure, tags).blocked_by,
    )


def _patient_id(form: Form) -> int:
    text = form.text("patient")
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise FormProblem("Choose the patient these results belong to.")
    return int(text)


def _measure(shelf: Catalogue, measure_id: str) -> Measure:
    found = shelf.measures.get(measure_id)
    if found is None:
        raise NotFound("There is no such test.")
    return found


def _visit_uid(form: Form) -> str:
    """From the round's id, so that a repeat finds the visit too."""
    return uuid.uuid5(uuid.NAMESPACE_OID, _uid(form.text("round"))).hex


def _moment(form: Form, now: datetime) -> datetime:
    """When it happened, as the phone had it and a person has confirmed it."""
    try:
        at = datetime.fromisoformat(form.text("at"))
    except ValueError:
        raise FormProblem("Say on which day and at what time it happened.") from None
    if at.tzinfo is None:
        raise FormProblem("Say on which day and at what time it happened.")
    if at > now + AHEAD:
        raise FormProblem(
            "The time lies ahead of now: the phone's clock may be wrong. Correct when "
            "it happened."
        )
    if at < now - OLDEST:
        raise FormProblem(
            f"This is older than {OLDEST.days} days, so it can no longer be attached. "
            "Copy it into the record your site keeps, then discard it."
        )
    return min(at, now)


def _taken(form: Form) -> list[Taken]:
    """The trials as the phone kept them: `[{"id": .., "fields": [[name, value]]}]`."""
    try:
        taken = [_one(each) for each in json.loads(form.text("trials"))]
    except (ValueError, TypeError, KeyError):
        raise FormProblem(CUT_SHORT) from None
    if not 1 <= len(taken) <= MOST_TRIALS:
        raise FormProblem(CUT_SHORT)
    return taken


def _one(each: Any) -> Taken:
    pairs = [(name, value) for name, value in each["fields"]]
    if not all(isinstance(part, str) for pair in pairs for part in pair):
        raise TypeError
    clean = ((name, value.replace("\0", "")) for name, value in pairs)
    return Taken(_uid(each["id"]), Form(clean))


def _uid(text: str) -> str:
    """An id as phones make them."""
    if not UID.fullmatch(text):
        raise FormProblem(CUT_SHORT)
    return text


def _round(
    session: Session,
    me: Person,
    visit: Visit,
    measure: Measure,
    form: Form,
    now: datetime,
) -> Round:
    facts, errors = facts_from(measure, form)
    if errors:
        raise FormProblem("The set-up cannot be read: " + " ".join(errors.values()))
    variant = form.text("variant") or measure.variants[0].id
    if variant not in {v.id for v in measure.variants}:
        raise FormProblem("This test no longer has that trial rule.")
    return start_round(
        session, me, visit, uid=form.text("round"), measure=measure.id,
        variant=variant, facts=facts, now=now,
    )  # fmt: skip


def _record(
    session: Session,
    me: Person,
    round: Round,
    measure: Measure,
    taken: Taken,
    now: datetime,
) -> Trial:
    try:
        body = trial_body(measure, taken.fields)
    except FieldProblem as problem:
        raise FormProblem(" ".join(problem.errors.values())) from problem
    trial, _ = record_trial(session, me, round, uid=taken.uid, body=body, now=now)
    return trial


def _read_again(
    session: Session,
    shelf: Catalogue,
    patient: Patient,
    round: Round,
    day: date,
    now: datetime,
) -> None:
    """A score of an earlier day changes what the later ones are compared with."""
    history: Sequence[Any] = rounds_of(session, patient.id, round.measure)
    for kept in history:
        if kept.round.id == round.id or kept.on_date > day:
            keep(session, shelf, patient, kept.round, now=now)
