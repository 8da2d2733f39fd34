"""Words of a note that nobody can misread: what error-prone signs become.

The signs are those of the published lists of error-prone abbreviations (ISMP, The Joint
Commission). What somebody said stands between quotation marks and stays as it was said.
"""

import re
from datetime import datetime
from typing import Final

from app.clinical.days import full_day

_QUOTED: Final = re.compile(r"(“[^”]*”)")
_SIGNS: Final = (
    (re.compile(r" ?(?:→|->) ?"), " then "),  # before its head is taken for a sign
    (re.compile(r" ?(?:<=|≤) ?"), " at most "),
    (re.compile(r" ?(?:>=|≥) ?"), " at least "),
    (re.compile(r" ?< ?"), " less than "),
    (re.compile(r" ?> ?"), " greater than "),
    (re.compile(r" ?& ?"), " and "),
    (re.compile(r" ?@ ?"), " at "),
    (re.compile(r" · "), "; "),
    (re.compile(r"\b1 L/min\b"), "1 litre per minute"),
    (re.compile(r"\bL/min\b"), "litres per minute"),
    (re.compile(r" ?/min\b"), " per minute"),
    (re.compile(r" ?°C\b"), " degrees Celsius"),
    (re.compile(r" {2,}"), " "),
)


def spelled(text: str) -> str:
    """The same without signs that are misread; quoted words are left alone.

    >>> spelled("heart rate 84 /min, saturation < 90 %, “felt < well”")
    'heart rate 84 per minute, saturation less than 90 %, “felt < well”'
    """
    parts = _QUOTED.split(text)
    return "".join(p if p.startswith("“") else _spelled(p) for p in parts).strip()


def _spelled(text: str) -> str:
    for sign, words in _SIGNS:
        text = sign.sub(words, text)
    return text


def moment(at: datetime) -> str:
    """`3 Jun 2026, 14:05`, of an instant in the site's own zone."""
    return f"{full_day(at.date())}, {at:%H:%M}"


def sentence(text: str) -> str:
    """With a capital at its start and a stop at its end; nothing stays nothing."""
    said = text.strip()
    if not said:
        return ""
    said = said[:1].upper() + said[1:]
    return said if said.endswith((".", "?", "!", ".”")) else f"{said}."
