"""A visit in closed lists: what kind, why it paused, what was seen, what stays safe.

Wording: common practice, except where a source stands beside it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from app.clinical.make_safe import Vital
from app.clinical.vocabulary import closed

KINDS: Final = closed(
    evaluation="evaluation",
    treatment="treatment",
    re_evaluation="re-evaluation",
    discharge="discharge",
    missed="missed",
)
#: Kinds whose record holds a judgement that an assistant may not make.
JUDGED: Final = ("evaluation", "re_evaluation", "discharge")

#: Why a visit did not happen, or something in it was not done.
NOT_DONE: Final = closed(
    declined="declined",
    asleep="asleep or too drowsy",
    pain="pain",
    pressure="dizziness or blood pressure",
    breathless="breathless or low saturation",
    hold="new order or hold",
    off_unit="off the unit, procedure",
    nursing="nursing care in progress",
    visitors="visitors or privacy",
    unsafe="equipment or room unsafe",
    staff="not enough staff for the help needed",
    cognition="cognition or safety",
    weight_bearing="weight-bearing or surgical rule",
    isolation="infection or isolation",
    time="no time",
)
PAUSES: Final = closed(
    nursing="nursing or medical care",
    toilet="toilet",
    rest="rest",
    meal="meal",
    visitors="visitors",
    procedure="procedure or transport",
    called_away="called away",
    closed="the visit was closed",
)
MINUTES: Final = closed(
    individual="individual",
    concurrent="concurrent",
    group="group",
    co_treatment="co-treatment",
)
EXIT_LIST: Final = closed(
    strip="strip and tape out of the way",
    bell="bell in reach",
    bed_low="bed low",
    alarm="alarm as it was found",
    brakes="brakes on",
    lines="lines and drains free",
    shoes="shoes and clothes in order",
    hand_off="hand-off given",
)
#: Where the strip is when the room is left: the answer to the list's line about it.
STRIP_STATES: Final = closed(
    removed="out of the room with me",
    left_with_helper="left with the helper, by plan",
    retrieved="left by mistake; I went back for it",
    none_used="no strip used",
)
#: The same as the record says it.
STRIP_SAID: Final = closed(
    removed="strip out of the room with the therapist",
    left_with_helper="strip left with the helper, by plan",
    retrieved="strip left by mistake, and fetched",
    none_used="no strip used",
)
#: Who took the hand-off, by role and never by name. Common practice.
HAND_OFF_TO: Final = closed(
    nurse="nurse",
    aide="nursing aide",
    family="family or home helper",
    therapist="next therapist",
    physician="physician or practitioner",
    other="somebody else",
)
TASKS: Final = closed(
    toileting="toileting",
    dressing_upper="dressing, upper body",
    dressing_lower="dressing, lower body",
    bathing="bathing",
    grooming="grooming",
    eating="eating",
    bed_mobility="moving in bed",
    transfer_bed="transfer, bed",
    transfer_chair="transfer, chair",
    transfer_toilet="transfer, toilet",
    transfer_tub="transfer, tub or shower",
    transfer_car="transfer, car",
    walk_bathroom="walking to the bathroom",
    stairs="stairs",
    kitchen="a kitchen task",
    medication="handling medication",
)

#: What was used in a task, and how it was set up. Common practice.
DEVICES: Final = closed(
    none="none",
    cane="cane",
    quad_cane="quad cane",
    walker="walker",
    rollator="rollator",
    crutches="crutches",
    wheelchair="wheelchair",
    grab_bar="grab bar or rail",
    raised_seat="raised seat",
    bath_seat="bath or shower seat",
    long_handled="long-handled aid",
    board="transfer board",
    lift="lift",
    other="other",
)
SET_UPS: Final = closed(
    as_found="room as found",
    laid_out="things laid out",
    in_bed="in bed",
    edge_of_bed="on the edge of the bed",
    chair="seated in a chair",
    at_sink="at the sink",
    seat_raised="seat or bed raised",
    obstacles="way cleared",
    other="other",
)

#: What the person breathed while the saturation was read. Common practice.
CARRIERS: Final = closed(
    room_air="room air",
    nasal="nasal cannula",
    high_flow="high-flow nasal cannula",
    simple_mask="simple mask",
    entrainment="air-entrainment mask",
    reservoir="mask with a reservoir bag",
    tracheostomy="through a tracheostomy",
    ventilator="ventilator",
)
#: Whose flow is not set in litres a minute alone, so that it may stay open.
OPEN_FLOW: Final = ("room_air", "ventilator")
#: Tenths of a litre a minute: 0.1 to 60. A number outside is a slip of typing.
FLOW_TENTHS: Final = (1, 600)
POSITIONS: Final = closed(
    lying="lying",
    sitting="sitting",
    standing="standing",
    standing_1="standing, after 1 minute",
    standing_3="standing, after 3 minutes",
)
ARMS: Final = closed(left="left arm", right="right arm")
EFFORT_SCALES: Final = {"0-10": (0, 10), "6-20": (6, 20)}
#: What may be measured, within what people have. A number outside is a slip of typing.
VITALS: Final[Mapping[str, Vital]] = MappingProxyType(
    {
        "systolic": Vital("Systolic", "mmHg", 40, 300),
        "diastolic": Vital("Diastolic", "mmHg", 20, 200),
        "heart_rate": Vital("Heart rate", "/min", 20, 300),
        "saturation": Vital("Saturation", "%", 40, 100),
        "breathing": Vital("Breathing rate", "/min", 4, 80),
        "pain": Vital("Pain", "of 10", 0, 10),
        "dizziness": Vital("Dizziness", "of 10", 0, 10),
    }
)
#: What an order may set limits for.
LIMITED: Final = ("systolic", "diastolic", "heart_rate", "saturation", "breathing")


#: What an answer to the first questions asks for before anything is done standing.
#: Common practice; orders and the local fall procedure come first.
FIRST_DO: Final[Mapping[str, str]] = MappingProxyType(
    {
        "dizzy": (
            "Dizzy: keep them seated or lying and take vital signs before they stand "
            "or a test is begun. If it stays or is new, tell nursing or the "
            "physician."
        ),
        "fell": (
            "Fell since last time: ask about a knock to the head, new pain and blood "
            "thinners before they stand. Your local fall procedure comes first."
        ),
    }
)
#: Said once under whatever lies outside; the program decides nothing.
OUTSIDE: Final = "Outside the order's limits: follow the order and local policy."


@dataclass(frozen=True, slots=True)
class Limit:
    """What an order says of one vital sign; either end may be open."""

    low: int | None
    high: int | None


def outside(values: Mapping[str, int], limits: Mapping[str, Limit]) -> dict[str, str]:
    """What lies outside the order's limits, in words; the order decides what to do.

    >>> outside({"systolic": 186}, {"systolic": Limit(90, 180)})
    {'systolic': "Systolic 186 mmHg is above the order's limit of 180 mmHg."}
    """
    said = {}
    for name, value in values.items():
        limit = limits.get(name)
        if limit is None:
            continue
        vital = VITALS[name]
        where = ""
        if limit.low is not None and value < limit.low:
            where = f"below the order's limit of {limit.low}"
        if limit.high is not None and value > limit.high:
            where = f"above the order's limit of {limit.high}"
        if where:
            unit = vital.unit
            said[name] = f"{vital.label} {value} {unit} is {where} {unit}."
    return said


#: A drop in pressure on standing: Freeman 2011, its abstract and definition section.
DROP_SYSTOLIC, DROP_DIASTOLIC = 20, 10
#: The drop from sitting that matched it best (abstract, Shaw 2017, 831 people).
SITTING_SYSTOLIC, SITTING_DIASTOLIC = 15, 7


#: What to do about it, said wherever somebody stands beside the person.
TELL: Final = "Follow the order; tell whoever set it."


def postural(before: str, was: tuple[int, int], now: tuple[int, int]) -> str:
    """What sources say of a fall in pressure after standing up; empty below their drop.

    `before` is lying or sitting; pressures are systolic and diastolic in mmHg. Counts
    the numbers only: it is a doctor who says what they mean.
    """
    systolic, diastolic = was[0] - now[0], was[1] - now[1]
    if before == "lying":
        limits = (DROP_SYSTOLIC, DROP_DIASTOLIC)
        source, how = "the consensus definition", "Freeman 2011, abstract"
    elif before == "sitting":
        limits = (SITTING_SYSTOLIC, SITTING_DIASTOLIC)
        source, how = "Shaw 2017", "abstract, 831 people of an autonomic clinic"
    else:
        return ""
    if systolic < limits[0] and diastolic < limits[1]:
        return ""
    return (
        f"From {before} to standing the pressure fell by {systolic} / {diastolic} "
        "mmHg. "
        f"{source[0].upper()}{source[1:]} counts {limits[0]} systolic or {limits[1]} "
        f"diastolic within 3 minutes ({how}). {TELL}"
    )
