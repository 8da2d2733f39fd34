"""Rows without identifiers, after the Safe Harbor of 45 CFR 164.514(b)(2) (full text).

Every cell goes through the rule of its column, and no column takes free text: a word of
a closed list, a plain number of a size that can be, or a code made for this one file.
What its rule does not know is left empty, so that nothing gets in by a column nobody
thought of. The codes come from the caller, who keeps no key to them.
"""

import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from types import MappingProxyType
from typing import Any, Final

from app.clinical import change, goals
from app.clinical.assistance import CUE_AMOUNTS, CUE_KINDS, LEVELS
from app.clinical.doing import HAND_SUPPORT
from app.clinical.doing import OUTCOMES as SET_OUTCOMES
from app.clinical.make_safe import SYMPTOMS
from app.clinical.measure import Measure
from app.clinical.person import ages_on
from app.clinical.quantities import SHOWN_PLACES
from app.clinical.setup import BadFact, read_facts
from app.clinical.visiting import DEVICES, EFFORT_SCALES, KINDS, NOT_DONE, TASKS
from app.clinical.vocabulary import (
    CONDITIONS,
    OUTCOMES,
    SETTINGS,
    SEXES,
    UNABLE_REASONS,
)
from app.exports.csv_cells import written

#: Ages above are told together: 164.514(b)(2)(i)(C).
OLDEST_TOLD: Final = 89
OLDER: Final = "90+"
CODE: Final = re.compile(r"[0-9a-f]{16}", re.ASCII)
_NUMBER: Final = re.compile(r"-?\d{1,5}(\.\d{1,3})?", re.ASCII)
CHANGES: Final = (
    change.REAL_GAIN, change.REAL_LOSS, change.WITHIN, change.DISAGREE, change.UNTOLD,
    change.NEWLY_ABLE, change.NEWLY_UNABLE, change.NOT_COMPARABLE, change.NOT_JUDGED,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Known:
    """The ids that the catalogue knows."""

    measures: Mapping[str, Measure]
    activities: Collection[str]


Raw = Mapping[str, Any]
#: From a value, its row and the catalogue to the cell; empty for what it does not know.
Rule = Callable[[Any, Raw, Known], str]


def _code(value: Any, _row: Raw, _known: Known) -> str:
    return value if isinstance(value, str) and CODE.fullmatch(value) else ""


def _age(value: Any, _row: Raw, _known: Known) -> str:
    """As `told_age` makes it."""
    told = str(value)
    young = told.isascii() and told.isdigit() and int(told) <= OLDEST_TOLD
    return told if young or told == OLDER else ""


def _yes(value: Any, _row: Raw, _known: Known) -> str:
    return "" if value is None else "yes" if value is True else "no"


def _whole(most: int, least: int = 0) -> Rule:
    def rule(value: Any, _row: Raw, _known: Known) -> str:
        good = type(value) is int and least <= value <= most
        return str(value) if good else ""

    return rule


def _number(most: int, least: int = 0) -> Rule:
    def rule(value: Any, _row: Raw, _known: Known) -> str:
        told = "" if value is None else str(value)
        good = _NUMBER.fullmatch(told) and least <= Decimal(told) <= most
        return told if good else ""

    return rule


def _numbers(most: int) -> Rule:
    one = _number(most)

    def rule(value: Any, row: Raw, known: Known) -> str:
        return " ".join(filter(None, (one(v, row, known) for v in _each(value))))

    return rule


def _each(value: Any) -> Sequence[Any]:
    return value if isinstance(value, list | tuple) else ()


def _pairs(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, dict) else {}


def _known_word(value: Any, words: Collection[str]) -> str:
    return value if isinstance(value, str) and value in words else ""


def _word(words: Collection[str]) -> Rule:
    return lambda value, _row, _known: _known_word(value, words)


def _words(words: Collection[str]) -> Rule:
    return lambda value, _row, _known: "; ".join(
        sorted(filter(None, (_known_word(each, words) for each in _each(value))))
    )


def _measure(value: Any, _row: Raw, known: Known) -> str:
    return _known_word(value, known.measures)


def _activity(value: Any, _row: Raw, known: Known) -> str:
    return _known_word(value, known.activities)


def _test(row: Raw, known: Known) -> Measure | None:
    return known.measures.get(_measure(row["measure"], row, known))


def _variant(value: Any, row: Raw, known: Known) -> str:
    measure = _test(row, known)
    return _known_word(value, {v.id for v in measure.variants}) if measure else ""


def _facts(value: Any, row: Raw, known: Known) -> str:
    """The set-up: choices of the test's own list, and lengths that can be."""
    measure, told = _test(row, known), []
    for key, said in sorted(_pairs(value).items()):
        if measure is None:
            break
        try:
            good = read_facts(measure, {key: str(said)})
        except BadFact:
            continue
        told.append(f"{key}={good[key]}")
    return "; ".join(told)


def _inputs(value: Any, row: Raw, known: Known) -> str:
    measure, told = _test(row, known), []
    for each in measure.inputs if measure else ():
        said = str(_pairs(value).get(each.key, ""))
        number = re.fullmatch(r"\d{1,4}", said, re.ASCII)
        if said in each.options or said == "yes" or number:
            told.append(f"{each.key}={said}")
    return "; ".join(told)


def row_keys(measure: Measure) -> frozenset[str]:
    """The ids of its published rows, such as `cutoff 3`."""
    tables = (
        measure.norms, measure.cutoffs, measure.unable, measure.reliability,
        measure.important_change,
    )  # fmt: skip
    return frozenset(row.key for table in tables for row in table)


def _readings(value: Any, row: Raw, known: Known) -> str:
    """Ids of the rows that fit, each with whether the score lies beyond it."""
    measure = _test(row, known)
    keys = row_keys(measure) if measure else frozenset()
    said = {True: " beyond", False: " not beyond", None: ""}
    told = [(_known_word(key, keys), crossed) for key, crossed in _each(value)]
    return "; ".join(f"{key}{said[crossed]}" for key, crossed in told if key)


def _lead(value: Any, row: Raw, known: Known) -> str:
    measure = _test(row, known)
    return _known_word(value, row_keys(measure)) if measure else ""


_WHO: Final[Mapping[str, Rule]] = {"patient": _code}
_IN_VISIT: Final[Mapping[str, Rule]] = {**_WHO, "visit": _whole(9999, 1)}
_OF_ROUND: Final[Mapping[str, Rule]] = {
    **_IN_VISIT, "round": _whole(9999, 1), "measure": _measure, "variant": _variant,
}  # fmt: skip
#: Every file with its columns; there is no other way into one.
COLUMNS: Final[Mapping[str, Mapping[str, Rule]]] = MappingProxyType(
    {
        "patients.csv": {
            **_WHO, "age": _age, "sex": _word(SEXES), "conditions": _words(CONDITIONS),
        },
        "visits.csv": {
            **_IN_VISIT, "year": _whole(2100, 1900), "care": _whole(99, 1),
            "setting": _word(SETTINGS), "kind": _word(KINDS),
            "missed_reason": _word(NOT_DONE), "minutes": _whole(2400),
        },
        "trials.csv": {
            **_OF_ROUND, "facts": _facts, "trial": _whole(999, 1), "practice": _yes,
            "outcome": _word(OUTCOMES), "reason": _word(UNABLE_REASONS),
            "value": _number(36_000), "unit": _word(SHOWN_PLACES),
            "start_mark": _number(9999), "end_mark": _number(9999), "inputs": _inputs,
            "splits": _numbers(36_000), "voided": _yes,
        },
        "scores.csv": {
            **_OF_ROUND, "device": _word(DEVICES), "outcome": _word(OUTCOMES),
            "value": _number(36_000), "unit": _word(SHOWN_PLACES), "lead": _lead,
            "change": _word(CHANGES), "readings": _readings,
        },
        "sets.csv": {
            **_IN_VISIT, "activity": _activity, "outcome": _word(SET_OUTCOMES),
            "reason": _word(NOT_DONE), "grade": _number(999, -999),
            "reps": _whole(9999), "holds": _numbers(36_000), "time": _number(36_000),
            "distance": _number(9999), "distance_unit": _word(("in", "cm")),
            "steps": _whole(9999), "steps_to_recover": _whole(9999),
            "passes": _whole(9999), "hazards": _whole(9999), "calls": _whole(9999),
            "correct": _whole(9999), "errors": _whole(9999),
            "hand_support": _word(HAND_SUPPORT), "level": _word(LEVELS),
            "helpers": _whole(4), "cue_kind": _word(CUE_KINDS),
            "cue_amount": _word(CUE_AMOUNTS), "effort": _whole(20),
            "effort_scale": _word(EFFORT_SCALES), "symptoms": _words(SYMPTOMS),
            "no_symptom": _yes, "voided": _yes,
        },
        "goals.csv": {
            **_WHO, "care": _whole(99, 1), "goal": _whole(999, 1),
            "term": _word(goals.TERMS), "who": _word(goals.WHO), "task": _word(TASKS),
            "place": _word(goals.PLACES), "surface": _word(goals.SURFACES),
            "device": _word(DEVICES), "cue_kind": _word((goals.NO_CUES, *CUE_KINDS)),
            "cue_amount": _word(CUE_AMOUNTS), "help": _word(LEVELS),
            "kind": _word(goals.KINDS), "measure": _measure,
            "target_value": _number(36_000), "target_unit": _word(SHOWN_PLACES),
            "target_level": _word(LEVELS), "times": _whole(20), "out_of": _whole(20),
            "base_times": _whole(20), "closed": _word(goals.CLOSES),
        },
    }
)  # fmt: skip
#: Days since the first visit: only where a privacy officer has judged that they may be.
DAY: Final = "day"
_DAY_RULE: Final = _whole(40_000)


def columns(file: str, *, day_offsets: bool) -> Mapping[str, Rule]:
    more = {DAY: _DAY_RULE} if day_offsets and file == "visits.csv" else {}
    return {**COLUMNS[file], **more}


def closed_csv(
    file: str, rows: Iterator[Raw], known: Known, *, day_offsets: bool = False
) -> Iterator[str]:
    """The lines of a file. What a row holds beside the columns stays out."""
    rules = columns(file, day_offsets=day_offsets)
    cells = (
        {name: rule(row.get(name), row, known) for name, rule in rules.items()}
        for row in rows
    )
    return written(tuple(rules), cells)


def told_age(
    born: date | None, year: int | None, first: date, last: date
) -> int | str | None:
    """Their age at the first visit, and 90+ when they reached that by the last one.

    By the birth year alone it is the age of that calendar year. An age of 88 beside
    visits over three years would tell an age over 89, so the last day decides.
    """
    if not ages_on(last, born=born, year=year):
        return None
    if max(ages_on(last, born=born, year=year)) > OLDEST_TOLD:
        return OLDER
    return max(ages_on(first, born=born, year=year))


def told_days(days: list[date], *, day_offsets: bool) -> Iterator[dict[str, int]]:
    """Of each visit its year. With day offsets only the first says its year: the turn
    of a year between two counted days would give the days away."""
    for place, day in enumerate(days):
        if not day_offsets:
            yield {"year": day.year}
        elif place == 0:
            yield {"year": day.year, DAY: 0}
        else:
            yield {DAY: (day - days[0]).days}
