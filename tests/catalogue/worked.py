"""Scores of worked examples, from the short words that a check's `given` uses."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

from app.catalogue.load import catalogue
from app.clinical.measure import Measure
from app.clinical.quantities import convert
from app.clinical.scoring import Score, Trial, score
from app.clinical.setup import read_facts

Given = Mapping[str, Any]


def stances(seconds: Sequence[str]) -> list[Trial]:
    """`["10", "9.6"]`, or `unable` for a stance that could not be taken up."""
    return [
        Trial("unable") if text == "unable" else Trial("completed", Decimal(text), "s")
        for text in seconds
    ]


def cuff(readings: Sequence[str]) -> list[Trial]:
    """`lying 148/82`, `standing_1 126/76 88`: position, pressures and the pulse."""
    made = []
    for text in readings:
        when, pressure, *pulse = text.split(" ")
        systolic, _, diastolic = pressure.partition("/")
        inputs = {"when": when}
        inputs |= {"diastolic": diastolic} if diastolic else {}
        inputs |= {"pulse": pulse[0]} if pulse else {}
        made.append(Trial("completed", Decimal(systolic), "mmHg", inputs=inputs))
    return made


def a_walk(seconds: Sequence[str], **facts: str) -> Score:
    """Walks of a course, each as its seconds; `["unable"]` for who cannot walk it."""
    if "unable" in seconds:
        return Score("gait_speed", "unable", "", "m/s", facts=facts)
    trials = tuple(Trial("completed", Decimal(text), "s") for text in seconds)
    metres = catalogue().measures["gait_speed"].course.get(facts.get("course", ""))
    fastest = min(trial.value or Decimal(0) for trial in trials)
    value = Fraction(metres or 1) / Fraction(fastest)
    return Score(
        "gait_speed", "completed", "", "m/s", value, trials=trials, facts=facts
    )


def stands(text: str, **facts: str) -> Score:
    """`12.0 s` for five stands, `12` for those of half a minute, or `unable`."""
    number, _, unit = text.partition(" ")
    timed = unit == "s" or text == "unable"
    name = "five_times_sit_to_stand" if timed else "thirty_second_chair_stand"
    if text == "unable":
        return Score(name, "unable", "single", "s", facts=facts)
    trial = Trial("completed", Decimal(number), unit or "count")
    return Score(
        name, "completed", "single", trial.unit, Fraction(number), trials=(trial,),
        facts=read_facts(catalogue().measures[name], facts),
    )  # fmt: skip


def battery(given: Given) -> Score:
    """The battery from `stances`, `walks` over a `course` and a `chair` time."""
    shelf = catalogue().measures
    four = shelf["four_stage_balance"]
    paired = {}
    if "stances" in given:
        paired[four.id] = score(four, stances(given["stances"]), variant="three")
    if "walks" in given:
        facts = {"course": given["course"]} if "course" in given else {}
        paired["gait_speed"] = a_walk(given["walks"], **facts)
    if "chair" in given:
        text = given["chair"]
        made = stands(text if text == "unable" else f"{text} s")
        paired["five_times_sit_to_stand"] = made
    return score(shelf["short_physical_performance_battery"], [], paired=paired)


def power(given: Given) -> Score:
    """Power from `stands`, `height`, `seat` and `weight`, each with its unit."""
    made = stands(given["stands"], seat_height=given["seat"], **given.get("facts", {}))
    body = {"height": metres(given["height"])}
    if "weight" in given:
        number, unit = given["weight"].split(" ")
        scale = {"kg": Fraction(1), "lb": Fraction(45_359_237, 100_000_000)}
        body["weight"] = Fraction(number) * scale[unit]
    shelf = catalogue().measures
    return score(
        shelf["sit_to_stand_power"], [], paired={made.measure: made}, body=body
    )


def metres(text: str) -> Fraction:
    """`165 cm`, `65 in` or `1.65 m` in metres."""
    number, unit = text.split(" ")
    if unit == "m":
        return Fraction(number)
    return convert(Fraction(number), unit, "cm") / 100


def composed(measure: Measure, given: Given) -> Score | None:
    """The score of an example of one of these kinds; None for any other."""
    facts = read_facts(measure, given.get("facts", {}))
    if "seconds" in given:
        trials = stances(given["seconds"])
        return score(measure, trials, variant=given.get("variant"), facts=facts)
    if "cuff" in given:
        trials = cuff(given["cuff"])
        return score(measure, trials, variant=given.get("variant"), facts=facts)
    if "stands" in given:
        return power(given)
    return battery(given) if "stances" in given or "walks" in given else None
