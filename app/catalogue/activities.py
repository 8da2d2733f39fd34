"""`activities/<id>_<name>.toml`: treatment activities, read as strictly as tests."""

import re
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any, Final

from app.catalogue.fields import CatalogueError, Table
from app.clinical import activity as a
from app.clinical import strip
from app.clinical.activity import Activity, Caller, Dose, Grade, HomeWords
from app.clinical.assistance import LEVELS
from app.clinical.precautions import PRECAUTIONS
from app.clinical.strip import Layout
from app.clinical.vocabulary import HOWS

_ID: Final = re.compile(r"[A-Z][0-9]{2}")
#: Whoever does not know the weight-bearing order must not load the leg.
WEIGHT_ORDERS: Final = ("nwb_le", "ttwb_le", "pwb_le")


def activity(content: Mapping[str, Any], path: Path) -> Activity:
    """One file. Raise CatalogueError naming file, table and key."""
    t = Table(content, f"activities/{path.name}")
    made = Activity(
        id=t.text("id"),
        name=t.text("name"),
        other_names=t.words("other_names"),
        domain=t.word("domain", a.DOMAINS),
        position=t.word("position", a.POSITIONS),  # type: ignore[arg-type]
        least=t.word("least", a.LEAST),
        help=t.word("help", LEVELS),
        staff=t.whole("staff") or 1,
        icf=t.words("icf"),
        occupation=t.text("occupation"),
        prerequisite=t.text("prerequisite"),
        setup=t.text("setup"),
        steps=t.words("steps"),
        easier=t.text("easier"),
        harder=t.text("harder"),
        grade=_grade(_inner(t, "grade")),
        count=t.words("count", a.COUNTS),
        dose=_dose(_inner(t, "dose")),
        guard=t.text("guard"),
        needs=t.words("needs", a.NEEDS),
        must_not=t.words("must_not", PRECAUTIONS),
        caution=t.words("caution", PRECAUTIONS),
        answers=t.words("answers"),
        skill=t.text("skill"),
        unsupervised=t.word("unsupervised", a.UNSUPERVISED),
        holds_strip=t.flag("holds_strip"),
        layouts=tuple(map(_layout, t.tables("layout"))),
        caller=_caller(_inner(t, "caller")) if t.has("caller") else None,
        home=_home(_inner(t, "home")) if t.has("home") else None,
    )
    t.done()
    _check(t, made, path)
    return made


def _inner(t: Table, key: str) -> Table:
    return Table(t.table(key), f"{t.where}: {key}")


def _needed(t: Table, key: str) -> Decimal:
    value = t.number(key)
    if value is None:
        raise t.wrong(key, "is missing")
    return value


def _grade(t: Table) -> Grade:
    made = Grade(
        what=t.text("what"),
        unit=t.word("unit", a.GRADE_UNITS),
        start=_needed(t, "start"),
        step=_needed(t, "step"),
        easiest=_needed(t, "easiest"),
        hardest=_needed(t, "hardest"),
        dimension=t.word("dimension", a.DIMENSIONS),
        rungs=t.words("rungs"),
    )
    if not made.within(made.start):
        raise t.wrong("start", "lies outside easiest to hardest")
    if (made.hardest - made.easiest) * made.step <= 0:
        raise t.wrong("step", "does not lead from easiest to hardest")
    if (made.unit in a.NAMED_UNITS) != bool(made.rungs):
        raise t.wrong("rungs", "a rung or level has its conditions in words")
    if made.rungs and len(made.rungs) != max(made.easiest, made.hardest):
        raise t.wrong("rungs", "must be one for each grade")
    t.done()
    return made


def _dose(t: Table) -> Dose:
    made = Dose(
        sets=t.whole("sets") or 0,
        amount=t.text("amount"),
        rest_s=t.whole("rest_s") or 0,
        set_s=t.whole("set_s") or 0,
        basis=t.text("basis"),
        how=t.word("how", HOWS),
        sources=t.words("sources"),
        target=t.whole("target"),
        target_of=t.text("target_of", ""),
    )
    if made.sets < 1 or made.set_s < 5:
        raise t.wrong("sets", "a dose has sets, and a set its seconds (set_s)")
    if (made.target is None) == bool(made.target_of):
        raise t.wrong("target", "target and target_of belong together")
    t.done()
    return made


