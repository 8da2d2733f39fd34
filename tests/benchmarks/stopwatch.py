"""How far the stopwatch is off, by the journey that touches a real page.

It runs `tests/journeys/test_timing.py` itself, with more touches, and reads what that
measured. Beside it how far the browser's own times of those touches are off: what the
harness adds, and no stopwatch could do better.
"""

import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Iterator, Sequence
from statistics import median, quantiles
from typing import Final

from tests.benchmarks.figures import Figure, Options
from tests.live import ROOT

TIMES, QUICK_TIMES = 20, 3
MEDIAN_MS, WORST_MS = 5, 20
JOURNEY: Final = (
    "tests/journeys/test_timing.py::test_time_kept_is_the_time_between_the_touches"
)
#: Cases of the journey by how the table calls them.
CASES: Final = {"page idle": "page idle", "page blocked 400 ms": "page busy"}
AGAINST: Final = "the browser's own times of the touches"
TOLD: Final = re.compile(r"each: (?P<each>.+?)  harness: (?P<harness>.+)$")


def figures(options: Options) -> Iterator[Figure]:
    times = QUICK_TIMES if options.quick else TIMES
    report = options.folder / "stopwatch.xml"
    asked = [f"{JOURNEY}[{case}]" for case in CASES]
    ran = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *asked,
         f"--junitxml={report}", "-o", "junit_family=xunit1"],
        cwd=ROOT, capture_output=True, text=True, check=False,
        env={**os.environ, "TAPELINE_REQUIRE_BROWSER": "1",
             "TAPELINE_TEST_TOUCHES": str(times)},
    )  # fmt: skip
    assert report.exists(), ran.stdout
    told = ET.parse(report).iter("property")
    lines = [str(each.get("value")) for each in told if each.get("name") == "stopwatch"]
    assert len(lines) == len(CASES), ran.stdout
    for line in lines:
        case = next(name for name in CASES if line.startswith(name))
        found = TOLD.search(line)
        assert found, line
        yield from rows(CASES[case], _off(found["each"]), _off(found["harness"]))


def _off(words: str) -> list[float]:
    return [abs(float(word)) for word in words.split()]


def rows(name: str, off: Sequence[float], harness: Sequence[float]) -> Iterator[Figure]:
    for kind, of, most in (
        ("median", median, MEDIAN_MS), ("p95", _p95, None), ("worst", max, WORST_MS),
    ):  # fmt: skip
        yield Figure(
            f"stopwatch off, {name}: {kind}", of(off), "ms", "", of(harness), AGAINST,
            most=most, note=f"{len(off)} trials",
        )  # fmt: skip


def _p95(of: Sequence[float]) -> float:
    return quantiles(of, n=20, method="inclusive")[-1]
