"""The site's own log: one small rotating file in its data folder.

Request lines hold a number, a route's pattern and a status; problems hold places in the
program. No query strings, no labels, no text of a person: the message of a fault may
quote a row, so it is left out, however the fault got here.
"""

import logging
import os
import traceback
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import TextIO

LARGEST = 1_000_000
KEPT = 5


def places(fault: BaseException | None) -> str:
    """Kinds and places of a fault and what caused it, without any message."""
    parts = []
    while fault is not None:
        at = traceback.extract_tb(fault.__traceback__)
        path = " > ".join(f"{p.filename}:{p.lineno} {p.name}" for p in at[-6:])
        parts.append(f"{type(fault).__module__}.{type(fault).__name__} at {path}")
        fault = fault.__cause__ or fault.__context__
    return " <- ".join(parts)


class PlacesOnly(logging.Formatter):
    """A line without line ends of others, and a fault without its message."""

    def format(self, record: logging.LogRecord) -> str:
        record.exc_text = None  # another handler's text of it has the message
        line = super().format(record)
        record.exc_text = None
        return line.replace("\r", " ").replace("\n", " ")

    def formatException(self, ei: object) -> str:
        fault = ei[1] if isinstance(ei, tuple) else None
        return places(fault)


class SharedFile(RotatingFileHandler):
    """A log that several processes write to: whoever finds it full moves it aside.

    Each line is written under a lock and to the file that has the name just then.
    """

    def emit(self, record: logging.LogRecord) -> None:
        import fcntl  # where several processes are offered there is one

        with open(f"{self.baseFilename}.lock", "a") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            if self.stream is not None and not self._has_the_name(self.stream):
                self.stream.close()
                self.stream = self._open()
            super().emit(record)

    def _has_the_name(self, stream: TextIO) -> bool:
        try:
            named = os.stat(self.baseFilename)
        except FileNotFoundError:
            return False
        return os.path.samestat(os.fstat(stream.fileno()), named)


def start_log(data_dir: Path, *, shared: bool = False) -> None:
    """Write the program's log to `data_dir`, and no longer to any earlier folder."""
    logger = logging.getLogger("tapeline")
    for earlier in list(logger.handlers):
        logger.removeHandler(earlier)
        earlier.close()
    kind = SharedFile if shared else RotatingFileHandler
    handler = kind(
        data_dir / "tapeline.log", maxBytes=LARGEST, backupCount=KEPT, delay=True
    )
    handler.setFormatter(PlacesOnly("%(asctime)s %(levelname)s %(message)s"))
    logger.addHandler(handler)
    logger.setLevel(logging.INFO)
