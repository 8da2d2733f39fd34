"""Every figure of the program, beside its baseline, as a table and as JSON.

python -m tests.benchmarks --json figures.json

Runs for a good while on both databases; `--only pages load` runs some of it, `--quick`
a small site, whose figures are not for keeping. Nothing else may run beside it: the
load the machine had already is printed with the rest. Exit code 1: a budget was missed.
"""

import argparse
import json
import os
import platform
import sqlite3
import sys
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import asdict
from datetime import UTC, datetime
from functools import partial
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final
from uuid import uuid4

from sqlalchemy import create_engine, make_url, text

from tests.benchmarks.figures import Figure, Measuring, Options
from tests.cluster import SERVER, programs, thrown_away

HERE: Final = Path(__file__).parent
NOT_MEASURING: Final = {"__main__", "figures"}
HEAD: Final = (
    f"{'what':<46} {'database':<10} {'value':>11} {'baseline':>11} {'ratio':>7}  budget"
)


def parts() -> dict[str, Measuring]:
    """Every module beside this one that measures, by name."""
    names = sorted(path.stem for path in HERE.glob("[a-z]*.py"))
    return {
        name: import_module(f"tests.benchmarks.{name}").figures
        for name in names
        if name not in NOT_MEASURING
    }


def machine() -> dict[str, Any]:
    """What the figures hold for."""
    cpu = [
        line.partition(":")[2].strip()
        for line in Path("/proc/cpuinfo").read_text().splitlines()
        if line.startswith("model name")
    ]
    return {
        "at": datetime.now(UTC).isoformat(timespec="minutes"),
        "cores": os.cpu_count(),
        "processor": cpu[0] if cpu else platform.machine(),
        "load": os.getloadavg()[0],
        "python": platform.python_version(),
        "sqlite": sqlite3.sqlite_version,
        "system": platform.platform(),
    }


@contextmanager
def _database_on(server: str) -> Iterator[str]:
    name = f"bench_{uuid4().hex}"
    engine = create_engine(server, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name}"))
        yield make_url(server).set(database=name).render_as_string(hide_password=False)
        connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    engine.dispose()


def line(figure: Figure) -> str:
    """One row of the table."""
    ratio = "" if figure.ratio is None else f"{figure.ratio:.2f}"
    baseline = "" if figure.baseline is None else f"{figure.baseline:.4g} {figure.unit}"
    verdict = {True: " met", False: " MISSED", None: ""}[figure.met]
    value = f"{figure.value:.4g} {figure.unit}"
    note = f"  ({figure.note})" if figure.note else ""
    return (
        f"{figure.what:<46} {figure.database:<10} {value:>11} {baseline:>11} "
        f"{ratio:>7}  {figure.budget}{verdict}{note}"
    ).rstrip()


def measured(
    wanted: Sequence[str], options: Options
) -> Iterator[tuple[str, Figure | str]]:
    """Each part's figures as they come; one that breaks says so, the rest goes on."""
    known = parts()
    for name in wanted or known:
        try:
            for figure in known[name](options):
                yield name, figure
        except Exception as fault:
            yield name, f"{name} broke off: {fault!r}"


def main(arguments: Sequence[str] | None = None) -> int:
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--only", nargs="+", default=[], choices=sorted(parts()))
    given.add_argument("--quick", action="store_true")
    given.add_argument("--json", type=Path)
    asked = given.parse_args(arguments)
    found: list[dict[str, Any]] = []
    wrong = 0
    told = machine()
    print(", ".join(f"{name} {value}" for name, value in told.items()))
    with ExitStack() as stack:
        folder = Path(stack.enter_context(TemporaryDirectory()))
        server = SERVER
        if not server and programs():
            server = stack.enter_context(thrown_away()).url
        new = partial(_database_on, server) if server else None
        print(HEAD, flush=True)
        for name, figure in measured(asked.only, Options(folder, asked.quick, new)):
            if isinstance(figure, str):
                wrong += 1
                print(figure, flush=True)
                continue
            wrong += figure.met is False
            print(line(figure), flush=True)
            found.append(
                {"part": name, **asdict(figure), "ratio": figure.ratio,
                 "met": figure.met}
            )  # fmt: skip
    told["load at the end"] = os.getloadavg()[0]
    if asked.json:
        asked.json.write_text(json.dumps({"machine": told, "figures": found}, indent=1))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
