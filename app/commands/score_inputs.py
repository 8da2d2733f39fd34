"""`--input name=value`: what is no timed or measured trial, in the names it may have.

Pressures and stages become trials; parts of a composite and the body become what it is
computed with.
"""

import re
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from typing import Final

from app.catalogue.load import Catalogue
from app.clinical.composite import Component
from app.clinical.measure import Input, Measure
from app.clinical.quantities import parse
from app.clinical.scoring import Score, Trial, read_any_trial, read_trial
from app.clinical.scoring import score as make_score
from app.clinical.setup import read_facts
from app.commands.refused import Refused

#: What is read of a cuff, by the words it may be called.
READ: Final = {
    "systolic": ("systolic", "sbp", "sys"),
    "diastolic": ("diastolic", "dbp", "dia"),
    "pulse": ("pulse", "hr", "heart", "rate", "bpm"),
}
#: Other names of what is asked of the body.
BODY: Final = {
    "height": ("height", "body_height", "standing_height"),
    "weight": ("weight", "mass", "body_mass", "body_weight"),
}
_SIZE: Final = re.compile(r"(\d{1,3}(?:\.\d{1,3})?) ?(m|cm|in|kg|lb)?", re.ASCII)


def input_names(measure: Measure) -> list[str]:
    """Every name that `--input` knows for a measure, for help and refusals."""
    if measure.kind == "stages":
        return [stage.id for stage in measure.stages]
    if measure.kind == "pressure":
        return [f"{when}_{what}" for when in _positions(measure) for what in READ]
    if measure.kind == "composite":
        names = [n for c in measure.components for n in (c.stages or (c.id,))]
        return [*names, *(BODY if measure.formula == "relative_power" else ())]
    return [wanted.key for wanted in measure.inputs]


def trials_of(measure: Measure, given: Mapping[str, str]) -> list[Trial]:
    """The trials that inputs stand for; empty for a measure that has none such."""
    if measure.kind == "stages":
        _known(measure, given)
        return [
            _stage_trial(measure, given[stage.id])
            for stage in measure.stages
            if stage.id in given
        ]
    if measure.kind == "pressure":
        return _readings(measure, given)
    if measure.kind != "composite":
        _known(measure, given)
        for wanted in measure.inputs:
            value = given.get(wanted.key)
            if value is not None:
                _noted(wanted, value)
    return []


def _noted(wanted: Input, value: str) -> None:
    """What is noted beside the trials: whole numbers, and ticks written as yes."""
    name = wanted.key
    if wanted.kind == "yes_no" and value != "yes":
        raise Refused(f"--input {name}: write yes, or leave it out")
    if wanted.kind != "yes_no" and not (value.isascii() and value.isdigit()):
        raise Refused(f"--input {name}: {value!r} is no whole number")


def _stage_trial(measure: Measure, text: str) -> Trial:
    if text == "unable":
        return Trial("unable")
    return read_any_trial(measure, text)


def _known(measure: Measure, given: Mapping[str, str]) -> None:
    for name in given:
        if name not in input_names(measure):
            known = ", ".join(input_names(measure)) or "none"
            raise Refused(f"{measure.id} has no input {name!r}; it has: {known}")


def _positions(measure: Measure) -> tuple[str, ...]:
    return tuple(next(i for i in measure.inputs if i.key == "when").options)


def _readings(measure: Measure, given: Mapping[str, str]) -> list[Trial]:
    """Cuff readings in the order of their positions."""
    found: dict[str, dict[str, str]] = {}
    for name, value in given.items():
        when, what = _place(measure, name)
        if not (value.isascii() and value.isdigit() and len(value) < 4):
            raise Refused(f"--input {name}: {value!r} is no whole number of mmHg")
        found.setdefault(when, {})[what] = value
    trials = []
    for when in _positions(measure):
        read = found.get(when)
        if read is None:
            continue
        if "systolic" not in read:
            raise Refused(f"--input: the systolic pressure {when} is missing")
        beside = {k: v for k, v in read.items() if k != "systolic"}
        systolic = Decimal(read["systolic"])
        inputs = {"when": when, **beside}
        trials.append(Trial("completed", systolic, "mmHg", inputs=inputs))
    return trials


