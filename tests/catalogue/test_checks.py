"""Every worked example carried in the catalogue, run against the program.

One parametrised test: a measure's own [[check]] rows are its tests.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from app.catalogue.load import catalogue
from app.clinical import accuracy
from app.clinical.change import REAL_GAIN, REAL_LOSS
from app.clinical.composite import points
from app.clinical.guide import Check
from app.clinical.measure import Measure
from app.clinical.person import Person
from app.clinical.quantities import convert, printed_places, rounded
from app.clinical.reading import read
from app.clinical.readings import Reading
from app.clinical.scoring import (
    NotScorable,
    Score,
    Trial,
    difference,
    dual_task_effect,
    read_trial,
    score,
)
from app.clinical.setup import read_facts
from app.commands.score_inputs import single
from tests.catalogue.worked import composed

Given = Mapping[str, Any]

CHECKS = [
    pytest.param(m, c, id=f"{m.id}-{i}-{c.source}-{c.how.replace(' ', '_')}")
    for m in catalogue().measures.values()
    for i, c in enumerate(m.checks, 1)
]


def _like(found: Decimal | Fraction, expected: str) -> str:
    """`found` rounded to the decimals the example was printed with."""
    return str(rounded(Fraction(found), printed_places(Decimal(expected))))


def _d(given: Given, key: str) -> Decimal:
    return Decimal(given[key])


def _convert(_: Measure, given: Given, expect: Given) -> dict[str, str]:
    made = convert(Fraction(given["value"]), given["unit"], given["to"])
    return {"value": _like(made, expect["value"])}


def _trials(measure: Measure, given: Given, key: str = "trials") -> list[Trial]:
    outcomes = given.get("outcomes", ["completed"] * len(given[key]))
    made = []
    for text, outcome in zip(given[key], outcomes, strict=True):
        trial = read_trial(measure, text)
        made.append(
            Trial("completed", trial.value, trial.unit, voided=outcome == "void")
        )
    return made


def _made(measure: Measure, given: Given, key: str = "trials") -> Score:
    if key == "trials" and (made := composed(measure, given)) is not None:
        return made
    facts = read_facts(measure, given.get("facts", {}))
    trials = _trials(measure, given, key)
    rule = given.get("variant")
    if rule is None and len(trials) == 1:  # a single number stands for the score
        made = single(measure, given[key][0], facts)
        assert made.value is not None
        others = {v.id: made.value for v in measure.variants[1:]}
        return replace(made, beside=others, trials=())
    return score(measure, trials, variant=rule, facts=facts)


def _score(measure: Measure, given: Given, expect: Given) -> dict[str, Any]:
    made = _made(measure, given)
    assert made.value is not None
    found: dict[str, Any] = {
        "value": _like(made.value, expect["value"]),
        "unit": made.unit,
    }
    if "parts" in expect:
        found["parts"] = {
            k: _like(made.parts[k].value, v) for k, v in expect["parts"].items()
        }
    if "beside" in expect:
        found["beside"] = {
            k: _like(made.beside[k], v) for k, v in expect["beside"].items()
        }
    return found


def _person(given: Given) -> Person:
    ages = (given["age"],) if "age" in given else ()
    return Person(
        ages, given.get("sex"), tuple(given.get("conditions", ())),
        given.get("setting"), given.get("person_facts", {}),
    )  # fmt: skip


def _reading(measure: Measure, given: Given, expect: Given) -> dict[str, Any]:
    result = read(measure, _made(measure, given), _person(given))
    return _said(list(result.readings), given, expect.get("says", ""))


def _unable(measure: Measure, given: Given, _: Given) -> dict[str, Any]:
    facts = read_facts(measure, given.get("facts", {}))
    made = score(measure, [Trial("unable")], facts=facts)
    return _said(list(read(measure, made, _person(given)).readings), given)


def _said(readings: list[Reading], given: Given, words: str = "") -> dict[str, Any]:
    """What the named source says, of the row with `limit` where that is given."""
    of_source = [
        r
        for r in readings
        if r.row and r.row.source == given["source"] and r.matched
        and ("limit" not in given or r.threshold == Decimal(given["limit"]))
        and ("kind" not in given or r.kind == given["kind"])
    ]  # fmt: skip
    crossed = [r for r in of_source if r.crossed]
    chosen = next(iter(crossed or of_source), None)
    effect = chosen.effect if chosen else None
    interval = effect.ci95 if effect else None
    threshold = chosen.threshold if chosen else None
    mean = getattr(chosen.row, "mean", None) if chosen else None
    says = chosen.says if chosen else ""
    return {
        "none": not crossed,
        "crossed": bool(crossed),
        "threshold": None if threshold is None else str(threshold),
        "effect": None if effect is None else str(effect.value),
        "effect_ci": None if interval is None else [str(v) for v in interval],
        "matched": chosen is not None,
        "z": None if chosen is None or chosen.z is None else str(chosen.z),
        "mean": None if mean is None else str(mean),
        "says": words if words in says else says,
    }


def _change(measure: Measure, given: Given, _: Given) -> dict[str, Any]:
    now, before = _made(measure, given), _made(measure, given, "before")
    result = read(measure, now, _person(given), before=before)
    assert result.change is not None
    mine = [
        r
        for r in result.change.readings
        if r.row and r.row.source == given["source"] and r.matched
    ]
    assert mine, "the source judged nothing"
    return {
        "real": any(r.verdict in (REAL_GAIN, REAL_LOSS) for r in mine),
        "important": any(r.verdict == "important" for r in mine),
        "limits": sorted(str(r.threshold) for r in mine),
    }


def _change_limits(_: Measure, given: Given, expect: Given) -> dict[str, str]:
    gain, loss = accuracy.lopsided_limits(
        _d(given, "baseline"), _d(given, "gain_percent"), _d(given, "loss_percent")
    )
    return {
        "gain_at": _like(gain, expect["gain_at"]),
        "loss_at": _like(loss, expect["loss_at"]),
    }


def _mdc(_: Measure, given: Given, expect: Given) -> dict[str, str]:
    made = accuracy.mdc_from_sem(_d(given, "sem"), given["level"])
    return {"mdc": _like(made, expect["mdc"])}


def _likelihood(_: Measure, given: Given, expect: Given) -> dict[str, str]:
    ratios = accuracy.likelihood_ratios(
        _d(given, "sensitivity"), _d(given, "specificity")
    )
    assert None not in ratios
    names = ("positive", "negative")
    return {
        n: _like(r, expect[n])
        for n, r in zip(names, ratios, strict=True)
        if r is not None
    }


def _post_test(_: Measure, given: Given, expect: Given) -> dict[str, str]:
    """Percent who have it after a positive and after a negative finding."""
    ratios = accuracy.likelihood_ratios(
        _d(given, "sensitivity"), _d(given, "specificity")
    )
    found = {}
    for name, ratio in zip(("positive", "negative"), ratios, strict=True):
        assert ratio is not None
        post = accuracy.post_test(_d(given, "pretest"), ratio)
        found[name] = _like(post * 100, expect[name])
    return found


def _two_by_two(_: Measure, given: Given, expect: Given) -> dict[str, str]:
    counts = {k: given[k] for k in ("tp", "fn", "fp", "tn") if k in given}
    made = accuracy.two_by_two(**counts)
    return {k: _like(getattr(made, k) * 100, v) for k, v in expect.items()}


def _mean_from_percent(_: Measure, given: Given, expect: Given) -> dict[str, str]:
    made = accuracy.mean_from_percent(_d(given, "mdc"), _d(given, "percent"))
    return {"mean": _like(made, expect["mean"])}


def _effect(_: Measure, given: Given, expect: Given) -> dict[str, str]:
    single, dual = Fraction(given["single"]), Fraction(given["dual"])
    made = dual_task_effect(single, dual, better=given["better"])
    return {"percent": _like(made, expect["percent"])}


def _difference(_: Measure, given: Given, expect: Given) -> dict[str, str]:
    made = difference(Fraction(given["single"]), Fraction(given["dual"]))
    return {"value": _like(made, expect["value"])}


def _shares(_: Measure, given: Given, expect: Given) -> dict[str, Any]:
    made = accuracy.shares(_d(given, "total"), [Decimal(p) for p in given["parts"]])
    pairs = zip(made, expect["percents"], strict=True)
    return {"percents": [_like(m, e) for m, e in pairs]}


def _extra_walk(_: Measure, given: Given, expect: Given) -> dict[str, str]:
    made = dict(zip(("seconds", "ratio"), accuracy.extra_walk(_d(given, "speed")),
                    strict=True))  # fmt: skip
    return {k: _like(made[k], v) for k, v in expect.items()}


def _stages(measure: Measure, given: Given, expect: Given) -> dict[str, str]:
    """How many stages were held, and the seconds of each that was timed."""
    made = _made(measure, given)
    assert made.value is not None
    found = {stage.id: "not done" for stage in measure.stages}
    for stage in set(found) & set(made.parts):
        held = made.parts[stage].value
        printed = expect.get(stage, "0")
        found[stage] = str(held) if printed == "not done" else _like(held, printed)
    return {"stages": _like(made.value, expect["stages"]), **found}


def _fall(measure: Measure, given: Given, _: Given) -> dict[str, str]:
    made = _made(measure, given)
    assert made.value is not None
    return {
        "systolic": _like(made.value, "1"),
        "diastolic": _like(made.parts["diastolic_drop"].value, "1"),
    }


def _points(measure: Measure, given: Given, _: Given) -> dict[str, str]:
    """Each part's points and the total."""
    made = _made(measure, given)
    assert made.value is not None
    parts = {name: str(part.value) for name, part in made.parts.items()}
    return {"total": str(made.value), **parts}


