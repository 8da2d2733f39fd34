"""Words that state a therapist's skill, each with what must follow it to say anything.

They are offered and picked, never written by the program. Common practice.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

#: Each word with what it asks for.
VERBS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "analysed": "what, and what was found",
        "compared with": "which value, from when",
        "graded up": "what, from which grade to which",
        "graded down": "what, from which grade to which",
        "modified because": "what was changed, and the reason",
        "positioned to": "how, and for what",
        "facilitated": "which movement, how",
        "inhibited": "which movement, how",
        "cued": "by sight, words or touch; how many times",
        "faded": "which cue or help, from how much to how much",
        "guarded at": "where the hands were",
        "sequenced": "which steps",
        "problem-solved": "which problem, with whom",
        "trained": "whom, in what",
        "had the caregiver show back": "what, with how many prompts",
        "monitored": "what, and its value",
        "stopped because": "the reason",
        "re-tested": "which test, and the number",
        "adapted": "what, and how",
        "selected": "what, instead of what",
        "ruled out": "what, and by what",
    }
)
