"""Vital signs, tasks of the day and sets of activities as values for FHIR."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal

from sqlmodel import col, select

from app.clinical.assistance import CUE_AMOUNTS, CUE_KINDS, FEDERAL, LEVELS
from app.clinical.doing import stop_said
from app.clinical.make_safe import SYMPTOMS
from app.clinical.visiting import ARMS, DEVICES, NOT_DONE, POSITIONS, SET_UPS, TASKS
from app.clinical.visiting import VITALS as LABELS
from app.exports.fhir_values import (
    Amount,
    PartValue,
    PressureValue,
    SetValue,
    TaskValue,
    VitalValue,
)
from app.storage.activity_sets import ActivitySet, sets_of, symptoms_of
from app.storage.observations import (
    Row,
    TaskCode,
    TaskObservation,
    VitalSigns,
    recorded_in,
)
from app.storage.safety import Stop, stops_of_visit
from app.web.fhir_gathering import Gathering
from app.web.fhir_stops import after
from app.web.set_words import done_words
from app.web.stops import against_words
from app.web.visit_events import oxygen_words

#: Of a set of vital signs, beside the pressure: each with its unit here.
_NUMBERS = {
    "heart_rate": "/min",
    "saturation": "%",
    "breathing": "/min",
    "pain": "of 10",
    "dizziness": "of 10",
}


def vitals(g: Gathering) -> tuple[list[PressureValue], list[VitalValue]]:
    """Each number of each set that may go out."""
    pressures: list[PressureValue] = []
    numbers: list[VitalValue] = []
    for row in _in_order(g, recorded_in(g.session, list(g.visits), VitalSigns)):
        if g.may_go("vital signs", row.visit_id, row.recorded_by, row.recorded_at):
            pressures += _pressure(g, row)
            numbers += _numbers(g, row)
    return pressures, numbers


def _in_order(g: Gathering, rows: Sequence[Row]) -> list[Row]:
    """By visit, and in each as they were recorded."""
    places = {visit_id: place for place, visit_id in enumerate(g.visits)}
    return sorted(rows, key=lambda row: places[row.visit_id])


def _pressure(g: Gathering, row: VitalSigns) -> Iterator[PressureValue]:
    if row.systolic is not None or row.diastolic is not None:
        yield PressureValue(
            **g.seen(
                row.visit_id, row.recorded_by, row.recorded_at,
                f"vitals {row.uid} pressure",
            ),
            systolic=row.systolic,
            diastolic=row.diastolic,
            position=row.position,
            position_words=POSITIONS[row.position],
            arm=ARMS.get(row.arm or "", ""),
        )  # fmt: skip


def _numbers(g: Gathering, row: VitalSigns) -> Iterator[VitalValue]:
    for name, unit in _NUMBERS.items():
        value = getattr(row, name)
        if value is not None:
            amount = Amount(Decimal(value), unit)
            yield _vital(g, row, name, LABELS[name].label, amount)
    if row.effort is not None and row.effort_scale:
        amount = Amount(Decimal(row.effort), row.effort_scale)
        yield _vital(g, row, "effort", f"Effort, {row.effort_scale}", amount)
    if row.temperature_tenths is not None:
        degrees = Amount(Decimal(row.temperature_tenths) / 10, "Cel")
        yield _vital(g, row, "temperature", "Body temperature", degrees)


def _vital(
    g: Gathering, row: VitalSigns, name: str, label: str, amount: Amount
) -> VitalValue:
    air = oxygen_words(row) if name == "saturation" else ""
    return VitalValue(
        **g.seen(
            row.visit_id, row.recorded_by, row.recorded_at, f"vitals {row.uid} {name}"
        ),
        what=name,
        label=label,
        amount=amount,
        position=row.position,
        position_words=POSITIONS[row.position],
        notes=(f"On {air}.",) if air else (),
    )


def tasks(g: Gathering) -> list[TaskValue]:
    """Tasks that count: a voided one is no part of the record any more."""
    found, codes = [], _codes(g)
    for row in _in_order(g, recorded_in(g.session, list(g.visits), TaskObservation)):
        g.voided += row.voided_at is not None
        if row.voided_at is None and g.may_go(
            "tasks", row.visit_id, row.recorded_by, row.recorded_at
        ):
            found.append(_task(g, row, codes.get(row.id, row.federal)))
    return found


def _codes(g: Gathering) -> dict[int, str]:
    """The newest federal code of each task that somebody answers for."""
    wanted = (
        select(TaskCode, TaskObservation.visit_id)
        .join(TaskObservation, col(TaskObservation.id) == col(TaskCode.task_id))
        .where(col(TaskObservation.visit_id).in_(g.visits))
    )
    return {
        given.task_id: given.code
        for given, visit_id in g.session.exec(wanted.order_by(col(TaskCode.id)))
        if g.release.may_go(visit_id, given.recorded_by, given.recorded_at)
    }


def _task(g: Gathering, row: TaskObservation, federal: str | None) -> TaskValue:
    declined = row.not_done == "declined"
    return TaskValue(
        **g.seen(row.visit_id, row.recorded_by, row.recorded_at, f"task {row.uid}"),
        task=row.task,
        name=TASKS[row.task].capitalize(),
        level=(row.level, LEVELS[row.level].words) if row.level else None,
        outcome="" if row.level else "declined" if declined else "not_done",
        why=NOT_DONE.get(row.not_done or "", ""),
        parts=tuple(_parts(row, federal)) if row.level else (),
        notes=(row.note,) if row.note else (),
    )


def _parts(row: TaskObservation, federal: str | None) -> Iterator[PartValue]:
    if row.share is not None:
        amount = Amount(Decimal(row.share), "%")
        yield PartValue(code="share", text="Patient's share of effort", amount=amount)
    helpers = Amount(Decimal(row.helpers), "count")
    yield PartValue(code="helpers", text="Helpers", amount=helpers)
    if row.cue_kind:
        amount_words = CUE_AMOUNTS.get(row.cue_amount or "", "")
        words = ", ".join(filter(None, (CUE_KINDS[row.cue_kind], amount_words)))
        choice = (f"cue.{row.cue_kind}", words)
        yield PartValue(code="cues", text="Cues", choice=choice)
    yield from _thing("device", "Device", row.device_kind, DEVICES, row.device)
    yield from _thing("set-up", "Set-up", row.set_up_kind, SET_UPS, row.set_up)
    if federal:
        choice = (f"federal.{federal}", f"{federal} {FEDERAL[federal]}")
        yield PartValue(code="federal", text="Federal code of help", choice=choice)


def _thing(
    code: str, text: str, kind: str | None, words: Mapping[str, str], typed: str
) -> Iterator[PartValue]:
    known = words.get(kind or "", "")
    said = ", ".join(filter(None, (known, typed)))
    if kind:
        yield PartValue(code=code, text=text, choice=(f"{code}.{kind}", said))
    elif said:
        yield PartValue(code=code, text=text, words=said)


def sets(g: Gathering) -> list[SetValue]:
    """Bouts of activities, oldest first; with what followed a stop."""
    every = sets_of(g.session, g.patient.id, voided=True)
    g.voided += sum(1 for row, _ in every if row.voided_at is not None)
    counting = [row for row, _ in every if row.voided_at is None]
    felt = symptoms_of(g.session, counting)
    stops = _stops(g, counting)
    return [
        _set(g, row, felt.get(row.id, ()), stops.get(row.id))
        for row in counting
        if g.may_go("sets", row.visit_id, row.recorded_by, row.recorded_at)
    ]


def _stops(g: Gathering, rows: list[ActivitySet]) -> dict[int, Stop]:
    visits = {row.visit_id for row in rows if row.outcome == "stopped" or row.against}
    return {
        stop.row.id: stop
        for visit_id in sorted(visits)
        for stop in stops_of_visit(g.session, g.visits[visit_id])
        if stop.of == "set"
    }


def _set(
    g: Gathering, row: ActivitySet, felt: tuple[str, ...], stop: Stop | None
) -> SetValue:
    activity = g.shelf.activities.get(row.activity)
    stopped = row.outcome == "stopped"
    notes = []
    if row.against:
        notes.append(f"Done against {against_words(row.against)}.")
    if stop is not None and stopped:
        notes.append(after(g, row.visit_id, stop))
    return SetValue(
        **g.seen(row.visit_id, row.recorded_by, row.done_at, f"set {row.uid}"),
        activity=row.activity,
        name=activity.name if activity else row.activity,
        outcome=row.outcome,
        why=_why(row, felt),
        dose=done_words(row, activity, felt),
        symptoms=tuple(words for key, words in SYMPTOMS.items() if key in felt),
        notes=tuple(filter(None, notes)),
    )


def _why(row: ActivitySet, felt: tuple[str, ...]) -> str:
    if row.outcome == "stopped":
        return stop_said(felt)
    if row.outcome == "declined":
        return "declined"
    return NOT_DONE.get(row.reason or "", "") if row.outcome == "not_done" else ""
