"""`tapeline pathway`: a screening pathway walked with what is said of one person."""

import argparse
import json
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from app.catalogue.load import Catalogue, catalogue
from app.clinical import vocabulary as words
from app.clinical.pathway import Known, Pathway, Taken, Walk, walk
from app.clinical.person import OLDEST, YOUNGEST, Person
from app.clinical.quantities import SAME_KIND, BadNumber, parse, shown
from app.clinical.quantities import words as with_unit
from app.clinical.reading import read
from app.clinical.scores import Score
from app.clinical.screening import QUESTIONS
from app.clinical.setup import BadFact
from app.commands.refused import Refused
from app.exports.pathway_json import pathway_json

EXAMPLE = """example:
  tapeline pathway --list
  tapeline pathway cdc --age 78 --setting community --answer falls_12_months=none \\
      --answer unsteady=no --answer worried=yes --with timed_up_and_go=13.1
  tapeline pathway world2022 --age 80 --answer falls_12_months=one \\
      --answer fall_injury=no --answer could_not_get_up=no \\
      --answer lost_consciousness=no --answer frailty=no --with gait_speed=0.8 --json
  tapeline pathway cdc --age 80 --answer falls_12_months=one \\
      --with four_stage_balance.tandem=9.6"""
#: What a rule's state looks like in a line.
MARKS = {"met": "+", "not_met": "-", "open": "?", "told": "."}


