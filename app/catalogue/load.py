"""The catalogue: every measure file read, validated and frozen at start-up.

The folder is the registry: a new `measures/<id>.toml` is a new test. The first fault
stops the load with file, table and key. The edition is a hash of all files.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache, partial
from pathlib import Path
from typing import Any

import tomli

from app.catalogue import rows
from app.catalogue.agreement import sources_agree
from app.catalogue.base_rates import BaseRates, base_rates
from app.catalogue.composites import check_kind, check_parts, parts_of
from app.catalogue.conditions import check_limits, check_phases, check_unit, check_warns
from app.catalogue.dimensions import Dimensions, dimensions
from app.catalogue.evidence import Evidence
from app.catalogue.facts import KINDS, fact, spans
from app.catalogue.fields import CatalogueError, Table
from app.catalogue.needs import check_needs, followed, needs_of
from app.catalogue.pathways import pathway
from app.catalogue.treatment import treatment
from app.clinical.activity import Activity
from app.clinical.deficit import Deficits
from app.clinical.evidence import IcfCode
from app.clinical.guide import Guide
from app.clinical.measure import (
    Fact,
    Fit,
    Input,
    Measure,
    Pair,
    Row,
    Variant,
    Zero,
)
from app.clinical.pathway import Pathway
from app.clinical.precautions import PRECAUTIONS

FOLDER = Path(__file__).parent
#: A count of nothing is a result, and so is a sum of no points.
MAY_BE_ZERO = ("count", "composite", "stages", "pressure")
DOMAINS = (
    "standing balance", "sitting balance", "transfers", "mobility", "stepping",
    "circulation", "several",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Catalogue:
    """All tests, pathways and activities by id, what stands beside, the edition."""

    measures: Mapping[str, Measure]
    edition: str
    base: BaseRates = field(default_factory=BaseRates)
    pathways: Mapping[str, Pathway] = field(default_factory=dict)
    activities: Mapping[str, Activity] = field(default_factory=dict)
    deficits: Deficits = field(default_factory=Deficits)
    evidence: Evidence = field(default_factory=Evidence)
    icf: Mapping[str, IcfCode] = field(default_factory=dict)
    dimensions: Dimensions = field(default_factory=Dimensions)


@cache
def catalogue() -> Catalogue:
    """The shipped catalogue, read once."""
    return load(FOLDER)


def load(folder: Path) -> Catalogue:
    """Read every file of `folder`; raise CatalogueError.

    facts.toml and measures/*.toml; the others where they are there.
    """
    digest = hashlib.sha256()
    shared = Table(_read(folder / "facts.toml", digest), "facts.toml")
    facts = {f.key: f for f in map(fact, shared.tables("fact"))}
    shared.done()
    measures: dict[str, Measure] = {}
    for path in sorted((folder / "measures").glob("*.toml")):
        measures[path.stem] = _measure(_read(path, digest), path.name, facts)
    base = BaseRates()
    if (folder / "base_rates.toml").exists():
        base = base_rates(_read(folder / "base_rates.toml", digest), "base_rates.toml")
    pathways = {
        path.stem: pathway(_read(path, digest), f"pathways/{path.name}")
        for path in sorted((folder / "pathways").glob("*.toml"))
    }
    sizes = _dimensions(folder / "dimensions.toml", digest)
    treating = treatment(folder, partial(_read, digest=digest), measures)
    cited = {f"{m.id}.toml": m.sources for m in measures.values()}
    cited |= {f"pathways/{p.id}.toml": p.sources for p in pathways.values()}
    cited |= {"dimensions.toml": sizes.sources}
    sources_agree(cited | treating.cited | {"base_rates.toml": base.sources})
    _check_together(measures)
    edition = digest.hexdigest()[:12]
    return Catalogue(
        measures,
        edition,
        base,
        pathways,
        treating.activities,
        treating.deficits,
        treating.evidence,
        treating.icf,
        sizes,
    )


def _check_together(measures: dict[str, Measure]) -> None:
    """What one test says of another; a composite's needs follow from its parts."""
    for measure in list(measures.values()):
        check_parts(measure, f"{measure.id}.toml", measures)
        measures[measure.id] = followed(measure, measures)
        for pair in measure.pairs:
            if pair.measure not in measures:
                raise CatalogueError(
                    f"{measure.id}.toml: pair: no measure {pair.measure!r}"
                )


def _dimensions(path: Path, digest: Any) -> Dimensions:
    return dimensions(_read(path, digest)) if path.exists() else Dimensions()


def _read(path: Path, digest: Any) -> dict[str, Any]:
    content = path.read_bytes()
    digest.update(path.name.encode() + b"\0" + content)
    try:
        return tomli.loads(content.decode(), parse_float=Decimal)
    except (tomli.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise CatalogueError(f"{path.name}: {fault}") from fault


def _guide(content: Mapping[str, object], where: str) -> Guide:
    t = Table(content, f"{where}: guide")
    made = Guide(
        kit=t.words("kit"),
        space=t.text("space"),
        setup=t.words("setup"),
        guard=t.words("guard"),
        stop=t.words("stop"),
        say=t.words("say"),
        show=t.words("show"),
        start_cue=t.text("start_cue"),
        stop_cue=t.text("stop_cue"),
        void_when=t.words("void_when"),
        unable_when=t.words("unable_when"),
    )
    for key in ("kit", "setup", "guard", "stop", "say", "show", "void_when"):
        if not getattr(made, key):
            raise t.wrong(key, "is missing")
    t.done()
    return made


def _variant(t: Table) -> Variant:
    made = Variant(
        id=t.text("id"),
        label=t.text("label"),
        take=t.word("take", ("mean", "best", "held", "fall", "made")),  # type: ignore[arg-type]
        of=t.whole("of") or 0,
        last=t.whole("last") or 0,
        practice=t.whole("practice") or 0,
        source=t.text("source", ""),
    )
    if made.take == "made":
        if made.of or made.last:
            raise t.wrong("of", "a score made from other tests takes no trials: 0")
    elif not 1 <= made.last <= made.of:
        raise t.wrong("last", "must lie between 1 and `of`")
    t.done()
    return made


def _input(t: Table) -> Input:
    made = Input(
        key=t.text("key"),
        label=t.text("label"),
        kind=t.word("kind", ("count", "seconds", "yes_no", "choice")),  # type: ignore[arg-type]
        low=t.whole("low") or 0,
        high=t.whole("high") or 999,
        options={k: v[0] for k, v in t.lists("options").items()},
        needed=t.flag("needed"),
        tally=t.flag("tally"),
    )
    if (made.kind == "choice") != bool(made.options):
        raise t.wrong("options", "a choice has options, others have none")
    if made.tally and made.kind != "count":
        raise t.wrong("tally", "only a count is tallied")
    t.done()
    return made


def _pair(t: Table) -> Pair:
    made = Pair(
        measure=t.text("measure"),
        quantity=t.text("quantity"),
        rule=t.word("rule", ("difference", "dual_task_effect")),  # type: ignore[arg-type]
        label=t.text("label"),
        unit=t.word("unit", rows.UNITS),
        same=t.words("same"),
    )
    t.done()
    return made


def _zero(t: Table) -> Zero:
    made = Zero(
        when=t.lists("when"),
        input=t.text("input"),
        quantity=t.text("quantity"),
        label=t.text("label"),
        says=t.text("says"),
        button=t.text("button"),
        source=t.text("source"),
    )
    t.done()
    return made


def _measure(content: dict[str, Any], name: str, shared: Mapping[str, Fact]) -> Measure:
    t = Table(content, name)
    own = {f.key: f for f in map(fact, t.tables("fact"))}
    card = _card(t)
    made = Measure(
        **card,
        guide=_guide(t.table("guide"), name),
        variants=tuple(map(_variant, t.tables("variant"))),
        facts=_of_kind(card["kind"], {**shared, **own}),
        inputs=tuple(map(_input, t.tables("input"))),
        pairs=tuple(map(_pair, t.tables("pair"))),
        warns=tuple(map(rows.warn, t.tables("warn"))),
        **parts_of(t),
        zero=_zero(Table(t.table("zero"), f"{name}: zero")) if t.has("zero") else None,
        **_published(t),
    )
    t.done()
    _consistent(made, name)
    return made


def _of_kind(kind: str, facts: Mapping[str, Fact]) -> tuple[Fact, ...]:
    return tuple(f for f in facts.values() if not f.kinds or kind in f.kinds)


def _card(t: Table) -> dict[str, Any]:
    """What the test is and what it takes."""
    lowest, highest = t.number("lowest"), t.number("highest")
    if lowest is None or highest is None or not 0 <= lowest < highest:
        raise t.wrong("lowest", "lowest and highest must be 0 <= lowest < highest")
    return {
        "id": t.text("id"),
        "name": t.text("name"),
        "short": t.text("short"),
        "other_names": t.words("other_names"),
        "purpose": t.text("purpose"),
        "domain": t.word("domain", DOMAINS),
        "icf": t.words("icf"),
        "kind": t.word("kind", KINDS),
        "units": t.words("units", rows.UNITS),
        "better": t.word("better", ("lower", "higher")),
        "lowest": lowest,
        "highest": highest,
        "tape": spans(t, "tape"),
        "posture": t.word("posture", ("standing", "seated")),
        "minutes": t.whole("minutes") or 0,
        **needs_of(t),
        "retest_days": t.whole("retest_days") or 0,
        "must_not": t.words("must_not", PRECAUTIONS),
        "caution": t.words("caution", PRECAUTIONS),
        "splits": t.words("splits"),
        "phases": tuple(map(rows.phase, t.tables("phase"))),
        "window_seconds": _seconds(t, "window_seconds"),
        "ceiling_seconds": _seconds(t, "ceiling_seconds"),
        "counted": t.words("counted"),
        "last_one": t.text("last_one", ""),
    }


def _seconds(t: Table, key: str) -> int | None:
    """A whole number of seconds after which the phone ends a trial by itself."""
    seconds = t.whole(key)
    if seconds is not None and not 1 <= seconds <= 600:
        raise t.wrong(key, "must lie between 1 and 600")
    return seconds


def _published(t: Table) -> dict[str, Any]:
    """Every row with a source, and the sources."""
    changes = map(rows.important_change, t.tables("important_change"))
    return {
        "norms": tuple(map(rows.norm, t.tables("norm"))),
        "cutoffs": tuple(map(rows.cutoff, t.tables("cutoff"))),
        "unable": tuple(map(rows.unable, t.tables("unable"))),
        "reliability": tuple(map(rows.reliability, t.tables("reliability"))),
        "important_change": tuple(changes),
        "protocol": tuple(map(rows.protocol, t.tables("protocol"))),
        "checks": tuple(map(rows.check, t.tables("check"))),
        "sources": {s.key: s for s in map(rows.source, t.tables("source"))},
    }


def _consistent(m: Measure, name: str) -> None:
    """What only the whole file can tell: ids, sources, facts, variants, overlap."""
    if m.id != Path(name).stem:
        raise CatalogueError(f"{name}: id: must be the file's name")
    if not m.variants or not m.units or set(m.tape) != set(m.units):
        raise CatalogueError(f"{name}: needs a variant, units and a tape span per unit")
    check_kind(m, name)
    check_needs(m, name)
    _count_is_whole(m, name)
    check_phases(m, name)
    check_warns(m, name)
    variants = {v.id for v in m.variants}
    used = {p.source for p in m.protocol} | {c.source for c in m.checks}
    used |= {v.source for v in m.variants if v.source} | {b.source for b in m.bands}
    used |= {w.source for w in m.warns} | ({m.zero.source} if m.zero else set())
    if len(variants) != len(m.variants):
        raise CatalogueError(f"{name}: variant: two have one id")
    for row in all_rows(m):
        where = f"{name}: {row.key}"
        check_unit(m, row, where)
        check_limits(m, row, where)
        used |= {row.source} | ({row.read_in} if row.read_in else set())
        if row.fit.variant is not None and row.fit.variant not in variants:
            raise CatalogueError(f"{where}: variant: {row.fit.variant!r} is unknown")
        for key, values in row.fit.requires.items():
            fact = m.fact(key)
            if fact is None or not (
                fact.kind != "choice" or set(values) <= set(fact.options)
            ):
                raise CatalogueError(f"{where}: requires.{key}: unknown fact or value")
    used |= {p.read_in for p in m.protocol if p.read_in}
    for key in sorted(used - set(m.sources)):
        raise CatalogueError(f"{name}: source: {key!r} is cited but not listed")
    for key in sorted(set(m.sources) - used):
        raise CatalogueError(f"{name}: source: {key!r} is listed but never cited")
    _no_overlap(m, name)


def _count_is_whole(m: Measure, name: str) -> None:
    """Only a count may be 0, or be scored 0 by a rule; it says what it counts."""
    if m.lowest == 0 and m.kind not in MAY_BE_ZERO:
        raise CatalogueError(f"{name}: lowest: only a count or a sum may be 0")
    if len(m.counted) != (2 if m.kind == "count" else 0):
        raise CatalogueError(f"{name}: counted: a count names one and many of it")
    if m.zero is None:
        return
    if m.lowest != 0:
        raise CatalogueError(f"{name}: zero: lowest must be 0")
    if not any(i.key == m.zero.input and i.kind == "yes_no" for i in m.inputs):
        raise CatalogueError(f"{name}: zero.input: no tick {m.zero.input!r}")
    for key, values in m.zero.when.items():
        fact = m.fact(key)
        if fact is None or not set(values) <= set(fact.options):
            raise CatalogueError(f"{name}: zero.when.{key}: unknown fact or value")


def all_rows(m: Measure) -> tuple[Row, ...]:
    """Every published row of a measure, in file order by table."""
    return (*m.norms, *m.cutoffs, *m.unable, *m.reliability, *m.important_change)


def _no_overlap(m: Measure, name: str) -> None:
    """Two norms of one source for one kind of person must not both fit one age."""
    for i, a in enumerate(m.norms):
        for b in m.norms[i + 1 :]:
            if a.source == b.source and _same_people(a.fit, b.fit):
                low = max(a.fit.age_min or 0, b.fit.age_min or 0)
                high = min(a.fit.age_max or 130, b.fit.age_max or 130)
                if low <= high:
                    raise CatalogueError(
                        f"{name}: {a.key} and {b.key} overlap at age {low}: set "
                        "whole_sample, group, requires or the ages"
                    )


def _same_people(a: Fit, b: Fit) -> bool:
    def people(f: Fit) -> tuple[object, ...]:
        return (
            f.condition, f.settings, f.group, f.sex, f.quantity, f.variant,
            f.whole_sample, sorted(f.requires.items()),
            sorted(f.requires_person.items()),
        )  # fmt: skip

    return people(a) == people(b)