def _bands(measure: Measure, given: Given, _: Given) -> dict[str, Any]:
    """Points of one table for each time, in order."""
    times = [None if t == "unable" else Fraction(t) for t in given["seconds"]]
    return {"points": [points(measure.bands, given["table"], t) for t in times]}


def _power(measure: Measure, given: Given, expect: Given) -> dict[str, str]:
    made = _made(measure, given)
    assert made.value is not None
    found = {"relative": _like(made.value, expect["relative"])}
    if "watts" in expect:
        found["watts"] = _like(made.parts["power"].value, expect["watts"])
    return found


def _speeds(_: Measure, given: Given, expect: Given) -> dict[str, Any]:
    """Metres over seconds, to the decimals of the example."""
    made = [Fraction(m) / Fraction(s) for m, s in given["walks"]]
    pairs = zip(made, expect["speeds"], strict=True)
    return {"speeds": [_like(m, e) for m, e in pairs]}


def _impossible(measure: Measure, given: Given, expect: Given) -> dict[str, Any]:
    """What cannot be scored, and that the refusal says why."""
    with pytest.raises(NotScorable) as refusal:
        _made(measure, given)
    return {"says": expect["says"] if expect["says"] in str(refusal.value) else ""}


RUN: dict[str, Callable[[Measure, Given, Given], Mapping[str, Any]]] = {
    "convert": _convert,
    "score": _score,
    "reading": _reading,
    "unable": _unable,
    "change": _change,
    "change_limits": _change_limits,
    "mdc": _mdc,
    "likelihood": _likelihood,
    "post_test": _post_test,
    "two_by_two": _two_by_two,
    "mean_from_percent": _mean_from_percent,
    "dual_task_effect": _effect,
    "difference": _difference,
    "shares": _shares,
    "extra_walk": _extra_walk,
    "stages": _stages,
    "fall": _fall,
    "points": _points,
    "bands": _bands,
    "power": _power,
    "speeds": _speeds,
    "impossible": _impossible,
}


@pytest.mark.parametrize(("measure", "check"), CHECKS)
def test_worked_example_holds(measure: Measure, check: Check) -> None:
    """The check's own source and `how` are in its id."""
    found = RUN[check.kind](measure, check.given, check.expect)

    assert {k: found[k] for k in check.expect} == dict(check.expect)
