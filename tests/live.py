"""A site in a process of its own, started as people start it and stopped politely."""

import os
import re
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parent.parent
TAPELINE = (sys.executable, "-m", "app")
#: A deadline for a machine under load, not a budget.
LONGEST_S = 60


@dataclass
class Live:
    """A started site: its address, and what it has printed."""

    process: subprocess.Popen[str]
    url: str
    said: str


def environment(**more: str) -> dict[str, str]:
    """This process's environment without any site's settings, and `more`.

    Bytecode may be kept, as where people run it, whatever this machine is told.
    """
    own = {k: v for k, v in os.environ.items() if not k.startswith("TAPELINE_")}
    own.pop("PYTHONDONTWRITEBYTECODE", None)
    return {**own, **more}


@contextmanager
def started(
    *arguments: str,
    command: Sequence[str] = TAPELINE,
    cwd: Path = ROOT,
    env: Mapping[str, str] | None = None,
) -> Iterator[Live]:
    """Run a command that serves; at the end it is stopped, if it still runs."""
    process = subprocess.Popen(
        [*command, *arguments],
        cwd=cwd,
        env=dict(env) if env is not None else environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    with process:
        try:
            said = _first_line(process)
            found = re.search(r"http://\S+/", said)
            assert found, said + process.communicate(timeout=LONGEST_S)[0]
            yield Live(process, found[0], said)
        finally:
            process.terminate()
            process.wait(LONGEST_S)


def _first_line(process: subprocess.Popen[str]) -> str:
    assert process.stdout is not None
    return process.stdout.readline()
