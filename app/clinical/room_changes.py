"""What may be changed in a room, who does it, and how far it is. Common practice."""

from types import MappingProxyType
from typing import Final

CHANGES: Final = MappingProxyType(
    {
        "raise_seat": "raise the seat (blocks, cushion, frame)",
        "lower_seat": "lower the seat or bed",
        "raised_toilet": "raised toilet seat or frame",
        "other_chair": "another chair",
        "bath_seat": "bath board or bath seat",
        "shower_seat": "shower seat",
        "grab_bar": "grab bar",
        "handrail": "handrail, or a second one",
        "remove_rug": "take away a rug or cord",
        "fix_edge": "fix or bevel an edge",
        "threshold_ramp": "small ramp over a threshold",
        "ramp": "ramp",
        "widen_door": "widen a doorway (hinges, door off)",
        "move_furniture": "move furniture",
        "move_things": "put things within reach",
        "light": "more light",
        "non_slip": "non-slip surface",
        "other": "something else",
    }
)
WHO: Final = MappingProxyType(
    {
        "patient": "patient",
        "family": "family",
        "landlord": "landlord",
        "therapist": "therapist",
        "supplier": "equipment supplier",
    }
)
STATES: Final = MappingProxyType(
    {
        "proposed": "proposed",
        "agreed": "agreed",
        "done": "done",
        "declined": "declined",
    }
)
#: Whoever did it may find that it has to be done again, and a no may become a yes.
NEXT: Final = MappingProxyType(
    {
        "proposed": ("agreed", "done", "declined"),
        "agreed": ("done", "declined"),
        "done": ("agreed",),
        "declined": ("agreed", "done"),
    }
)
