"""`--input name=value`: what is no timed or measured trial, in the names it may have.

Pressures and stages become trials; parts of a composite and the body become what it is
computed with.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Final

from app.catalogue.load import Catalogue
from app.clinical.composing import is_held
from app.clinical.composite import Component
from app.clinical.measure import Input, Measure
from app.clinical.quantities import BODY_UNITS, alike, convert, parse
from app.clinical.scoring import Score, Trial, read_trial
from app.clinical.scoring import score as make_score
from app.clinical.setup import BadFact, read_facts
from app.commands.refused import Refused

#: What is read of a cuff or seen beside it, by the words it may be called.
READ: Final = {
    "systolic": ("systolic", "sbp", "sys"),
    "diastolic": ("diastolic", "dbp", "dia"),
    "pulse": ("pulse", "hr", "heart", "rate", "bpm"),
    "symptoms": ("symptoms", "symptom", "dizzy"),
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
        return _stages(measure, [stage.id for stage in measure.stages], given)
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
    """What is noted beside the trials: whole numbers, choices, and ticks as yes."""
    name = wanted.key
    if wanted.options:
        if value not in wanted.options:
            known = ", ".join(wanted.options)
            raise Refused(f"--input {name}: {value!r} is not one of {known}")
        return
    if wanted.kind == "yes_no" and value != "yes":
        raise Refused(f"--input {name}: write yes, or leave it out")
    if wanted.kind != "yes_no" and not (value.isascii() and value.isdigit()):
        raise Refused(f"--input {name}: {value!r} is no whole number")


def _stages(
    measure: Measure, asked: Sequence[str], given: Mapping[str, str]
) -> list[Trial]:
    """A trial for each stage in order; a hole, or one after a missed stage, is refused.

    Without that the next stage's seconds would be taken for the missing one's.
    """
    trials: list[Trial] = []
    ended = ""
    for stage in measure.stages:
        if stage.id not in asked:
            continue
        if stage.id not in given:
            ended = ended or f"{stage.id} is missing"
            continue
        if ended:
            raise Refused(f"--input {stage.id}: {ended}, and it comes after it")
        text = given[stage.id]
        trials.append(
            Trial("unable") if text == "unable" else read_trial(measure, text)
        )
        if not is_held(stage, trials[-1]):
            ended = f"{stage.id} was not held, which ends the test"
    return trials


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
        _check_read(measure, name, what, value)
        found.setdefault(when, {})[what] = value
    trials = []
    for when in _positions(measure):
        read = found.get(when)
        if read is None:
            continue
        if "systolic" not in read:
            raise Refused(f"--input: the systolic pressure {when} is missing")
        beside = {k: v for k, v in read.items() if k != "systolic"}
        if int(beside.get("diastolic", 0)) >= int(read["systolic"]):
            raise Refused(
                f"--input: the diastolic pressure {when} is not the lower one"
            )
        trial = read_trial(measure, f"{read['systolic']}mmHg")
        trials.append(replace(trial, inputs={"when": when, **beside}))
    return trials


def _check_read(measure: Measure, name: str, what: str, value: str) -> None:
    """A whole number inside the input's range, or yes for symptoms."""
    asked = next((i for i in measure.inputs if i.key == what), None)
    if asked is not None and asked.kind == "yes_no":
        if value not in ("yes", "no"):
            raise Refused(f"--input {name}: write yes or no")
        return
    if not (value.isascii() and value.isdigit() and len(value) < 4):
        raise Refused(f"--input {name}: {value!r} is no whole number")
    if asked is not None and not asked.low <= int(value) <= asked.high:
        raise Refused(f"--input {name}: {value} is outside {asked.low} to {asked.high}")


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
    unit = unit or ("kg" if key == "weight" else "m" if number <= 3 else "cm")
    if not alike(unit, BODY_UNITS[key]):
        raise Refused(f"--input {key}: {unit} is no unit of it")
    size = convert(number, unit, BODY_UNITS[key])
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
    sizes = BODY.values() if measure.formula == "relative_power" else ()
    others = {name for names in sizes for name in names}
    _known(measure, {n: v for n, v in given.items() if n not in others})
    found = {}
    for component in measure.components:
        names = component.stages or (component.id,)
        texts = {name: given[name] for name in names if name in given}
        if texts:
            other = shelf.measures[component.measure]
            done = facts_for(measure, component, other, facts)
            found[other.id] = part_score(other, component, texts, done)
    return found


def facts_for(
    measure: Measure, component: Component, other: Measure, said: Mapping[str, str]
) -> dict[str, str]:
    """What was said of how one part was done.

    `walk.device=cane` speaks of that part. A plain name speaks of the parts whose fact
    the composite keeps as its own, else of every part that has such a value.
    """
    found = {}
    for key, value in said.items():
        part, _, name = key.rpartition(".")
        carriers = [c.id for c in measure.components if name in c.carries]
        meant = part == component.id or (
            not part and (not carriers or component.id in carriers)
        )
        if meant and accepts(other, name, value):
            found[name] = value
    return found


def accepts(measure: Measure, key: str, value: str) -> bool:
    """Whether a test has this set-up fact with this value."""
    try:
        read_facts(measure, {key: value})
    except BadFact:
        return False
    return True


def part_score(
    other: Measure,
    component: Component,
    texts: Mapping[str, str],
    facts: Mapping[str, str],
) -> Score:
    """One part as the test that gives it would have scored it, done as is asked."""
    done = {k: v[0] for k, v in component.requires.items()} | read_facts(other, facts)
    if component.take == "stages":
        if not set(texts) <= set(component.stages):
            said = " ".join(f"--input {name}=10" for name in component.stages)
            raise Refused(f"--with {other.id}: say each of them instead, like {said}")
        trials = _stages(other, component.stages, texts)
        asked = len(component.stages)
        # The part may take fewer stages than any rule of its own test.
        rule = next((v for v in other.variants if v.of == asked), other.variants[0])
        shorter = replace(other, variants=(replace(rule, of=asked, last=asked),))
        return make_score(shorter, trials, facts=done)
    (text,) = texts.values()
    return single(other, text, done)


def single(other: Measure, text: str, facts: Mapping[str, str]) -> Score:
    """A score said as one number, or `unable`, whatever trials it came from."""
    rule = other.variants[0].id
    if text == "unable":
        return Score(other.id, "unable", rule, other.units[0], facts=dict(facts))
    if other.kind in ("stages", "pressure"):  # the score, not one of its trials
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
