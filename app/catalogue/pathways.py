"""`pathways/<id>.toml`: screening pathways as rules, read as strictly as the tests."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from app.catalogue import rows
from app.catalogue.fields import CatalogueError, Table
from app.clinical import vocabulary as words
from app.clinical.pathway import (
    Accuracy,
    Condition,
    Pathway,
    Remark,
    Rule,
    Way,
)
from app.clinical.quantities import SHOWN_PLACES
from app.clinical.screening import QUESTIONS

KINDS = (
    "answer", "measure", "beyond", "not_measured", "age", "setting", "condition",
    "result", "any_of",
)  # fmt: skip


def pathway(content: Mapping[str, Any], name: str) -> Pathway:
    """One file; what it names must be there, and every source be cited."""
    t = Table(content, name)
    names = {k: v[0] for k, v in t.lists("names").items()}
    made = Pathway(
        id=t.text("id"),
        name=t.text("name"),
        edition=t.text("edition"),
        source=t.text("published_in"),
        how=t.word("how", words.HOWS),  # type: ignore[arg-type]
        note=t.text("note", ""),
        percent=t.flag("percent", True),
        names=names,
        conditions={c.id: c for c in map(_condition, t.tables("condition"))},
        rules=tuple(map(_rule, t.tables("rule"))),
        remarks=tuple(map(_remark, t.tables("remark"))),
        accuracy=tuple(map(_accuracy, t.tables("accuracy"))),
        checks=tuple(map(rows.check, t.tables("check"))),
        sources={s.key: s for s in map(rows.source, t.tables("source"))},
    )
    t.done()
    _consistent(made, name)
    return made


def _condition(t: Table) -> Condition:
    kind = t.word("kind", KINDS)
    made = Condition(
        id=t.text("id"),
        says=t.text("says"),
        kind=kind,  # type: ignore[arg-type]
        key=t.text("key", ""),
        values=t.words("values"),
        at_least=t.whole("at_least"),
        at_most=t.whole("at_most"),
        quantity=t.text("quantity", ""),
        direction=t.word("direction", ("", *rows.DIRECTIONS), ""),
        value=t.number("value"),
        unit=t.word("unit", ("", *SHOWN_PLACES), ""),
        enough=t.words("enough"),
    )
    if (kind == "measure") != (made.value is not None and bool(made.direction)):
        raise t.wrong("value", "value, unit and direction belong to a measure")
    _closed(t, made)
    t.done()
    return made


def _closed(t: Table, c: Condition) -> None:
    """Only words of the closed lists, and only where they mean something."""
    known: Mapping[str, Callable[[str], bool]] = {
        "setting": lambda v: v in words.SETTINGS,
        "condition": lambda v: v in words.CONDITIONS,
    }
    if c.kind == "answer":
        question = QUESTIONS.get(c.key)
        if question is None:
            raise t.wrong("key", f"no question {c.key!r}")
        if (c.at_least is None) == (not c.values):
            raise t.wrong("values", "an answer has either values or at_least")
        known = {"answer": question.knows}
    wrong = [v for v in c.values if c.kind in known and not known[c.kind](v)]
    if wrong:
        raise t.wrong("values", f"{wrong[0]!r} is not in the closed list")


def _rule(t: Table) -> Rule:
    made = Rule(
        id=t.text("id"),
        step=t.whole("step") or 0,
        when=t.text("when"),
        then=t.text("then"),
        how=t.word("how", words.HOWS),  # type: ignore[arg-type]
        source=t.text("source"),
        note=t.text("note", ""),
        level=t.text("level", ""),
        finding=t.text("finding", ""),
        ways=tuple(map(_way, t.tables("way"))),
        part_of=t.text("part_of", ""),
    )
    if (made.gives and not made.ways) or (made.level and made.finding):
        raise t.wrong("way", "a rule that gives one level or finding needs a way")
    t.done()
    return made


def _way(t: Table) -> Way:
    made = Way(t.words("all"), t.words("any"), t.words("none"), t.words("unless"))
    if not (made.all or made.any or made.none):
        raise t.wrong("all", "a way needs all, any or none")
    t.done()
    return made


def _remark(t: Table) -> Remark:
    made = Remark(
        text=t.text("text"),
        how=t.word("how", words.HOWS),  # type: ignore[arg-type]
        source=t.text("source"),
        at=t.text("at", ""),
        note=t.text("note", ""),
    )
    t.done()
    return made


def _accuracy(t: Table) -> Accuracy:
    reads = t.text("reads", "")
    return Accuracy(rows.cutoff(t), reads)


def _consistent(p: Pathway, name: str) -> None:
    if p.id != Path(name).stem:
        raise CatalogueError(f"{name}: id: must be the file's name")
    for rule in p.rules:
        asked = [c for w in rule.ways for c in (*w.all, *w.any, *w.none, *w.unless)]
        _named(asked, p.conditions, f"{name}: rule {rule.id}", "condition")
        _named([rule.gives], {"", *p.names}, f"{name}: rule {rule.id}", "name")
        ids = {"", *(r.id for r in p.rules)}
        _named([rule.part_of], ids, f"{name}: rule {rule.id}", "rule")
    for c in p.conditions.values():
        within = (*c.values, *c.enough) if c.kind == "any_of" else c.enough
        _named(within, p.conditions, f"{name}: condition {c.id}", "condition")
        result = [c.key] if c.kind == "result" else []
        _named(result, p.names, f"{name}: condition {c.id}", "name")
    _named([r.at for r in p.remarks], {"", *p.names}, f"{name}: remark", "name")
    reads = [a.reads for a in p.accuracy]
    _named(reads, {"", *p.conditions}, f"{name}: accuracy", "condition")
    _sourced(p, name)


def _named(asked: Any, known: Any, where: str, what: str) -> None:
    for key in asked:
        if key not in known:
            raise CatalogueError(f"{where}: no {what} {key!r}")


def _sourced(p: Pathway, name: str) -> None:
    used = {p.source} | {r.source for r in p.rules} | {r.source for r in p.remarks}
    used |= {c.source for c in p.checks} | {a.row.source for a in p.accuracy}
    notes = " ".join(r.note for r in p.rules)
    used |= {key for key in p.sources if key in notes}
    unlike = used ^ set(p.sources)
    if unlike:
        raise CatalogueError(
            f"{name}: source: {', '.join(sorted(unlike))}: listed and cited differ"
        )
