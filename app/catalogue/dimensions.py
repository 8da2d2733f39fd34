"""`dimensions.toml`: what is measured in rooms and the dimensions published for it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from types import MappingProxyType
from typing import Any, Final, get_args

from app.catalogue import rows
from app.catalogue.fields import CatalogueError, Table
from app.clinical.dimensions import ROOMS, WHENS, Kind, Note, Reference, Thing
from app.clinical.guide import Check
from app.clinical.seat_height import RANKS, Finding, LegSample
from app.clinical.source import Source
from app.clinical.vocabulary import HOWS, SEXES

NAME: Final = "dimensions.toml"
CHECK_KINDS: Final = ("compare", "ramp", "start", "rank")


@dataclass(frozen=True, slots=True)
class Dimensions:
    """Things by key in the file's order, and what stands beside them."""

    things: Mapping[str, Thing] = field(default_factory=dict)
    notes: tuple[Note, ...] = ()
    findings: tuple[Finding, ...] = ()
    legs: tuple[LegSample, ...] = ()
    checks: tuple[Check, ...] = ()
    sources: Mapping[str, Source] = field(default_factory=dict)


def dimensions(content: Mapping[str, Any]) -> Dimensions:
    """Read the file; every source is listed, and every listed one cited."""
    t = Table(content, NAME)
    sources = {s.key: s for s in map(rows.source, t.tables("source"))}
    things: dict[str, Thing] = {}
    for row in t.tables("thing"):
        made = _thing(row, sources)
        if made.key in things:
            raise row.wrong("key", f"{made.key!r} is there twice")
        things[made.key] = made
    found = Dimensions(
        things=things,
        notes=tuple(map(_note, t.tables("note"))),
        findings=tuple(map(_finding, t.tables("finding"))),
        legs=tuple(map(_leg, t.tables("leg"))),
        checks=tuple(map(_check, t.tables("check"))),
        sources=sources,
    )
    t.done()
    _sources(found)
    return found


def _sources(found: Dimensions) -> None:
    cited = {r.source for t in found.things.values() for r in t.references}
    cited |= {n.source for n in found.notes} | {f.source for f in found.findings}
    cited |= {s.source for s in found.legs} | {c.source for c in found.checks}
    unlike = cited ^ set(found.sources)
    if unlike:
        raise CatalogueError(
            f"{NAME}: source: {', '.join(sorted(unlike))}: listed and cited differ"
        )


def _thing(t: Table, sources: Mapping[str, Source]) -> Thing:
    key, kind = t.text("key"), t.word("kind", get_args(Kind))
    if not key.replace("_", "a").isalnum() or key != key.lower() or len(key) > 40:
        raise t.wrong("key", "small letters, digits and _, at most 40")
    made = Thing(
        key=key,
        name=t.text("name"),
        measure=t.text("measure"),
        kind=kind,  # type: ignore[arg-type]
        rooms=t.words("rooms", ROOMS),
        own=t.flag("own"),
        references=tuple(
            _reference(r, key, kind, sources) for r in t.tables("reference")
        ),
        none=t.text("none", ""),
        none_how=t.word("none_how", ("", *HOWS), ""),
    )
    if bool(made.references) == bool(made.none):
        raise t.wrong("none", "a thing has references, or says that there is none")
    if made.own != (kind == "seat"):
        raise t.wrong("own", "is for seats, and for every seat")
    t.done()
    return made


def _reference(
    t: Table, thing: str, kind: str, sources: Mapping[str, Source]
) -> Reference:
    source = t.text("source")
    if source not in sources:
        raise t.wrong("source", f"{source!r} is cited but not listed")
    made = Reference(
        thing=thing,
        section=t.text("section"),
        source=source,
        how=t.word("how", HOWS),  # type: ignore[arg-type]
        published=sources[source],
        at_least=t.number("at_least"),
        at_most=t.number("at_most"),
        more_than=t.number("more_than"),
        then=t.text("then", ""),
        when=t.word("when", WHENS, ""),
        read_in=t.text("read_in", ""),
        section_how=t.word("section_how", ("", *HOWS), ""),
        slope=kind == "slope",
    )
    _edges(t, made)
    t.done()
    return made


def _edges(t: Table, made: Reference) -> None:
    """An interval has an end or two in order; `more_than` stands alone with `then`."""
    low, high = made.at_least, made.at_most
    ends = [n for n in (low, high, made.more_than) if n is not None]
    if not ends or any(n <= 0 for n in ends):
        raise t.wrong("at_least", "needs an end above zero")
    if low is not None and high is not None and low > high:
        raise t.wrong("at_least", "is above at_most")
    if made.more_than is not None and len(ends) > 1:
        raise t.wrong("more_than", "stands alone")
    if (made.more_than is not None) != bool(made.then):
        raise t.wrong("then", "says what is asked for beyond more_than, and only there")


def _note(t: Table) -> Note:
    made = Note(
        section=t.text("section"),
        says=t.text("says"),
        source=t.text("source"),
        how=t.word("how", HOWS),  # type: ignore[arg-type]
        read_in=t.text("read_in", ""),
    )
    t.done()
    return made


def _finding(t: Table) -> Finding:
    made = Finding(
        says=t.text("says"),
        source=t.text("source"),
        how=t.word("how", HOWS),  # type: ignore[arg-type]
        note=t.text("note", ""),
    )
    t.done()
    return made


def _leg(t: Table) -> LegSample:
    spread = Table(t.table("ranks"), f"{t.where}: ranks")
    ranks = {rank: _needed(spread, f"p{rank}") for rank in RANKS}
    spread.done()
    if list(ranks.values()) != sorted(ranks.values()):
        raise t.wrong("ranks", "must rise")
    made = LegSample(
        sex=t.word("sex", SEXES),
        n=t.whole("n") or 0,
        mean=_needed(t, "mean"),
        sd=_needed(t, "sd"),
        ranks=MappingProxyType(ranks),
        population=t.text("population"),
        source=t.text("source"),
        how=t.word("how", HOWS),  # type: ignore[arg-type]
        slope=_needed(t, "slope"),
        intercept=_needed(t, "intercept"),
        r2=_needed(t, "r2"),
        residual_sd=_needed(t, "residual_sd"),
    )
    t.done()
    return made


def _needed(t: Table, key: str) -> Decimal:
    value = t.number(key)
    if value is None:
        raise t.wrong(key, "is missing")
    return value


def _check(t: Table) -> Check:
    made = Check(
        what=t.text("what"),
        kind=t.word("kind", CHECK_KINDS),
        given=t.table("given"),
        expect=t.table("expect"),
        how=t.word("how", HOWS),  # type: ignore[arg-type]
        source=t.text("source"),
    )
    t.done()
    return made
