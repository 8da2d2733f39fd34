"""Precaution tags on an episode, and which of them keep a test from being done.

Orders block, risks warn. Wording: common practice. An order can only be lifted by
changing the order; the surgeon's and the team's own words win.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal


@dataclass(frozen=True, slots=True)
class Precaution:
    """A tag on an episode. Orders block; risks warn."""

    tag: str
    label: str
    kind: Literal["order", "risk"]
    group: str
    meaning: str


# One tag a block: tag, words, kind, group, what it means.
# fmt: off
_TAGS: Final[tuple[Precaution, ...]] = (
    Precaution("medical_hold", "Medical hold: no mobility", "order", "all",
               "The team or an order says no mobility now."),
    Precaution("unstable_vitals", "Vital signs out of range", "order", "all",
               "Outside the ordered range, or symptoms at rest. The order's "
               "limits count."),
    Precaution("nwb_le", "Leg: non-weight-bearing", "order", "weight",
               "No load through that leg at all."),
    Precaution("ttwb_le", "Leg: toe-touch only", "order", "weight",
               "The foot may rest on the floor for balance, carrying no real load."),
    Precaution("pwb_le", "Leg: partial weight-bearing", "order", "weight",
               "Load limited to the order's figure; ordered device only."),
    Precaution("wb_unknown", "Weight-bearing not yet known", "order", "weight",
               "No standing work until the order is known: ask."),
    Precaution("nwb_ue", "Arm: non-weight-bearing", "order", "weight",
               "No pushing from seat, rail or walker with that arm."),
    Precaution("hip_post", "Posterior hip rules", "order", "hip",
               "No bending past 90 degrees, no crossing the midline, no "
               "inward turn; the surgeon's own rules win."),
    Precaution("hip_ant", "Anterior hip rules", "order", "hip",
               "No extension behind the body with outward turn; the "
               "surgeon's rules win."),
    Precaution("hip_abd", "No active hip abduction", "order", "hip",
               "No active abduction and no forceful side-stepping."),
    Precaution("sternal", "Sternal rules", "order", "trunk",
               "Limited pushing, pulling and lifting; arms close, both together."),
    Precaution("spinal", "Spinal rules", "order", "trunk",
               "No bending, lifting or twisting of the back; brace as ordered."),
    Precaution("abdominal", "Abdominal wound or hernia", "risk", "trunk",
               "No strain, no breath-holding, support the wound."),
    Precaution("shoulder", "Shoulder rules", "order", "arm",
               "Stay inside the ordered range; never pull on the arm."),
    Precaution("ortho_hypo", "Blood pressure drops on standing", "risk",
               "heart and lungs",
               "Known postural drop: reading first, slow changes, sit at "
               "first symptom."),
    Precaution("dizzy_uncontrolled", "Dizziness not settled", "risk", "senses",
               "Seated work only, or stop."),
    Precaution("low_vision", "Cannot see marks reliably", "risk", "senses",
               "High-contrast strip, edges to feel, spoken cues."),
    Precaution("insensate", "Reduced feeling in feet or hands", "risk", "senses",
               "Shoes on; look at the skin before and after."),
    Precaution("cog_safety", "Safety judgement impaired", "risk", "mind",
               "One-step instructions, nothing unsupervised, no dual tasks."),
    Precaution("neglect", "Misses one side", "risk", "mind",
               "Stand on that side; extra room on the missed side."),
    Precaution("seizure", "Seizure history", "risk", "mind",
               "Away from hard edges and heights; know the plan."),
    Precaution("freezing", "Freezing of walking", "risk", "mind",
               "No narrow gaps without cues, no turning on one foot, allow restarts."),
    Precaution("lines_tubes", "Lines or drains", "risk", "lines",
               "Trace every line first; drain below the wound."),
    Precaution("oxygen", "On oxygen", "risk", "lines",
               "Tubing measured and out of the path; saturation before and after."),
    Precaution("high_fall_standing", "Needs more than light help to stay standing",
               "risk", "falls",
               "Physical help is needed to stay standing."),
    Precaution("bleeding_risk", "Bleeds easily, or on blood thinners", "risk", "falls",
               "A fall costs more: lower the challenge, clear hard edges."),
    Precaution("osteoporosis", "Fragile bone", "risk", "falls",
               "No loaded end-range bending or twisting; hands-on guard for "
               "fast steps."),
    Precaution("ligature_risk", "Risk of self-harm", "order", "strip",
               "No strip handed over or left; in the hand only, counted in and out."),
    Precaution("entanglement", "Strip could wrap a limb or line", "risk", "strip",
               "Hands-on use only, never in bed alone."),
    Precaution("skin_fragile", "Fragile skin", "risk", "skin",
               "Nothing tied or taped on bare skin; no sliding shear."),
    Precaution("infection", "Isolation or shared kit", "risk", "clean",
               "Wipeable strip cleaned before and after; hands washed."),
)
# fmt: on
PRECAUTIONS: Final[Mapping[str, Precaution]] = MappingProxyType(
    {p.tag: p for p in _TAGS}
)


@dataclass(frozen=True, slots=True)
class Clearance:
    """Whether a test may be done under the precautions in force."""

    blocked_by: tuple[Precaution, ...]
    warned_by: tuple[Precaution, ...]

    @property
    def allowed(self) -> bool:
        return not self.blocked_by


def clearance(
    must_not: Iterable[str], caution: Iterable[str], in_force: Iterable[str]
) -> Clearance:
    """Orders and risks a measure must not meet block it; cautions and risks warn."""
    tags = set(in_force)
    blocked = tuple(PRECAUTIONS[t] for t in must_not if t in tags)
    warned = tuple(PRECAUTIONS[t] for t in caution if t in tags)
    return Clearance(blocked, warned)
