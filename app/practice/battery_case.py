"""An invented person doing a battery: its parts by their own tests, and how each went.

Each part is scored by the real rule of its own test; the points and the total are what
the real rule of the battery makes of them.
"""

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Final

from app.clinical.composing import why_not
from app.clinical.composite import Band, Component
from app.clinical.measure import Measure
from app.clinical.quantities import words
from app.clinical.scores import Score, Trial
from app.clinical.scoring import score
from app.clinical.setup import fact_words
from app.clinical.vocabulary import UNABLE_REASONS
from app.practice.draws import Draws, cut
from app.practice.scoring_case import (
    BEFORE,
    ScoringCase,
    Tried,
    example,
    often_at,
    person_near,
)

#: Seconds of the walk over 4 m and of five stands that are drawn, invented; a walk over
#: another course takes as much longer or shorter.
_WALK: Final = (3.6, 9.5)
_CHAIR: Final = (9.5, 19.0)
_METRES: Final = 4.0
#: How a part can be done another way, by its test; such a part gives no points.
_OTHER_WAY: Final[Mapping[str, tuple[str, str]]] = {
    "four_stage_balance": ("device", "cane"),
    "gait_speed": ("start", "dynamic"),
    "five_times_sit_to_stand": ("arms_used", "yes"),
}
_NOT_DONE: Final = Trial("not_done", reason="there was no time left")


def makes(measure: Measure, shelf: Mapping[str, Measure]) -> bool:
    """Whether it is a battery of points whose parts are all tests that can be drawn."""
    parts = {c.measure for c in measure.components}
    return measure.formula == "points" and parts <= set(_OTHER_WAY) & set(shelf)


def battery_case(
    measure: Measure, level: int, seed: int, shelf: Mapping[str, Measure]
) -> ScoringCase:
    """The parts of this day and of an earlier one."""
    draws, often = Draws(seed), often_at(level)
    row = example(measure, draws)
    person = person_near(row, draws, often["more_of_person"])
    facts = _facts(measure, draws)
    before_facts = dict(facts)
    if draws.happens(often["off"]):
        facts["seat_height"] = before_facts["seat_height"] = "20 in"
    if draws.happens(often["other_before"]):
        courses = [c for c in _courses(measure) if c != facts["course"]]
        before_facts["course"] = draws.one(courses)
    fit, (low, high) = draws.between(0.0, 1.0), draws.one(BEFORE)
    spoilt = _spoilt(measure, draws, often)
    now = _parts(measure, shelf, facts, fit, draws, spoilt)
    then = _parts(
        measure, shelf, before_facts, min(fit * (low + high) / 2, 1), draws, {}
    )
    unable = draws.happens(often["unable_before"])
    tried = tuple(
        Tried(Trial(), _told(shelf[c.measure], c, now[c.measure]))
        for c in measure.components
    )
    return ScoringCase(
        measure=measure, person=person, variant=measure.variants[0], facts=facts,
        tried=tried, before_facts=before_facts,
        before=(Trial("unable", reason="physical"),) if unable else (),
        paired=now, before_paired=then,
    )  # fmt: skip


def _courses(measure: Measure) -> list[str]:
    """Courses whose points were read: those that are recalled are not asked about."""
    walk = next(c for c in measure.components if c.by == "course")
    recalled = {band.quantity for band in measure.bands if band.how == "memory"}
    return [course for course, table in walk.bands.items() if table not in recalled]


def _facts(measure: Measure, draws: Draws) -> dict[str, str]:
    """What the parts hand on to the battery."""
    return {
        "course": draws.one(_courses(measure)),
        "device": draws.one(("none", "none", "cane")),
        "seat_height": draws.one(("17 in", "17.5 in", "18 in")),
        "stop": "standing",
    }


def _spoilt(
    measure: Measure, draws: Draws, often: Mapping[str, float]
) -> dict[str, str]:
    """What went otherwise, by the part's test: `unable`, `other_way` or `not_done`."""
    ways = {"unable": "unable", "other_way": "other_before", "not_done": "few"}
    found = {}
    for what, chance in ways.items():
        part = draws.one(measure.components).measure
        if draws.happens(often[chance]):
            found[part] = what
    return found


def _parts(
    measure: Measure, shelf: Mapping[str, Measure], facts: Mapping[str, str],
    fit: float, draws: Draws, spoilt: Mapping[str, str],
) -> dict[str, Score]:  # fmt: skip
    """Each part scored by its own test; `fit` from 0 (slow) to 1."""
    found = {}
    for component in measure.components:
        test = shelf[component.measure]
        own = {k: v[0] for k, v in component.requires.items()}
        own |= {k: facts[k] for k in component.carries}
        trials = _trials(test, own, fit, draws)
        what = spoilt.get(test.id, "")
        if what == "unable":
            trials = [Trial("unable", reason="physical")]
        if what == "not_done":
            trials = [_NOT_DONE]
        if what == "other_way":
            key, value = _OTHER_WAY[test.id]
            own[key] = value
        found[test.id] = score(test, trials, variant=_variant(test), facts=own)
    return found


