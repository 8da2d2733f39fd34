"""A patient's record as one FHIR R4 (4.0.1) bundle of the kind `collection`.

The first entry is a table of contents, which also says what was left out and which
notices go with the codes. Every reference leads to another entry.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import chain
from typing import Any, Final

from app.exports import fhir_care, fhir_patient, fhir_scores, fhir_vitals
from app.exports.fhir_codes import NOTICES, TEST_DATA
from app.exports.fhir_elements import (
    Element,
    concept,
    identity,
    moment,
    narrative,
    reference,
    resource,
)
from app.exports.fhir_values import Record

MEDIA_TYPE: Final = "application/fhir+json"
NO_DIAGNOSIS: Final = (
    "What sources say of a score is no diagnosis; licensed judgement and local policy "
    "decide. Not in here, but for what the signed texts say: what was voided, answers "
    "about symptoms, teaching, hand-offs, sizes of the body and of rooms, home sheets, "
    "and who is assigned."
)
#: The sections of the contents by the kind of what they hold.
_SECTIONS: Final = {
    "Who": ("Patient", "Condition", "Flag"),
    "Care": ("EpisodeOfCare", "CarePlan", "Goal", "Encounter"),
    "What was seen": ("Observation",),
    "What was done": ("Procedure",),
    "Signed texts": ("DocumentReference",),
}


def bundle(record: Record) -> Element:
    """The whole record; numbers are Decimals, to be written by `fhir_json`."""
    resources = list(_resources(record))
    entries = [_contents(record, resources), *resources]
    return {
        "resourceType": "Bundle",
        "id": identity(f"{record.patient.key} bundle"),
        **({"meta": {"security": [dict(TEST_DATA)]}} if record.demo else {}),
        "type": "collection",
        "timestamp": moment(record.made_at),
        "entry": [
            {"fullUrl": f"urn:uuid:{made['id']}", "resource": made} for made in entries
        ],
    }


def _resources(record: Record) -> Iterator[Element]:
    who, demo = record.patient.key, record.demo
    yield fhir_patient.patient(record.patient, demo=demo)
    yield _program(record)
    for person in record.people:
        yield fhir_patient.practitioner(person, demo=demo)
    made: Iterable[tuple[Any, Iterable[Any]]] = (
        (fhir_patient.condition, record.conditions),
        (fhir_patient.episode_of_care, record.episodes),
        (fhir_patient.flag, record.precautions),
        (fhir_care.goal, record.goals),
        (fhir_patient.encounter, record.visits),
        (fhir_scores.score, record.scores),
        (fhir_vitals.pressure, record.pressures),
        (fhir_vitals.vital, record.vitals),
        (fhir_vitals.task, record.tasks),
        (fhir_care.procedure, record.sets),
        (fhir_care.document, record.texts),
    )
    for make, values in made:
        yield from (make(value, who, demo=demo) for value in values)
    yield from _plans(record)
    yield from _co_signed(record)


def _plans(record: Record) -> Iterator[Element]:
    for care in record.episodes:
        goals = [goal.key for goal in record.goals if goal.episode == care.key]
        held = [p for p in record.precautions if p.episode == care.key]
        yield fhir_patient.care_plan(
            care, record.patient.key, goals, held, demo=record.demo
        )


def _co_signed(record: Record) -> Iterator[Element]:
    """Of each visit that somebody co-signed: all of it that its author recorded."""
    seen = list(
        chain(record.scores, record.pressures, record.vitals, record.tasks, record.sets)
    )
    for text in record.texts:
        if text.signed_at is not None:
            theirs = [
                one.key
                for one in seen
                if (one.visit, one.person) == (text.visit, text.author)
            ]
            targets = [text.visit, text.key, *theirs]
            yield fhir_care.provenance(text, targets, demo=record.demo)


def _program(record: Record) -> Element:
    version = f"{record.version}, catalogue {record.edition}"
    return resource(
        "Device", _maker(record), [f"Tapeline {version}"], demo=record.demo,
        deviceName=[{"name": "Tapeline", "type": "user-friendly-name"}],
        version=[{"value": version}],
    )  # fmt: skip


def _maker(record: Record) -> str:
    return f"program {record.version} {record.edition}"


def _contents(record: Record, resources: list[Element]) -> Element:
    """What is in here, what is not, and the notices."""
    told: dict[str, Sequence[str]] = {
        "Left out": record.left_out.sentences,
        "To be read with it": (NO_DIAGNOSIS, *NOTICES),
    }
    sections: list[Element] = [
        {"title": title, "entry": _of(kinds, resources)}
        for title, kinds in _SECTIONS.items()
    ]
    sections += [
        {"title": title, "text": narrative(said)}
        for title, said in told.items()
        if said
    ]
    kept = [s for s in sections if s.get("entry") or s.get("text")]
    lines = [
        "Record of therapy, made by Tapeline.",
        "An invented patient: test data." if record.demo else "",
        *record.left_out.sentences,
    ]
    return resource(
        "Composition", f"{record.patient.key} contents", lines, demo=record.demo,
        status="final",
        type=concept("Record of therapy", "record"),
        subject=reference(record.patient.key),
        date=moment(record.made_at),
        author=[reference(_maker(record))],
        title="Record of therapy",
        section=kept,
    )  # fmt: skip


def _of(kinds: tuple[str, ...], resources: list[Element]) -> list[Element]:
    return [
        {"reference": f"urn:uuid:{made['id']}"}
        for made in resources
        if made["resourceType"] in kinds
    ]
