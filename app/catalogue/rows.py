"""Published rows of one measure file: TOML tables to frozen rows, checked alone."""

from typing import Any

from app.catalogue.fields import Table
from app.clinical import vocabulary as words
from app.clinical.clauses import Caution, Clause
from app.clinical.guide import Check
from app.clinical.measure import (
    Cutoff,
    Effect,
    Fit,
    ImportantChange,
    Norm,
    ProtocolNote,
    Reliability,
    UnableRow,
)
from app.clinical.phases import Phase
from app.clinical.quantities import SHOWN_PLACES
from app.clinical.source import Source

DIRECTIONS = ("above", "at_or_above", "below", "at_or_below")
LIMIT_KINDS = ("average", "normal", "fifth")
CHECK_KINDS = (
    "convert", "score", "reading", "unable", "change", "change_limits", "mdc",
    "likelihood", "two_by_two", "mean_from_percent", "dual_task_effect", "difference",
    "shares", "extra_walk", "post_test", "stages", "fall", "points", "bands", "power",
    "speeds", "impossible", "pathway",
)  # fmt: skip
UNITS = tuple(SHOWN_PLACES)


def source(t: Table) -> Source:
    made = Source(
        key=t.text("key"),
        authors=t.text("authors"),
        title=t.text("title"),
        journal=t.text("journal", ""),
        year=t.whole("year"),
        volume=t.text("volume", ""),
        pages=t.text("pages", ""),
        doi=t.text("doi", ""),
        pmid=t.text("pmid", ""),
    )
    t.done()
    return made


def _fit(t: Table) -> Fit:
    requires_person = t.lists("requires_person")
    for name, values in requires_person.items():
        known = words.PERSON_FACTS.get(name)
        if known is None or not set(values) <= set(known):
            raise t.wrong("requires_person", f"unknown fact or value under {name!r}")
    low, high = t.whole("age_min"), t.whole("age_max")
    if low is not None and high is not None and low > high:
        raise t.wrong("age_min", "is above age_max")
    return Fit(
        condition=t.word("condition", words.ROW_CONDITIONS),
        settings=t.words("settings", words.SETTINGS),
        group=t.word("group", words.GROUPS),
        age_min=low,
        age_max=high,
        ages_unknown=t.flag("ages_unknown"),
        whole_sample=t.flag("whole_sample"),
        sex=t.word("sex", (*words.SEXES, "any"), "any").replace("any", "") or None,
        quantity=t.text("quantity", "score"),
        variant=t.text("variant", "") or None,
        requires=t.lists("requires"),
        requires_person=requires_person,
        when_any=clauses(t, "when_any"),
        when_all=clauses(t, "when_all"),
        when_missing=t.text("when_missing", "") or None,
    )


def clauses(t: Table, key: str) -> tuple[Clause, ...]:
    """Limits on what a score holds, e.g. `{ quantity, direction, value, unit }`."""
    found = []
    for c in t.tables(key):
        value = c.number("value")
        if value is None:
            raise c.wrong("value", "is missing")
        quantity = c.text("quantity")
        direction = c.word("direction", DIRECTIONS)
        found.append(Clause(quantity, direction, value, c.word("unit", UNITS)))
        c.done()
    return tuple(found)


def warn(t: Table) -> Caution:
    """A sentence said where one of its conditions is true of a score."""
    made = Caution(
        says=t.text("says"),
        how=t.word("how", words.HOWS),  # type: ignore[arg-type]
        source=t.text("source"),
        facts=t.lists("facts"),
        inputs=t.lists("inputs"),
        any_of=clauses(t, "any_of"),
    )
    if not (made.facts or made.inputs or made.any_of):
        raise t.wrong("says", "needs facts, inputs or any_of to be said by")
    t.done()
    return made


def common(t: Table) -> dict[str, Any]:
    return {
        "key": t.where.split(": ", 1)[1],
        "source": t.text("source"),
        "how": t.word("how", words.HOWS),
        "fit": _fit(t),
        "population": t.text("population"),
        "n": t.whole("n"),
        "note": t.text("note", ""),
        "read_in": t.text("read_in", ""),
    }


def _effect(t: Table) -> Effect | None:
    if not t.has("effect"):
        return None
    e = Table(t.table("effect"), f"{t.where}: effect")
    kind = e.word("kind", ("odds_ratio", "relative_risk", "rate_ratio", "hazard_ratio"))
    value = e.number("value")
    if value is None:
        raise e.wrong("value", "is missing")
    ci95, adjusted = e.interval("ci95"), e.flag("adjusted")
    e.done()
    return Effect(kind, value, ci95, adjusted)  # type: ignore[arg-type]


