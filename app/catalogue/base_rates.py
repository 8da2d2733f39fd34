"""`base_rates.toml`: how often things happened, before anybody was tested."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from app.catalogue import rows
from app.catalogue.fields import CatalogueError, Table
from app.clinical import vocabulary as words
from app.clinical.base_rate import BaseRate
from app.clinical.guide import Check
from app.clinical.source import Source

UNITS = ("share", "per_person_year", "per_1000_days")


@dataclass(frozen=True, slots=True)
class BaseRates:
    """The rows in the file's order, their worked examples and their sources."""

    rates: tuple[BaseRate, ...] = ()
    checks: tuple[Check, ...] = ()
    sources: Mapping[str, Source] = field(default_factory=dict)


def base_rates(content: Mapping[str, Any], name: str) -> BaseRates:
    """Read the file; every source is listed, and every listed one cited."""
    t = Table(content, name)
    sources = {s.key: s for s in map(rows.source, t.tables("source"))}
    rates = tuple(_rate(r, sources) for r in t.tables("base_rate"))
    checks = tuple(map(rows.check, t.tables("check")))
    t.done()
    used = {r.source for r in rates} | {c.source for c in checks}
    unlike = used ^ set(sources)
    if unlike:
        raise CatalogueError(
            f"{name}: source: {', '.join(sorted(unlike))}: listed and cited differ"
        )
    return BaseRates(rates, checks, sources)


def _rate(t: Table, sources: Mapping[str, Source]) -> BaseRate:
    common = rows.common(t)
    if common["source"] not in sources:
        raise t.wrong("source", f"{common['source']!r} is cited but not listed")
    value = t.number("value")
    if value is None or value <= 0:
        raise t.wrong("value", "must be a number above zero")
    made = BaseRate(
        **common,
        event=t.word("event", words.EVENTS),
        outcome=t.text("outcome"),
        horizon=t.word("horizon", words.HORIZONS),
        over=t.text("over"),
        value=value,
        unit=t.word("unit", UNITS),  # type: ignore[arg-type]
        published=sources[common["source"]],
        low=t.number("value_low"),
        high=t.number("value_high"),
        no_verdict=t.flag("no_verdict"),
    )
    if made.unit == "share" and value >= 1:
        raise t.wrong("value", "a share lies between 0 and 1")
    if (made.low is None) != (made.high is None):
        raise t.wrong("value_low", "value_low and value_high go together")
    if (made.unit == "share") == (made.horizon == "rate"):
        raise t.wrong("horizon", "`rate` is the time of a rate, and of nothing else")
    t.done()
    return made
