"""Who it is, their conditions, their care, what must be minded, and who works here."""

from app.exports.fhir_codes import CLASSES, CONDITIONS, HL7, ICD_10_CM, LOCAL
from app.exports.fhir_elements import (
    Element,
    coding,
    concept,
    duration,
    hl7,
    notes,
    period,
    reference,
    resource,
)
from app.exports.fhir_values import (
    ConditionValue,
    EpisodeValue,
    PatientValue,
    PersonValue,
    PrecautionValue,
    VisitValue,
)

#: How a visit stands, by our word: FHIR R4, encounter-status. One left open on an
#: earlier day did not go on until now, and when it ended is not known.
STATES = {
    "closed": "finished",
    "open": "in-progress",
    "left": "unknown",
    "missed": "cancelled",
}


def patient(who: PatientValue, *, demo: bool) -> Element:
    """The made-up label is what a reader finds the person by; names only where kept.

    `gender` is the sex that norms ask for: nothing else is on record.
    """
    identifiers = [{"type": {"text": "label in Tapeline"}, "value": who.label}]
    if who.number:
        identifiers.append({"type": {"text": "record number"}, "value": who.number})
    return resource(
        "Patient", who.key, [f"Patient {who.label}", who.name], demo=demo,
        identifier=identifiers,
        name=[{"text": who.name}] if who.name else None,
        gender=who.sex,
        birthDate=who.born,
    )  # fmt: skip


def practitioner(person: PersonValue, *, demo: bool) -> Element:
    return resource(
        "Practitioner", person.key, [f"{person.name}, {person.role}"], demo=demo,
        name=[{"text": person.name}],
        qualification=[{"code": {"text": person.role}}],
    )  # fmt: skip


def condition(said: ConditionValue, subject: str, *, demo: bool) -> Element:
    """In words; an ICD-10-CM code only where the table has the very same thing."""
    code = concept(said.words, f"condition.{said.condition}")
    known = CONDITIONS.get((said.condition, said.level, said.side))
    if known:
        code["coding"].insert(0, coding(ICD_10_CM, known))
    since = f"since {said.since}" if said.since else ""
    lines = [", ".join(part for part in (said.words, said.side_words, since) if part)]
    return resource(
        "Condition", said.key, lines, demo=demo,
        clinicalStatus=hl7("condition-clinical", "active"),
        code=code,
        bodySite=[{"text": said.side_words}] if said.side else None,
        subject=reference(subject),
        onsetDateTime=said.since,
    )  # fmt: skip


def episode_of_care(care: EpisodeValue, subject: str, *, demo: bool) -> Element:
    ended = f", ended {care.ended}: {care.why}" if care.ended else ""
    return resource(
        "EpisodeOfCare", care.key, [f"{care.reason}, from {care.began}{ended}"],
        demo=demo,
        status="finished" if care.ended else "active",
        type=[concept(care.reason)],
        patient=reference(subject),
        period=period(care.began, care.ended),
    )  # fmt: skip


def encounter(
    visit: VisitValue, subject: str, *, demo: bool
) -> Element:  # fmt: skip
    """A visit; a missed one is cancelled, with its reason and what was agreed."""
    missed = visit.state == "missed"
    why = f": {visit.why_words}" if visit.why_words else ""
    lines = [f"{visit.kind_words}, {visit.day}{why}", *visit.follow_up]
    # It did not take place, so only its day is told.
    when = period(visit.day) if missed else period(visit.start, visit.end)
    return resource(
        "Encounter", visit.key, lines, demo=demo,
        status=STATES[visit.state],
        class_=_class(visit),
        type=[concept(visit.kind_words, f"visit.{visit.kind}")],
        subject=reference(subject),
        episodeOfCare=[reference(visit.episode)],
        participant=[{"individual": reference(visit.person)}],
        period=when,
        length=duration(visit.minutes) if visit.minutes else None,
        reasonCode=[concept(visit.why_words, f"not-done.{visit.why}")]
        if visit.why
        else None,
    )  # fmt: skip


def _class(visit: VisitValue) -> Element:
    known = CLASSES.get(visit.setting)
    if known:
        return coding(f"{HL7}v3-ActCode", known)
    return coding(LOCAL, f"setting.{visit.setting}", visit.setting_words)


def flag(held: PrecautionValue, subject: str, *, demo: bool) -> Element:
    """A precaution: active until it was lifted."""
    return resource(
        "Flag", held.key, precaution_lines(held), demo=demo,
        status="inactive" if held.until else "active",
        category=[concept(held.kind, f"precaution-kind.{held.kind}")],
        code=concept(held.label, f"precaution.{held.tag}"),
        subject=reference(subject),
        period=period(held.since, held.until),
    )  # fmt: skip


def precaution_lines(held: PrecautionValue) -> list[str]:
    """`Order: Leg: toe-touch only`, what it means, and who said so."""
    by = f" Set by {held.set_by}." if held.set_by else ""
    until = f" to {held.until}" if held.until else ""
    first = f"{held.kind.capitalize()}: {held.label}, from {held.since}{until}.{by}"
    return [first, held.meaning, held.note]


def care_plan(
    care: EpisodeValue,
    subject: str,
    goals: list[str],
    precautions: list[PrecautionValue],
    *,
    demo: bool,
) -> Element:
    """The plan of one episode: its goals, and its precautions in words."""
    minded = [" ".join(filter(None, precaution_lines(held))) for held in precautions]
    return resource(
        "CarePlan", f"{care.key} plan", [f"Plan to {care.plan} function", *minded],
        demo=demo,
        status="completed" if care.ended else "active",
        intent="plan",
        title="Plan of care",
        description=f"Plan to {care.plan} function: {care.reason}",
        subject=reference(subject),
        period=period(care.plan_on or care.began, care.ended),
        goal=[reference(key) for key in goals],
        note=notes(minded),
    )  # fmt: skip
