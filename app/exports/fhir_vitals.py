"""Vital signs by the profile of FHIR R4, and tasks of the day.

A pressure is a panel of its two halves; the position goes with it, coded only where a
code says what was recorded. Pain, dizziness and effort have no code here.
"""

from decimal import Decimal

from app.exports.fhir_codes import (
    BODY_POSITION,
    DIASTOLIC,
    POSITIONS,
    PRESSURE,
    SNOMED,
    SYSTOLIC,
    VITAL_PROFILE,
    VITALS,
)
from app.exports.fhir_elements import (
    Element,
    absent,
    coding,
    concept,
    hl7,
    notes,
    quantity,
    resource,
)
from app.exports.fhir_scores import component, seen
from app.exports.fhir_values import Amount, PressureValue, TaskValue, VitalValue


def vital(said: VitalValue, subject: str, *, demo: bool) -> Element:
    """One number. What the profile has no code for is an examination's."""
    loinc, unit = VITALS.get(said.what, ("", said.amount.unit))
    amount = Amount(said.amount.value, unit)
    line = f"{said.label}, {said.position_words}: {amount.value} {amount.unit}"
    return resource(
        "Observation", said.key, [line, *said.notes], demo=demo,
        profile=[VITAL_PROFILE] if loinc else None,
        extension=[position(said.position, said.position_words)],
        status="final",
        category=[hl7("observation-category", "vital-signs" if loinc else "exam")],
        code=concept(said.label, f"vital.{said.what}", loinc=loinc),
        **seen(said, subject),
        valueQuantity=quantity(amount),
        note=notes(said.notes),
    )  # fmt: skip


def pressure(said: PressureValue, subject: str, *, demo: bool) -> Element:
    upper, lower = said.systolic, said.diastolic
    known = f"{'?' if upper is None else upper}/{'?' if lower is None else lower}"
    return resource(
        "Observation", said.key,
        [f"Blood pressure, {said.position_words}: {known} mmHg", *said.notes],
        demo=demo,
        profile=[VITAL_PROFILE],
        extension=[position(said.position, said.position_words)],
        status="final",
        category=[hl7("observation-category", "vital-signs")],
        code=concept("Blood pressure", "vital.pressure", loinc=PRESSURE),
        **seen(said, subject),
        bodySite={"text": said.arm} if said.arm else None,
        note=notes(said.notes),
        component=[
            _half("Systolic", SYSTOLIC, upper),
            _half("Diastolic", DIASTOLIC, lower),
        ],
    )  # fmt: skip


def _half(text: str, loinc: str, value: int | None) -> Element:
    made: Element = {"code": concept(text, f"vital.{text.lower()}", loinc=loinc)}
    if value is None:
        made["dataAbsentReason"] = absent("unknown", "not noted")
    else:
        made["valueQuantity"] = quantity(Amount(Decimal(value), "mmHg"))
    return made


def position(name: str, words: str) -> Element:
    """The R4 extension for it: a profile's code says nothing of how somebody lay."""
    said: Element = {"text": words}
    if name in POSITIONS:
        said["coding"] = [coding(SNOMED, POSITIONS[name])]
    return {"url": BODY_POSITION, "valueCodeableConcept": said}


def task(said: TaskValue, subject: str, *, demo: bool) -> Element:
    """How much help a task took, with what else was seen; or why it was not done."""
    if said.level is not None:
        code, words = said.level
        value = {"valueCodeableConcept": concept(words, f"help.{code}")}
        shown = words
    else:
        shown = said.why
        value = {"dataAbsentReason": absent(said.outcome, f"not done: {said.why}")}
    return resource(
        "Observation", said.key, [f"{said.name}: {shown}", *said.notes], demo=demo,
        status="final",
        category=[hl7("observation-category", "exam")],
        code=concept(said.name, f"task.{said.task}"),
        **seen(said, subject),
        **value,
        note=notes(said.notes),
        component=[component(part) for part in said.parts],
    )  # fmt: skip
