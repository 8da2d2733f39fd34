"""What happened in a visit, in order: for its page, its review and its note."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any, Final

from sqlmodel import Session, col, select
from sqlmodel.sql.expression import Select

from app.catalogue.load import Catalogue
from app.clinical.assistance import CUE_AMOUNTS, CUE_KINDS, LEVELS, contradictions
from app.clinical.visiting import (
    CARRIERS,
    DEVICES,
    EXIT_LIST,
    HAND_OFF_TO,
    LIMITED,
    NOT_DONE,
    OUTSIDE,
    PAUSES,
    POSITIONS,
    SET_UPS,
    STRIP_SAID,
    TASKS,
    VITALS,
    outside,
    postural,
)
from app.storage.activity_sets import ActivitySet, sets_in, symptoms_of
from app.storage.episodes import Episode, Visit
from app.storage.observations import (
    SymptomCheck,
    TaskObservation,
    VitalSigns,
    codes_in,
    limits_of,
    merged,
    recorded,
)
from app.storage.prepared import prepared
from app.storage.trials import Round, Trial
from app.storage.visits import ExitItem, exit_rows, pauses_of
from app.web.handed_on import passed_on
from app.web.room_words import room_events
from app.web.service_events import minutes_events
from app.web.set_words import set_words
from app.web.trial_words import trial_words
from app.web.visit_stops import Told, against_events, stop_events, void_events

ON_WHAT: Final = "Saturation on what? Without it no other can be compared."


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened. `mind`: what lies outside an order or contradicts."""

    at: datetime
    kind: str
    says: str
    by: int | None = None
    mind: tuple[str, ...] = ()
    voided: str = ""
    id: int = 0


def events_of(session: Session, shelf: Catalogue, visit: Visit) -> list[Event]:
    """Everything, the oldest first."""
    trials = _trial_rows(session, visit.id).all()
    sets = sets_in(session, visit)
    tasks = recorded(session, visit, TaskObservation)
    found = [
        *_symptoms(session, visit),
        *vital_events(session, visit),
        *_trials(shelf, trials),
        *_sets(session, shelf, sets),
        *_tasks(session, visit, tasks),
        *_own("stop", stop_events(session, shelf, visit)),
        *_own("room", room_events(session, shelf, visit)),
        *_own("against", against_events(session, shelf, visit)),
        *_own("void", void_events(shelf, trials, sets, tasks)),
        *_own("minutes", minutes_events(session, visit)),
        *_passed_on(session, visit),
        *_pauses(session, visit),
        *_exit(session, visit),
    ]
    return sorted(found, key=lambda event: event.at)


def _own(kind: str, told: Iterator[Told]) -> Iterator[Event]:
    for at, says, by in told:
        yield Event(at, kind, says, by)


def _passed_on(session: Session, visit: Visit) -> Iterator[Event]:
    """What was taught and shown back, and what was handed off."""
    for p in passed_on(session, visit):
        yield Event(p.at, p.kind, p.says, p.by, voided=p.voided, id=p.id)


def _symptoms(session: Session, visit: Visit) -> Iterator[Event]:
    """One event for each asking, however many taps it took."""
    rows = recorded(session, visit, SymptomCheck)
    for _, taps in groupby(rows, lambda row: row.asking or row.uid):
        asked = list(taps)
        first, last = asked[0], asked[-1]
        says = ", ".join(symptom_words(merged(asked)))
        before = [
            word
            for row in asked
            for word in symptom_words(merged([row]))
            if word not in symptom_words(merged(asked))
        ]
        if before:
            says += f" (before that: {', '.join(before)})"
        yield Event(first.recorded_at, "symptoms", says, first.recorded_by, id=last.id)


def symptom_words(said: dict[str, Any]) -> list[str]:
    """`agreed`, `pain 3 of 10`, ...: each answer that was given."""
    pain, words = said.get("pain"), said.get("words")
    found = [
        {"yes": "agreed", "declined": "declined"}.get(said.get("agreed", ""), ""),
        f"pain {pain} of 10" if pain is not None else "",
        {"yes": "dizzy", "no": "not dizzy"}.get(said.get("dizzy", ""), ""),
        {"yes": "fell since last time", "no": "no fall"}.get(said.get("fell", ""), ""),
        f"slept {said['slept']}" if said.get("slept") else "",
        f"“{words}”" if words else "",
    ]
    return [part for part in found if part]


