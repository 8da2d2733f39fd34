"""The commands of `tapeline`. Bad input ends with one clear line and exit code 2."""

import argparse
import sys
from collections.abc import Sequence
from typing import NoReturn

from app.catalogue.fields import CatalogueError
from app.commands import (
    activities,
    backup,
    doctor,
    import_export,
    measures,
    pathway,
    people,
    restore,
    score,
    site,
)
from app.commands.refused import Refused
from app.version import VERSION


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {message}\n")


def parser() -> argparse.ArgumentParser:
    """All commands, each with an example in its help."""
    made = _Parser(
        prog="tapeline",
        description="Bedside balance and mobility tests: score them, read the score.",
    )
    made.add_argument("--version", action="version", version=VERSION)
    commands = made.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for module in (
        site, score, measures, activities, pathway, people, import_export, backup,
        restore, doctor,
    ):  # fmt: skip
        module.add(commands)
    return made


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; 0 done, 2 bad input."""
    given = parser().parse_args(arguments)
    try:
        return int(given.run(given))
    except (Refused, CatalogueError) as refusal:
        print(f"tapeline: {refusal}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        return 0


if __name__ == "__main__":
    sys.exit(main())
