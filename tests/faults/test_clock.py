"""The machine's clock jumps back in the middle of a day: an hour, or a whole one.

What is recorded stays in its order, nothing fails, and nobody's page is left open for
longer than it should be. Waits after wrong guesses: `tests/storage/test_waits.py`.
"""

import pytest
from sqlmodel import col, select

from app.settings import Settings
from app.storage import audit
from app.storage.audit import AuditEntry
from app.storage.database import read_session
from app.storage.trials import Trial
from tests.conftest import found
from tests.faults.conftest import Bedside
from tests.make import PASSPHRASE, new_uid

BACK = [{"hours": -1}, {"days": -1}]


@pytest.mark.parametrize("back", BACK, ids=str)
def test_record_goes_on_in_order(bedside: Bedside, back: dict[str, float]) -> None:
    sent = [new_uid() for _ in range(3)]
    assert bedside.send(sent[0]).status == 303
    bedside.clock.move(minutes=2)
    bedside.clock.move(**back)
    unlock_if_asked(bedside)

    for uid in sent[1:]:
        assert bedside.send(uid).status == 303
    for path in ("/caseload", "/patients/1", bedside.round, "/desk"):
        assert bedside.phone.get(path).status_code in (200, 403, 404), path

    with read_session(bedside.site.engine) as session:
        trials = session.exec(select(Trial).order_by(col(Trial.id))).all()
        assert [trial.uid for trial in trials] == sent
        assert len({trial.round_id for trial in trials}) == 1
        entries = session.exec(select(AuditEntry.id).order_by(col(AuditEntry.id))).all()
        assert entries == list(range(1, len(entries) + 1))
        assert audit.verify(session) is None


def unlock_if_asked(bedside: Bedside) -> None:
    """An hour ago is too far from when this page was last used to be sure of it."""
    if bedside.phone.get("/caseload").status_code == 423:
        told = {"passphrase": PASSPHRASE}
        assert bedside.phone.post("/unlock", data=told).status_code == 303


@pytest.mark.parametrize("back", BACK, ids=str)
def test_page_still_locks_by_itself(
    bedside: Bedside, settings: Settings, back: dict[str, float]
) -> None:
    assert bedside.phone.get("/caseload").status_code == 200
    bedside.clock.move(**back)
    # Nobody knows how long it lay there: it asks once.
    locked = bedside.phone.get("/caseload")
    assert locked.status_code == 423
    unlock_if_asked(bedside)
    assert bedside.phone.get("/caseload").status_code == 200

    bedside.clock.move(minutes=settings.idle_minutes + 2)
    assert bedside.phone.get("/caseload").status_code == 423


def test_a_small_step_back_asks_nobody(bedside: Bedside) -> None:
    """As a time server makes, many times a day."""
    bedside.clock.move(minutes=3)
    assert bedside.phone.get("/caseload").status_code == 200
    bedside.clock.move(seconds=-90)
    assert bedside.phone.get("/caseload").status_code == 200


def test_what_began_today_can_be_ended_yesterday(bedside: Bedside) -> None:
    """An order lifted and an episode closed after the clock went back over midnight."""
    order = {"tag": "ttwb_le", "set_by": "surgeon", "set_on": "2026-03-02"}
    assert bedside.phone.post("/patients/1/precautions", data=order).status_code == 303
    bedside.clock.move(days=-1)
    unlock_if_asked(bedside)

    answer = bedside.phone.post(
        "/precautions/1/end", data={"version": "1", "end_note": "healed"}
    )
    assert answer.status_code == 303, found(answer.text, "main").text()
