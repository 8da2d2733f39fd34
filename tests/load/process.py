"""What a process has used so far, by the kernel's own books (Linux)."""

import os
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryFile

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


def ran(*arguments: str, **settings: str) -> Ran:
    """`python -m app` with these arguments, in a process of its own."""
    command: Sequence[str] = (sys.executable, "-m", "app", *arguments)
    begun, peak, work = time.perf_counter(), 0.0, 0.0
    with TemporaryFile("w+") as told:
        with subprocess.Popen(
            command, cwd=ROOT, env=environment(**settings), stdout=told, stderr=told
        ) as process:
            # Asked while it lives: what `wait4` tells of memory is its parent's, too.
            while process.poll() is None:
                peak = max(peak, _peak_mb(process.pid))
                work = max(work, worked_s(process.pid))
                time.sleep(0.02)
        took = time.perf_counter() - begun
        told.seek(0)
        said = told.read()
    assert process.returncode == 0, said
    return Ran(took, work, peak)


def _peak_mb(pid: int) -> float:
    """0 once it has ended and nobody has fetched its code yet."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return sum(1024 * int(li.split()[1]) for li in lines if li[:6] == "VmHWM:") / 1e6
