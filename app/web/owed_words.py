"""What the desk and its table share: what is owed in words, and who sees them."""

from datetime import date
from typing import Final

from app.access import may
from app.storage.errors import NotAllowed
from app.storage.people import Person, actor
from app.web.dates import ago_words

KIND_WORDS: Final = {
    "co_sign": "a co-signature",
    "look_into": "a look",
    "retest": "a test",
    "report": "a progress report",
    "recertify": "recertification",
    "reassess": "a reassessment",
}


def must_oversee(me: Person) -> None:
    if not may(actor(me), "see_desk", None):
        raise NotAllowed


def since_words(due_on: date, today: date) -> str:
    """`since 3 days ago`, `today`, `in 2 days`."""
    days = (due_on - today).days
    if days > 0:
        return f"in {days} day" + ("s" if days > 1 else "")
    return "today" if days == 0 else f"since {ago_words(due_on, today)}"
