"""Goals, what was done of activities, and texts that were signed."""

from base64 import b64encode
from typing import Any

from app.exports.fhir_codes import TESTS
from app.exports.fhir_elements import (
    Element,
    concept,
    hl7,
    moment,
    notes,
    quantity,
    reference,
    resource,
)
from app.exports.fhir_values import GoalValue, SetValue, TextValue

#: What became of a set, by our word: FHIR R4, event-status.
DONE = {
    "done": "completed",
    "stopped": "stopped",
    "declined": "not-done",
    "not_done": "not-done",
}


def goal(said: GoalValue, subject: str, *, demo: bool) -> Element:
    achieved = hl7("goal-achievement", said.achieved, said.achieved_words)
    return resource(
        "Goal", said.key, [f"Goal {said.number}: {said.sentence}", *said.notes],
        demo=demo,
        lifecycleStatus=said.state,
        achievementStatus=achieved,
        category=[concept(said.term)],
        description={"text": said.sentence},
        subject=reference(subject),
        startDate=said.set_on.isoformat(),
        target=[_target(said)],
        statusDate=said.state_on.isoformat() if said.state_on else None,
        statusReason=said.why,
        expressedBy=reference(said.person),
        addresses=[reference(said.begins_at)] if said.begins_at else None,
        note=notes(said.notes),
    )  # fmt: skip


def _target(said: GoalValue) -> Element:
    """What is measured, what counts as reached, and by when."""
    code, words = said.what
    loinc = TESTS.get(said.measure, "") if said.amount is not None else ""
    made: Element = {"measure": concept(words, code, loinc=loinc)}
    if said.amount is not None:
        side = ">=" if said.at_least else "<="
        made["detailQuantity"] = _compared(side, quantity(said.amount))
    elif said.level is not None:
        level, said_words = said.level
        made["detailCodeableConcept"] = concept(said_words, f"help.{level}")
    else:
        made["detailString"] = said.times
    return made | {"dueDate": said.due.isoformat()}


def _compared(side: str, amount: Element) -> Element:
    return {"value": amount.pop("value"), "comparator": side, **amount}


def procedure(said: SetValue, subject: str, *, demo: bool) -> Element:
    """One bout. Why it stopped or was not done stands as the reason of its state."""
    lines = [f"{said.name}: {said.dose or said.why}", *said.notes]
    complications: list[dict[str, Any]] = [{"text": felt} for felt in said.symptoms]
    return resource(
        "Procedure", said.key, lines, demo=demo,
        status=DONE[said.outcome],
        statusReason={"text": said.why} if said.why else None,
        category=concept("therapeutic activity", "activity"),
        code=concept(said.name, f"activity.{said.activity}"),
        subject=reference(subject),
        encounter=reference(said.visit) if said.visit else None,
        performedDateTime=moment(said.at),
        performer=[{"actor": reference(said.person)}],
        complication=complications,
        note=notes((said.dose, *said.notes)),
    )  # fmt: skip


def document(said: TextValue, subject: str, *, demo: bool) -> Element:
    """A signed text as it was written, with the co-signer's own words below it."""
    text = "\n\n".join(filter(None, (said.text, said.statement)))
    return resource(
        "DocumentReference", said.key, [said.title], demo=demo,
        status="current",
        docStatus="final",
        type=concept("signed text of a visit", "signed-text"),
        description=said.title,
        subject=reference(subject),
        date=moment(said.at),
        author=[reference(said.author)],
        authenticator=reference(said.signer or said.author),
        content=[
            {
                "attachment": {
                    "contentType": "text/plain; charset=utf-8",
                    "data": b64encode(text.encode()).decode(),
                    "title": said.title,
                }
            }
        ],
        context={"encounter": [reference(said.visit)]},
    )  # fmt: skip


def provenance(said: TextValue, targets: list[str], *, demo: bool) -> Element:
    """Who wrote a student's visit and who answers for it."""
    assert said.signed_at is not None
    agents = (("wrote it, as a student", said.author), ("co-signed it", said.signer))
    return resource(
        "Provenance", f"{said.key} signed", [f"{said.title}: co-signed"], demo=demo,
        target=[reference(key) for key in targets],
        recorded=moment(said.signed_at),
        activity={"text": "co-signature of a student's work"},
        agent=[
            {"type": {"text": words}, "who": reference(key)} for words, key in agents
        ],
    )  # fmt: skip
