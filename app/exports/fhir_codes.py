"""The codes a FHIR bundle goes out with: only those read in their own source.

What has no confirmed code goes out as text with a code of our own; nothing is guessed.
The numbers and names of others are never our invention, and LOCAL says which are ours.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

#: Ours. Every code that no standard of the table below has.
LOCAL: Final = "urn:tapeline:measure"
LOINC: Final = "http://loinc.org"
UCUM: Final = "http://unitsofmeasure.org"
SNOMED: Final = "http://snomed.info/sct"
ICD_10_CM: Final = "http://hl7.org/fhir/sid/icd-10-cm"
HL7: Final = "http://terminology.hl7.org/CodeSystem/"
#: FHIR R4 (4.0.1): the profile whose must-haves every vital sign here keeps.
VITAL_PROFILE: Final = "http://hl7.org/fhir/StructureDefinition/vitalsigns"
BODY_POSITION: Final = (
    "http://hl7.org/fhir/StructureDefinition/observation-bodyPosition"
)

#: Whole tests, by their id in the catalogue, done in the published set-up. Read on
#: loinc.org: 89422-0 (which names 89423-8) and 66247-8. Functional reach, five times
#: sit to stand, four square step, tandem stance and the battery's total: none was
#: confirmed. The codes of a 4-metre walk belong to another protocol than ours.
TESTS: Final[Mapping[str, str]] = MappingProxyType(
    {"timed_up_and_go": "89423-8", "thirty_second_chair_stand": "66247-8"}
)
#: What stands beside a score, by test and quantity; named on loinc.org/66247-8.
QUANTITIES: Final[Mapping[tuple[str, str], str]] = MappingProxyType(
    {("thirty_second_chair_stand", "with_arms"): "93125-3"}
)
#: Vital signs, by our field: code and unit. FHIR R4, vital-signs value set, full text.
VITALS: Final[Mapping[str, tuple[str, str]]] = MappingProxyType(
    {
        "heart_rate": ("8867-4", "/min"),
        "breathing": ("9279-1", "/min"),
        "saturation": ("2708-6", "%"),
        "temperature": ("8310-5", "Cel"),
    }
)
PRESSURE, SYSTOLIC, DIASTOLIC = "85354-9", "8480-6", "8462-4"
#: Body positions by our word (SNOMED CT, read on an HL7 value-set page). Lying has
#: none: the code that is known says on the back, which nobody here records.
POSITIONS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "sitting": "33586001",
        "standing": "10904000",
        "at_once": "10904000",
        "standing_1": "10904000",
        "standing_3": "10904000",
    }
)
#: ICD-10-CM only where the title says no more than the record does (tabular list
#: of April 2026, full text): a below-knee amputation. By condition, level and side.
CONDITIONS: Final[Mapping[tuple[str, str, str], str]] = MappingProxyType(
    {
        ("amputation", "below_knee", "right"): "Z89.511",
        ("amputation", "below_knee", "left"): "Z89.512",
    }
)
#: Our units in UCUM; each was parsed by a public UCUM grammar (ucumvert 0.3.2).
UNITS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "s": "s", "min": "min", "cm": "cm", "in": "[in_i]", "m": "m", "ft": "[ft_i]",
        "m/s": "m/s", "ft/s": "[ft_i]/s", "%": "%", "kg": "kg", "lb": "[lb_av]",
        "mmHg": "mm[Hg]", "bpm": "/min", "/min": "/min", "bpm/mmHg": "/min/mm[Hg]",
        "W": "W", "W/kg": "W/kg", "Cel": "Cel", "count": "{#}", "stages": "{#}",
        "points": "{score}", "of 10": "{score}", "6-20": "{score}",
        "0-10": "{score}", "stands in 30 s": "{#}/(30.s)",
    }
)  # fmt: skip
#: The unit a coded test's page asks for, where it is not that of the score.
TEST_UNITS: Final = MappingProxyType({"66247-8": "stands in 30 s"})

#: Why there is no number: FHIR R4, data-absent-reason (secondary; its fifteen codes are
#: counted on HL7's page). `unable` is a result of its own: our code beside it says so.
ABSENT: Final[Mapping[str, str]] = MappingProxyType(
    {
        "unable": "not-performed",
        "stopped": "not-performed",
        "not_done": "not-performed",
        "declined": "asked-declined",
        "unknown": "unknown",
    }
)
#: Encounter class, v3-ActCode: HH, IMP and AMB were read; the others are ours.
CLASSES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "home_care": "HH",
        "acute": "IMP",
        "inpatient": "IMP",
        "outpatient": "AMB",
        "day_hospital": "AMB",
    }
)
#: Marks invented patients: v3-ActReason HTEST, "test health data", read as a security
#: label on an example of a published FHIR guide.
TEST_DATA: Final[Mapping[str, str]] = MappingProxyType(
    {"system": f"{HL7}v3-ActReason", "code": "HTEST", "display": "test health data"}
)
#: The notice that LOINC's licence asks for, in its usual words, and SNOMED's caution.
NOTICES: Final = (
    "This material contains content from LOINC (http://loinc.org). LOINC is copyright "
    "© 1995-2020, Regenstrief Institute, Inc. and the Logical Observation Identifiers "
    "Names and Codes (LOINC) Committee and is available at no cost under the license "
    "at http://loinc.org/license. LOINC® is a registered United States trademark of "
    "Regenstrief Institute, Inc.",
    "Body positions carry SNOMED CT codes, copyright of the International Health "
    "Terminology Standards Development Organisation; whoever uses them needs the right "
    "to, which a country's membership may give.",
)
