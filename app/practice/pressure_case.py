"""An invented person whose pressure is taken lying or sitting, and then upright.

As in scoring_case only what happened is made here; the fall is what the real rule says.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Final

from app.clinical.measure import Input, Measure, Variant
from app.clinical.scores import Trial
from app.clinical.vocabulary import UNABLE_REASONS
from app.practice.draws import Draws
from app.practice.scoring_case import (
    BEFORE,
    ScoringCase,
    Tried,
    centre_of,
    example,
    often_at,
    one_off,
    person_near,
    setup_fact,
)

#: Which readings each rule takes after the first, by how many it takes in all.
_AFTER: Final[Mapping[int, tuple[str, ...]]] = {
    2: ("standing_3",),
    3: ("standing_1", "standing_3"),
    4: ("at_once", "standing_1", "standing_3"),
}
#: Set-up facts that are told; where a reading was taken stands beside the reading.
_TOLD: Final = ("arm_support", "arm", "compression")
#: Why a reading was voided, in our words; common practice.
_VOIDS: Final = (
    "the cuff slipped",
    "the arm hung down",
    "the person talked during it",
)
#: Lowest fall that is drawn, and the span of first pressures, mmHg; invented.
_LEAST: Final = 3
_FIRST: Final = (112, 168)


def pressure_case(measure: Measure, level: int, seed: int) -> ScoringCase:
    """What was read, on this day and on an earlier one."""
    draws, often = Draws(seed), often_at(level)
    row = example(measure, draws)
    person = person_near(row, draws, often["more_of_person"])
    variant = draws.one(measure.variants)
    starts = row.fit.requires.get("start", ()) if row is not None else ()
    start = starts[0] if starts else "lying"
    told = {key: setup_fact(measure, key, draws) for key in _TOLD}
    facts = before_facts = told
    if draws.happens(often["off"]):
        facts = before_facts = {**told, **one_off(measure, person, draws)}
    if draws.happens(often["other_before"]):
        other = {"left": "right", "right": "left"}[told["arm"]]
        before_facts = {**before_facts, "arm": other}
    fall = centre_of(measure, facts, draws)
    low, high = draws.one(BEFORE)
    earlier = fall * draws.between(low, high)
    tried = _tried(measure, variant, start, fall, draws, often)
    before = _readings(variant, start, earlier, draws)
    unable = draws.happens(often["unable_before"])
    if unable and all(t.trial.outcome == "completed" for t in tried):
        before = [Trial("unable", reason="physical")]
    return ScoringCase(
        measure=measure, person=person, variant=variant, facts=facts,
        tried=tuple(tried), before_facts=before_facts, before=tuple(before),
    )  # fmt: skip


def _readings(variant: Variant, start: str, fall: float, draws: Draws) -> list[Trial]:
    """The first, and one at each later time; the largest fall not the one at once."""
    systolic, diastolic = draws.whole(*_FIRST), draws.whole(66, 92)
    pulse = draws.whole(58, 84)
    most = max(round(fall), _LEAST)
    found = [_reading(start, systolic, diastolic, pulse, "no")]
    whens = _AFTER[variant.of]
    deepest = draws.one([when for when in whens if when != "at_once"])
    for when in whens:
        share = 1.0 if when == deepest else draws.between(0.3, 0.9)
        drop = max(round(most * share), 1) if when != deepest else most
        felt = "yes" if drop >= 18 and draws.happens(0.5) else "no"
        found.append(
            _reading(when, systolic - drop, diastolic - round(drop * 0.4),
                     pulse + draws.whole(3, 24), felt)
        )  # fmt: skip
    return found


def _reading(
    when: str, systolic: int, diastolic: int, pulse: int, symptoms: str
) -> Trial:
    return Trial(
        "completed", Decimal(systolic), "mmHg",
        inputs={"when": when, "diastolic": str(diastolic), "pulse": str(pulse),
                "symptoms": symptoms},
    )  # fmt: skip


def _tried(
    measure: Measure, variant: Variant, start: str, fall: float, draws: Draws,
    often: Mapping[str, float],
) -> list[Tried]:  # fmt: skip
    """The readings of today, with what made some of them not count."""
    kinds = {key: draws.happens(often[key]) for key in ("unable", "few", "void")}
    readings = _readings(variant, start, fall, draws)
    reason, why = draws.one(list(UNABLE_REASONS)), draws.one(_VOIDS)
    if kinds["unable"]:
        words = f"could not be taken: {UNABLE_REASONS[reason]}"
        return [Tried(Trial("unable", reason=reason), words)]
    if kinds["few"]:
        readings = readings[:-1]
    found = [Tried(one, _words(measure, one)) for one in readings]
    place = draws.whole(1, len(found))
    spoilt = _spoilt(readings, draws)
    if kinds["void"]:
        trial = replace(spoilt, voided=True, reason=why)
        found.insert(place, Tried(trial, f"{_words(measure, trial)} · {why}"))
    return found


def _spoilt(readings: Sequence[Trial], draws: Draws) -> Trial:
    """A reading at a later time that would make another fall, if it counted."""
    last, first = readings[-1], readings[0]
    assert first.value is not None
    value = first.value - Decimal(draws.whole(4, 44))
    when = last.inputs["when"] if len(readings) > 1 else "standing_1"
    return replace(last, value=value, inputs={**last.inputs, "when": when})


def _words(measure: Measure, trial: Trial) -> str:
    """`standing, 1 minute: 118/76 mmHg, pulse 88; dizzy or light-headed`."""
    place = next(i for i in measure.inputs if i.key == "when")
    felt = "; dizzy or light-headed" if trial.inputs["symptoms"] == "yes" else ""
    return (
        f"{_choice(place, trial.inputs['when'])}: {trial.value}/"
        f"{trial.inputs['diastolic']} mmHg, pulse {trial.inputs['pulse']}{felt}"
    )


def _choice(of: Input, value: str) -> str:
    return of.options[value]
