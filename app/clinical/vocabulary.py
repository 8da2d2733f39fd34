"""Closed lists: every word a row, a person or a trial may carry, and its screen words.

A catalogue file or a form that uses a word outside these lists is refused; nothing here
compares or judges.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, Literal

Outcome = Literal["completed", "unable", "stopped", "declined", "not_done"]
How = Literal[
    "full text", "abstract", "secondary", "computed", "common practice", "memory"
]


def closed(**words: str) -> Mapping[str, str]:
    """A closed list: each key with its words, in order."""
    return MappingProxyType(words)


OUTCOMES: Final = closed(
    completed="completed",
    unable="unable",
    stopped="stopped for safety",
    declined="declined",
    not_done="not done",
)

UNABLE_REASONS: Final = closed(
    physical="could not do it physically",
    hands_on_help="needed hands-on help",
    not_understood="did not understand the task",
    pain="pain",
    symptoms="symptoms (dizzy, breathless, chest pain ...)",
)

#: How a number is known, best first. The order is the order of trust.
HOWS: Final = closed(
    **{
        "full text": "read in the paper itself",
        "abstract": "read in the paper's abstract",
        "secondary": "read in another publication",
        "computed": "our arithmetic",
        "common practice": "common practice, no single source",
        "memory": "unconfirmed: recalled, not read",
    }
)

#: What somebody can do today, each including those before it. Common practice.
ABILITIES: Final = closed(
    lies="lies in bed",
    sits_held="sits with support",
    sits="sits alone",
    stands_held="stands with help",
    stands="stands alone",
    walks="walks",
)

#: Kit that not every room has. A phone is a stopwatch.
KIT_ITEMS: Final = closed(
    stopwatch="stopwatch or this phone",
    chair="chair",
    tape="tape",
    sticks="canes or sticks",
    cuff="cuff",
)
#: What a room may hold for treatment; `chair` is the chair of the tests.
ROOM_ITEMS: Final = closed(
    strip="10 ft soft strip",
    chair="chair",
    bed="bed or its edge",
    bench="bench",
    table="table",
    counter="counter or sink",
    rail="rail",
    wall="clear wall",
    corner="clear corner",
    surfaces="two surfaces side by side",
    towel="towel",
    cup="cup",
    belt="gait belt",
    stool="low stool",
    lamp="lamp",
)

#: Conditions a person may have. `none` and `older_adult` are for catalogue rows only.
CONDITIONS: Final = closed(
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
ROW_CONDITIONS: Final = closed(
    none="healthy reference", older_adult="older adults", any="anyone", **CONDITIONS
)

SETTINGS: Final = closed(
    community="living in the community",
    home_care="at home with home care",
    outpatient="an outpatient",
    day_hospital="attending a geriatric day hospital",
    sheltered_housing="living in sheltered housing",
    institution="living in a care institution",
    acute="on an acute hospital ward",
    inpatient="a hospital or rehabilitation inpatient",
)

GROUPS: Final = closed(
    healthy="healthy reference",
    general="a general sample, not selected as healthy",
    patients="people with the condition",
    fallers="people who had fallen",
    nonfallers="people who had not fallen",
    device_users="people using a walking device",
)

OUTCOME_TYPES: Final = closed(
    falls="falls",
    function="function or disability",
    help_needed="needing help",
    health_vs_disease="patients against healthy people",
    percentile="place in a sample",
    death="death or hospital admission",
    protocol_limit="a rule of a published scale or consensus",
)

DESIGNS: Final = closed(
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
        "time_since": closed(
            first_week="within the first week",
            first_months="within the first months (to discharge from rehabilitation)",
            established="established, six months or more",
        ),
        "amputation_level": closed(
            below_knee="below the knee", above_knee="above the knee"
        ),
        "fall_history": closed(
            none="no fall in the last 12 months",
            one="one fall in the last 12 months",
            two_or_more="two or more falls in the last 12 months",
        ),
        "fall_risk_scale": closed(
            low="low on a simple fall-risk scale",
            moderate="moderate on a simple fall-risk scale",
            high="high on a simple fall-risk scale",
        ),
        "cognition": closed(
            early_loss="early cognitive loss",
            mild_to_moderate="mild to moderate impairment",
            alzheimer="Alzheimer disease",
            dementia="dementia",
        ),
        "severity": closed(mild="mild", moderate="moderate", severe="severe"),
    }
)

#: Conditions that lie on a side of the body, and the sides.
SIDED: Final = (
    "stroke",
    "vestibular",
    "amputation",
    "hip_fracture",
    "hip_osteoarthritis",
    "knee_osteoarthritis",
    "joint_replacement_waiting",
    "knee_replacement",
)
SIDES: Final = closed(left="left", right="right", both="both sides")

SEXES: Final = closed(female="woman", male="man")

#: Why an episode ended. Common practice.
EPISODE_ENDS: Final = closed(
    goals_met="goals met",
    plateau="no further gain to expect",
    moved="moved or transferred",
    declined="declined to go on",
    medical="medical reasons",
    payer="payer or authorisation ended",
    died="died",
)

#: Why a closed episode goes on. Common practice.
REOPENINGS: Final = closed(
    closed_by_mistake="it was closed by mistake",
    came_back="they came back for the same reason",
    more_ordered="more treatment was ordered or authorised",
    late_entry="something was still to be recorded",
)

#: Why a record may be deleted for good. Common practice; the site's policy decides.
PURGES: Final = closed(
    kept_long_enough="kept as long as law and policy ask",
    asked_for="the person or a court asked for it",
    made_by_mistake="made by mistake, nobody was treated",
    for_practice="made to try the program out",
)

_ANSWERS: Final = closed(no="no", yes="yes", unknown="asked, not known")
#: What came of falls in the last 12 months: each question and its answers. Empty is
#: not asked, which is not a no. What is asked follows the world guidelines for falls of
#: 2022, their list of severity signs from memory. How many falls there were is
#: `fall_history`.
FALL_QUESTIONS: Final[Mapping[str, tuple[str, Mapping[str, str]]]] = MappingProxyType(
    {
        "fall_injury": (
            "Injury from a fall",
            closed(
                none="no injury",
                minor="minor injury, no care needed",
                needed_care="injury that needed care",
                unknown="asked, not known",
            ),
        ),
        "fall_cannot_rise": ("Could not get up alone after a fall", _ANSWERS),
        "fall_long_lie": ("Lay on the floor for an hour or longer", _ANSWERS),
        "fall_fainted": ("Lost consciousness, or may have", _ANSWERS),
        "frailty": ("Frail, by a scale or by clinical judgement", _ANSWERS),
    }
)

#: How somebody managed before this episode. Common practice.
PRIOR_LEVELS: Final = closed(
    alone="alone, without a device",
    device="alone, with a device or more time",
    helped="with some help",
    dependent="with help for most of it",
)

LIVES_WITH: Final = closed(
    alone="alone",
    partner="with a partner",
    family="with family",
    others="with others",
    facility="in a care facility",
)

#: Body measures that some tests compute with, each with its units and usual range.
SIZES: Final = MappingProxyType(
    {
        "height": ("Height", {"cm": (100, 230), "in": (39, 91)}),
        "lower_leg": (
            "Lower leg, floor to knee fold",
            {"cm": (25, 65), "in": (10, 26)},
        ),
        "weight": ("Weight", {"kg": (25, 300), "lb": (55, 660)}),
    }
)

#: What happened, as a base rate or a limit counts it. Only the same event is the same.
EVENTS: Final = closed(
    one_or_more_falls="one or more falls",
    two_or_more_falls="two or more falls",
    injurious_fall="a fall with injury",
    fall_while_moving="a fall while moving about",
    falls_not_counted="falls, how many is not said",
    number_of_falls="falls, each one counted",
    orthostatic_hypotension="a fall of blood pressure on standing",
)

#: Over which time. Looking back and following forward are different things.
HORIZONS: Final = closed(
    at_one_visit="at one visit",
    past_12_months="in the past 12 months",
    next_3_months="within 3 months",
    next_24_weeks="within 24 weeks",
    next_6_months="within 6 months",
    next_42_weeks="within 42 weeks",
    next_12_months="within a year",
    about_20_months="over about 20 months",
    about_2_years="over about 2 years",
    three_years="within 3 years",
    months_54="within 54 months",
    from_12_to_18_months="within 12 to 18 months",
    six_months_after_discharge="within 6 months after discharge",
    from_6_to_12_months_after_discharge="within 6 to 12 months after discharge",
    first_year_after_discharge="in the first year after discharge",
    first_year_after_event="in the first year after it happened",
    stay="during the stay",
    since_onset="since it began",
    study_length="over the length of the studies",
    rate="counted by time, not by person",
    not_stated="over a time that is not stated",
)
