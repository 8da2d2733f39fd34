"""What a process has used so far, by the kernel's own books (Linux)."""

import os
import resource
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tests.live import ROOT, environment


def family(pid: int) -> list[int]:
    """The process and all that it started, directly or not."""
    told = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    return [pid, *(each for child in told for each in family(int(child)))]


def memory_mb(pid: int) -> float:
    """Memory of a process and its children in MB of 10^6 bytes, shared pages by share.

    That is Pss of /proc/PID/smaps_rollup: what would be free again without it.
    """
    return sum(_pss(each) for each in family(pid)) / 1e6


def _pss(pid: int) -> int:
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    return sum(1024 * int(line.split()[1]) for line in lines if line[:4] == "Pss:")


def worked_s(pid: int) -> float:
    """Processor seconds of a process and its living children."""
    return sum(_ticks(each) for each in family(pid)) / os.sysconf("SC_CLK_TCK")


def _ticks(pid: int) -> int:
    stat = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return int(stat[11]) + int(stat[12])


@dataclass(frozen=True, slots=True)
class Ran:
    """A command that ended well: seconds on the clock and of work, most memory held."""

    took_s: float
    worked_s: float
    peak_mb: float
    said: str


def ran(*arguments: str, **settings: str) -> Ran:
    """`python -m app` with these arguments, in a process of its own."""
    command: Sequence[str] = (sys.executable, "-m", "app", *arguments)
    begun = time.perf_counter()
    with subprocess.Popen(
        command, cwd=ROOT, env=environment(**settings), text=True,
        stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        said = process.stdout.read()
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0, said
    return Ran(time.perf_counter() - begun, _work(used), used.ru_maxrss / 1000, said)


def _work(used: resource.struct_rusage) -> float:
    return used.ru_utime + used.ru_stime
