"""Tables of tests that are made of stages, walks over a course, or other tests."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from app.catalogue.fields import CatalogueError, Table
from app.clinical import vocabulary as words
from app.clinical.composite import Band, Component, Stage, most_points
from app.clinical.measure import Measure


def parts_of(t: Table) -> dict[str, Any]:
    """Everything of a measure's file that says how a score is put together."""
    return {
        "course": _course(t),
        "ceiling_fact": t.text("ceiling_fact", ""),
        "formula": t.word("formula", ("", "points", "relative_power"), ""),
        "stages": tuple(map(_stage, t.tables("stage"))),
        "components": tuple(map(_component, t.tables("component"))),
        "bands": tuple(map(_band, t.tables("band"))),
    }


def _course(t: Table) -> dict[str, Decimal]:
    """Metres of each course, exactly: 10 ft are 3.048 m."""
    inner = Table(t.table("course"), f"{t.where}: course")
    found: dict[str, Decimal] = {}
    for name in inner.left():
        metres = inner.number(name)
        if metres is None or metres <= 0:
            raise inner.wrong(name, "must be metres above zero")
        found[name] = metres
    return found


def _stage(t: Table) -> Stage:
    hold = t.number("hold")
    if hold is None or hold <= 0:
        raise t.wrong("hold", "must be seconds above zero")
    made = Stage(t.text("id"), t.text("label"), hold)
    t.done()
    return made


def _component(t: Table) -> Component:
    takes = ("stages", "fastest", "seconds", "count")
    bands = {name: texts[0] for name, texts in t.lists("bands").items()}
    if t.has("band"):
        bands[""] = t.text("band")
    made = Component(
        id=t.text("id"),
        label=t.text("label"),
        measure=t.text("measure"),
        take=t.word("take", takes),  # type: ignore[arg-type]
        requires=t.lists("requires"),
        by=t.text("by", ""),
        bands=bands,
        stages=t.words("stages"),
        carries=t.words("carries"),
    )
    if (made.take == "stages") != bool(made.stages):
        raise t.wrong("stages", "name the stages that are taken, and only those")
    t.done()
    return made


def _band(t: Table) -> Band:
    worth = t.whole("points")
    if worth is None or worth < 0:
        raise t.wrong("points", "must be a whole number, 0 or more")
    made = Band(
        quantity=t.text("quantity"),
        points=worth,
        low=t.number("low"),
        high=t.number("high"),
        low_inside=t.flag("low_inside", True),
        high_inside=t.flag("high_inside", True),
        how=t.word("how", words.HOWS),  # type: ignore[arg-type]
        source=t.text("source"),
        note=t.text("note", ""),
    )
    t.done()
    return made


def check_parts(m: Measure, name: str, others: Mapping[str, Measure]) -> None:
    """What a composite names must be there: tests, their stages and facts, tables."""
    tables = {band.quantity for band in m.bands}
    for c in m.components:
        other = others.get(c.measure)
        where = f"{name}: component {c.id}"
        if other is None:
            raise CatalogueError(f"{where}: no measure {c.measure!r}")
        if m.formula == "points" and not {*c.stages, *c.bands.values()} <= tables:
            raise CatalogueError(f"{where}: a table of points is missing")
        if not set(c.stages) <= {stage.id for stage in other.stages}:
            raise CatalogueError(f"{where}: {c.measure} has no such stage")
        for key in c.carries:
            if other.fact(key) is None or m.fact(key) is None:
                raise CatalogueError(f"{where}: carries: {key!r} is no fact of both")
        for key, values in (*c.requires.items(), *_by(c)):
            fact = other.fact(key)
            if fact is None or not set(values) <= set(fact.options):
                raise CatalogueError(f"{where}: {key}: unknown fact or value")
    if m.formula == "points":
        _check_no_stand_in(m, name)


def _check_no_stand_in(m: Measure, name: str) -> None:
    """A limit at the most points there are stands for "per point", which is none."""
    most = most_points(m.components, m.bands)
    for row in m.cutoffs:
        if row.fit.quantity == "score" and row.value >= most:
            raise CatalogueError(
                f"{name}: {row.key}: value: {row.value} is the most there is and "
                "stands in for 'per point': write a [[protocol]] row"
            )


def _by(c: Component) -> list[tuple[str, tuple[str, ...]]]:
    return [(c.by, tuple(c.bands))] if c.by else []


def check_kind(m: Measure, name: str) -> None:
    """A kind and what it needs go together."""
    course = m.fact("course")
    asks = {
        "course: a speed, and only it, has a course": (m.kind == "speed")
        == bool(m.course),
        "stage: stages, and only they, have stages": (m.kind == "stages")
        == bool(m.stages),
        "guide: show: one line for each stage, in their order": not m.stages
        or len(m.guide.show) == len(m.stages),
        "component: a composite, and only it, has components": (m.kind == "composite")
        == bool(m.components)
        == bool(m.formula),
        "window_seconds: only a count has a window": not m.window_seconds
        or m.kind == "count",
        "ceiling_seconds: only a time has a ceiling": not (
            m.ceiling_seconds or m.ceiling_fact
        )
        or m.kind == "time",
        "ceiling_fact: must be a fact whose values are seconds": not m.ceiling_fact
        or _is_seconds(m),
        "course: every course must be a value of the fact": not m.course
        or (course is not None and set(course.options) == set(m.course)),
    }
    for says, fine in asks.items():
        if not fine:
            raise CatalogueError(f"{name}: {says}")


def _is_seconds(m: Measure) -> bool:
    fact = m.fact(m.ceiling_fact)
    return fact is not None and all(value.isdigit() for value in fact.options)
