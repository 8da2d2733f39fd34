"""Faults of the machine under a site: each is made for real, or skipped with a reason."""

import os
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from app.web.deps import Site
from tests.conftest import client_of
from tests.make import new_uid

READY = {"seat_height": "17.5 in"}


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 4 MB of its own; only root can make one, and not in every container."""
    where = tmp_path / "small"
    where.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(where)]
    done = subprocess.run(mount, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        pytest.skip(f"no disk can be made here: {done.stderr.strip()}")
    yield where
    subprocess.run(["umount", "-l", str(where)], check=True)


def fill_up(disk: Path) -> Path:
    """A file that takes all the room there is."""
    ballast = disk / "ballast"
    with ballast.open("wb", buffering=0) as file:
        try:
            while file.write(b"\0" * 4096):
                pass
        except OSError:
            pass
    return ballast
