"""What FHIR R4 asks of a bundle and its structural validator lets pass.

Each rule yields a sentence for every fault. The closed lists are those of FHIR R4
(4.0.1); how they are known: goal-status, goal-achievement, encounter-status,
observation-status, observation-category and data-absent-reason whole in public
libraries made for R4 (secondary), with the number of concepts that HL7's own R4 pages
give for all but observation-status; event-status, request-status,
episode-of-care-status, flag-status, composition-status, document-reference-status,
bundle-type, administrative-gender and condition-clinical in the R4B 4.3.0 models. That
R4 and R4B agree in these: memory.
"""

import re
from collections.abc import Callable, Iterator
from datetime import datetime
from decimal import Decimal
from typing import Any, Final
from uuid import UUID
from xml.etree import ElementTree

Bundle = dict[str, Any]
Rule = Callable[[Bundle], Iterator[str]]

#: What a patient's record of today's size may take; the largest demo patient takes
#: about an eighth of it.
MOST_BYTES: Final = 1_000_000
HL7: Final = "http://terminology.hl7.org/CodeSystem/"
CLOSED: Final[dict[tuple[str, str], frozenset[str]]] = {
    key: frozenset(words.split())
    for key, words in {
        ("Bundle", "type"): "document message transaction transaction-response batch "
        "batch-response history searchset collection",
        ("Observation", "status"): "registered preliminary final amended corrected "
        "cancelled entered-in-error unknown",
        ("Encounter", "status"): "planned arrived triaged in-progress onleave finished "
        "cancelled entered-in-error unknown",
        (
            "EpisodeOfCare",
            "status",
        ): "planned waitlist active onhold finished cancelled entered-in-error",
        (
            "Goal",
            "lifecycleStatus",
        ): "proposed planned accepted active on-hold completed "
        "cancelled entered-in-error rejected",
        ("CarePlan", "status"): "draft active on-hold revoked completed "
        "entered-in-error unknown",
        ("CarePlan", "intent"): "proposal plan order option",
        ("Procedure", "status"): "preparation in-progress not-done on-hold stopped "
        "completed entered-in-error unknown",
        ("Flag", "status"): "active inactive entered-in-error",
        ("Composition", "status"): "preliminary final amended entered-in-error",
        ("DocumentReference", "status"): "current superseded entered-in-error",
        (
            "DocumentReference",
            "docStatus",
        ): "preliminary final amended entered-in-error",
        ("Patient", "gender"): "male female other unknown",
    }.items()
}
#: Kinds of resource that go out, with those of their elements that R4 requires.
REQUIRED: Final = {
    "Bundle": ("type",),
    "Composition": ("status", "type", "date", "author", "title"),
    "Patient": (),
    "Practitioner": (),
    "Device": (),
    "Condition": ("subject",),
    "EpisodeOfCare": ("status", "patient"),
    "Encounter": ("status", "class"),
    "Observation": ("status", "code"),
    "Goal": ("lifecycleStatus", "description", "subject"),
    "CarePlan": ("status", "intent", "subject"),
    "Procedure": ("status", "subject"),
    "Flag": ("status", "code", "subject"),
    "DocumentReference": ("status", "content"),
    "Provenance": ("target", "recorded", "agent"),
}
#: Codes of FHIR's own systems, each with those of them that there are.
SYSTEMS: Final = {
    f"{HL7}data-absent-reason": "unknown asked-unknown temp-unknown not-asked "
    "asked-declined masked not-applicable unsupported as-text error not-a-number "
    "negative-infinity positive-infinity not-performed not-permitted",
    f"{HL7}goal-achievement": "in-progress improving worsening no-change achieved "
    "sustaining not-achieved no-progress not-attainable",
    f"{HL7}observation-category": "social-history vital-signs imaging laboratory "
    "procedure survey exam therapy activity",
    f"{HL7}condition-clinical": "active recurrence relapse inactive remission resolved",
    f"{HL7}v3-ActCode": "HH IMP AMB",
    f"{HL7}v3-ActReason": "HTEST",
    # Confirmed by reading, and no others: see `app/exports/fhir_codes.py`.
    "http://loinc.org": "89423-8 66247-8 93125-3 85354-9 8480-6 8462-4 8867-4 9279-1 "
    "2708-6 8310-5",
    "http://snomed.info/sct": "33586001 10904000",
    "http://hl7.org/fhir/sid/icd-10-cm": "Z89.511 Z89.512",
}
LOCAL: Final = "urn:tapeline:measure"
UCUM: Final = frozenset(
    (
        "s", "min", "cm", "[in_i]", "m", "m/s", "[ft_i]/s", "%", "kg", "[lb_av]",
        "mm[Hg]", "/min", "/min/mm[Hg]", "W", "W/kg", "Cel", "{#}", "{score}",
        "{#}/(30.s)",
    )
)  # fmt: skip
VITALS: Final = frozenset(("85354-9", "8867-4", "9279-1", "2708-6", "8310-5"))
PROFILE: Final = "http://hl7.org/fhir/StructureDefinition/vitalsigns"
LOINC_OWNER: Final = "Regenstrief Institute, Inc."
_DAY: Final = r"\d{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12]\d|3[01]))?)?"
_INSTANT: Final = (
    r"\d{4}-\d\d-\d\dT([01]\d|2[0-3]):[0-5]\d:[0-5]\d(\.\d+)?(Z|[+-]\d\d:[0-5]\d)"
)
_INSTANTS: Final = ("timestamp", "recorded")
_DATES: Final = (
    "effectiveDateTime", "performedDateTime", "onsetDateTime", "date", "start", "end",
    "startDate", "statusDate", "dueDate", "birthDate",
)  # fmt: skip


