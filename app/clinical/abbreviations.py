"""Short forms that are misread: what to write instead, on whose word.

Three lists: the official do-not-use list, the longer lists of error-prone forms, and
forms that clash in therapy notes. What an error-prone form usually stands for is from
memory; that it is error-prone is not. Nothing is replaced: a form is pointed out.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from re import Pattern
from typing import Final

OFFICIAL: Final = "the Joint Commission's do-not-use list, page of 2017"
ERROR_PRONE: Final = "ISMP's error-prone list, or the Joint Commission's second list"
OURS: Final = "it clashes in therapy notes"
_READ: Final = "full text"
_PART: Final = "full text or excerpt"
_HABIT: Final = "common practice"

_DOSES: Final = r"(?:mg|mcg|[µμ]g|m[Ll]|mEq|units?|tablets?|puffs?|drops?)\b"
_PERIODS: Final = r"(?:day|d|week|wk|month|mo|hour|hr|visit|session|set|shift|night)\b"


@dataclass(frozen=True, slots=True)
class Abbreviation:
    """One form. `write` says what to write; `{found}` in it is what stood there.

    `own`: a made line that holds it is left alone (a unit, a sign in a source's words).
    `only_with`, `unless`: what else the whole note must, must not hold. `sheet`: only
    where a patient or helper reads it. `recalled`: what it stands for is from memory.
    """

    key: str
    pattern: Pattern[str]
    write: str
    source: str
    how: str
    own: bool = False
    sheet: bool = False
    only_with: Pattern[str] | None = None
    unless: Pattern[str] | None = None
    recalled: bool = False

    def says(self, found: str) -> str:
        """What to write instead, and on whose word."""
        recalled = "; what it stands for is from memory" if self.recalled else ""
        write = self.write.format(found=found)
        return f"“{found}”: write {write}. ({self.source}: {self.how}{recalled})"


def _official(key: str, pattern: str, write: str) -> Abbreviation:
    return Abbreviation(key, re.compile(pattern), write, OFFICIAL, _READ)


def _prone(
    key: str, pattern: str, write: str, *, own: bool = False, recalled: bool = False
) -> Abbreviation:
    return Abbreviation(
        key, re.compile(pattern), write, ERROR_PRONE, _PART, own=own, recalled=recalled
    )


def _ours(
    key: str,
    pattern: str,
    write: str,
    *,
    sheet: bool = False,
    only_with: str = "",
    unless: str = "",
) -> Abbreviation:
    return Abbreviation(
        key, re.compile(pattern), write, OURS, _HABIT, sheet=sheet,
        only_with=re.compile(only_with) if only_with else None,
        unless=re.compile(unless) if unless else None,
    )  # fmt: skip


ABBREVIATIONS: Final[tuple[Abbreviation, ...]] = (
    _official("u", r"(?<=\d)\s?[Uu]\b(?!-)", "“unit”"),
    _official("iu", r"\bIU\b", "“international unit”"),
    _official("qd", r"\b[Qq]\.?[Dd]\b\.?", "“daily”"),
    _official("qod", r"\b[Qq]\.?[Oo]\.?[Dd]\b\.?", "“every other day”"),
    _official(
        "trailing_zero", rf"\b\d+\.\d*0(?=\s?{_DOSES})",
        "a dose without the last zero, “1 mg”; a measured value may keep it, “12.0 s”",
    ),
    _official("leading_zero", r"(?<![\w.])\.\d+", "“0{found}”"),
    _official(
        "ms", r"\bMS(?:O4)?\b|\bMgSO4\b", "“morphine sulfate” or “magnesium sulfate”"
    ),
    _prone("d_c", r"\b[Dd]/[Cc]\b", "“discharge” or “discontinue”, whichever it is"),
    _prone(
        "greater_less", r"(?<![-=])[<>](?![-=]?-)",
        "“greater than” or “less than”", own=True,
    ),
    _prone("at", r"@", "“at”", own=True),
    _prone(
        "and", r"&|(?<=[A-Za-z])\s?\+\s?(?=[A-Za-z])|(?<=\s)\+(?=\s)", "“and”", own=True
    ),
    _prone("cc", r"(?<![A-Za-z])cc\b", "“mL”"),
    _prone("ug", r"[µμ]g\b", "“mcg”"),
    _prone(
        "hs", r"\b(?:HS|hs|[Qq]\.?[Hh]\.?[Ss])\b\.?", "“at bedtime” or “half strength”",
        recalled=True,
    ),
    _prone("bt", r"\bBT\b", "“at bedtime”", recalled=True),
    _prone("eye", r"\b(?:OD|OS|OU)\b", "“right”, “left” or “both eyes”", recalled=True),
    _prone(
        "ear", r"\b(?:AD|AS|AU)\b",
        "“right”, “left” or “both ears”, or what else it stands for", recalled=True,
    ),
    _prone("sc", r"\b(?:SC|SQ)\b", "“under the skin”", recalled=True),
    _prone("ss", r"\bss\b", "“sliding scale” or “one half”", recalled=True),
    _prone("per", rf"(?<=[\w)])\s?/\s?{_PERIODS}", "“per”, or “a day”", own=True),
    _prone("degree", r"(?<=\d)\s?°(?!\s?[CF]\b)", "“degrees”, or “hours”", own=True),
    _ours("ms_words", r"\bMS\b", "multiple sclerosis, mental status ..."),
    _ours("pt_words", r"\bPT\b", "patient, physical therapy or the lab test"),
    _ours("sob", r"\bSOB\b", "“short of breath”", sheet=True),
    _ours("cva", r"\bCVA\b", "“stroke”, or what else it stands for"),
    _ours(
        "wfl", r"\b(?:WFL|WNL)\b(?!\s(?:for|to|in|at|of)\s\w)",
        "it out, and of what: a number, or the task it is enough for",
    ),
    _ours(
        "pt_mixed", r"\b[Pp]t\b", "“patient” throughout: “pt” and “Pt” are mixed",
        only_with=r"(?s)\bpt\b.*\bPt\b|\bPt\b.*\bpt\b",
    ),
    _ours(
        "side",  # the L of litres stands after a number, that of a grade after 4/5
        r"(?<![\w/.'’-])(?:R/L|L/R|R|(?:(?<!\d\s)|(?<=/\d\s))L)(?![\w/'’]|\.\w)",
        "“right” or “left”",
    ),
    _ours("bar", "[sc][\u0304\u0305]", "“without” or “with”"),
    _ours("arrow", r"[↑↓]", "“increased” or “decreased”, from what to what"),
    _ours(
        "tug", r"\bTUG\b", "“Timed Up and Go (TUG)” the first time",
        unless=r"(?i)\btimed up and go\b",
    ),
    _ours(
        "hour", r"(?i)\b\d{1,2}(?::\d\d)?\s?(?:[ap]\.m\.|[ap]m\b)",
        "24 hours with the date, “3 June, 14:05”",
    ),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Hit:
    """A form found in a text, and where."""

    row: Abbreviation
    found: str
    start: int


def hits(
    text: str, *, made: str = "", whole: str | None = None, sheet: bool = False
) -> Iterator[Hit]:
    """Every form in a text. `made` is what the program wrote there, `whole` the note.

    A form that two lists hold is told once for each.
    """
    whole = text if whole is None else whole
    for row in ABBREVIATIONS:
        if row.sheet and not sheet:
            continue
        if row.unless and row.unless.search(whole):
            continue
        if row.only_with and not row.only_with.search(whole):
            continue
        for match in row.pattern.finditer(text):
            if not (row.own and match[0].strip() in made):
                yield Hit(row, match[0].strip(), match.start())
