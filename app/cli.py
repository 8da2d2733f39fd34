"""The commands of `tapeline`. Bad input ends with one clear line and exit code 2.

A command that is named brings its own module alone: a backup needs no pages.
"""

import argparse
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Final, NoReturn

from app.catalogue.fields import CatalogueError
from app.commands.refused import Refused
from app.version import VERSION

#: Each command's module in `app/commands`, in the order in which help tells them.
MODULES: Final = {
    "demo": "demo", "serve": "site", "score": "score", "measures": "measures",
    "activities": "activities", "pathway": "pathway", "people": "people",
    "import": "import_export", "export": "import_export", "backup": "backup",
    "restore": "restore", "doctor": "doctor",
}  # fmt: skip


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {message}\n")


def parser(command: str = "") -> argparse.ArgumentParser:
    """All commands, each with an example in its help; or what goes with one alone."""
    made = _Parser(
        prog="tapeline",
        description="Bedside balance and mobility tests: score them, read the score.",
    )
    made.add_argument("--version", action="version", version=VERSION)
    commands = made.add_subparsers(dest="command", required=True, metavar="COMMAND")
    one = MODULES.get(command)
    for module in (one,) if one else dict.fromkeys(MODULES.values()):
        import_module(f"app.commands.{module}").add(commands)
    return made


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; 0 done, 2 bad input."""
    words = sys.argv[1:] if arguments is None else arguments
    given = parser(*words[:1]).parse_args(words)
    try:
        return int(given.run(given))
    except (Refused, CatalogueError) as refusal:
        print(f"tapeline: {refusal}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        return 0


if __name__ == "__main__":
    sys.exit(main())
