"""Scores that are no mean and no best of like trials: stages, falls of pressure, parts.

Each rule takes what was done and gives a score, or None while nothing was; it raises
NotScorable with what is missing. Unable is never zero, but a part that could not be
done is worth no points where the published table says so.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Final

from app.clinical.composite import (
    BAND_PLACES,
    Component,
    Impossible,
    Stage,
    relative_power,
)
from app.clinical.composite import points as points_of
from app.clinical.measure import Measure, Variant
from app.clinical.quantities import convert, rounded
from app.clinical.scores import NotScorable, Part, Score, TooFewTrials, Trial
from app.clinical.setup import length

Paired = Mapping[str, Score]
Body = Mapping[str, Fraction]


def held(
    measure: Measure, rule: Variant, blank: Score, _paired: Paired, _body: Body
) -> Score | None:
    """How many stages were held, in their order; the first one missed ends the test.

    A stage that could not be taken up counts as missed; unable at the first is unable.
    `rule.of` is the last stage the rule asks for.
    """
    trials = [t for t in blank.trials if t.outcome in ("completed", "unable")]
    ended = [t for t in blank.trials if t.outcome not in ("completed", "unable")]
    stages = measure.stages[: rule.of]
    parts: dict[str, Part] = {}
    for number, (stage, trial) in enumerate(zip(stages, trials, strict=False)):
        if trial.outcome == "unable" and number == 0:
            return None
        seconds = Fraction(trial.value or 0)
        parts[stage.id] = Part(seconds, "s", stage.label)
        if not is_held(stage, trial):
            return _with(blank, "stages", Fraction(number), parts)
    if len(trials) >= len(stages):
        return _with(blank, "stages", Fraction(len(stages)), parts)
    if ended or not trials:
        return None
    raise TooFewTrials(len(trials), len(stages), rule.label)


def is_held(stage: Stage, trial: Trial) -> bool:
    """Whether the whole hold was reached, to a hundredth of a second."""
    if trial.outcome != "completed" or trial.value is None:
        return False
    return rounded(trial.value, BAND_PLACES) >= stage.hold


def _with(blank: Score, unit: str, value: Fraction, parts: Mapping[str, Part]) -> Score:
    return replace(blank, unit=unit, value=value, parts=parts)


def fall(
    _measure: Measure, rule: Variant, blank: Score, _paired: Paired, _body: Body
) -> Score | None:
    """The largest fall of systolic pressure from the first reading, mmHg.

    A rise is below zero. Beside it: the fall of diastolic pressure, the rise of the
    pulse, the lowest standing systolic pressure, the first systolic pressure and, when
    there was a fall, pulse rise over systolic fall.
    """
    done = [t for t in blank.trials if t.outcome == "completed" and t.value is not None]
    stopped = any(t.outcome == "stopped" for t in blank.trials)
    if len(done) < 2 or (len(done) < rule.of and not stopped):
        if done and not stopped:
            raise TooFewTrials(len(done), rule.of, rule.label)
        return None
    first, later = done[0], done[1:]
    systolic = Fraction(first.value or 0)
    drops = [systolic - Fraction(t.value or 0) for t in later]
    parts = {
        "lying_systolic": Part(systolic, "mmHg", "first systolic pressure"),
        "standing_systolic": Part(
            systolic - max(drops), "mmHg", "lowest systolic pressure afterwards"
        ),
    }
    for trial, drop in zip(later, drops, strict=True):
        if trial.inputs.get("when") == "at_once":
            label = "fall of systolic pressure at once"
            parts["systolic_drop_at_once"] = Part(drop, "mmHg", label)
    parts |= _beside_the_fall(first, later, max(drops))
    return _with(blank, "mmHg", max(drops), parts)


def _beside_the_fall(
    first: Trial, later: Sequence[Trial], drop: Fraction
) -> dict[str, Part]:
    """Diastolic pressure and pulse, where they were taken both times."""
    parts = {}
    diastolic = _changes(first, later, "diastolic")
    if diastolic:
        largest = -min(diastolic)
        parts["diastolic_drop"] = Part(largest, "mmHg", "fall of diastolic pressure")
    pulse = _changes(first, later, "pulse")
    if pulse:
        parts["heart_rate_rise"] = Part(max(pulse), "bpm", "rise of the pulse")
        if drop > 0:
            label = "pulse rise over systolic fall"
            parts["hr_sbp_ratio"] = Part(max(pulse) / drop, "bpm/mmHg", label)
    return parts


def _changes(first: Trial, later: Sequence[Trial], key: str) -> list[Fraction]:
    """Later minus first, where both were taken."""
    if not first.inputs.get(key):
        return []
    start = Fraction(first.inputs[key])
    return [Fraction(t.inputs[key]) - start for t in later if t.inputs.get(key)]


def made(
    measure: Measure, _rule: Variant, blank: Score, paired: Paired, body: Body
) -> Score | None:
    """A composite from tests of the same day, each under its own rule."""
    if any(t.outcome in ("declined", "not_done", "stopped") for t in blank.trials):
        return None
    try:
        if measure.formula == "relative_power":
            return _power(measure, blank, paired, body)
        return _points(measure, blank, paired)
    except Impossible as fault:
        raise NotScorable(str(fault)) from fault


def _points(measure: Measure, blank: Score, paired: Paired) -> Score:
    """Points of every part, or what is missing: a total never has a hole in it."""
    missing: list[str] = []
    parts: dict[str, Part] = {}
    for component in measure.components:
        found = paired.get(component.measure)
        lack = "not done today" if found is None else why_not(component, found)
        if lack or found is None:
            missing.append(f"{component.label}: {lack}")
            continue
        worth = _worth(measure, component, found)
        parts[component.id] = Part(Fraction(worth), "points", component.label)
    if missing:
        raise NotScorable("Still missing: " + "; ".join(missing) + ".")
    total = sum((part.value for part in parts.values()), Fraction(0))
    return _with(blank, "points", total, parts)


def why_not(component: Component, found: Score) -> str:
    """Why a score of today cannot be this part; empty when it can.

    A set-up fact that nobody stated is taken as the part asks for it.
    """
    if found.outcome not in ("completed", "unable"):
        return f"{found.outcome.replace('_', ' ')}, so the total stays open"
    off = [
        f"{key.replace('_', ' ')} {found.facts[key]}"
        for key, wanted in component.requires.items()
        if found.facts.get(key, wanted[0]) not in wanted
    ]
    if off:
        return "done another way today (" + ", ".join(off) + ")"
    graded = component.by and found.outcome == "completed"
    if graded and found.facts.get(component.by) not in component.bands:
        said = found.facts.get(component.by) or "not stated"
        return f"no published points for {component.by} {said}"
    return ""


def _worth(measure: Measure, component: Component, found: Score) -> int:
    if component.take == "stages":
        return sum(
            points_of(
                measure.bands,
                stage,
                found.parts[stage].value if stage in found.parts else None,
            )
            for stage in component.stages
        )
    seconds = _seconds(component, found)
    if seconds is None:
        return 0  # unable: every published table gives no points for it
    table = component.bands[found.facts[component.by] if component.by else ""]
    return points_of(measure.bands, table, seconds)


def _seconds(component: Component, found: Score) -> Fraction | None:
    """The time a part is judged on; None for unable."""
    if found.value is None:
        return None
    if component.take == "seconds":
        return found.value
    times = [
        Fraction(t.value)
        for t in found.trials
        if t.outcome == "completed" and t.value is not None and t.unit == "s"
    ]
    if not times:
        raise NotScorable(f"{component.label}: its times are not known.")
    return min(times)


def _power(measure: Measure, blank: Score, paired: Paired, body: Body) -> Score:
    """W/kg from the first of the components that was done; watts with the mass."""
    for component in measure.components:
        found = paired.get(component.measure)
        if found is None or found.value is None or why_not(component, found):
            continue
        if found.value == 0:
            raise NotScorable("No stand was completed: there is no power to compute.")
        cycle = 30 / found.value if component.take == "count" else found.value / 5
        power = relative_power(_height(body), _seat(found), cycle)
        parts = {"from_" + component.measure: Part(power, "W/kg", component.label)}
        if "weight" in body:
            parts["power"] = Part(power * body["weight"], "W", "power, both legs")
        return replace(_with(blank, "W/kg", power, parts), facts=found.facts)
    wanted = " or ".join(component.label for component in measure.components)
    raise NotScorable(f"Still missing: {wanted}, done today without the arms.")


def _height(body: Body) -> Fraction:
    if "height" not in body:
        raise NotScorable("Still missing: the body height.")
    return body["height"]


def _seat(found: Score) -> Fraction:
    """The seat's height in metres, as it was written down with the stands."""
    if "seat_height" not in found.facts:
        raise NotScorable("Still missing: the height of the seat that was used.")
    number, unit = length(found.facts["seat_height"])
    return convert(Fraction(number), unit, "cm") / 100


Rule = Callable[[Measure, Variant, Score, Paired, Body], Score | None]
OTHER_RULES: Final[Mapping[str, Rule]] = {"held": held, "fall": fall, "made": made}


def best_part(measure: Measure, other: str, scores: Sequence[Score]) -> Score | None:
    """Of a day's scores of another test the latest that fits, else the latest."""
    asked = [c for c in measure.components if c.measure == other]
    fitting = [s for s in scores if asked and not any(why_not(c, s) for c in asked)]
    pool = fitting or list(scores)
    return pool[-1] if pool else None
