"""`deficits.toml`: what results ask for, as rules, read as strictly as the tests."""

from collections.abc import Callable, Mapping
from typing import Any, Final

from app.catalogue import rows
from app.catalogue.conditions import units_of
from app.catalogue.fields import CatalogueError, Table
from app.clinical import vocabulary as words
from app.clinical.assistance import LEVELS
from app.clinical.deficit import (
    LIMITS,
    RULE_KINDS,
    SAMPLE_LINES,
    WEAK_REASONS,
    Deficit,
    Deficits,
    Rule,
)
from app.clinical.measure import Measure
from app.clinical.precautions import PRECAUTIONS
from app.clinical.screening import QUESTIONS
from app.clinical.visiting import TASKS

Measures = Mapping[str, Measure]


def deficits(
    content: Mapping[str, Any], name: str, measures: Mapping[str, Measure]
) -> Deficits:
    """The file; what it names must be there. Raise CatalogueError naming the key."""
    t = Table(content, name)
    named: dict[str, Deficit] = {}
    for table in t.tables("deficit"):
        made = _deficit(table)
        if made.key in named:
            raise table.wrong("key", f"{made.key!r} is there twice")
        named[made.key] = made
    rules = tuple(_rule(table, named, measures) for table in t.tables("rule"))
    apart = t.lists("apart")
    for measure, keys in apart.items():
        for key in keys:
            _fact_of(t, f"apart.{measure}", measures, measure, key)
    sources = {s.key: s for s in map(rows.source, t.tables("source"))}
    t.done()
    shelf = Deficits(named, rules, apart, sources)
    _consistent(shelf, name)
    return shelf


def _deficit(t: Table) -> Deficit:
    made = Deficit(
        key=t.text("key"),
        words=t.text("words"),
        short=t.text("short"),
        shown_by=t.text("shown_by"),
        other_words=t.words("other_words"),
        by_hand=t.text("by_hand", ""),
    )
    t.done()
    return made


def _rule(t: Table, named: Mapping[str, Deficit], measures: Measures) -> Rule:
    kind = t.word("kind", RULE_KINDS)
    own = _FIELDS[kind](t, measures)
    made = Rule(
        deficit=t.word("deficit", named),
        kind=kind,  # type: ignore[arg-type]
        how=t.word("how", words.HOWS),  # type: ignore[arg-type]
        source=t.text("source"),
        says=t.text("says", ""),
        note=t.text("note", ""),
        **own,
    )
    if named[made.deficit].by_hand:
        raise t.wrong("deficit", f"{made.deficit!r} is by hand: no rule finds it")
    t.done()
    return made


def _some(t: Table, key: str, allowed: Any) -> tuple[str, ...]:
    """A list from a closed list, which may not be empty."""
    found = t.words(key, allowed)
    if not found:
        raise t.wrong(key, "is missing")
    return found


def _of_measure(t: Table, measures: Measures) -> dict[str, Any]:
    """The test, and the set-up facts it must have been done with."""
    measure, facts = t.word("measure", measures), t.lists("facts")
    for key, values in facts.items():
        options = _fact_of(t, f"facts.{key}", measures, measure, key)
        if not set(values) <= set(options):
            raise t.wrong(f"facts.{key}", f"{measure} has no such value")
    return {"measure": measure, "facts": facts}


def _fact_of(
    t: Table, where: str, measures: Measures, measure: str, key: str
) -> Mapping[str, str]:
    """The options of a set-up fact of a test."""
    if measure not in measures:
        raise t.wrong(where, f"no measure {measure!r}")
    fact = measures[measure].fact(key)
    if fact is None or not fact.options:
        raise t.wrong(where, f"{measure} has no choice {key!r}")
    return fact.options


def _beyond(t: Table, measures: Measures) -> dict[str, Any]:
    own = _of_measure(t, measures)
    quantity = t.text("quantity", "score")
    if not units_of(measures[own["measure"]], quantity):
        raise t.wrong("quantity", f"{quantity!r} is never measured")
    limits, lines = t.words("limits", LIMITS), t.words("lines", SAMPLE_LINES)
    if not limits and not lines:
        raise t.wrong("limits", "limits or lines are needed")
    return {**own, "quantity": quantity, "limits": limits, "lines": lines}


def _unable(t: Table, measures: Measures) -> dict[str, Any]:
    own = _of_measure(t, measures)
    return {**own, "reasons": _some(t, "reasons", WEAK_REASONS)}


def _zero(t: Table, measures: Measures) -> dict[str, Any]:
    own = _of_measure(t, measures)
    if measures[own["measure"]].kind != "count":
        raise t.wrong("measure", "only a count can be 0")
    return own


def _held(t: Table, measures: Measures) -> dict[str, Any]:
    own = _of_measure(t, measures)
    stages = [stage.id for stage in measures[own["measure"]].stages]
    return {**own, "stage": t.word("stage", stages)}


def _setup(t: Table, measures: Measures) -> dict[str, Any]:
    own = _of_measure(t, measures)
    if len(own["facts"]) != 1:
        raise t.wrong("facts", "a rule about the set-up names one fact")
    return own


def _task(t: Table, _measures: Measures) -> dict[str, Any]:
    return {"tasks": _some(t, "tasks", TASKS), "level": t.word("level", LEVELS)}


def _precaution(t: Table, _measures: Measures) -> dict[str, Any]:
    return {"tags": _some(t, "tags", PRECAUTIONS)}


def _answer(t: Table, _measures: Measures) -> dict[str, Any]:
    question = t.word("question", QUESTIONS)
    values = _some(t, "values", None)
    wrong = [v for v in values if not QUESTIONS[question].knows(v)]
    if wrong:
        raise t.wrong("values", f"{question} has no answer {wrong[0]!r}")
    return {
        "question": question,
        "values": values,
        "settings": t.words("settings", words.SETTINGS),
    }


#: What each kind of rule says; any other key of it is refused.
_FIELDS: Final[Mapping[str, Callable[[Table, Measures], dict[str, Any]]]] = {
    "beyond": _beyond,
    "unable": _unable,
    "zero": _zero,
    "held": _held,
    "setup": _setup,
    "task": _task,
    "precaution": _precaution,
    "answer": _answer,
}


def _consistent(shelf: Deficits, name: str) -> None:
    ruled = {rule.deficit for rule in shelf.rules}
    for key, deficit in shelf.named.items():
        if key not in ruled and not deficit.by_hand:
            raise CatalogueError(f"{name}: {key}: has no rule, and is not by hand")
    unlike = {rule.source for rule in shelf.rules} ^ set(shelf.sources)
    if unlike:
        raise CatalogueError(
            f"{name}: source: {', '.join(sorted(unlike))}: listed and cited differ"
        )
