"""Whether a passphrase will do: by its rules, and by how soon it would be guessed."""

import gc
import sys
from collections.abc import Iterable
from threading import Lock
from typing import Final

from app.passphrases import broken_rule, plain

#: Tries needed by who knows common passwords, words, names, dates and keyboards: what
#: zxcvbn calls "very unguessable" (its time_estimates.py).
FEWEST_TRIES: Final = 10**10
#: How much of it is looked at: what is longer takes ever more time, and is no weaker.
LOOKED_AT: Final = 72
SOON: Final = "This would soon be guessed. Use more words, that do not belong together."
_LOADED: Final = Lock()


def why_not(passphrase: str, about: Iterable[str] = ()) -> str:
    """What to change, in one sentence; empty when it will do.

    `about`: the person's name and handle, of which it may not mostly consist.

    >>> why_not("four tired horses rest")
    ''
    >>> why_not("monkeydragon2024")
    'This would soon be guessed. Use more words, that do not belong together.'
    """
    broken = broken_rule(passphrase, about)
    return broken or (SOON if _tries(plain(passphrase)) < FEWEST_TRIES else "")


def _tries(text: str) -> float:
    with _LOADED:
        from zxcvbn import zxcvbn

        found = float(zxcvbn(text[:LOOKED_AT])["guesses"])
        # Its words take 14 MB, and hardly anybody ever chooses a passphrase.
        for name in [n for n in sys.modules if n.partition(".")[0] == "zxcvbn"]:
            del sys.modules[name]
    del zxcvbn
    gc.collect()
    return found
