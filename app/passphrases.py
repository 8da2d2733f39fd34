"""What a passphrase or a PIN must be. Pure: no session, no setting, no clock.

Length counts and nothing else is demanded: no kinds of letters, no change after some
months. Refused is only what many people choose, or what says who they are. After NIST
SP 800-63B-4, section 3.1.1.2: 15 characters where nothing else is asked for, at least
64 allowed, a block list, paste allowed, no rules of composition. From memory.
"""

import re
import unicodedata
from collections.abc import Iterable
from contextlib import suppress
from datetime import datetime
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Final

SHORTEST: Final = 15
LONGEST: Final = 256
#: A shorter one lies in reach of who holds the phone for a minute.
SHORTEST_PIN: Final = 6
LONGEST_PIN: Final = 12
#: A year with a month, or a whole date either way round.
DATE: Final = re.compile(r"(19|20)\d{4}|(19|20)\d{6}|\d{4}(19|20)\d\d", re.ASCII)
#: Different characters that a passphrase has at least: "aaaa bbbb aaaa bbbb" has three.
FEWEST_DIFFERENT: Final = 6
REPEATS: Final = "This repeats itself. Use several words."
#: Words of this place, which say nothing that others do not know.
PLACE: Final = (
    "tapeline",
    "passphrase",
    "password",
    "therapist",
    "therapy",
    "hospital",
)


def plain(text: str) -> str:
    """The same however it is typed: letters with their marks as one, NFKC."""
    return unicodedata.normalize("NFKC", text)


def broken_rule(passphrase: str, about: Iterable[str] = ()) -> str:
    """What to change, in one sentence; empty when it will do.

    `about`: the person's name and handle, of which it may not mostly consist.

    >>> broken_rule("four tired horses rest")
    ''
    >>> broken_rule("short")
    'Use 15 letters or more: four or five words are easy to remember.'
    """
    text = plain(passphrase)
    if len(text) < SHORTEST:
        return (
            f"Use {SHORTEST} letters or more: four or five words are easy to remember."
        )
    if len(text) > LONGEST:
        return f"Use {LONGEST} letters at most."
    letters = _letters(text)
    if len(set(text.lower())) < FEWEST_DIFFERENT:
        return REPEATS
    if _is_row(letters):
        return "This runs along the keys or the alphabet. Use several words."
    if letters and letters in common():
        return "Many people choose this one. Use several words of your own."
    rest = _without(letters, (*about, *PLACE))
    if rest != letters and len(re.sub(r"\d", "", rest)) < FEWEST_DIFFERENT:
        return "This is mostly your name or a word of this place. Use other words."
    return REPEATS if _repeats(letters) else ""


def why_not_pin(pin: str) -> str:
    """The same for a PIN of digits.

    >>> why_not_pin("123456")
    'This PIN is easy to guess. Choose another.'
    """
    if not re.fullmatch(rf"[0-9]{{{SHORTEST_PIN},{LONGEST_PIN}}}", pin, re.ASCII):
        return f"Use {SHORTEST_PIN} to {LONGEST_PIN} digits."
    halves = {pin[i : i + 2] for i in range(0, len(pin), 2)}
    if len(set(pin)) < 3 or len(halves) == 1 or _is_row(pin) or _is_date(pin):
        return "This PIN is easy to guess. Choose another."
    return ""


@cache
def common() -> frozenset[str]:
    """Well-worn passphrases, without what lies between their letters."""
    listed = Path(__file__).with_name("common_passphrases.txt")
    lines = listed.read_text("utf-8").splitlines()
    return frozenset(_letters(line) for line in lines if not line.startswith("#"))


def _letters(text: str) -> str:
    """Without blanks and punctuation; marks and pictures of any script stay."""
    kinds = ((c, unicodedata.category(c)[0]) for c in text.casefold())
    return "".join(c for c, kind in kinds if kind in "LMNS")


def _repeats(letters: str) -> bool:
    """One piece over and over: "butterflybutterfly"."""
    return bool(letters) and letters in (letters + letters)[1:-1]


KEYS: Final = ("qwertyuiop", "asdfghjkl", "zxcvbnm", "qwertzuiop", "azertyuiop")


def _is_date(pin: str) -> bool:
    """A year with a month, or a day in any of the usual orders."""
    if DATE.fullmatch(pin):
        return True
    for order in ("%d%m%y", "%m%d%y", "%y%m%d") if len(pin) == 6 else ():
        with suppress(ValueError):
            datetime.strptime(pin, order)
            return True
    return False


def _is_row(letters: str) -> bool:
    """Most steps are one further or one back, in the alphabet or along the keys."""
    rows = "".join(KEYS)
    near = 0
    for a, b in pairwise(letters):
        near += abs(ord(a) - ord(b)) <= 1 or a + b in rows or b + a in rows
    return len(letters) > 2 and near >= 0.8 * (len(letters) - 1)


def _without(letters: str, words: Iterable[str]) -> str:
    known = {_letters(part) for word in words for part in (word, *word.split())}
    for word in sorted(known, key=len, reverse=True):
        if len(word) > 2:
            letters = letters.replace(word, "")
    return letters
