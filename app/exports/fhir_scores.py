"""Scores of tests as observations: the value, its trials, the set-up, the readings.

Whoever could not, did not want to or was stopped has no value and never a 0: the reason
stands in its place.
"""

from typing import Any

from app.exports.fhir_codes import TEST_UNITS, TESTS
from app.exports.fhir_elements import (
    Element,
    absent,
    concept,
    hl7,
    moment,
    notes,
    quantity,
    reference,
    references,
    resource,
)
from app.exports.fhir_values import Amount, PartValue, ScoreValue, Seen


def score(said: ScoreValue, subject: str, *, demo: bool) -> Element:
    """A test's code goes out only with the published set-up: what else was done is
    something else to whoever collects numbers by code."""
    loinc = TESTS.get(said.measure, "") if said.standard else ""
    amount = said.amount
    if amount is not None and loinc in TEST_UNITS:
        amount = Amount(amount.value, TEST_UNITS[loinc])
    value = {"valueQuantity": quantity(amount)} if amount is not None else {
        "dataAbsentReason": absent(said.outcome, _why(said)),
    }  # fmt: skip
    shown = f"{amount.value} {amount.unit}" if amount is not None else _why(said)
    return resource(
        "Observation", said.key,
        # All notes twice would double the file: the first of them is what leads.
        [f"{said.name}: {shown}", said.method, *said.notes[:1]],
        demo=demo,
        status="final",
        category=[hl7("observation-category", "exam")],
        code=concept(said.name, f"test.{said.measure}", loinc=loinc),
        **seen(said, subject),
        **value,
        note=notes(said.notes),
        method={"text": said.method} if said.method else None,
        hasMember=references(said.readings_of),
        derivedFrom=references(said.made_from),
        component=[component(part) for part in said.parts],
    )  # fmt: skip


def _why(said: ScoreValue) -> str:
    outcome = said.outcome.replace("_", " ")
    return f"{outcome}: {said.why}" if said.why else outcome


def seen(said: Seen, subject: str) -> dict[str, Any]:
    """Whose, when, in which visit and by whom: every observation says so."""
    return {
        "subject": reference(subject),
        "encounter": reference(said.visit) if said.visit else None,
        "effectiveDateTime": moment(said.at),
        "performer": [reference(said.person)],
    }


def component(part: PartValue) -> Element:
    """A trial, a set-up fact or a quantity, with its value or why there is none."""
    made: Element = {"code": concept(part.text, part.code, loinc=part.loinc)}
    if part.amount is not None:
        made["valueQuantity"] = quantity(part.amount)
    elif part.choice is not None:
        code, words = part.choice
        made["valueCodeableConcept"] = concept(words, code)
    elif part.words:
        made["valueString"] = part.words
    else:
        made["dataAbsentReason"] = absent(part.outcome, part.why or part.outcome)
    return made
