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

    A stage that could not be taken up counts as missed and has no seconds; unable at
    the first is unable. `rule.of` is the last stage the rule asks for.
    """
    trials = [t for t in blank.trials if t.outcome in ("completed", "unable")]
    ended = [t for t in blank.trials if t.outcome not in ("completed", "unable")]
    stages = measure.stages[: rule.of]
    parts: dict[str, Part] = {}
    for number, (stage, trial) in enumerate(zip(stages, trials, strict=False)):
        if trial.outcome == "unable" and number == 0:
            return None
        if trial.outcome == "completed" and trial.value is not None:
            parts[stage.id] = Part(Fraction(trial.value), "s", stage.label)
        if not is_held(stage, trial):
            parts |= _sum_of(measure, parts)
            return _with(blank, "stages", Fraction(number), parts)
    if len(trials) >= len(stages):
        parts |= _sum_of(measure, parts)
        return _with(blank, "stages", Fraction(len(stages)), parts)
    if ended or not trials:
        return None
    raise TooFewTrials(len(trials), len(stages), rule.label)


def _sum_of(measure: Measure, parts: Mapping[str, Part]) -> dict[str, Part]:
    """The seconds of all stages together, each to its hold, once all were timed."""
    if any(stage.id not in parts for stage in measure.stages):
        return {}
    holds = {stage.id: Fraction(stage.hold) for stage in measure.stages}
    total = sum((min(parts[k].value, holds[k]) for k in holds), Fraction(0))
    return {"sum_of_stages": Part(total, "s", "sum of the stage times")}


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

    A rise is below zero. Judged on the readings of 1 and 3 minutes of standing; on the
    one taken at once, or on sitting up, only when nothing later was reached, and the
    fact `reached` says so. A fall on sitting is never called one on standing.
    """
    done = [t for t in blank.trials if t.outcome == "completed" and t.value is not None]
    stopped = any(t.outcome == "stopped" for t in blank.trials)
    if len(done) < 2 or (len(done) < rule.of and not stopped):
        if done and not stopped:
            raise TooFewTrials(len(done), rule.of, rule.label)
        return None
    first, start = done[0], done[0].inputs.get("when", "")
    if start not in ("lying", "sitting"):
        raise NotScorable("The first reading is taken lying or sitting: say which.")
    after = {place: _taken(done[1:], whens) for place, whens in _PLACES.items()}
    if start == "sitting":
        after["sitting"] = []  # the same position again is no change of it
    reached = next((place for place, readings in after.items() if readings), "")
    if not reached:
        raise NotScorable("Still missing: a reading after sitting or standing up.")
    parts = _pressures(first, after) | _beside_the_fall(first, after[reached], reached)
    facts = {**blank.facts, "start": start, "reached": reached}
    largest = max(_drops(first, after[reached]))
    return _with(replace(blank, facts=facts), "mmHg", largest, parts)


#: Readings after the first, the most telling place first.
_PLACES: Final[Mapping[str, tuple[str, ...]]] = {
    "standing": ("standing_1", "standing_3"),
    "at_once": ("at_once",),
    "sitting": ("sitting",),
}


def _taken(readings: Sequence[Trial], whens: Sequence[str]) -> list[Trial]:
    return [t for t in readings if t.inputs.get("when") in whens]


def _drops(first: Trial, later: Sequence[Trial]) -> list[Fraction]:
    start = Fraction(first.value or 0)
    return [start - Fraction(t.value or 0) for t in later]


def _pressures(first: Trial, after: Mapping[str, Sequence[Trial]]) -> dict[str, Part]:
    """What was read at the start, the lowest standing pressure, and early falls."""
    systolic = Fraction(first.value or 0)
    parts = {"lying_systolic": Part(systolic, "mmHg", "first systolic pressure")}
    if first.inputs.get("diastolic"):
        diastolic = Fraction(first.inputs["diastolic"])
        label = "first diastolic pressure"
        parts["lying_diastolic"] = Part(diastolic, "mmHg", label)
    upright = [*after["standing"], *after["at_once"]]
    if upright:
        lowest = systolic - max(_drops(first, upright))
        label = "lowest standing systolic pressure"
        parts["standing_systolic"] = Part(lowest, "mmHg", label)
    for place, words in (("at_once", "at once"), ("sitting", "on sitting up")):
        drops = _drops(first, after[place])
        if drops:
            label = f"fall of systolic pressure {words}"
            parts[f"systolic_drop_{place}"] = Part(max(drops), "mmHg", label)
        fallen = _diastolic_drops(first, after[place])
        if fallen:
            label = f"fall of diastolic pressure {words}"
            parts[f"diastolic_drop_{place}"] = Part(max(fallen), "mmHg", label)
    return parts