def vital_events(session: Session, visit: Visit) -> Iterator[Event]:
    """Each set, and what of it lies outside the limits that held then."""
    episode = session.get_one(Episode, visit.episode_id)
    before: dict[str, tuple[int, int]] = {}
    for row in recorded(session, visit, VitalSigns):
        ordered: dict[str, int] = {
            n: getattr(row, n) for n in LIMITED if getattr(row, n) is not None
        }
        limits = limits_of(session, episode, row.recorded_at)
        mind = list(outside(ordered, limits).values())
        if mind:
            mind.append(OUTSIDE)
        if row.saturation is not None and not (row.carrier or row.oxygen):
            mind.append(ON_WHAT)
        pressure = _pressure(row)
        rest = "lying" if "lying" in before else "sitting"
        if pressure and rest in before and row.position.startswith("standing"):
            mind.append(postural(rest, before[rest], pressure))
        if pressure and row.position in ("lying", "sitting"):
            before[row.position] = pressure
        says = f"{POSITIONS[row.position].capitalize()}: {vital_words(row)}"
        told = tuple(words for words in mind if words)
        yield Event(row.recorded_at, "vitals", says, row.recorded_by, told, id=row.id)


def _pressure(row: VitalSigns) -> tuple[int, int] | None:
    if row.systolic is None or row.diastolic is None:
        return None
    return row.systolic, row.diastolic


def vital_words(row: VitalSigns) -> str:
    """`118/70 mmHg, heart rate 84 /min, ...`, each number with its unit."""
    parts = []
    if row.systolic is not None and row.diastolic is not None:
        arm = f", {row.arm} arm" if row.arm else ""
        parts.append(f"{row.systolic}/{row.diastolic} mmHg{arm}")
    for name, vital in VITALS.items():
        value = getattr(row, name)
        if value is not None and name not in ("systolic", "diastolic"):
            on = oxygen_words(row) if name == "saturation" else ""
            with_on = f" on {on}" if on else ""
            parts.append(f"{vital.label.lower()} {value} {vital.unit}{with_on}")
    if row.saturation is None and oxygen_words(row):
        parts.append(f"breathing {oxygen_words(row)}")
    if row.effort is not None:
        parts.append(f"effort {row.effort} on {row.effort_scale}")
    if row.temperature_tenths is not None:
        whole, tenth = divmod(row.temperature_tenths, 10)
        parts.append(f"temperature {whole}.{tenth} °C")
    return ", ".join(parts)


def oxygen_words(row: VitalSigns) -> str:
    """`room air`, `2 L/min by nasal cannula`, or what was written before a list."""
    if row.carrier is None:
        return row.oxygen
    if row.flow_tenths is None:
        return CARRIERS[row.carrier]
    whole, tenth = divmod(row.flow_tenths, 10)
    flow = f"{whole}.{tenth}" if tenth else str(whole)
    return f"{flow} L/min, {CARRIERS[row.carrier]}"


@prepared
def _trial_rows(visit_id: int) -> Select[Trial, Round]:
    wanted = select(Trial, Round).join(Round, col(Round.id) == col(Trial.round_id))
    return wanted.where(Round.visit_id == visit_id).order_by(col(Trial.id))


def _trials(shelf: Catalogue, trials: Sequence[tuple[Trial, Round]]) -> Iterator[Event]:
    for trial, round in trials:
        known = shelf.measures.get(round.measure)
        name = known.name if known else round.measure
        yield Event(
            trial.recorded_at, "trial", f"{name}: {trial_words(trial, known)}",
            trial.recorded_by, voided=trial.void_reason or "", id=round.id,
        )  # fmt: skip


