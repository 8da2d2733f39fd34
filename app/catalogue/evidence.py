"""`evidence.toml` and `icf.toml`: figures behind the doses, and labels of codes."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from app.catalogue import rows
from app.catalogue.fields import CatalogueError, Table
from app.clinical.activity import Activity
from app.clinical.evidence import TOPICS, EvidenceFact, IcfCode
from app.clinical.source import Source
from app.clinical.vocabulary import HOWS


@dataclass(frozen=True, slots=True)
class Evidence:
    """The facts in the file's order, their sources, what was looked for in vain."""

    facts: tuple[EvidenceFact, ...] = ()
    sources: Mapping[str, Source] = field(default_factory=dict)
    not_found: tuple[str, ...] = ()

    def of(self, keys: tuple[str, ...]) -> list[EvidenceFact]:
        """The facts that cite any of these sources."""
        return [f for f in self.facts if {*f.sources} & {*keys}]


def known_of(
    folder: Path, read: Callable[[Path], Mapping[str, Any]]
) -> tuple[Evidence, dict[str, IcfCode]]:
    """Both files of `folder`, each where it is there; `read` parses one."""
    facts, codes = folder / "evidence.toml", folder / "icf.toml"
    return (
        evidence(read(facts), facts.name) if facts.exists() else Evidence(),
        icf_codes(read(codes), codes.name) if codes.exists() else {},
    )


def evidence(content: Mapping[str, Any], name: str) -> Evidence:
    """Read the file; every source is listed, and every listed one cited."""
    t = Table(content, name)
    not_found = t.words("not_found")
    sources = {s.key: s for s in map(rows.source, t.tables("source"))}
    facts = tuple(map(_fact, t.tables("fact")))
    t.done()
    keys = [fact.key for fact in facts]
    for key in keys:
        if keys.count(key) > 1:
            raise CatalogueError(f"{name}: fact: {key!r} is there twice")
    for fact in facts:
        if fact.differs and fact.differs not in keys:
            raise CatalogueError(f"{name}: {fact.key}: no fact {fact.differs!r}")
    cited = {key for f in facts for key in (*f.sources, f.read_in) if key}
    for key in sorted(cited ^ set(sources)):
        said = "listed but never cited" if key in sources else "cited but not listed"
        raise CatalogueError(f"{name}: source: {key!r} is {said}")
    return Evidence(facts, sources, not_found)


def _fact(t: Table) -> EvidenceFact:
    made = EvidenceFact(
        key=t.text("key"),
        topic=t.word("topic", TOPICS),
        claim=t.text("claim"),
        figure=t.text("figure"),
        how=t.word("how", HOWS),
        sources=t.words("sources"),
        read_in=t.text("read_in", ""),
        differs=t.text("differs", ""),
        note=t.text("note", ""),
    )
    if not made.sources:
        raise t.wrong("sources", "is missing")
    t.done()
    return made


def icf_codes(content: Mapping[str, Any], name: str) -> dict[str, IcfCode]:
    """Labels by code."""
    t = Table(content, name)
    found: dict[str, IcfCode] = {}
    for row in t.tables("code"):
        made = IcfCode(row.text("code"), row.text("label"), row.word("how", HOWS))
        row.done()
        if made.code in found:
            raise CatalogueError(f"{name}: {made.code} is there twice")
        found[made.code] = made
    t.done()
    return found


def check_cited(
    activities: Mapping[str, Activity],
    known: Evidence,
    codes: Mapping[str, IcfCode],
) -> None:
    """Every source of a dose and every code of an activity is there."""
    for made in activities.values():
        where = f"activities/{made.id.lower()}_*.toml"
        for key in made.dose.sources:
            if key not in known.sources:
                raise CatalogueError(
                    f"{where}: dose.sources: no source {key!r} in evidence.toml"
                )
        for code in made.icf:
            if code not in codes:
                raise CatalogueError(f"{where}: icf: no code {code!r} in icf.toml")
