"""Days as people say them on a ward: short, with the year only when it is another."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from app.clinical.days import short_day


def day_words(day: date, today: date | None = None) -> str:
    """`3 Nov`, or `3 Nov 2025` when `today` lies in another year."""
    return short_day(day, today)


def ago_words(day: date, today: date) -> str:
    """`today`, `yesterday`, `12 days ago`."""
    days = (today - day).days
    if days <= 1:
        return ("today", "yesterday")[days] if days >= 0 else day_words(day, today)
    return f"{days} days ago"


def moment_words(at: datetime, zone: ZoneInfo) -> str:
    """`3 Nov, 14:05` on the site's clock."""
    local = at.astimezone(zone)
    return f"{local.day} {local:%b, %H:%M}"


def last_day(until: datetime, zone: ZoneInfo) -> str:
    """The last whole day before a moment, on the site's clock."""
    return day_words((until.astimezone(zone) - timedelta(seconds=1)).date())
