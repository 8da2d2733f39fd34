"""A large invented site, made by bulk inserts: for measuring, and for nothing else.

python -m tests.load.site --patients 10000 --trials 1000000 --data FOLDER
"""

import argparse
import hashlib
import random
import time
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, insert
from sqlmodel import Session

from app.catalogue.load import catalogue
from app.clinical.owing import Clocks
from app.settings import Settings
from app.storage.database import make_engine, migrate, write_session
from app.storage.people import Person
from app.storage.site_copy import count_on
from app.storage.site_lines import shapes_of
from app.storage.tables import Table
from app.web.owing import rebuild_owed
from tests.make import make_person

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
TODAY = NOW.date()
#: Trials of one round, and patients of one therapist.
IN_ROUND, EACH = 2, 40
CHUNK = 20_000
TESTS = ("timed_up_and_go", "four_square_step", "five_times_sit_to_stand")
SETTINGS = ("community", "home_care", "outpatient", "inpatient")
CONDITIONS = ("stroke", "parkinson", "hip_fracture", "copd")


def make_site(folder: Path, patients: int, trials: int, database: str = "") -> Settings:
    """A migrated site with that many of each; settings that open it."""
    folder.mkdir(parents=True, exist_ok=True)
    settings = Settings(data_dir=folder, database_url=database, site_timezone="UTC")
    engine = make_engine(settings.database)
    migrate(engine, None)
    with write_session(engine) as session:
        staff = _people(session, patients)
    rng = random.Random(1)
    _fill(engine, "patient", _patients(patients))
    _fill(engine, "patient_condition", _conditions(patients, rng))
    _fill(engine, "assignment", _assignments(patients, staff))
    _fill(engine, "episode", _episodes(patients, rng))
    rounds = trials // IN_ROUND
    _fill(engine, "visit", _visits(rounds, patients, staff))
    _fill(engine, "round", _rounds(rounds, patients, staff))
    _fill(engine, "trial", _trials(rounds, patients, staff, rng))
    _fill(engine, "score", _scores(rounds, patients, rng))
    rebuild_owed(engine, catalogue(), Clocks(), TODAY, lambda _done, _of: None)
    with engine.begin() as connection:
        count_on(connection, shapes_of(connection))
        connection.exec_driver_sql("ANALYZE")
    engine.dispose()
    return settings


