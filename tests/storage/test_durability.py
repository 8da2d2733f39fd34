"""An acknowledged trial survives the death of the process that stored it."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from sqlmodel import select

from app.storage import audit
from app.storage.database import make_engine, read_session
from app.storage.trials import Trial
from tests.storage.conftest import Ward

ROOT = Path(__file__).parents[2]


def acknowledged_before_kill(url: str, at_least: int) -> list[str]:
    """Let a writer work, kill it without warning, and give the ids it had told."""
    with subprocess.Popen(
        [sys.executable, str(Path(__file__).with_name("writer.py")), url],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        text=True,
    ) as writer:
        assert writer.stdout is not None
        told = [writer.stdout.readline() for _ in range(at_least)]
        writer.kill()
        told += writer.stdout.readlines()
    assert writer.returncode == -9
    return [line.strip() for line in told if line.endswith("\n")]


@pytest.mark.parametrize("at_least", [1, 7, 25])
def test_killed_writer_loses_no_acknowledged_trial(
    ward: Ward, url: str, at_least: int
) -> None:
    told = acknowledged_before_kill(url, at_least)

    engine = make_engine(url)
    with read_session(engine) as session:
        kept = set(session.exec(select(Trial.uid)))
        chain = audit.verify(session)
    engine.dispose()
    assert ward.round.id
    assert len(told) >= at_least
    assert set(told) <= kept
    assert len(kept) - len(told) <= 1
    assert chain is None
