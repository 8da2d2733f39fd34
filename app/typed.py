"""What no keyboard sends, taken out of every text that comes in.

Control characters break files of other programs (FHIR forbids them, PostgreSQL stores
no NUL), and marks that turn the direction of writing can make a number beside a label
read backwards. Tab and line ends stay, and so do the marks that Hebrew and Arabic need.
"""

import re
from typing import Final

_UNSEEN: Final = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f"  # controls
    "\u202a-\u202e\u2066-\u2069"  # embeddings, overrides and isolates
    "\ud800-\udfff\ufffe\uffff]"  # halves of a character, and none at all
)


def as_typed(text: str) -> str:
    r"""The text as somebody could have typed it.

    >>> as_typed("a\0b\x1b[2J \u202e12\u202c"), as_typed("½ step\tok\n")
    ('ab[2J 12', '½ step\tok\n')
    """
    return _UNSEEN.sub("", text)
