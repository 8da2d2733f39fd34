"""How often something happened to people of a study, before anybody was tested.

A share of people may be the chance before a test, for people like them, over that time.
A rate (falls for a person-year, for 1000 days) is no chance for one person: some people
give many of the falls. It is kept as a rate and never taken for a chance.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from app.clinical.fit import Match, match_person
from app.clinical.measure import Cutoff, Row
from app.clinical.person import Person
from app.clinical.source import Source
from app.clinical.vocabulary import EVENTS, HORIZONS


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class BaseRate(Row):
    """One published frequency. `outcome` and `over` are the source's own words.

    `low` and `high` span what several studies found. `published` is the row's source.
    """

    event: str
    outcome: str
    horizon: str
    over: str
    value: Decimal
    unit: Literal["share", "per_person_year", "per_1000_days"]
    published: Source
    low: Decimal | None = None
    high: Decimal | None = None
    no_verdict: bool = False

    @property
    def is_chance(self) -> bool:
        """A share of people, read somewhere, of people that the keys can tell."""
        return self.unit == "share" and self.how != "memory" and not self.no_verdict


@dataclass(frozen=True, slots=True)
class Before:
    """The chance before a test: a published share and how it fits, or why none."""

    rate: BaseRate | None
    match: Match = field(default_factory=Match)
    others: tuple[BaseRate, ...] = ()
    why_not: str = ""


def before_test(rates: Sequence[BaseRate], limit: Cutoff, person: Person) -> Before:
    """The first share with the event, time, place and people of `limit`.

    An unstated event, time or place of the limit means unknown, not any.
    """
    if not limit.event or not limit.horizon:
        return Before(None, why_not="The source of this limit does not say over which "
                      "time it counted falls, or which.")  # fmt: skip
    fitting = [
        (rate, fit)
        for rate in rates
        if rate.is_chance and _same_people(rate, limit)
        and (fit := match_person(rate.fit, person, strict=True)).fits
    ]  # fmt: skip
    if not fitting:
        what = f"{EVENTS[limit.event]} {HORIZONS[limit.horizon]}"
        return Before(None, why_not=f"No published base rate for such people: {what}.")
    (rate, fit), *rest = fitting
    return Before(rate, fit, tuple(other for other, _ in rest))


def _same_people(rate: BaseRate, limit: Cutoff) -> bool:
    same = rate.event == limit.event and rate.horizon == limit.horizon
    place = set(rate.fit.settings) & set(limit.fit.settings)
    return same and bool(place) and rate.fit.condition == limit.fit.condition