def resources(bundle: Bundle) -> list[dict[str, Any]]:
    return [entry["resource"] for entry in bundle["entry"]]


def inside(value: Any) -> Iterator[dict[str, Any]]:
    """Every element at any depth."""
    if isinstance(value, dict):
        yield value
        for part in value.values():
            yield from inside(part)
    elif isinstance(value, list):
        for part in value:
            yield from inside(part)


def of_kind(bundle: Bundle, kind: str) -> Iterator[dict[str, Any]]:
    return (made for made in resources(bundle) if made["resourceType"] == kind)


def codes_of(concept: dict[str, Any], system: str) -> set[str]:
    return {c["code"] for c in concept.get("coding", ()) if c.get("system") == system}


def ids(bundle: Bundle) -> Iterator[str]:
    """Every entry has an id of its own, and its address says the same."""
    seen: set[str] = set()
    for entry in bundle["entry"]:
        made = entry["resource"]["id"]
        if not re.fullmatch(r"[A-Za-z0-9\-.]{1,64}", made):
            yield f"{made!r} is no id"
        elif entry["fullUrl"] != f"urn:uuid:{made}" or str(UUID(made)) != made:
            yield f"{entry['fullUrl']} is not the address of {made}"
        if made in seen:
            yield f"{made} stands twice"
        seen.add(made)


def references(bundle: Bundle) -> Iterator[str]:
    here = {entry["fullUrl"] for entry in bundle["entry"]}
    for element in inside(bundle):
        if "reference" in element and element["reference"] not in here:
            yield f"{element['reference']} leads nowhere"


def kinds(bundle: Bundle) -> Iterator[str]:
    """Only these kinds, with all that each must have."""
    for made in (bundle, *resources(bundle)):
        kind = made["resourceType"]
        if kind not in REQUIRED:
            yield f"{kind} is not told of"
        for name in REQUIRED.get(kind, ()):
            if name not in made:
                yield f"{kind} without {name}"


def statuses(bundle: Bundle) -> Iterator[str]:
    for made in (bundle, *resources(bundle)):
        for (kind, name), words in CLOSED.items():
            if made["resourceType"] == kind and made.get(name, min(words)) not in words:
                yield f"{kind}.{name}: {made[name]}"
    for element in inside(bundle):
        if element.get("comparator", "<") not in ("<", "<=", ">=", ">"):
            yield f"comparator {element['comparator']}"


def codes(bundle: Bundle) -> Iterator[str]:
    """No system and no code but those of the table, and our own."""
    for element in inside(bundle):
        system, code = element.get("system"), element.get("code")
        if system is None or "value" in element:
            continue
        known = SYSTEMS.get(system, "").split()
        if system == LOCAL:
            if not re.fullmatch(r"[^\s]+(\s[^\s]+)*", str(code)):
                yield f"{code!r} is no code"
        elif code not in known:
            yield f"{system} has no confirmed {code}"


def units(bundle: Bundle) -> Iterator[str]:
    """Every number has a unit of the closed list, and words for it."""
    for element in inside(bundle):
        if "unitsofmeasure" in str(element.get("system", "")) or "unit" in element:
            if element.get("system") != "http://unitsofmeasure.org":
                yield f"{element} has no UCUM"
            elif element.get("code") not in UCUM:
                yield f"{element.get('code')} is no unit of the list"
            elif not isinstance(element.get("value"), Decimal | int):
                yield f"{element} has no number"
            elif not element.get("unit"):
                yield f"{element} has no words for its unit"


def moments(bundle: Bundle) -> Iterator[str]:
    """What has a time has an offset; a period does not end before it starts."""
    for element in inside(bundle):
        for name, value in element.items():
            if name in _INSTANTS and not re.fullmatch(_INSTANT, str(value)):
                yield f"{name} {value} is no instant"
            if name in _DATES and not re.fullmatch(f"{_DAY}|{_INSTANT}", str(value)):
                yield f"{name} {value} is no day and no time with an offset"
        start, end = str(element.get("start", "")), str(element.get("end", ""))
        if "T" in start and "T" in end:
            if datetime.fromisoformat(end) < datetime.fromisoformat(start):
                yield f"{end} is before {start}"
        elif start and end and end[:10] < start[:10]:
            yield f"{end} is before {start}"


