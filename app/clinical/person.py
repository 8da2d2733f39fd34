"""Who a score is read for: only what readings need, and what stays unknown."""

import calendar
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

OLDEST = 120
YOUNGEST = 14


@dataclass(frozen=True, slots=True)
class Person:
    """`ages` is empty when unknown, and holds two when only the birth year is known."""

    ages: tuple[int, ...] = ()
    sex: str | None = None
    conditions: tuple[str, ...] = ()
    setting: str | None = None
    facts: Mapping[str, str] = field(default_factory=dict)


def ages_on(
    day: date, *, born: date | None = None, year: int | None = None
) -> tuple[int, ...]:
    """Whole years of age on `day`: one when the birth date is known, two by year only.

    Someone born on 29 February turns a year older on 1 March in common years
    (common practice).

    >>> ages_on(date(2026, 3, 1), year=1950)
    (75, 76)
    """
    if born is not None:
        month, dom = born.month, born.day
        if (month, dom) == (2, 29) and not calendar.isleap(day.year):
            month, dom = 3, 1
        return (day.year - born.year - ((day.month, day.day) < (month, dom)),)
    if year is not None:
        return (day.year - year - 1, day.year - year)
    return ()
