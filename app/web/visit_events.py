"""What happened in a visit, in order: for its page, its review and its note."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from app.catalogue.load import Catalogue
from app.clinical.assistance import CUE_AMOUNTS, CUE_KINDS, LEVELS, contradictions
from app.clinical.visiting import (
    EXIT_LIST,
    LIMITED,
    NOT_DONE,
    PAUSES,
    POSITIONS,
    TASKS,
    VITALS,
    outside,
    postural,
)
from app.storage.episodes import Episode, Visit
from app.storage.observations import (
    SymptomCheck,
    TaskObservation,
    VitalSigns,
    limits_of,
    recorded,
)
from app.storage.trials import Round, Trial
from app.storage.visits import ExitItem, pauses_of
from app.web.trial_words import trial_words


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened. `mind`: what lies outside an order or is a stop."""

    at: datetime
    kind: str
    says: str
    by: int | None = None
    mind: tuple[str, ...] = ()
    voided: str = ""
    id: int = 0


def events_of(session: Session, shelf: Catalogue, visit: Visit) -> list[Event]:
    """Everything, the oldest first."""
    found = [
        *_symptoms(session, visit),
        *_vitals(session, visit),
        *_trials(session, shelf, visit),
        *_tasks(session, visit),
        *_pauses(session, visit),
        *_exit(session, visit),
    ]
    return sorted(found, key=lambda event: event.at)


def _symptoms(session: Session, visit: Visit) -> Iterator[Event]:
    for row in recorded(session, visit, SymptomCheck):
        said = [
            {"yes": "agreed", "declined": "declined"}.get(row.agreed or "", ""),
            f"pain {row.pain} of 10" if row.pain is not None else "",
            {"yes": "dizzy", "no": "not dizzy"}.get(row.dizzy or "", ""),
            {"yes": "fell since last time", "no": "no fall"}.get(row.fell or "", ""),
            f"slept {row.slept}" if row.slept else "",
            f"“{row.words}”" if row.words else "",
        ]
        says = ", ".join(part for part in said if part)
        yield Event(row.recorded_at, "symptoms", says, row.recorded_by, id=row.id)


def _vitals(session: Session, visit: Visit) -> Iterator[Event]:
    episode = session.get_one(Episode, visit.episode_id)
    before: dict[str, tuple[int, int]] = {}
    for row in recorded(session, visit, VitalSigns):
        ordered: dict[str, int] = {
            n: getattr(row, n) for n in LIMITED if getattr(row, n) is not None
        }
        limits = limits_of(session, episode, row.recorded_at)
        mind = list(outside(ordered, limits).values())
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
            on = f" on {row.oxygen}" if name == "saturation" and row.oxygen else ""
            parts.append(f"{vital.label.lower()} {value} {vital.unit}{on}")
    if row.effort is not None:
        parts.append(f"effort {row.effort} on {row.effort_scale}")
    if row.temperature_tenths is not None:
        whole, tenth = divmod(row.temperature_tenths, 10)
        parts.append(f"temperature {whole}.{tenth} °C")
    return ", ".join(parts)


def _trials(session: Session, shelf: Catalogue, visit: Visit) -> Iterator[Event]:
    wanted = (
        select(Trial, Round)
        .join(Round, col(Round.id) == col(Trial.round_id))
        .where(Round.visit_id == visit.id)
    )
    for trial, round in session.exec(wanted):
        known = shelf.measures.get(round.measure)
        name = known.name if known else round.measure
        mind = ("Stopped for safety.",) if trial.outcome == "stopped" else ()
        yield Event(
            trial.recorded_at, "trial", f"{name}: {trial_words(trial, known)}",
            trial.recorded_by, mind, trial.void_reason or "", round.id,
        )  # fmt: skip


def _tasks(session: Session, visit: Visit) -> Iterator[Event]:
    for row in recorded(session, visit, TaskObservation):
        mind: tuple[str, ...] = ()
        if row.level and not row.voided_at:
            mind = contradictions(row.level, row.helpers, bool(row.cue_kind))
        yield Event(
            row.recorded_at, "task", task_words(row), row.recorded_by, mind,
            row.void_reason or "", row.id,
        )  # fmt: skip


def task_words(row: TaskObservation) -> str:
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
    parts += [part for part in (row.device, row.set_up, row.note) if part]
    code = f" [federal {row.federal}]" if row.federal else ""
    return f"{task}: {', '.join(parts)}{code}"


def _pauses(session: Session, visit: Visit) -> Iterator[Event]:
    for row in pauses_of(session, visit):
        yield Event(row.since, "pause", f"Paused: {PAUSES[row.reason]}")
        if row.until:
            yield Event(row.until, "pause", "Gone on")


def _exit(session: Session, visit: Visit) -> Iterator[Event]:
    wanted = select(ExitItem).where(ExitItem.visit_id == visit.id)
    rows = session.exec(wanted).all()
    if rows:
        done = [EXIT_LIST[r.item] for r in rows if r.state == "done"]
        none = [EXIT_LIST[r.item] for r in rows if r.state == "not_applicable"]
        says = "; ".join(done) + (
            f"; not applicable: {', '.join(none)}" if none else ""
        )
        last = max(rows, key=lambda row: row.recorded_at)
        yield Event(last.recorded_at, "exit", f"Left: {says}", last.recorded_by)
    if visit.left_without and visit.closed_at:
        says = f"Left without the list: {visit.left_without}"
        yield Event(visit.closed_at, "exit", says, visit.closed_by, (says,))