def norm(t: Table) -> Norm:
    percentiles = {}
    spread = Table(t.table("percentiles"), f"{t.where}: percentiles")
    for place in (5, 10, 25, 50, 75, 90, 95):
        value = spread.number(f"p{place}")
        if value is not None:
            percentiles[place] = value
    spread.done()
    made = Norm(
        **common(t),
        unit=t.word("unit", UNITS),
        mean=t.number("mean"),
        sd=t.number("sd"),
        share=t.number("share"),
        ci95=t.interval("ci95"),
        limit=t.number("limit"),
        limit_kind=t.word("limit_kind", LIMIT_KINDS) if t.has("limit_kind") else None,
        percentiles=percentiles,
        skewed=t.flag("skewed"),
        no_verdict=t.flag("no_verdict"),
    )
    if (made.limit is None) != (made.limit_kind is None):
        raise t.wrong("limit", "limit and limit_kind go together")
    told = (made.mean, made.limit, made.share)
    if all(number is None for number in told) and not percentiles:
        raise t.wrong("mean", "a norm needs a mean, a limit, a share or percentiles")
    if made.share is not None and not 0 <= made.share <= 1:
        raise t.wrong("share", "must lie between 0 and 1")
    t.done()
    return made


def cutoff(t: Table) -> Cutoff:
    value = t.number("value")
    if value is None:
        raise t.wrong("value", "is missing")
    made = Cutoff(
        **common(t),
        direction=t.word("direction", DIRECTIONS),  # type: ignore[arg-type]
        value=value,
        unit=t.word("unit", UNITS),
        outcome=t.text("outcome"),
        outcome_type=t.word("outcome_type", words.OUTCOME_TYPES),
        design=t.word("design", words.DESIGNS),
        sensitivity=t.number("sensitivity"),
        specificity=t.number("specificity"),
        auc=t.number("auc"),
        effect=_effect(t),
        ladder=t.text("ladder", "") or None,
        event=t.word("event", ("", *words.EVENTS), ""),
        horizon=t.word("horizon", ("", *words.HORIZONS), ""),
        no_verdict=t.flag("no_verdict"),
    )
    for name in ("sensitivity", "specificity", "auc"):
        share = getattr(made, name)
        if share is not None and not 0 <= share <= 1:
            raise t.wrong(name, "must lie between 0 and 1")
    if made.value == 0:
        raise t.wrong("value", "0 stands in for unable: write an [[unable]] row")
    t.done()
    return made


def unable(t: Table) -> UnableRow:
    made = UnableRow(
        **common(t),
        outcome=t.text("outcome"),
        outcome_type=t.word("outcome_type", words.OUTCOME_TYPES),
        design=t.word("design", words.DESIGNS),
        effect=_effect(t),
    )
    t.done()
    return made


def reliability(t: Table) -> Reliability:
    made = Reliability(
        **common(t),
        kind=t.word("kind", ("test_retest", "inter_rater", "intra_rater")),  # type: ignore[arg-type]
        unit=t.word("unit", UNITS),
        icc=t.number("icc"),
        sem=t.number("sem"),
        mdc95=t.number("mdc95"),
        mdc90=t.number("mdc90"),
        mdc_percent=t.number("mdc_percent"),
        gain_percent=t.number("gain_percent"),
        loss_percent=t.number("loss_percent"),
        limits=t.interval("limits"),
        level_stated=t.flag("level_stated", True),
        interval=t.text("interval", ""),
        same_session=t.flag("same_session"),
        baseline_min=t.number("baseline_min"),
        baseline_max=t.number("baseline_max"),
        no_verdict=t.flag("no_verdict"),
    )
    if (made.gain_percent is None) != (made.loss_percent is None):
        raise t.wrong("gain_percent", "gain_percent and loss_percent go together")
    t.done()
    return made


def important_change(t: Table) -> ImportantChange:
    value = t.number("value")
    if value is None or value <= 0:
        raise t.wrong("value", "must be a size above zero")
    made = ImportantChange(
        **common(t),
        value=value,
        unit=t.word("unit", UNITS),
        direction=t.word("direction", ("increase", "decrease")),  # type: ignore[arg-type]
        anchor=t.text("anchor"),
        baseline_min=t.number("baseline_min"),
        baseline_max=t.number("baseline_max"),
        no_verdict=t.flag("no_verdict"),
    )
    t.done()
    return made


def protocol(t: Table) -> ProtocolNote:
    made = ProtocolNote(
        item=t.text("item"),
        text=t.text("text"),
        how=t.word("how", words.HOWS),  # type: ignore[arg-type]
        source=t.text("source"),
        note=t.text("note", ""),
        read_in=t.text("read_in", ""),
    )
    t.done()
    return made


def check(t: Table) -> Check:
    made = Check(
        what=t.text("what"),
        kind=t.word("kind", CHECK_KINDS),
        given=t.table("given"),
        expect=t.table("expect"),
        how=t.word("how", words.HOWS),  # type: ignore[arg-type]
        source=t.text("source"),
    )
    if not made.expect:
        raise t.wrong("expect", "a check must expect something")
    t.done()
    return made


def phase(t: Table) -> Phase:
    """A part of a timed trial: `stretches = ["up > at the line"]` between two marks."""
    stretches = [stretch.partition(" > ") for stretch in t.words("stretches")]
    made = Phase(
        quantity=t.text("quantity"),
        label=t.text("label"),
        stretches=tuple((since, to) for since, _, to in stretches),
    )
    if not made.stretches or not all(to for _, to in made.stretches):
        raise t.wrong("stretches", "each goes from one mark > to another")
    t.done()
    return made
