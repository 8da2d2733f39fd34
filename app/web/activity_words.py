"""An activity in words: its dose, the ladder of its grade, the lay of the strip."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from app.catalogue.load import Catalogue
from app.clinical.activity import GRADE_UNITS, Activity, Grade
from app.clinical.allowing import Permit
from app.clinical.precautions import PRECAUTIONS, Precaution
from app.clinical.source import Source
from app.clinical.strip import Layout
from app.clinical.vocabulary import HOWS

#: More rungs than these are told by their ends and the step.
MOST_RUNGS: Final = 16
#: When any activity ends at once. Common practice; local policy comes first.
STOP_SIGNS: Final = (
    "chest pain or pressure",
    "new or worse breathlessness",
    "near-faint, grey or sweating",
    "dizziness that does not settle within a minute",
    "new weakness, a drooping face, changed speech, new confusion",
    "pain up by 3 or more of 10, or sharp joint pain",
    "a knee that buckles twice",
    "a fall or a caught fall",
    "bleeding, a wound or a line that changed",
    "the person says stop",
)
_WHERE: Final = {
    "floor": "on the floor", "table": "on the table", "wall": "on the wall",
    "hand": "in the hand", "seat": "on the seat",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Rung:
    """One grade of a ladder in words."""

    words: str
    first: bool = False


def deficit_words(shelf: Catalogue) -> dict[str, str]:
    """The words of every deficit that an activity answers, by its key."""
    keys = {key: None for a in shelf.activities.values() for key in a.answers}
    return {key: shelf.deficits.named[key].words for key in keys}


def grade_value(grade: Grade, value: Decimal) -> str:
    """A grade without what it is of: `4 in`, or the condition in words."""
    if grade.rungs:
        return grade.words(value)
    unit = GRADE_UNITS[grade.unit]
    return f"{value.normalize():f} {unit}".strip()


def ladder(grade: Grade) -> list[Rung]:
    """From the easiest to the hardest; `first` is where one starts."""
    values = [grade.easiest]
    while (harder := grade.harder(values[-1])) is not None:
        values.append(harder)
    if grade.start not in values:
        values = sorted({*values, grade.start}, reverse=grade.step < 0)
    if len(values) > MOST_RUNGS and not grade.rungs:
        values = [v for v in values if v in (values[0], grade.start, values[-1])]
    return [Rung(grade_value(grade, v), v == grade.start) for v in values]


def step_words(grade: Grade) -> str:
    """`1 in farther is harder` in general words: which way, and by how much."""
    if grade.rungs:
        return "One condition down the list is one step harder."
    unit = GRADE_UNITS[grade.unit]
    size = f"{abs(grade.step).normalize():f} {unit}".strip()
    more = "more" if grade.step > 0 else "less"
    return f"One step harder is {size} {more}."


def dose_words(activity: Activity) -> str:
    """`2 sets of 8-10 each side, 2-3 s hold; 60 s rest; about 4 min`."""
    dose = activity.dose
    sets = "1 set" if dose.sets == 1 else f"{dose.sets} sets"
    rest = f"; {dose.rest_s} s rest between" if dose.rest_s else ""
    return f"{sets} of {dose.words}{rest}; about {dose.minutes()} min"


def basis_words(activity: Activity, sources: Mapping[str, Source]) -> str:
    """What the dose rests on, its sources by name."""
    said = activity.dose.basis
    for key, source in sources.items():
        said = said.replace(key, source.short)
    return said[:1].upper() + said[1:]


def how_words(how: str) -> str:
    return HOWS[how]


def layout_words(layout: Layout) -> str:
    """`Ring, radius 12 in, on the floor; the grade sets the radius`."""
    if layout.shape == "none":
        return f"No strip is laid. {layout.note}".strip()
    sizes = [
        f"{name} {size.normalize():f} in"
        for name in ("length", "gap", "side", "radius", "round")
        if (size := getattr(layout, name)) is not None
    ]
    zero = [f"zero at the {layout.zero}"] if layout.zero else []
    said = ", ".join((layout.shape.capitalize(), *sizes, _WHERE[layout.where], *zero))
    graded = f"; the grade sets the {layout.graded}" if layout.graded else ""
    note = f". {layout.note}" if layout.note else ""
    return f"{said}{graded}{note}"


def against(activity: Activity) -> Iterator[tuple[str, list[Precaution]]]:
    """What stands against it, in the order of weight: orders, risks, cautions."""
    must = [PRECAUTIONS[tag] for tag in activity.must_not]
    yield "Blocked while this order holds", [p for p in must if p.kind == "order"]
    yield (
        "A therapist only, with a reason; never a student",
        [p for p in must if p.kind == "risk"],
    )
    yield "Mind, and change the set-up", [PRECAUTIONS[t] for t in activity.caution]


def permit_words(found: Permit) -> str:
    """`blocked by: Hip rules`, `with a reason: ...`, `mind: ...`; empty: free."""
    for words, tags in (
        ("blocked by", found.orders),
        ("with a reason", found.risks),
        ("mind", found.cautions),
    ):
        if tags:
            return f"{words}: {_labels(tags)}"
    return ""


def _labels(tags: Sequence[Precaution]) -> str:
    return "; ".join(tag.label for tag in tags)
