"""The site's own log: one small rotating file in its data folder.

Request lines hold a number, a route's pattern and a status; problems hold places in the
program. No query strings, no labels, no text of a person.
"""

import logging
from logging.handlers import RotatingFileHandler
from pathlib import Path

LARGEST = 1_000_000
KEPT = 5


def start_log(data_dir: Path) -> None:
    """Write the program's log to `data_dir`, and no longer to any earlier folder."""
    logger = logging.getLogger("tapeline")
    for earlier in list(logger.handlers):
        logger.removeHandler(earlier)
        earlier.close()
    handler = RotatingFileHandler(
        data_dir / "tapeline.log", maxBytes=LARGEST, backupCount=KEPT, delay=True
    )
    handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
    logger.addHandler(handler)
    logger.setLevel(logging.INFO)
