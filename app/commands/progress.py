"""How far a long command is, on the error stream: one line that is written over.

Where nobody watches, a line every few seconds, so that a log stays short.
"""

import sys
import time
from typing import Final

SECONDS_WATCHED: Final = 0.2
SECONDS_IN_A_LOG: Final = 5.0


class Progress:
    """Called with what was done of all there is; says nothing of what is soon over."""

    def __init__(self, what: str) -> None:
        self.what = what
        self.watched = sys.stderr.isatty()
        self.last = time.monotonic()
        self.said = False

    def __call__(self, done: int, of: int) -> None:
        every = SECONDS_WATCHED if self.watched else SECONDS_IN_A_LOG
        if time.monotonic() - self.last < every:
            return
        self.last, self.said = time.monotonic(), True
        line = f"{self.what}: {done:,} of {of:,}"
        print(f"\r{line}" if self.watched else line, end=self._end(), file=sys.stderr)
        sys.stderr.flush()

    def _end(self) -> str:
        return "" if self.watched else "\n"

    def over(self) -> None:
        if self.said and self.watched:
            print("\r\x1b[K", end="", file=sys.stderr, flush=True)
