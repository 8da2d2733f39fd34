"""A home sheet: what may stand on it, its closed lists, and the words all share.

Nothing goes home without a teach-back, a helper and a stop rule, and each sheet carries
one change of the home. Wording and limits: common practice, unless a source stands by.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from app.clinical.activity import UNSUPERVISED, Activity
from app.clinical.allowing import permit
from app.clinical.precautions import PRECAUTIONS

#: Two fit one page of large print with their drawings; four both sides of it.
MOST_ACTIVITIES: Final = 4
LONGEST_CHANGE: Final = 120
MOST_SETS: Final = 9
MOST_TIMES_A_WEEK: Final = 14
HELPERS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "family": "a family member",
        "paid_carer": "a paid carer",
        "nursing": "nursing staff",
        "friend": "a friend",
    }
)
#: What is changed at home; `other` is said in words.
CHANGES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "light": "Keep a light on from bed to bathroom at night.",
        "rugs": "Take up loose rugs and mats.",
        "chair": "Raise the chair so that it is easy to stand up from.",
        "rail": "Have a rail put up where it was shown.",
        "reach": "Keep things you use each day where you can reach them.",
        "cord": "Move cords and tubes out of the way you walk.",
        "mat": "Put a non-slip mat in the bath or shower.",
        "other": "Something else, in words",
    }
)
#: While one of these is in force, no strip is left or handed over.
NO_STRIP_STAYS: Final = ("ligature_risk", "entanglement")

FOR_ONE: Final = (
    "This sheet was made for one person by their therapist. It is for no one else."
)
WITH_HELPER: Final = "Do this only with {helper} who was shown how. Never do it alone."
BEFORE: Final = "Shoes and glasses on. Floor clear. Chair by a wall."
#: What to do, and the signs that ask for it.
CALL_NOW: Final = (
    "Stop, sit down and call for emergency help now:",
    (
        "chest pain or pressure",
        "hard to breathe",
        "faint, pale or sweaty",
        "a new weak arm or leg",
        "a face that droops",
        "slurred speech",
        "mixed up",
        "a blow to the head",
    ),
)
CALL_US: Final = (
    "Stop, sit down and call your nurse or therapist:",
    (
        "dizzy for more than one minute",
        "sharp pain or much more pain",
        "a knee that gives way two times",
        "a fall or near fall",
        "bleeding",
        "a change in a wound or tube",
    ),
)
OR_WANT_TO: Final = "Stop if you want to stop. Call if a step does not feel safe."
STRIP: Final = (
    "Lay it flat. Never put it round a neck. Never tie it to a person or a thing. Put "
    "it away or peel it off after each use."
)
NO_STRIP: Final = f"No strip stays here. {STRIP}"


@dataclass(frozen=True, slots=True)
class Evidence:
    """A figure for the therapist, with where it was read."""

    says: str
    source: str
    how: str


#: Shown to who makes a sheet; none of it stands on the sheet.
EVIDENCE: Final = (
    Evidence(
        "After a stay in hospital, home exercise alone did not lower falls and raised "
        "the share of people who fell: odds ratio 1.74 (95 % CI 1.17 to 2.60, 3 "
        "studies). Changing hazards at home after a fall lowered it: risk ratio 0.63 "
        "(0.43 to 0.93, 1 study).",
        "Review, PMC7206858",
        "abstract",
    ),
    Evidence(
        "In care homes, exercise overall made no difference to the rate of falls: rate "
        "ratio 1.03 (0.81 to 1.31, 8 trials).",
        "Cochrane review, 2012 version",
        "abstract",
    ),
)


def against(
    activity: Activity,
    in_force: Iterable[str],
    stopped: Mapping[str, str] = MappingProxyType({}),
) -> tuple[str, ...]:
    """Why an activity may not stand on a home sheet, in words; empty when it may.

    Stricter than doing it in a visit: no reason opens a risk when nobody of us is
    there, and what was `stopped` for safety the last time waits for a time without.
    """
    tags = set(in_force)
    if activity.unsupervised != "trained_helper":
        return (f"{UNSUPERVISED[activity.unsupervised].capitalize()}.",)
    stands = permit(activity, tags)
    why = stopped.get(activity.id, "")
    said = [f"{why[:1].upper()}{why[1:]}."] if why else []
    said += [f"Order in force: {p.label}." for p in stands.orders]
    said += [f"{p.label}: only with a therapist." for p in stands.risks]
    known = {p.tag for p in (*stands.orders, *stands.risks)}
    if strip_at_home(activity):
        left = [t for t in NO_STRIP_STAYS if t in tags - known]
        said += [f"{PRECAUTIONS[t].label}: no strip may stay." for t in left]
    return tuple(said)


def strip_at_home(activity: Activity) -> bool:
    """Whether it leaves a strip at home: its own home words name one.

    Elsewhere they name tape stuck flat, which nobody holds.
    """
    return activity.holds_strip or "strip" in _home_words(activity)


def _home_words(activity: Activity) -> str:
    return " ".join(activity.home.steps).lower() if activity.home else ""


def strip_words(activities: Iterable[Activity], in_force: Iterable[str]) -> str:
    """What the sheet says of strip and tape; empty when its words name neither."""
    said = " ".join(map(_home_words, activities))
    if "strip" not in said and "tape" not in said:
        return ""
    return NO_STRIP if set(in_force) & set(NO_STRIP_STAYS) else STRIP
