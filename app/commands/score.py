"""`tapeline score`: one score judged by the one reading function."""

import argparse
import json
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal, InvalidOperation
from typing import Any

from app.catalogue.load import Catalogue, catalogue
from app.clinical import vocabulary as words
from app.clinical.measure import Measure
from app.clinical.person import OLDEST, YOUNGEST, Person
from app.clinical.quantities import BadNumber, shown
from app.clinical.quantities import words as with_unit
from app.clinical.reading import Result, read
from app.clinical.scoring import NotScorable, Score, Trial, by_zero_rule, read_trial
from app.clinical.scoring import score as make_score
from app.clinical.setup import BadFact, read_facts
from app.commands.refused import Refused
from app.commands.score_inputs import (
    body_from,
    facts_for,
    input_names,
    part_score,
    parts_from,
    single,
    trials_of,
)
from app.exports.result_json import result_json

EXAMPLE = """example:
  tapeline score five_times_sit_to_stand --trial 16.2 --age 74 --sex female
  tapeline score functional_reach --trial 9in --trial 10in --trial 10.5in --age 80
  tapeline score timed_up_and_go --outcome unable --condition stroke --json
  tapeline score gait_speed --trial 4.1s --trial 3.9s --fact course=10ft --age 80
  tapeline score short_physical_performance_battery --input side_by_side=10 \
      --input semi_tandem=10 --input tandem=5.2 --input walk=7.0s \
      --fact course=4m --input chair=14.2s
  tapeline score orthostatic_vitals --input lying_systolic=148 \
      --input lying_diastolic=82 --input standing_1_systolic=126 \
      --input standing_1_diastolic=76 --input standing_3_systolic=132 \
      --input standing_3_diastolic=78"""


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
    own = "your own chance before the test, 0 to 1, in place of a published one"
    p.add_argument("--pretest", metavar="P", help=own)


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
    facts, about = _facts(shelf, measure, given.fact)
    now = _score(measure, given, facts, shelf)
    return read(
        measure,
        now,
        _person(given, about),
        before=_before(measure, given, now),
        pretest=_pretest(given.pretest),
        base_rates=shelf.base.rates,
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
    shelf: Catalogue, measure: Measure, pairs: Sequence[str]
) -> tuple[dict[str, str], dict[str, str]]:
    """Set-up facts of the measure or its parts, and facts of the person, by key."""
    given = _split(pairs, "--fact")
    about = {k: v for k, v in given.items() if k in words.PERSON_FACTS}
    for key, value in about.items():
        if value not in words.PERSON_FACTS[key]:
            known = ", ".join(words.PERSON_FACTS[key])
            raise Refused(f"--fact {key}: {value!r} is not one of {known}")
    theirs = _part_facts(shelf, measure, pairs)
    setup = {k: v for k, v in given.items() if k not in about and k not in theirs}
    return read_facts(measure, setup), about


def _part_facts(
    shelf: Catalogue, measure: Measure, pairs: Sequence[str]
) -> dict[str, str]:
    """What was said of how the parts of a composite were done, of any that has it."""
    said = _split(pairs, "--fact")
    meant: set[str] = set()
    for part in measure.components:
        other = shelf.measures[part.measure]
        meant |= {k for k in said if facts_for(measure, part, other, {k: said[k]})}
    return {k: v for k, v in said.items() if k in meant}


def _score(
    measure: Measure,
    given: argparse.Namespace,
    facts: dict[str, str],
    shelf: Catalogue,
) -> Score:
    if given.variant and given.variant not in {v.id for v in measure.variants}:
        known = ", ".join(v.id for v in measure.variants)
        raise Refused(f"{measure.id} has no variant {given.variant!r}; it has: {known}")
    inputs = _split(given.input, "--input")
    if given.outcome == "completed":
        read_ones = [read_trial(measure, text) for text in given.trial]
        made_of = trials_of(measure, inputs)
        noted = {} if made_of or measure.kind == "composite" else inputs
        trials = [replace(trial, inputs=noted) for trial in read_ones] + made_of
        if not trials and measure.kind != "composite":
            asked = ", ".join(input_names(measure))
            also = f" or --input ({asked})" if measure.kind != "time" and asked else ""
            raise Refused(f"give at least one --trial{also}, or --outcome unable")
    else:
        if given.trial:
            raise Refused(f"--outcome {given.outcome} has no number: leave --trial out")
        trials = [Trial(given.outcome, reason=given.reason)]
    return make_score(
        measure, trials, variant=given.variant or _finished(measure, trials),
        facts=facts, paired=_paired(shelf, measure, given, facts)
        | parts_from(shelf, measure, inputs, _part_facts(shelf, measure, given.fact)),
        body=body_from(measure, inputs),
    )  # fmt: skip


def _finished(measure: Measure, trials: Sequence[Trial]) -> str | None:
    """The rule for one walk, when one speed is said: nobody times a speed."""
    said = measure.kind == "speed" and [t for t in trials if t.unit in measure.units]
    if not said or len(trials) != 1:
        return None
    return next((v.id for v in measure.variants if v.of == 1), None)


def _paired(
    shelf: Catalogue, measure: Measure, given: argparse.Namespace, facts: dict[str, str]
) -> dict[str, Score]:
    """Paired scores, taken as done in the same set-up."""
    wanted = measure.made_from
    found = {}
    for measure_id, text in _split(given.paired, "--with").items():
        other = _measure(shelf, measure_id)
        if measure_id not in wanted:
            known = ", ".join(sorted(wanted)) or "none"
            raise Refused(f"{measure.id} is paired with {known}, not {measure_id}")
        parts = [c for c in measure.components if c.measure == measure_id]
        if parts:
            said = _part_facts(shelf, measure, given.fact)
            done = facts_for(measure, parts[0], other, said)
            found[measure_id] = part_score(other, parts[0], {measure_id: text}, done)
        else:
            found[measure_id] = single(other, text, facts)
    return found


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
        earlier = replace(
            single(measure, given.before[0], facts), variant=now.variant, trials=()
        )
        return by_zero_rule(measure, earlier)
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
    lines += [
        f"  {part.label}: {with_unit(shown(part.value, part.unit), part.unit)}"
        for part in score.parts.values()
    ]
    if result.change:
        lines += ["", result.change.says]
    lines += ["", "Leads:" if result.leading else f"No lead. {result.no_lead_because}"]
    for index, reading in enumerate(result.readings):
        leads = result.lead is not None and result.lead.index == index
        mark = "*" if leads else "-" if reading.matched else "x"
        lines.append(f" {mark} {reading.says}")
        lines.append(f"     {_source_line(result, reading)}")
        if reading.kind == "chance":
            lines.append(f"     {reading.detail}")
    lines += _no_chance(result)
    lines += [""] + [f"! {c}" for c in result.cautions]
    return [*lines, f"catalogue edition {shelf.edition}"]


def _no_chance(result: Result) -> list[str]:
    """Why a limit about falls tells no chance; who asked is told by a caution."""
    lead, why = result.leading, result.no_chance_because
    told = any(why in caution for caution in result.cautions)
    if not why or told or lead is None or lead.outcome_type != "falls":
        return []
    return ["", f"No chance. {why}"]


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