def add(commands: Any) -> None:
    p: argparse.ArgumentParser = commands.add_parser(
        "pathway",
        help="walk a published screening pathway",
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    p.add_argument("pathway", metavar="PATHWAY", nargs="?")
    p.add_argument("--list", action="store_true", help="list the pathways")
    known = "an answer; names: " + ", ".join(QUESTIONS)
    p.add_argument("--answer", action="append", default=[], metavar="K=V", help=known)
    score = "a test's score, one part of it, or unable"
    p.add_argument(
        "--with", action="append", default=[], dest="taken",
        metavar="MEASURE[.PART]=V", help=score,
    )  # fmt: skip
    p.add_argument("--age", metavar="N")
    p.add_argument("--sex", choices=list(words.SEXES))
    p.add_argument("--setting", choices=list(words.SETTINGS))
    p.add_argument(
        "--condition", action="append", default=[], choices=list(words.CONDITIONS),
        metavar="C",
    )  # fmt: skip
    p.add_argument("--json", action="store_true")
    p.set_defaults(run=run)


def run(given: argparse.Namespace) -> int:
    shelf = catalogue()
    if given.list:
        return _list(shelf, as_json=given.json)
    if given.pathway is None:
        raise Refused("name a pathway, or ask for --list")
    walked = walked_with(shelf, given)
    if given.json:
        print(json.dumps(pathway_json(walked, shelf.edition), indent=2))
    else:
        print("\n".join([*_lines(walked), f"catalogue edition {shelf.edition}"]))
    return 0


def _list(shelf: Catalogue, *, as_json: bool) -> int:
    listed = [
        {
            "id": p.id, "name": p.name, "edition": p.edition, "source": p.source,
            "how": p.how, "answers": list(p.questions), "measures": list(p.measures),
        }
        for p in shelf.pathways.values()
    ]  # fmt: skip
    if as_json:
        print(json.dumps(listed, indent=2))
        return 0
    for p in shelf.pathways.values():
        print(f"{p.id:16} {p.name}: {p.edition}")
        for key in p.questions:
            options = "|".join(QUESTIONS[key].options) or f"0-{QUESTIONS[key].most}"
            print(f"{'':16}   --answer {key}={options}")
        for key in p.measures:
            print(f"{'':16}   --with {key}=V")
    return 0


def walked_with(shelf: Catalogue, given: argparse.Namespace) -> Walk:
    """From parsed arguments to a walk."""
    path = shelf.pathways.get(given.pathway)
    if path is None:
        known = ", ".join(shelf.pathways)
        raise Refused(f"no pathway {given.pathway!r}; there are: {known}")
    conditions = tuple(dict.fromkeys(given.condition))
    person = Person(_ages(given.age), given.sex, conditions, given.setting)
    answers = _answers(path, given.answer)
    try:
        taken = _taken(shelf, path, person, _split(given.taken, "--with"))
    except (BadNumber, BadFact) as fault:
        raise Refused(f"--with: {fault}") from fault
    return walk(path, Known(person, answers, taken))


def _split(pairs: list[str], option: str) -> dict[str, str]:
    found = {}
    for pair in pairs:
        key, equals, value = pair.partition("=")
        if not equals or not key or not value:
            raise Refused(f"{option} {pair!r}: write it as name=value")
        found[key] = value
    return found


def _ages(text: str | None) -> tuple[int, ...]:
    if text is None:
        return ()
    plain = text.isascii() and text.isdigit() and len(text) < 4
    if not plain or not YOUNGEST <= int(text) <= OLDEST:
        raise Refused(f"--age {text!r}: write whole years, {YOUNGEST} to {OLDEST}")
    return (int(text),)


def _answers(path: Pathway, pairs: list[str]) -> dict[str, str]:
    given = _split(pairs, "--answer")
    for key, value in given.items():
        if key not in path.questions:
            known = ", ".join(path.questions)
            raise Refused(f"{path.id} does not ask {key!r}; it asks: {known}")
        if not QUESTIONS[key].knows(value):
            question = QUESTIONS[key]
            known = ", ".join(question.options) or f"0 to {question.most}"
            raise Refused(f"--answer {key}: {value!r} is not one of {known}")
    return given


def _taken(
    shelf: Catalogue, path: Pathway, person: Person, given: Mapping[str, str]
) -> dict[str, Taken]:
    made: dict[str, Taken] = {}
    for name, text in given.items():
        key, _, part = name.partition(".")
        unit = _unit(path, key, part)
        before = made.get(key, Taken(""))
        says = f"{before.says}; {name} {text}".removeprefix("; ")
        if text == "unable":
            made[key] = Taken("unable")
            continue
        no_fall = text == "0" and unit == "mmHg"  # of pressure, which is a result
        typed, in_unit = (Decimal(0), unit) if no_fall else parse(text, _units(unit))
        if part:
            parts = {**before.parts, part: (Fraction(typed), in_unit)}
            made[key] = Taken(says, before.value, before.unit, parts, before.beyond)
        else:
            value = with_unit(shown(typed, in_unit), in_unit)
            beyond = _beyond(shelf, key, typed, in_unit, person)
            made[key] = Taken(value, Fraction(typed), in_unit, before.parts, beyond)
    return made


def _unit(path: Pathway, key: str, part: str) -> str:
    """The unit a rule compares that score in; refuse what no rule asks for."""
    if key not in path.measures:
        known = ", ".join(path.measures) or "none"
        raise Refused(f"{path.id} takes no score of {key!r}; it takes: {known}")
    asks = [c for c in path.conditions.values() if c.key == key and c.unit]
    units = {c.quantity: c.unit for c in asks}
    if part and part not in units:
        known = ", ".join(q for q in units if q) or "none"
        raise Refused(f"{path.id} asks no part {part!r} of {key}; it asks: {known}")
    return units.get(part) or "count"


def _units(unit: str) -> tuple[str, ...]:
    also = next((tuple(kind) for kind in SAME_KIND if unit in kind), ())
    return tuple(dict.fromkeys((unit, *also)))


def _beyond(
    shelf: Catalogue, key: str, value: Decimal, unit: str, person: Person
) -> dict[str, bool]:
    """By source: whether its limit that fits is crossed, as far as the test is here."""
    measure = shelf.measures.get(key)
    if measure is None or unit not in measure.units:
        return {}
    rule = measure.variants[0].id
    score = Score(measure.id, "completed", rule, unit, Fraction(value))
    return read(measure, score, person).crossed_by_source


def _lines(walked: Walk) -> list[str]:
    path = walked.pathway
    lines = [f"{path.name}: {path.edition} ({words.HOWS[path.how]})", ""]
    if walked.by:
        lines += [f"Level of this source: {path.names[walked.level]}",
                  f"  {walked.by.rule.then}"]  # fmt: skip
        lines += [f"  assumed: not {a[0].lower()}{a[1:]}" for a in walked.by.assumed]
    elif any(rule.level for rule in path.rules):
        lines.append("No level is reached.")
    lines += [f"Found: {path.names[f]}" for f in walked.findings]
    if walked.missing:
        said = (f"{n.key} (unable)" if n.kind == "unable" else n.key
                for n in walked.missing)  # fmt: skip
        lines.append(f"Still missing: {', '.join(dict.fromkeys(said))}")
    if walked.unconfirmed:
        lines.append("! Unconfirmed: this level rests on a rule that was recalled.")
    lines.append("")
    for step in walked.steps:
        source = path.sources[step.rule.source].short
        lines.append(f" {MARKS[step.state]} {step.rule.when}")
        lines.append(f"     {step.rule.then}")
        lines.append(f"     {source} - {words.HOWS[step.rule.how]}")
    lines += [""] + [f"! {r.text}" for r in walked.remarks]
    return [*lines, "! A rule of a source, no diagnosis: licensed judgement decides."]
