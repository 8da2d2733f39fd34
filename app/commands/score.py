"""`tapeline score`: one score judged by the one reading function."""

import argparse
import json
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from typing import Any

from app.catalogue.load import Catalogue, catalogue
from app.clinical import vocabulary as words
from app.clinical.measure import Measure
from app.clinical.person import OLDEST, YOUNGEST, Person
from app.clinical.quantities import BadNumber
from app.clinical.quantities import words as with_unit
from app.clinical.reading import Result, read
from app.clinical.scoring import NotScorable, Score, Trial, by_zero_rule, read_trial
from app.clinical.scoring import score as make_score
from app.clinical.setup import BadFact, read_facts
from app.commands.refused import Refused
from app.exports.result_json import result_json

EXAMPLE = """example:
  tapeline score five_times_sit_to_stand --trial 16.2 --age 74 --sex female
  tapeline score functional_reach --trial 9in --trial 10in --trial 10.5in --age 80
  tapeline score timed_up_and_go --outcome unable --condition stroke --json"""


def add(commands: Any) -> None:
    p: argparse.ArgumentParser = commands.add_parser(
        "score",
        help="score trials and read the score against published sources",
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    _trial_options(p)
    _person_options(p)
    p.add_argument("--json", action="store_true")
    p.set_defaults(run=run)


def _trial_options(p: argparse.ArgumentParser) -> None:
    p.add_argument("measure", metavar="MEASURE")
    p.add_argument("--trial", action="append", default=[], metavar="V")
    p.add_argument(
        "--variant", metavar="NAME", help="another rule from trials to score"
    )
    p.add_argument("--input", action="append", default=[], metavar="NAME=VALUE")
    paired = "a paired test of the same day"
    p.add_argument(
        "--with", action="append", default=[], dest="paired", metavar="MEASURE=V",
        help=paired,
    )  # fmt: skip
    p.add_argument("--fact", action="append", default=[], metavar="KEY=VALUE")
    p.add_argument("--outcome", choices=list(words.OUTCOMES), default="completed")
    p.add_argument("--reason", default="", help="why unable, stopped or not done")
    before = "the earlier score, or its trials"
    p.add_argument("--before", action="append", default=[], metavar="V", help=before)
    p.add_argument("--before-fact", action="append", default=[], metavar="KEY=VALUE")
    p.add_argument("--before-outcome", choices=list(words.OUTCOMES))


def _person_options(p: argparse.ArgumentParser) -> None:
    p.add_argument("--age", metavar="N")
    p.add_argument("--sex", choices=list(words.SEXES))
    conditions = [*words.CONDITIONS, "none"]
    p.add_argument(
        "--condition", action="append", default=[], choices=conditions,
        metavar="C", help=f"any of: {', '.join(conditions)}",
    )  # fmt: skip
    p.add_argument("--setting", choices=list(words.SETTINGS))
    p.add_argument("--pretest", metavar="P", help="chance before the test, 0 to 1")


def run(given: argparse.Namespace) -> int:
    shelf = catalogue()
    try:
        result = judge(shelf, given)
    except (BadNumber, BadFact, NotScorable) as fault:
        raise Refused(str(fault)) from fault
    if given.json:
        print(json.dumps(result_json(result, shelf.edition), indent=2))
    else:
        print("\n".join(_lines(result, shelf)))
    return 0


def judge(shelf: Catalogue, given: argparse.Namespace) -> Result:
    """From parsed arguments to a Result."""
    measure = _measure(shelf, given.measure)
    facts, about = _facts(measure, given.fact)
    inputs = _inputs(measure, given.input)
    now = _score(measure, given, facts, inputs, shelf)
    return read(
        measure,
        now,
        _person(given, about),
        before=_before(measure, given, now),
        pretest=_pretest(given.pretest),
    )


def _measure(shelf: Catalogue, measure_id: str) -> Measure:
    found = shelf.measures.get(measure_id)
    if found is None:
        known = ", ".join(shelf.measures)
        raise Refused(f"no measure {measure_id!r}; there are: {known}")
    return found


def _split(pairs: Sequence[str], option: str) -> dict[str, str]:
    found = {}
    for pair in pairs:
        key, equals, value = pair.partition("=")
        if not equals or not key or not value:
            raise Refused(f"{option} {pair!r}: write it as name=value")
        found[key] = value
    return found


def _facts(
    measure: Measure, pairs: Sequence[str]
) -> tuple[dict[str, str], dict[str, str]]:
    """Set-up facts of the measure, and facts of the person, told apart by key."""
    given = _split(pairs, "--fact")
    about = {k: v for k, v in given.items() if k in words.PERSON_FACTS}
    for key, value in about.items():
        if value not in words.PERSON_FACTS[key]:
            known = ", ".join(words.PERSON_FACTS[key])
            raise Refused(f"--fact {key}: {value!r} is not one of {known}")
    setup = {k: v for k, v in given.items() if k not in about}
    return read_facts(measure, setup), about


def _inputs(measure: Measure, pairs: Sequence[str]) -> dict[str, str]:
    """What was noted beside the trials: whole numbers, and ticks written as yes."""
    noted = _split(pairs, "--input")
    for name, value in noted.items():
        wanted = next((i for i in measure.inputs if i.key == name), None)
        if wanted is None:
            known = ", ".join(i.key for i in measure.inputs) or "none"
            raise Refused(f"{measure.id} has no input {name!r}; it has: {known}")
        if wanted.kind == "yes_no" and value != "yes":
            raise Refused(f"--input {name}: write yes, or leave it out")
        if wanted.kind != "yes_no" and not (value.isascii() and value.isdigit()):
            raise Refused(f"--input {name}: {value!r} is no whole number")
    return noted


def _score(
    measure: Measure,
    given: argparse.Namespace,
    facts: dict[str, str],
    inputs: dict[str, str],
    shelf: Catalogue,
) -> Score:
    if given.variant and given.variant not in {v.id for v in measure.variants}:
        known = ", ".join(v.id for v in measure.variants)
        raise Refused(f"{measure.id} has no variant {given.variant!r}; it has: {known}")
    if given.outcome == "completed":
        if not given.trial:
            raise Refused("give at least one --trial, or --outcome unable")
        read_ones = [read_trial(measure, text) for text in given.trial]
        trials = [replace(trial, inputs=inputs) for trial in read_ones]
    else:
        if given.trial:
            raise Refused(f"--outcome {given.outcome} has no number: leave --trial out")
        trials = [Trial(given.outcome, reason=given.reason)]
    return make_score(
        measure, trials, variant=given.variant, facts=facts,
        paired=_paired(shelf, measure, given.paired, facts),
    )  # fmt: skip


def _paired(
    shelf: Catalogue, measure: Measure, pairs: Sequence[str], facts: dict[str, str]
) -> dict[str, Score]:
    """Paired scores, taken as done in the same set-up."""
    wanted = {pair.measure for pair in measure.pairs}
    found = {}
    for measure_id, text in _split(pairs, "--with").items():
        other = _measure(shelf, measure_id)
        if measure_id not in wanted:
            known = ", ".join(sorted(wanted)) or "none"
            raise Refused(f"{measure.id} is paired with {known}, not {measure_id}")
        found[measure_id] = replace(_whole_score(other, text), facts=facts)
    return found


def _whole_score(measure: Measure, text: str) -> Score:
    """A score given as one number, whatever number of trials it came from."""
    trial = read_trial(measure, text)
    assert trial.value is not None
    return Score(
        measure.id, "completed", measure.variants[0].id, trial.unit,
        Fraction(trial.value),
    )  # fmt: skip


def _person(given: argparse.Namespace, about: dict[str, str]) -> Person:
    ages: tuple[int, ...] = ()
    if given.age is not None:
        typed = given.age
        if not (typed.isascii() and typed.isdigit() and len(typed) < 4):
            raise Refused(f"--age {typed!r}: write whole years, like 74")
        if not YOUNGEST <= int(typed) <= OLDEST:
            raise Refused(
                f"--age {typed}: the sources speak of people {YOUNGEST} to {OLDEST}"
            )
        ages = (int(typed),)
    conditions = tuple(c for c in dict.fromkeys(given.condition) if c != "none")
    return Person(ages, given.sex, conditions, given.setting, about)


def _before(measure: Measure, given: argparse.Namespace, now: Score) -> Score | None:
    outcome = given.before_outcome
    if outcome not in (None, "completed"):
        return Score(measure.id, outcome, now.variant, now.unit)
    facts = read_facts(measure, _split(given.before_fact, "--before-fact"))
    if not given.before:
        if facts:
            raise Refused("--before-fact goes with --before")
        return None
    if not facts:  # nothing said of the earlier set-up: the same one is meant
        facts = dict(now.facts)
    if len(given.before) == 1:
        single = _whole_score(measure, given.before[0])
        return by_zero_rule(measure, replace(single, variant=now.variant, facts=facts))
    trials = [read_trial(measure, text) for text in given.before]
    return make_score(measure, trials, variant=given.variant, facts=facts)


def _pretest(text: str | None) -> Decimal | None:
    if text is None:
        return None
    try:
        chance = Decimal(text)
    except InvalidOperation:
        chance = Decimal(-1)
    if not chance.is_finite() or not 0 < chance < 1:
        raise Refused(f"--pretest {text!r}: write a chance between 0 and 1, like 0.3")
    return chance


def _lines(result: Result, shelf: Catalogue) -> list[str]:
    score, measure = result.score, result.measure
    head = (
        with_unit(score.shown, score.unit)
        if score.shown is not None
        else (words.OUTCOMES[score.outcome])
    )
    lines = [f"{measure.name}: {head}  ({measure.variant(score.variant).label})"]
    if result.change:
        lines += ["", result.change.says]
    lines += ["", "Leads:" if result.leading else f"No lead. {result.no_lead_because}"]
    for index, reading in enumerate(result.readings):
        leads = result.lead is not None and result.lead.index == index
        mark = "*" if leads else "-" if reading.matched else "x"
        lines.append(f" {mark} {reading.says}")
        lines.append(f"     {_source_line(result, reading)}")
    lines += [""] + [f"! {c}" for c in result.cautions]
    return [*lines, f"catalogue edition {shelf.edition}"]


def _source_line(result: Result, reading: Any) -> str:
    if reading.row is None:
        return ""
    source = result.measure.sources[reading.row.source]
    named = ", ".join(part for part in (source.short, source.journal) if part)
    text = f"{named} - {words.HOWS[reading.row.how]}"
    if reading.match.differs:
        text += " - not matched: " + "; ".join(reading.match.differs)
    elif reading.match.assumed:
        text += " - assumed: " + "; ".join(reading.match.assumed)
    return text