def _layout(t: Table) -> Layout:
    made = Layout(
        shape=t.word("shape", strip.SIZES),  # type: ignore[arg-type]
        where=t.word("where", strip.WHERE, "floor"),
        length=t.number("length"),
        gap=t.number("gap"),
        side=t.number("side"),
        radius=t.number("radius"),
        round=t.number("round"),
        zero=t.word("zero", strip.ZEROS, ""),
        marks=t.numbers("marks"),
        graded=t.text("graded", ""),
        note=t.text("note", ""),
    )
    sizes = strip.SIZES[made.shape]
    for size in ("length", "gap", "side", "radius", "round"):
        if (getattr(made, size) is not None) != (size in sizes):
            raise t.wrong(size, f"a {made.shape} has {', '.join(sizes) or 'no size'}")
    if made.graded and made.graded not in sizes:
        raise t.wrong("graded", f"a {made.shape} has no {made.graded}")
    t.done()
    return made


def _caller(t: Table) -> Caller:
    made = Caller(
        kind=t.word("kind", a.CALLERS),
        choices=t.words("choices"),
        pace_s=t.number("pace_s") or Decimal(2),
        calls=t.whole("calls") or 10,
        graded=t.word("graded", ("", "choices", "length"), ""),  # type: ignore[arg-type]
    )
    t.done()
    return made


def _home(t: Table) -> HomeWords:
    made = HomeWords(t.text("name"), t.words("steps"))
    if not made.steps:
        raise t.wrong("steps", "is missing")
    t.done()
    return made


def _check(t: Table, made: Activity, path: Path) -> None:
    """What must agree within one file."""
    if not _ID.fullmatch(made.id) or not path.stem.startswith(f"{made.id.lower()}_"):
        raise t.wrong("id", "one letter, two digits, and the file is named for it")
    _check_lays(t, made)
    for key in ("icf", "steps", "count", "needs", "answers", "layouts"):
        if not getattr(made, key):
            raise t.wrong(key, "is missing")
    both = set(made.must_not) & set(made.caution)
    if both:
        raise t.wrong("caution", f"{sorted(both)[0]} is in must_not too")
    if (made.home is not None) != (made.unsupervised == "trained_helper"):
        raise t.wrong("home", "is for activities with a trained helper, and no others")
    if made.holds_strip and "ligature_risk" not in made.must_not:
        raise t.wrong("must_not", "ligature_risk, since the patient holds the strip")
    loads = made.position == "standing" or {*made.must_not} & {*WEIGHT_ORDERS}
    if loads and "wb_unknown" not in made.must_not:
        raise t.wrong("must_not", "wb_unknown, since a leg is loaded")


def _check_lays(t: Table, made: Activity) -> None:
    """One strip is enough at every grade; a grade that sets a size is in inches."""
    for lay in made.layouts:
        if lay.graded and made.grade.unit != "in":
            raise t.wrong(
                "layout", f"a grade in {made.grade.unit} sets no {lay.graded}"
            )
        for grade in (made.grade.easiest, made.grade.hardest):
            at_grade = lay.at(grade)
            if not strip.fits(at_grade):
                raise t.wrong("layout", _too_long(at_grade))


def _too_long(lay: Layout) -> str:
    name = lay.graded or strip.SIZES[lay.shape][0]
    takes, most = strip.whole(strip.used(lay)), strip.largest(lay, name)
    return (
        f"a {lay.shape} of {name} {lay.size(name)} in takes {takes} of "
        f"{strip.STRIP_IN} in; {most} in is the largest that fits"
    )


def check_answers(
    activities: Mapping[str, Activity], deficits: Mapping[str, Any]
) -> None:
    """Every activity answers deficits that there are, and each has an activity."""
    for made in activities.values():
        for key in made.answers:
            if key not in deficits:
                raise CatalogueError(f"activity {made.id}: answers: no deficit {key!r}")
    answered = {key for made in activities.values() for key in made.answers}
    for key in deficits:
        if key not in answered:
            raise CatalogueError(f"deficits.toml: {key}: no activity answers it")
