"""Days as people read them, in one form everywhere: `3 Jun 2026`.

A month by its name, since no country then reads another day into it. Exports, addresses
and fields that are typed into keep year-month-day.
"""

from datetime import date


def full_day(day: date) -> str:
    """`3 Jun 2026`."""
    return f"{short_day(day)} {day.year}"


def short_day(day: date, today: date | None = None) -> str:
    """`3 Jun` where the page says of which year, or it is that of `today`."""
    if today and today.year != day.year:
        return full_day(day)
    return f"{day.day} {day:%b}"
