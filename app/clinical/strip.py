"""How the 10 ft strip lies for an activity, and how much of it that takes.

Sizes are inches, as the strip is marked. A size the grade sets follows the grade.
"""

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final, Literal

#: The strip is 10 ft long.
STRIP_IN: Final = Decimal(120)
Shape = Literal[
    "line", "lane", "square", "ring", "loop", "vertical", "steps", "held", "none"
]
#: Of each shape, the sizes it must have.
SIZES: Final = {
    "line": ("length",),
    "lane": ("length", "gap"),
    "square": ("side",),
    "ring": ("radius",),
    "loop": ("round",),
    "vertical": ("length",),
    "steps": ("length",),
    "held": ("length",),
    "none": (),
}
WHERE: Final = ("floor", "table", "wall", "hand", "seat")
ZEROS: Final = ("", "floor", "shoulder", "knee", "toes", "chest", "middle", "edge")


@dataclass(frozen=True, slots=True)
class Layout:
    """One lay of the strip. `graded` names the size that the activity's grade sets.

    `zero` says where the strip's zero lies; `marks` are inches from there.
    """

    shape: Shape
    where: str = "floor"
    length: Decimal | None = None
    gap: Decimal | None = None
    side: Decimal | None = None
    radius: Decimal | None = None
    round: Decimal | None = None
    zero: str = ""
    marks: tuple[Decimal, ...] = ()
    graded: str = ""
    note: str = ""

    def at(self, grade: Decimal) -> "Layout":
        """The same lay at that grade."""
        if not self.graded:
            return self
        return replace(self, **{self.graded: grade})  # type: ignore[arg-type]
