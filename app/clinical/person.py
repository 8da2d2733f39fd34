"""Who a score is read for: only what readings need, and what stays unknown."""

import calendar
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Final

from app.clinical.vocabulary import PERSON_FACTS

OLDEST = 120
YOUNGEST = 14
#: How long ago a condition began, the youngest first: the closed list of `time_since`.
BANDS: Final = tuple(PERSON_FACTS["time_since"])
#: The last day of the first week, the day it began being day 0. Common practice.
WEEK_DAYS: Final = 7
#: From so many months on a condition is established. Common practice.
ESTABLISHED_MONTHS: Final = 6
_PARTS: Final = re.compile(r"(\d{4})(?:-(\d{2})(?:-(\d{2}))?)?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Onset:
    """When a condition began, as far as it is known: a day, a month or a year alone.

    >>> str(Onset.read("2025-11"))
    '2025-11'
    """

    year: int
    month: int | None = None
    day: int | None = None

    @classmethod
    def read(cls, text: str) -> "Onset":
        """From year, year-month or year-month-day; raise ValueError for anything else.

        Years from 1900 to 2100, which is what the database keeps.
        """
        found = _PARTS.fullmatch(text)
        if found is None:
            raise ValueError(text)
        year, month, day = (int(part) if part else None for part in found.groups())
        date(year or 0, month or 1, day or 1)
        if year is None or not 1900 <= year <= 2100:
            raise ValueError(text)
        return cls(year, month, day)

    @property
    def first(self) -> date:
        """The earliest day it can have been."""
        return date(self.year, self.month or 1, self.day or 1)

    @property
    def last(self) -> date:
        """The latest day it can have been."""
        month = self.month or 12
        return date(
            self.year, month, self.day or calendar.monthrange(self.year, month)[1]
        )

    def __str__(self) -> str:
        parts = (f"{self.year:04}", self.month, self.day)
        return "-".join(f"{part:0>2}" for part in parts if part is not None)


@dataclass(frozen=True, slots=True)
class Person:
    """`ages` is empty when unknown, and holds two when only the birth year is known.

    `since` says for each condition with a known onset how long ago it began: more than
    one word when its date leaves that open. It wins over the fact `time_since`, which
    is read for the other conditions.
    """

    ages: tuple[int, ...] = ()
    sex: str | None = None
    conditions: tuple[str, ...] = ()
    setting: str | None = None
    facts: Mapping[str, str] = field(default_factory=dict)
    since: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def stated(self, key: str, condition: str) -> tuple[str, ...]:
        """What may hold of a fact, for a row about a condition; empty when unknown."""
        if key == "time_since" and self.since.get(condition):
            return self.since[condition]
        return (self.facts[key],) if key in self.facts else ()


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


def time_since(onset: Onset, day: date) -> tuple[str, ...]:
    """How long ago a condition began, on `day`: every band its date leaves open.

    Empty when it began after that day. The week is 7 days after the first; six months
    to the day are established (common practice). Months end where the shorter one
    does: 31 August and six months is the last of February.

    >>> time_since(Onset(2025, 9), date(2026, 3, 15))
    ('first_months', 'established')
    """
    if onset.first > day:
        return ()
    youngest = BANDS.index(_band(min(onset.last, day), day))
    oldest = BANDS.index(_band(onset.first, day))
    return BANDS[youngest : oldest + 1]


def _band(began: date, day: date) -> str:
    if (day - began).days <= WEEK_DAYS:
        return "first_week"
    months = began.month - 1 + ESTABLISHED_MONTHS
    year, month = began.year + months // 12, months % 12 + 1
    last = calendar.monthrange(year, month)[1]
    there = date(year, month, min(began.day, last))
    return "established" if day >= there else "first_months"