def _beside_the_fall(
    first: Trial, later: Sequence[Trial], reached: str
) -> dict[str, Part]:
    """Diastolic pressure and pulse on standing, where they were taken both times.

    The ratio is of one reading: the one with the largest systolic fall.
    """
    parts: dict[str, Part] = {}
    if reached == "sitting":
        return parts
    fallen = _diastolic_drops(first, later)
    if fallen:
        label = "fall of diastolic pressure"
        parts["diastolic_drop"] = Part(max(fallen), "mmHg", label)
    beats = [
        (_drops(first, [t])[0], rise)
        for t in later
        for rise in _changes(first, [t], "pulse")
    ]
    if beats:
        fastest = max(rise for _, rise in beats)
        parts["heart_rate_rise"] = Part(fastest, "bpm", "rise of the pulse")
        drop, rise = max(beats)
        if drop > 0:
            label = "pulse rise over systolic fall"
            parts["hr_sbp_ratio"] = Part(rise / drop, "bpm/mmHg", label)
    return parts


def _diastolic_drops(first: Trial, later: Sequence[Trial]) -> list[Fraction]:
    return [-change for change in _changes(first, later, "diastolic")]


def _changes(first: Trial, later: Sequence[Trial], key: str) -> list[Fraction]:
    """Later minus first, where both were taken."""
    if not first.inputs.get(key):
        return []
    start = Fraction(first.inputs[key])
    return [Fraction(t.inputs[key]) - start for t in later if t.inputs.get(key)]


def made(
    measure: Measure, _rule: Variant, blank: Score, paired: Paired, body: Body
) -> Score | None:
    """A composite from tests of the same day, each under its own rule.

    What is said of the whole, unable too, stands: a total is never made against it.
    """
    if any(t.outcome != "completed" for t in blank.trials):
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
    carried: dict[str, str] = {}
    for component in measure.components:
        found = paired.get(component.measure)
        lack = "not done today" if found is None else why_not(component, found)
        if lack or found is None:
            missing.append(f"{component.label}: {lack}")
            continue
        worth = _worth(measure, component, found)
        parts[component.id] = Part(Fraction(worth), "points", component.label)
        carried |= _carried(component, found)
    if missing:
        raise NotScorable("Still missing: " + "; ".join(missing) + ".")
    total = sum((part.value for part in parts.values()), Fraction(0))
    whole = replace(blank, facts={**blank.facts, **carried})
    return _with(whole, "points", total, parts)


def _carried(component: Component, found: Score) -> dict[str, str]:
    """How a part was done, as far as the composite keeps it: two are then compared
    only when they were made alike."""
    return {k: found.facts[k] for k in component.carries if k in found.facts}


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
        # What it was made from is a fact: stands of two kinds are no change.
        facts = {**_carried(component, found), "made_from": component.measure}
        whole = replace(blank, facts={**blank.facts, **facts})
        return _with(whole, "W/kg", power, parts)
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
    return convert(Fraction(number), unit, "m")


Rule = Callable[[Measure, Variant, Score, Paired, Body], Score | None]
OTHER_RULES: Final[Mapping[str, Rule]] = {"held": held, "fall": fall, "made": made}


def best_part(measure: Measure, other: str, scores: Sequence[Score]) -> Score | None:
    """Of a day's scores of another test the latest that fits, else the latest."""
    asked = [c for c in measure.components if c.measure == other]
    fitting = [s for s in scores if asked and not any(why_not(c, s) for c in asked)]
    pool = fitting or list(scores)
    return pool[-1] if pool else None