def _variant(test: Measure) -> str:
    """The rule under which the battery takes this part."""
    wanted = ("three", "best_of_two", "single")
    return next(v.id for name in wanted for v in test.variants if v.id == name)


def _trials(
    test: Measure, facts: Mapping[str, str], fit: float, draws: Draws
) -> list[Trial]:
    near = min(max(fit + draws.between(-0.25, 0.25), 0.0), 1.0)
    if test.stages:
        return _stances(test, near, draws)
    low, high = _WALK if test.kind == "speed" else _CHAIR
    seconds = high - (high - low) * near
    if test.kind == "speed":
        seconds *= float(test.course[facts["course"]]) / _METRES
    times = 2 if test.kind == "speed" else 1
    return [
        Trial("completed", cut(seconds * draws.between(0.96, 1.04), 2), "s")
        for _ in range(times)
    ]


def _stances(test: Measure, near: float, draws: Draws) -> list[Trial]:
    """Held until one is missed; the fitter, the later."""
    stages = test.stages[: test.variant(_variant(test)).of]
    missed = min(int(near * (len(stages) + 1)), len(stages))
    trials = [Trial("completed", stage.hold, "s") for stage in stages[:missed]]
    if missed < len(stages):
        short = cut(draws.between(1.2, 9.6), 2)
        trials.append(Trial("completed", short, "s"))
    return trials


def _told(test: Measure, component: Component, found: Score) -> str:
    """`walk part: 5.20 s and 5.34 s; course 4 m, start standing at the line`."""
    if found.outcome == "unable":
        said = f"unable: {UNABLE_REASONS[found.reason]}"
    elif found.outcome != "completed":
        said = f"not done: {_NOT_DONE.reason}"
    elif test.stages:
        held = zip(test.stages, found.trials, strict=False)
        said = ", ".join(f"{stage.label} {_seconds(t.value)}" for stage, t in held)
    else:
        said = " and ".join(_seconds(t.value) for t in found.trials)
    keys = [*component.requires, *component.carries]
    facts = [
        fact_words(fact, found.facts[key])
        for key in dict.fromkeys(keys)
        if (fact := test.fact(key)) and key != "assistance" and key in found.facts
    ]
    return f"{component.label}: {said} ({'; '.join(facts)})"


def _seconds(value: Decimal | None) -> str:
    return words(value or Decimal(0), "s")


def part_rule(component: Component, found: Score) -> tuple[bool, str, str]:
    """Whether a part gives points, the rule of that, and why."""
    lack = why_not(component, found)
    if not lack:
        if found.outcome == "unable":
            why = "It could not be done: that is worth 0, and the total stands."
            return True, "unable_part_zero", why
        return True, "part_counts", "Done as the battery asks for it."
    if found.outcome not in ("completed", "unable"):
        return False, "part_missing", f"It was {lack}."
    return False, "part_other_way", f"It was {lack}: no points are published for it."


def tables(case: ScoringCase) -> tuple[str, ...]:
    """The published points that this total is made with, table by table."""
    wanted: list[str] = []
    for component in case.measure.components:
        wanted += component.stages
        by = case.facts.get(component.by, "") if component.by else ""
        wanted += [component.bands[by]] if component.bands else []
    return tuple(_table(case.measure.bands, name) for name in wanted)


def _table(bands: tuple[Band, ...], name: str) -> str:
    rows = [b for b in bands if b.quantity == name]
    told = (f"{b.points} {_span(b)}" for b in sorted(rows, key=lambda b: -b.points))
    return f"Points, {name.replace('_', ' ')}: {'; '.join(told)}"


def _span(band: Band) -> str:
    low, high = band.low, band.high
    above = "from" if band.low_inside else "above"
    below = "to" if band.high_inside else "below"
    if low is None and high is None:
        return "when unable"
    if low is None:
        return f"{'up to' if band.high_inside else 'below'} {high} s"
    if high is None:
        return f"{above} {low} s"
    return f"{above} {low} {below} {high} s"


def without(case: ScoringCase, part: str) -> ScoringCase:
    """The same with a part left out, to see whether the total needs it."""
    left = {key: value for key, value in case.paired.items() if key != part}
    return replace(case, paired=left)
