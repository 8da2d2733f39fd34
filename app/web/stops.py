"""Stops for safety as the brief, the round and the list show them."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Final
from zoneinfo import ZoneInfo

from app.catalogue.load import Catalogue
from app.clinical.make_safe import ON_THE_FLOOR, POSITIONS, SYMPTOMS, WHATS
from app.clinical.precautions import PRECAUTIONS
from app.storage.people import Person
from app.storage.safety import Answers, Stop
from app.storage.safety_rows import LOOKERS
from app.storage.trials import Trial
from app.web.dates import day_words

#: Beside orders and risks: a set was done after a stop, and nobody said it might be.
OPEN_STOP: Final = "open_stop"


@dataclass(frozen=True, slots=True)
class StopView:
    """One stop in words, and the answers its form is filled with.

    `path` is its own address, `page` where it happened: a round, or an activity's card.
    """

    key: str
    path: str
    page: str
    patient_id: int
    label: str
    name: str
    words: str
    by: str
    void: str
    is_open: bool
    may_look: bool
    answers: Answers
    event_id: int | None
    called_at: str
    on_floor: bool


def stop_views(
    stops: Iterable[Stop], me: Person, shelf: Catalogue, zone: ZoneInfo, today: date
) -> list[StopView]:
    """Ready to show, in the order given."""
    return [
        StopView(
            key=stop_key(stop),
            path=stop_path(stop),
            page=stop_page(stop),
            patient_id=stop.patient_id,
            label=stop.label,
            name=stop_name(shelf, stop),
            words=stop_words(stop, today),
            by=stop.by,
            void=stop.row.void_reason or "",
            is_open=stop.is_open,
            may_look=me.role in LOOKERS,
            answers=stop.answers,
            event_id=stop.event_id,
            called_at=_clock(stop.answers, zone),
            on_floor=stop.answers.what in ON_THE_FLOOR,
        )
        for stop in stops
    ]


def stop_name(shelf: Catalogue, stop: Stop, *, short: bool = True) -> str:
    """Of which test or activity; one that left the catalogue is told by its id."""
    if stop.of == "set":
        activity = shelf.activities.get(stop.what)
        return activity.name if activity else stop.what
    measure = shelf.measures.get(stop.what)
    if measure is None:
        return stop.what
    return measure.short if short else measure.name


def stop_key(stop: Stop) -> str:
    """`set-7`: how a form names the stops that it showed."""
    return f"{stop.of}-{stop.row.id}"


def stop_path(stop: Stop) -> str:
    return f"/{stop.of}s/{stop.row.id}"


def stop_page(stop: Stop) -> str:
    """Where it happened."""
    if isinstance(stop.row, Trial):
        return f"/rounds/{stop.row.round_id}"
    return f"/patients/{stop.patient_id}/activities/{stop.what}"


def stop_sort(stop: Stop) -> str:
    """`stopped for safety`, or what a set was done against."""
    if stop.row.outcome == "stopped":
        return "stopped for safety"
    return f"done against {against_words(stop.against)}"


def against_words(tags: str) -> str:
    """`an order in force (Leg: toe-touch only)`; empty when nothing stood against."""
    held = [PRECAUTIONS[tag] for tag in tags.split() if tag in PRECAUTIONS]
    said = []
    if held:
        kind = "an order" if held[0].kind == "order" else "a risk"
        said.append(f"{kind} in force ({'; '.join(p.label for p in held)})")
    if OPEN_STOP in tags.split():
        said.append("a stop for safety of that day, with nothing said to go on")
    return " and ".join(said)


def _clock(answers: Answers, zone: ZoneInfo) -> str:
    at = answers.called_at
    return f"{at.astimezone(zone):%H:%M}" if at else ""


def stop_words(stop: Stop, today: date) -> str:
    """`Stopped for safety 25 Nov: lowered to the floor, dizzy`."""
    told = happened(stop)
    if stop.row.outcome == "stopped":
        told = told or "what happened was not noted yet"
    sort = stop_sort(stop)
    said = f"{sort[0].upper()}{sort[1:]} {day_words(stop.on_date, today)}"
    return f"{said}: {told}" if told else said


def happened(stop: Stop) -> str:
    """`lowered to the floor, dizzy`; empty while nobody has said it."""
    said = stop.answers
    parts = [WHATS[said.what]] if said.what else []
    if said.head_strike == "yes":
        parts.append("hit the head")
    if said.blood_thinner == "yes":
        parts.append("on a blood thinner")
    parts += [words for key, words in SYMPTOMS.items() if key in said.symptoms]
    return ", ".join(parts)


def vitals_after(said: Answers) -> str:
    """`sitting: 102/60 mmHg, heart rate 96 per minute`; empty without a number."""
    parts = []
    if said.systolic is not None and said.diastolic is not None:
        parts.append(f"{said.systolic}/{said.diastolic} mmHg")
    if said.heart_rate is not None:
        parts.append(f"heart rate {said.heart_rate} per minute")
    if said.saturation is not None:
        parts.append(f"saturation {said.saturation} %")
    told = ", ".join(parts)
    where = POSITIONS.get(said.position or "", "")
    return f"{where}: {told}" if told and where else told
