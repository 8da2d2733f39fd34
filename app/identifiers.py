"""What in a free text looks as if it could tell who somebody is. Pure; it only warns.

After the kinds listed in 45 CFR 164.514(b)(2) (full text): names, dates, numbers that
reach or identify a person, and, common practice on a ward, the room. A pattern finds
neither all of them nor only them, so a hit is a question and never a refusal.
"""

import re
from collections.abc import Mapping
from typing import Final

PATTERNS: Final[Mapping[str, re.Pattern[str]]] = {
    "a name": re.compile(
        r"\b(?:Mr|Mrs|Ms|Miss|Dr|Prof|Sr|Fr|Herr|Frau)\.? [A-Z]\w+"
        r"|\b(?:daughter|son|wife|husband|sister|brother|friend|neighbou?r|nurse"
        r"|named|called) [A-Z][a-z]+\b"
        r"|\b[A-Z][a-z]+, [A-Z][a-z]+\b"
    ),
    "a date": re.compile(
        r"\b\d{1,2}[./-]\d{1,2}[./-]\d{2,4}\b|\b\d{4}-\d{2}-\d{2}\b"
        r"|\b\d{1,2}\.? (?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)[a-z]*\b"
        r"|\b(?:January|February|March|April|June|July|August|September|October"
        r"|November|December) \d{1,2}\b"
    ),
    "an e-mail address": re.compile(r"\b[\w.+-]+@[\w-]+\.\w+"),
    "a web address": re.compile(r"\bhttps?://|\bwww\.\w"),
    "a telephone number": re.compile(r"(?<!\d)\+?\d[\d ()/-]{7,}\d(?!\d)"),
    "a long number": re.compile(r"(?<!\d)\d{6,}(?!\d)"),
    "a room": re.compile(r"\b(?:room|bed|rm|ward) ?#?\d+\w?\b", re.IGNORECASE),
}


def looks_like(text: str) -> tuple[str, ...]:
    """What kinds of identifier a text seems to hold, in the order above.

    >>> looks_like("room 12B, daughter Anna calls")
    ('a name', 'a room')
    """
    found = []
    for kind, pattern in PATTERNS.items():
        if pattern.search(text):
            found.append(kind)
        text = pattern.sub(" ", text)  # a date is no telephone number as well
    return tuple(found)


def warning(texts: Mapping[str, str]) -> str:
    """One sentence about several fields, by what each is called; empty when clean."""
    found = {name: looks_like(text) for name, text in texts.items()}
    said = [f"{name} ({', '.join(kinds)})" for name, kinds in found.items() if kinds]
    if not said:
        return ""
    return (
        f"This looks as if it could tell who somebody is: {'; '.join(said)}. "
        "It was saved as you typed it. Take it out unless it must be there."
    )