def _people(session: Session, patients: int) -> list[Person]:
    make_person(session, "supervisor", role="supervisor")
    count = max(1, patients // EACH)
    return [make_person(session, f"therapist{n}") for n in range(count)]


def _fill(engine: Engine, name: str, rows: Iterator[dict[str, Any]]) -> None:
    table = Table.metadata.tables[name]
    with engine.begin() as connection:
        chunk = []
        for row in rows:
            chunk.append(row)
            if len(chunk) == CHUNK:
                connection.execute(insert(table), chunk)
                chunk = []
        if chunk:
            connection.execute(insert(table), chunk)


def _uid(kind: str, number: int) -> str:
    return hashlib.blake2s(f"{kind}{number}".encode(), digest_size=16).hexdigest()


def _patients(count: int) -> Iterator[dict[str, Any]]:
    for n in range(1, count + 1):
        yield {
            "id": n, "uid": _uid("p", n), "label": f"Invented {n:06}",
            "birth_year": 1930 + n % 40, "sex": ("female", "male")[n % 2],
            "is_demo": False, "version": 1, "created_at": NOW, "full_name": "",
            "record_number": "",
        }  # fmt: skip


def _conditions(count: int, rng: random.Random) -> Iterator[dict[str, Any]]:
    for n in range(1, count + 1):
        yield {"patient_id": n, "condition": rng.choice(CONDITIONS)}


def _assignments(count: int, staff: list[Person]) -> Iterator[dict[str, Any]]:
    for n in range(1, count + 1):
        yield {
            "id": n, "patient_id": n, "person_id": _owner(n, staff), "since": NOW,
            "note": "",
        }  # fmt: skip


def _owner(patient: int, staff: list[Person]) -> int:
    return staff[patient % len(staff)].id


def _episodes(count: int, rng: random.Random) -> Iterator[dict[str, Any]]:
    for n in range(1, count + 1):
        yield {
            "id": n, "patient_id": n, "reason": "walks less", "version": 1,
            "setting": rng.choice(SETTINGS), "plan": ("restore", "maintain")[n % 2],
            "opened_on": TODAY - timedelta(days=rng.randrange(200)),
        }  # fmt: skip


def _whose(number: int, patients: int) -> tuple[int, int]:
    """A round's patient, and how many of theirs came before it."""
    return (number - 1) % patients + 1, (number - 1) // patients


def _day(before: int) -> date:
    return TODAY - timedelta(days=3 * before)


def _visits(
    rounds: int, patients: int, staff: list[Person]
) -> Iterator[dict[str, Any]]:
    for n in range(1, rounds + 1):
        owner, before = _whose(n, patients)
        yield {
            "id": n, "uid": _uid("v", n), "episode_id": owner,
            "person_id": _owner(owner, staff), "local_date": _day(before),
            "zone": "UTC", "started_at": NOW - timedelta(days=3 * before),
            "kind": "treatment", "missed_told": "", "missed_again": "",
            "left_without": "", "individual_minutes": 0, "concurrent_minutes": 0,
            "group_minutes": 0, "co_treatment_minutes": 0,
        }  # fmt: skip


def _rounds(
    rounds: int, patients: int, staff: list[Person]
) -> Iterator[dict[str, Any]]:
    for n in range(1, rounds + 1):
        owner, before = _whose(n, patients)
        yield {
            "id": n, "uid": _uid("r", n), "visit_id": n,
            "person_id": _owner(owner, staff), "measure": TESTS[before % len(TESTS)],
            "variant": "", "facts": {}, "created_at": NOW - timedelta(days=3 * before),
        }  # fmt: skip


def _trials(
    rounds: int, patients: int, staff: list[Person], rng: random.Random
) -> Iterator[dict[str, Any]]:
    for n in range(1, rounds + 1):
        owner, before = _whose(n, patients)
        for place in range(1, IN_ROUND + 1):
            number = (n - 1) * IN_ROUND + place
            outcome = _outcome(number)
            timed = rng.randrange(8_000, 30_000) if outcome == "completed" else None
            yield {
                "id": number, "uid": _uid("t", number), "round_id": n, "place": place,
                "practice": False, "outcome": outcome, "reason": "",
                "raw_ms": timed, "inputs": {}, "splits_ms": [],
                "clocks": {}, "recorded_at": NOW - timedelta(days=3 * before),
                "recorded_by": _owner(owner, staff), "body_hash": _uid("t", number) * 2,
            }  # fmt: skip


def _outcome(number: int) -> str:
    """Now and then somebody declines, and rarely a trial is stopped for safety."""
    if number % 1000 == 0:
        return "stopped"
    return "declined" if number % 50 == 0 else "completed"


def _scores(rounds: int, patients: int, rng: random.Random) -> Iterator[dict[str, Any]]:
    edition = catalogue().edition
    per_test = len(TESTS)
    for n in range(1, rounds + 1):
        owner, before = _whose(n, patients)
        older = n + per_test * patients <= rounds
        yield {
            "newest": before < per_test, "again": before < per_test and older,
            "id": n, "round_id": n, "patient_id": owner,
            "measure": TESTS[before % len(TESTS)], "on_date": _day(before),
            "outcome": "completed", "value": f"{rng.randrange(80, 300) / 10:.1f}",
            "unit": "s", "variant": "", "lead_says": "", "lead_source": "",
            "change_verdict": rng.choice(("real gain", "within measurement error")),
            "edition": edition, "computed_at": NOW,
        }  # fmt: skip


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("--patients", type=int, default=1000)
    given.add_argument("--trials", type=int, default=20_000)
    given.add_argument("--data", type=Path, required=True)
    asked = given.parse_args()
    started = time.monotonic()
    make_site(asked.data, asked.patients, asked.trials)
    print(f"made in {time.monotonic() - started:.0f} s")


if __name__ == "__main__":
    main()
