"""After a stop: what may be answered, in closed lists, and what to do first.

Wording: common practice. The site's own fall procedure and emergency rules come first,
and nothing here decides whether somebody may be moved.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from app.clinical.vocabulary import closed


@dataclass(frozen=True, slots=True)
class Vital:
    """One vital sign as it may be typed: whole numbers within plausible bounds."""

    label: str
    unit: str
    low: int
    high: int


#: Where the person is now. The words complete "Stopped for safety 25 Nov: ...".
WHATS: Final = closed(
    seated="seated",
    lowered="lowered to the floor",
    fell="fell",
)
ON_THE_FLOOR: Final = ("lowered", "fell")
YES_NO: Final = closed(yes="yes", no="no", unknown="not known")
POSITIONS: Final = closed(lying="lying", sitting="sitting", standing="standing")
SYMPTOMS: Final = closed(
    dizzy="dizzy",
    faint="faint or passed out",
    chest_pain="chest pain",
    breathless="short of breath",
    pain="new or worse pain",
    confused="newly confused",
    new_weakness="new weakness, face or speech",
    knee_gave="a knee gave way",
    lost_balance="lost balance",
    tired="too tired",
    wanted_to_stop="wanted to stop",
)
VITALS: Final[Mapping[str, Vital]] = MappingProxyType(
    {
        "systolic": Vital("Blood pressure, upper", "mmHg", 40, 300),
        "diastolic": Vital("Blood pressure, lower", "mmHg", 20, 200),
        "heart_rate": Vital("Heart rate", "per minute", 20, 300),
        "saturation": Vital("Oxygen saturation", "%", 40, 100),
    }
)
LONGEST_CALLED: Final = 200
LONGEST_NOTE: Final = 1000

LOCAL_FIRST: Final = (
    "Follow your local fall procedure: it comes before anything on this screen."
)
#: Before anybody knows what happened: also what a locked phone says.
AT_ONCE: Final = (
    "Stay within reach, one hand on the belt. Call for help from where you are.",
    "Chest pain, passing out, new confusion, new weakness or trouble breathing: "
    "call for emergency help now.",
)
FIRST_STEPS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "seated": (
            "Keep them seated: brakes on, feet supported, stay within reach.",
            "Look at colour, breathing and how they answer. Take vital signs.",
        ),
        "lowered": (
            "Do not move them yet, and do not lift alone.",
            "Check for pain, bleeding, a limb that looks wrong, and whether they "
            "answer as usual.",
        ),
        "fell": (
            "Do not move them yet, and do not lift alone. Keep head and neck still.",
            "Check for pain, bleeding, a limb that looks wrong, and whether they "
            "answer as usual.",
            "A knock to the head on a blood thinner is urgent even when they feel "
            "well: say both when you call.",
        ),
    }
)
