"""Stops for safety as the brief, the round and the list show them."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from app.catalogue.load import Catalogue
from app.clinical.make_safe import ON_THE_FLOOR, SYMPTOMS, WHATS
from app.storage.people import Person
from app.storage.safety import LOOKERS, Answers, Stop
from app.web.dates import day_words


@dataclass(frozen=True, slots=True)
class StopView:
    """One stop in words, and the answers its form is filled with."""

    trial_id: int
    round_id: int
    patient_id: int
    label: str
    test: str
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
            trial_id=stop.trial.id,
            round_id=stop.trial.round_id,
            patient_id=stop.patient_id,
            label=stop.label,
            test=_test(shelf, stop),
            words=stop_words(stop, today),
            by=stop.by,
            void=stop.trial.void_reason or "",
            is_open=stop.is_open,
            may_look=me.role in LOOKERS,
            answers=stop.answers,
            event_id=stop.event_id,
            called_at=_clock(stop.answers, zone),
            on_floor=stop.answers.what in ON_THE_FLOOR,
        )
        for stop in stops
    ]


def _test(shelf: Catalogue, stop: Stop) -> str:
    """A test that left the catalogue is told by its id."""
    measure = shelf.measures.get(stop.measure)
    return measure.short if measure else stop.measure


def _clock(answers: Answers, zone: ZoneInfo) -> str:
    at = answers.called_at
    return f"{at.astimezone(zone):%H:%M}" if at else ""


def stop_words(stop: Stop, today: date) -> str:
    """`Stopped for safety 25 Nov: lowered to the floor, dizzy`."""
    told = happened(stop) or "what happened was not noted yet"
    return f"Stopped for safety {day_words(stop.on_date, today)}: {told}"


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