def _sets(
    session: Session, shelf: Catalogue, sets: Sequence[ActivitySet]
) -> Iterator[Event]:
    symptoms = symptoms_of(session, sets)
    for row in sets:
        mind: tuple[str, ...] = ()
        if row.level and row.helpers is not None and not row.voided_at:
            mind = contradictions(row.level, row.helpers, bool(row.cue_kind))
        yield Event(
            row.done_at, "set", set_words(shelf, row, symptoms.get(row.id, ())),
            row.recorded_by, mind, row.void_reason or "", row.id,
        )  # fmt: skip


def _tasks(
    session: Session, visit: Visit, tasks: Sequence[TaskObservation]
) -> Iterator[Event]:
    codes = codes_in(session, visit)
    for row in tasks:
        mind: tuple[str, ...] = ()
        if row.level and not row.voided_at:
            mind = contradictions(row.level, row.helpers, bool(row.cue_kind))
        yield Event(
            row.recorded_at, "task", task_words(row, codes.get(row.id)),
            row.recorded_by, mind, row.void_reason or "", row.id,
        )  # fmt: skip


def task_words(row: TaskObservation, federal: str | None) -> str:
    """`Dressing, lower body: moderate (patient does 60 %), x2, verbal cues ...`."""
    task = TASKS[row.task].capitalize()
    if row.not_done:
        return f"{task}: not done, {NOT_DONE[row.not_done]}"
    parts = [LEVELS[row.level or "total"].words]
    if row.share is not None:
        parts[0] += f" (patient does {row.share} %, helpers {100 - row.share} %)"
    if row.helpers > 1:
        parts.append(f"times {row.helpers}")
    if row.cue_kind:
        amount = f", {CUE_AMOUNTS[row.cue_amount]}" if row.cue_amount else ""
        parts.append(f"cues {CUE_KINDS[row.cue_kind]}{amount}")
    parts += _things(row)
    code = f" [federal {federal}]" if federal else ""
    return f"{task}: {', '.join(parts)}{code}"


def _things(row: TaskObservation) -> list[str]:
    """Device, set-up and note, the closed lists' words before the typed ones."""
    device, set_up = (
        DEVICES.get(row.device_kind or ""),
        SET_UPS.get(row.set_up_kind or ""),
    )
    if row.device_kind == "other":
        device = ""
    if row.set_up_kind == "other":
        set_up = ""
    if row.device_kind == "none":
        device = "no device"
    found = (device, row.device, set_up, row.set_up, row.note)
    return [part for part in found if part]


def _pauses(session: Session, visit: Visit) -> Iterator[Event]:
    for row in pauses_of(session, visit):
        yield Event(row.since, "pause", f"Paused: {PAUSES[row.reason]}")
        if row.until:
            yield Event(row.until, "pause", "Gone on")


def _exit(session: Session, visit: Visit) -> Iterator[Event]:
    order = list(EXIT_LIST)
    rows = sorted(exit_rows(session, visit), key=lambda row: order.index(row.item))
    if rows:
        said = [r for r in rows if r.state == "done" or r.strip_state]
        done = [exit_words(row) for row in said]
        none = [EXIT_LIST[r.item] for r in rows if r not in said]
        says = "; ".join(done) + (
            f"; not applicable: {', '.join(none)}" if none else ""
        )
        last = max(rows, key=lambda row: row.recorded_at)
        says = says.removeprefix("; ")
        yield Event(last.recorded_at, "exit", f"Left: {says}", last.recorded_by)
    if visit.strip_left_at:
        says = STRIP_SAID["retrieved"].capitalize()
        yield Event(visit.strip_left_at, "exit", says, visit.person_id, (says,))
    if visit.left_without and visit.closed_at:
        says = f"Left without the list: {visit.left_without}"
        yield Event(visit.closed_at, "exit", says, visit.closed_by, (says,))


def exit_words(row: ExitItem) -> str:
    """`bell in reach`, `hand-off given: nurse`, `strip out of the room ...`."""
    if row.strip_state:
        return STRIP_SAID[row.strip_state]
    to = f": {HAND_OFF_TO[row.told_role]}" if row.told_role else ""
    return EXIT_LIST[row.item] + to
