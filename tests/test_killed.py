"""A server killed right after it answered has lost nothing it answered for."""

import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import httpx
import pytest
from sqlmodel import col, select

from app.storage.database import make_engine, read_session
from app.storage.scores import Score
from app.storage.trials import Round, Trial

STANDS = "five_times_sit_to_stand"


@pytest.fixture
def server(tmp_path: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    command = [sys.executable, "-m", "app", "demo", "--port", "0"]
    process = subprocess.Popen(
        [*command, "--data", str(tmp_path / "site")], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    printed = process.stdout.readline()
    found = re.search(r"http://127\.0\.0\.1:\d+", printed)
    assert found, printed
    yield process, found[0]
    process.kill()
    process.wait(10)
    process.stdout.close()


def test_acknowledged_trial_survives_kill_nine(
    server: tuple[subprocess.Popen[str], str], tmp_path: Path
) -> None:
    process, url = server
    with httpx.Client(base_url=url, headers={"origin": url}, timeout=20) as client:
        client.post("/demo/enter", data={"role": "therapist"})
        listed = re.findall(r'href="/patients/(\d+)"', client.get("/caseload").text)
        round_url = _a_round(client, listed)
        uid = uuid4().hex
        answer = client.post(f"{round_url}/trials", data={"uid": uid, "typed": "15.4"})
        assert answer.status_code == 303
        process.send_signal(signal.SIGKILL)
    process.wait(10)

    (site,) = (tmp_path / "site").rglob("*.sqlite")
    engine = make_engine(f"sqlite:///{site}")
    with read_session(engine) as session:
        (trial,) = session.exec(select(Trial).where(Trial.uid == uid)).all()
        kept = session.exec(select(Score).where(Score.round_id == trial.round_id)).all()
        assert session.exec(select(col(Round.id))).all()
    engine.dispose()
    assert trial.raw_ms == 15400
    assert [s.value for s in kept] == ["15.4"]


def _a_round(client: httpx.Client, patients: list[str]) -> str:
    """The first patient whose orders let this test be done."""
    for patient in patients:
        begun = client.post(
            f"/patients/{patient}/measures/{STANDS}/ready", data={"uid": uuid4().hex}
        )
        if begun.status_code == 303:
            return str(begun.headers["location"])
    raise AssertionError("nobody may be tested")