def _place(measure: Measure, name: str) -> tuple[str, str]:
    """When and what a name says: `standing_1_systolic`, `systolic_standing_1min`."""
    plain = re.sub(r"(\d)_?min(ute)?s?", r"\1", name)
    whens = [w for w in _positions(measure) if w in plain]
    words = set(plain.split("_"))
    whats = [what for what, names in READ.items() if words & set(names)]
    if len(whens) != 1 or len(whats) != 1:
        known = ", ".join(input_names(measure))
        raise Refused(f"{measure.id} has no input {name!r}; it has: {known}")
    return whens[0], whats[0]


def body_from(measure: Measure, given: Mapping[str, str]) -> dict[str, Fraction]:
    """Height in m and mass in kg; a bare height up to 3 is metres, else centimetres."""
    found = {}
    for key, names in BODY.items():
        text = next((given[n] for n in names if n in given), None)
        if measure.kind == "composite" and text is not None:
            found[key] = _size(key, text)
    return found


def _size(key: str, text: str) -> Fraction:
    typed = _SIZE.fullmatch(text)
    if typed is None:
        raise Refused(f"--input {key}: write it like 170cm or 70kg, not {text!r}")
    number, unit = Fraction(typed[1]), typed[2]
    if key == "height":
        unit = unit or ("m" if number <= 3 else "cm")
        scale = {"m": Fraction(1), "cm": Fraction(1, 100), "in": Fraction(254, 10_000)}
    else:
        unit = unit or "kg"
        scale = {"kg": Fraction(1), "lb": Fraction(45_359_237, 100_000_000)}
    if unit not in scale:
        raise Refused(f"--input {key}: {unit} is no unit of it")
    size = number * scale[unit]
    low, high = (Fraction(1, 2), 3) if key == "height" else (10, 400)
    if not low <= size <= high:
        raise Refused(f"--input {key}: {text} cannot be. Check number and unit.")
    return size


def parts_from(
    shelf: Catalogue,
    measure: Measure,
    given: Mapping[str, str],
    facts: Mapping[str, str],
) -> dict[str, Score]:
    """Scores of the tests a composite is made from, by the names of its parts."""
    if measure.kind != "composite":
        return {}
    others = {name for names in BODY.values() for name in names}
    _known(measure, {n: v for n, v in given.items() if n not in others})
    found = {}
    for component in measure.components:
        names = component.stages or (component.id,)
        texts = {name: given[name] for name in names if name in given}
        if texts:
            other = shelf.measures[component.measure]
            found[other.id] = part_score(other, component, texts, facts)
    return found


def part_score(
    other: Measure,
    component: Component,
    texts: Mapping[str, str],
    facts: Mapping[str, str],
) -> Score:
    """One part as the test that gives it would have scored it, done as is asked."""
    done = {k: v for k, v in facts.items() if other.fact(k) is not None}
    done = {k: v[0] for k, v in component.requires.items()} | read_facts(other, done)
    if component.take == "stages":
        trials = [_stage_trial(other, texts[n]) for n in component.stages if n in texts]
        rule = next(v for v in other.variants if v.of == len(component.stages))
        return make_score(other, trials, variant=rule.id, facts=done)
    (text,) = texts.values()
    return single(other, text, done)


def single(other: Measure, text: str, facts: Mapping[str, str]) -> Score:
    """A score said as one number, or `unable`, whatever trials it came from."""
    rule = other.variants[0].id
    if text == "unable":
        return Score(other.id, "unable", rule, other.units[0], facts=dict(facts))
    if other.kind == "stages":
        value, unit = parse(text, other.units)
        return Score(other.id, "completed", rule, unit, Fraction(value), facts=facts)
    trial = read_trial(other, text)
    assert trial.value is not None
    made = Score(
        other.id, "completed", rule, trial.unit, Fraction(trial.value),
        trials=(trial,), facts=dict(facts),
    )  # fmt: skip
    if other.kind == "speed" and trial.unit == "s":
        metres = other.course.get(facts.get("course", ""))
        if metres is None:
            raise Refused(
                f"say the course of {other.id}: --fact course=" + "|".join(other.course)
            )
        return replace(made, unit="m/s", value=Fraction(metres) / Fraction(trial.value))
    return made