def _said(element: dict[str, Any]) -> tuple[int, bool]:
    values = sum(1 for name in element if name.startswith("value"))
    return values, "dataAbsentReason" in element


def values(bundle: Bundle) -> Iterator[str]:
    """A value, or why there is none, never both (obs-6); or the parts alone.

    No part has the code of the whole where that has a value (obs-7).
    """
    for made in of_kind(bundle, "Observation"):
        count, missing = _said(made)
        if count + missing > 1:
            yield f"{made['id']} says {count} values and that there is none"
        if count + missing == 0 and not made.get("component"):
            yield f"{made['id']} says nothing"
        whole = {(c["system"], c["code"]) for c in made["code"].get("coding", ())}
        for part in made.get("component", ()):
            count, missing = _said(part)
            if count + missing != 1:
                yield f"a part of {made['id']} has no value or several"
            its = {(c["system"], c["code"]) for c in part["code"].get("coding", ())}
            if whole & its and _said(made)[0]:
                yield f"a part of {made['id']} is called like the whole"


def vital_signs(bundle: Bundle) -> Iterator[str]:
    """The profile's must-haves, for what has a code of a vital sign and only that."""
    for made in of_kind(bundle, "Observation"):
        known = codes_of(made["code"], "http://loinc.org") & VITALS
        profiles = made.get("meta", {}).get("profile", ())
        category = {
            code
            for one in made.get("category", ())
            for code in codes_of(one, f"{HL7}observation-category")
        }
        if not known:
            if "vital-signs" in category or PROFILE in profiles:
                yield f"{made['id']} is no vital sign"
            continue
        if category != {"vital-signs"} or PROFILE not in made["meta"].get(
            "profile", ()
        ):
            yield f"{made['id']} is a vital sign and does not say so"
        if not made.get("effectiveDateTime") or not made.get("subject"):
            yield f"{made['id']} without whose or when"
        if known == {"85354-9"}:
            halves = [
                codes_of(p["code"], "http://loinc.org") for p in made["component"]
            ]
            if halves != [{"8480-6"}, {"8462-4"}]:
                yield f"{made['id']} is no pressure of two halves"
        elif "valueQuantity" not in made:
            yield f"{made['id']} has no quantity"


def goals(bundle: Bundle) -> Iterator[str]:
    """A target says what is measured (gol-1), what counts, and by when."""
    for made in of_kind(bundle, "Goal"):
        for target in made.get("target", [{}]):
            details = [name for name in target if name.startswith("detail")]
            if len(details) != 1 or "measure" not in target or "dueDate" not in target:
                yield f"goal {made['id']} has no whole target"


def empties(bundle: Bundle) -> Iterator[str]:
    for element in inside(bundle):
        for name, value in element.items():
            parts = value if isinstance(value, list) else [value]
            if not parts or any(part in ("", None, {}, []) for part in parts):
                yield f"{name} is empty"


def narratives(bundle: Bundle) -> Iterator[str]:
    """Plain paragraphs of XHTML that parse; no mark-up came in with a text."""
    for element in inside(bundle):
        if "div" not in element:
            continue
        try:
            read = ElementTree.fromstring(element["div"])
        except ElementTree.ParseError as fault:
            yield f"{fault}: {element['div'][:80]}"
            continue
        tags = {part.tag.rpartition("}")[2] for part in read.iter()}
        spaces = {part.tag.rpartition("}")[0] for part in read.iter()}
        if tags - {"div", "p"} or spaces != {"{http://www.w3.org/1999/xhtml"}:
            yield f"mark-up in {element['div'][:80]}"
        if element.get("status") != "generated":
            yield "a text that does not say that it was generated"


def notices(bundle: Bundle) -> Iterator[str]:
    """Where a LOINC code is, the notice of its owner is."""
    coded = any(e.get("system") == "http://loinc.org" for e in inside(bundle))
    texts = [e["div"] for e in inside(bundle) if "div" in e]
    if coded and not any(LOINC_OWNER in text for text in texts):
        yield "LOINC codes without the notice"


def test_data(bundle: Bundle) -> Iterator[str]:
    """All of an invented patient is marked, or none is."""
    marked = [
        any(
            mark["code"] == "HTEST" for mark in made.get("meta", {}).get("security", ())
        )
        for made in (bundle, *resources(bundle))
    ]
    if any(marked) and not all(marked):
        yield f"{marked.count(False)} of an invented patient are not marked"


RULES: Final[dict[str, Rule]] = {
    rule.__name__: rule
    for rule in (
        ids, references, kinds, statuses, codes, units, moments, values, vital_signs,
        goals, empties, narratives, notices, test_data,
    )
}  # fmt: skip


def broken(bundle: Bundle) -> list[str]:
    return [f"{name}: {says}" for name, rule in RULES.items() for says in rule(bundle)]
