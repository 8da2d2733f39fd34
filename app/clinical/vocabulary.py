"""Closed lists: every word a row, a person or a trial may carry, with its words for the screen.

A catalogue file or a form that uses a word outside these lists is refused; nothing here
compares or judges.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

Outcome = Literal["completed", "unable", "stopped", "declined", "not_done"]
How = Literal[
    "full text", "abstract", "secondary", "computed", "common practice", "memory"
]


def _closed(**words: str) -> Mapping[str, str]:
    return MappingProxyType(words)


OUTCOMES: Final = _closed(
    completed="completed",
    unable="unable",
    stopped="stopped for safety",
    declined="declined",
    not_done="not done",
)

UNABLE_REASONS: Final = _closed(
    physical="could not do it physically",
    hands_on_help="needed hands-on help",
    not_understood="did not understand the task",
    pain="pain",
    symptoms="symptoms (dizzy, breathless, chest pain ...)",
)

#: How a number is known, best first. The order is the order of trust.
HOWS: Final = _closed(
    **{
        "full text": "read in the paper itself",
        "abstract": "read in the paper's abstract",
        "secondary": "read in another publication",
        "computed": "our arithmetic",
        "common practice": "common practice, no single source",
        "memory": "unconfirmed: recalled, not read",
    }
)

#: Conditions a person may have. `none` and `older_adult` are for catalogue rows only.
CONDITIONS: Final = _closed(
    parkinson="Parkinson disease",
    stroke="stroke",
    cognitive_impairment="dementia or cognitive impairment",
    ms="multiple sclerosis",
    vestibular="vestibular disorder",
    sci="spinal cord injury",
    amputation="lower-limb amputation",
    hip_fracture="hip fracture",
    lumbar_degenerative="lumbar degenerative disease",
    lumbar_surgery="after surgery for lumbar degenerative disease",
    hip_osteoarthritis="hip osteoarthritis",
    knee_osteoarthritis="knee osteoarthritis",
    joint_replacement_waiting="waiting for hip or knee replacement",
    knee_replacement="knee replacement",
    copd="chronic obstructive pulmonary disease",
    icu_survivor="after intensive care",
    neurological="neurological disease, not named further",
)
ROW_CONDITIONS: Final = _closed(
    none="healthy reference", older_adult="older adults", any="anyone", **CONDITIONS
)

SETTINGS: Final = _closed(
    community="living in the community",
    home_care="at home with home care",
    outpatient="outpatient",
    day_hospital="geriatric day hospital",
    sheltered_housing="sheltered housing",
    institution="living in a care institution",
    acute="acute hospital ward",
    inpatient="hospital or rehabilitation inpatient",
)

GROUPS: Final = _closed(
    healthy="healthy reference",
    general="a general sample, not selected as healthy",
    patients="people with the condition",
    fallers="people who had fallen",
    nonfallers="people who had not fallen",
    device_users="people using a walking device",
)

OUTCOME_TYPES: Final = _closed(
    falls="falls",
    function="function or disability",
    help_needed="needing help",
    health_vs_disease="patients against healthy people",
    percentile="place in a sample",
    protocol_limit="a rule of a published scale or consensus",
)

DESIGNS: Final = _closed(
    prospective="followed forward in time",
    pooled="pooled from several studies",
    retrospective="looking back at past events",
    cross_sectional="at one point in time",
    expert="expert consensus or convention",
    unstated="design not stated in what was read",
)

#: Facts of a person, beside age, sex, condition and setting, that some rows depend on.
PERSON_FACTS: Final[Mapping[str, Mapping[str, str]]] = MappingProxyType(
    {
        "time_since": _closed(
            first_week="within the first week",
            first_months="within the first months (to discharge from rehabilitation)",
            established="established, six months or more",
        ),
        "amputation_level": _closed(
            below_knee="below the knee", above_knee="above the knee"
        ),
        "fall_history": _closed(
            none="no fall in the last 12 months",
            one="one fall in the last 12 months",
            two_or_more="two or more falls in the last 12 months",
        ),
        "fall_risk_scale": _closed(
            low="low on a simple fall-risk scale",
            moderate="moderate on a simple fall-risk scale",
            high="high on a simple fall-risk scale",
        ),
        "cognition": _closed(
            early_loss="early cognitive loss",
            mild_to_moderate="mild to moderate impairment",
            alzheimer="Alzheimer disease",
            dementia="dementia",
        ),
        "severity": _closed(mild="mild", moderate="moderate", severe="severe"),
    }
)

SEXES: Final = _closed(female="woman", male="man")


@dataclass(frozen=True, slots=True)
class Precaution:
    """A tag on an episode. Orders block; risks warn."""

    tag: str
    label: str
    kind: Literal["order", "risk"]
    group: str
    meaning: str


def _p(
    tag: str, label: str, kind: Literal["order", "risk"], group: str, meaning: str
) -> tuple[str, Precaution]:
    return tag, Precaution(tag, label, kind, group, meaning)


#: Wording: common practice. An order can only be lifted by changing the order.
PRECAUTIONS: Final[Mapping[str, Precaution]] = MappingProxyType(
    dict(
        [
            _p("medical_hold", "Medical hold: no mobility", "order", "all",
               "The team or an order says no mobility now."),
            _p("unstable_vitals", "Vital signs out of range", "order", "all",
               "Outside the ordered range, or symptoms at rest. The order's limits count."),
            _p("nwb_le", "Leg: non-weight-bearing", "order", "weight",
               "No load through that leg at all."),
            _p("ttwb_le", "Leg: toe-touch only", "order", "weight",
               "The foot may rest on the floor for balance, carrying no real load."),
            _p("pwb_le", "Leg: partial weight-bearing", "order", "weight",
               "Load limited to the order's figure; ordered device only."),
            _p("wb_unknown", "Weight-bearing not yet known", "order", "weight",
               "No standing work until the order is known: ask."),
            _p("nwb_ue", "Arm: non-weight-bearing", "order", "weight",
               "No pushing from seat, rail or walker with that arm."),
            _p("hip_post", "Posterior hip rules", "order", "hip",
               "No bending past 90 degrees, no crossing the midline, no inward turn; "
               "the surgeon's own rules win."),
            _p("hip_ant", "Anterior hip rules", "order", "hip",
               "No extension behind the body with outward turn; the surgeon's rules win."),
            _p("hip_abd", "No active hip abduction", "order", "hip",
               "No active abduction and no forceful side-stepping."),
            _p("sternal", "Sternal rules", "order", "trunk",
               "Limited pushing, pulling and lifting; arms close, both together."),
            _p("spinal", "Spinal rules", "order", "trunk",
               "No bending, lifting or twisting of the back; brace as ordered."),
            _p("abdominal", "Abdominal wound or hernia", "risk", "trunk",
               "No strain, no breath-holding, support the wound."),
            _p("shoulder", "Shoulder rules", "order", "arm",
               "Stay inside the ordered range; never pull on the arm."),
            _p("ortho_hypo", "Drops when standing", "risk", "heart and lungs",
               "Known postural drop: reading first, slow changes, sit at first symptom."),
            _p("dizzy_uncontrolled", "Dizziness not settled", "risk", "senses",
               "Seated work only, or stop."),
            _p("low_vision", "Cannot see marks reliably", "risk", "senses",
               "High-contrast strip, edges to feel, spoken cues."),
            _p("insensate", "Reduced feeling in feet or hands", "risk", "senses",
               "Shoes on; look at the skin before and after."),
            _p("cog_safety", "Safety judgement impaired", "risk", "mind",
               "One-step instructions, nothing unsupervised, no dual tasks."),
            _p("neglect", "Misses one side", "risk", "mind",
               "Stand on that side; extra room on the missed side."),
            _p("seizure", "Seizure history", "risk", "mind",
               "Away from hard edges and heights; know the plan."),
            _p("freezing", "Freezing of walking", "risk", "mind",
               "No narrow gaps without cues, no turning on one foot, allow restarts."),
            _p("lines_tubes", "Lines or drains", "risk", "lines",
               "Trace every line first; drain below the wound."),
            _p("oxygen", "On oxygen", "risk", "lines",
               "Tubing measured and out of the path; saturation before and after."),
            _p("high_fall_standing", "Needs more than light help to stay standing",
               "risk", "falls", "Physical help is needed to stay standing."),
            _p("bleeding_risk", "Bleeds easily or thinner blood", "risk", "falls",
               "A fall costs more: lower the challenge, clear hard edges."),
            _p("osteoporosis", "Fragile bone", "risk", "falls",
               "No loaded end-range bending or twisting; hands-on guard for fast steps."),
            _p("ligature_risk", "Risk of self-harm", "order", "strip",
               "No strip handed over or left; in the hand only, counted in and out."),
            _p("entanglement", "Strip could wrap a limb or line", "risk", "strip",
               "Hands-on use only, never in bed alone."),
            _p("skin_fragile", "Fragile skin", "risk", "skin",
               "Nothing tied or taped on bare skin; no sliding shear."),
            _p("infection", "Isolation or shared kit", "risk", "clean",
               "Wipeable strip cleaned before and after; hands washed."),
        ]
    )
)
