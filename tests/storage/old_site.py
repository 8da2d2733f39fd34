"""A site as its first version left it: rows of every table of that time, by plain SQL.

Nothing here knows the program's tables: rows go into whatever columns the database has.
The audit chain is hashed by lines of its own.
"""

import hashlib
import json
from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final

from sqlalchemy import Connection, insert, select

from app.storage.site_lines import Shape, shapes_of

Row = Mapping[str, Any]
Rows = dict[str, list[Row]]
#: Above every number of the demo, whose rows come in beside these later.
FIRST: Final = 900_001
BEGUN: Final = datetime(2024, 2, 29, 8, 0, tzinfo=UTC)
DAY: Final = BEGUN.date()
#: A name's longest, in letters of several bytes.
LONGEST: Final = "Zoë 名 O’Brien-Łukasz ".ljust(80, "é")
OUTCOMES: Final = {
    "completed": "", "unable": "pain", "stopped": "Dizzy, pale; sat down\nat once",
    "declined": "", "not_done": "x" * 500,
}  # fmt: skip


def uid(n: int) -> str:
    return f"{n:032x}"


def first_rows(lists: Any) -> Rows:
    """For each table of the first version; `lists` is that migration with its words."""
    rows = {"person": list(_people()), **_patients(lists), **_episodes(lists)}
    rows |= _rounds()
    rows["audit_entry"] = list(_chain())
    last = rows["audit_entry"][-1]
    rows["audit_head"] = [{"id": 1, "last_id": last["id"], "hash": last["hash"]}]
    return rows


def _people() -> Iterator[Row]:
    roles = ("therapist", "assistant", "student", "supervisor", "therapist")
    for n, role in enumerate(roles):
        yield {
            "id": FIRST + n, "version": 1 + n, "handle": f"{role}{n}".ljust(60, "ß"),
            "name": LONGEST if n == 0 else role, "role": role, "is_demo": False,
            "active": n < 4, "passphrase_hash": "none", "created_at": BEGUN,
            "last_seen_at": None if n % 2 else BEGUN + timedelta(microseconds=1),
        }  # fmt: skip


def _patients(lists: Any) -> Rows:
    conditions, facts = lists.CONDITIONS.split(), lists.FACTS
    rows: Rows = {"patient": [], "patient_condition": [], "patient_fact": []}
    rows["assignment"] = []
    for n, condition in enumerate(conditions):
        id, born = FIRST + n, (None, 1900, 2024 - n)[n % 3]
        rows["patient"].append({
            "id": id, "version": 1, "uid": uid(id), "birth_year": born,
            "label": LONGEST if n == 0 else f"Heron {n}", "is_demo": False,
            "birth_date": date(1931, 2, 28) if born is None and n else None,
            "sex": (None, "female", "male")[n % 3], "created_at": BEGUN,
            "closed_at": BEGUN + timedelta(days=40) if n == 3 else None,
        })  # fmt: skip
        for each in {condition, "neurological"}:
            since = None if n % 2 else date(1900, 1, 1)
            rows["patient_condition"].append(
                {"patient_id": id, "condition": each, "since_date": since}
            )
        for key, words in facts.items():
            value = words.split()[n % len(words.split())]
            rows["patient_fact"].append({"patient_id": id, "key": key, "value": value})
        for until in (BEGUN + timedelta(days=1), None):
            rows["assignment"].append({
                "id": FIRST + len(rows["assignment"]), "patient_id": id,
                "person_id": FIRST + n % 3, "since": BEGUN, "until": until,
            })  # fmt: skip
    return rows


def _episodes(lists: Any) -> Rows:
    settings, tags = lists.SETTINGS.split(), lists.PRECAUTIONS.split()
    rows: Rows = {"episode": [], "precaution": [], "visit": []}
    for n in range(len(lists.CONDITIONS.split())):
        id = FIRST + n
        rows["episode"].append({
            "id": id, "patient_id": id, "reason": "é" * 200 if n == 0 else "A fall",
            "setting": settings[n % len(settings)], "opened_on": DAY,
            "plan": ("restore", "maintain")[n % 2],
            "closed_on": DAY + timedelta(days=40) if n == 3 else None,
        })  # fmt: skip
        for many in range(3):
            rows["visit"].append({
                "id": FIRST + len(rows["visit"]), "episode_id": id,
                "zone": "Asia/Tokyo", "person_id": FIRST + n % 3,
                "uid": uid(FIRST + len(rows["visit"])),
                "local_date": DAY + timedelta(days=7 * many),
                "started_at": BEGUN + timedelta(days=7 * many),
            })  # fmt: skip
    for n, tag in enumerate(tags):
        ended = DAY + timedelta(days=n) if n % 4 == 0 else None
        rows["precaution"].append({
            "id": FIRST + n, "episode_id": FIRST + n % 17, "tag": tag, "set_on": DAY,
            "note": "n" * 500 if n == 0 else "", "set_by": "" if n % 2 else LONGEST,
            "review_on": None if n % 2 else DAY, "ended_on": ended,
        })  # fmt: skip
    return rows


def _rounds() -> Rows:
    """Two tests for each visit: one timed, one measured, in both units."""
    rows: Rows = {"round": [], "trial": [], "score": []}
    for n in range(2 * 3 * 17):
        id, visit, timed = FIRST + n, FIRST + n // 2, n % 2 == 0
        measure = "timed_up_and_go" if timed else "functional_reach"
        rows["round"].append({
            "id": id, "visit_id": visit, "person_id": FIRST + n // 6 % 3,
            "uid": uid(id), "measure": measure, "variant": "" if n % 4 else "single",
            "facts": {} if n % 5 else {"device": "cane", "seat_height": "17.5 in"},
            "created_at": BEGUN,
        })  # fmt: skip
        rows["trial"] += _trials(n, timed)
        outcome, day = list(OUTCOMES)[n % 5], DAY + timedelta(days=7 * (n // 2 % 3))
        rows["score"].append({
            "id": id, "round_id": id, "patient_id": FIRST + n // 6, "measure": measure,
            "outcome": outcome, "unit": "s" if timed else "in", "variant": "single",
            "lead_says": "As an edition before said", "lead_source": "nobody1900",
            "edition": "000000000000", "on_date": day,
            "value": "12.3" if outcome == "completed" else None,
            "change_verdict": None, "lead_crossed": None, "computed_at": BEGUN,
        })  # fmt: skip
    return rows


def _trials(n: int, timed: bool) -> Iterator[Row]:
    outcome = list(OUTCOMES)[n % 5]
    for place in (1, 2, 3):
        done, voided = outcome == "completed", place == 1
        measured = done and not timed
        number = 3 * n + place
        yield {
            "id": FIRST + number, "round_id": FIRST + n, "place": place,
            "recorded_by": FIRST, "uid": uid(FIRST + number), "outcome": outcome,
            "reason": OUTCOMES[outcome], "body_hash": f"{number:064x}",
            "practice": place == 2 and done, "count": None,
            "raw_ms": 12_340 + 10 * number if done and timed else None,
            "raw_value": f"{10 + place}.25" if measured else None,
            "raw_unit": ("in", "cm")[n % 4 // 2] if measured else None,
            "start_mark": "3.0" if measured else None,
            "end_mark": f"{13 + place}.25" if measured else None,
            "void_reason": "The chair slid" if voided else None,
            "voided_by": FIRST + 1 if voided else None,
            "voided_at": BEGUN if voided else None, "recorded_at": BEGUN,
            "inputs": {} if n % 3 else {"steps": "12"}, "splits_ms": [1, 36_000_000],
            "clocks": {"wall_ms": 1, "mono_ms": 2.5, "noted": "名"},
        }  # fmt: skip


def _chain() -> Iterator[Row]:
    """The rule is that of DEVELOPERS.md and of the first version, written anew here."""
    before = "0" * 64
    for id in range(1, 12):
        at = BEGUN + timedelta(minutes=id)
        told = [
            before, id, at.isoformat(timespec="microseconds"),
            None if id == 1 else FIRST, "added_patient", "patient", FIRST + id - 1,
        ]  # fmt: skip
        own = hashlib.sha256(json.dumps(told).encode()).hexdigest()
        yield {
            "id": id, "at": at, "person_id": told[3], "deed": told[4],
            "subject": told[5], "subject_id": told[6], "previous_hash": before,
            "hash": own,
        }  # fmt: skip
        before = own


def rows_of(connection: Connection) -> dict[str, dict[tuple[Any, ...], Row]]:
    """Every row of every table by its key, as the values that are in it."""
    return {shape.name: _rows(connection, shape) for shape in shapes_of(connection)}


def _rows(connection: Connection, shape: Shape) -> dict[tuple[Any, ...], Row]:
    found = connection.execute(select(shape.table())).mappings()
    return {tuple(row[name] for name in shape.key): dict(row) for row in found}


def plant(connection: Connection, rows: Mapping[str, list[Row]]) -> None:
    """Put rows in, each table after those it points at."""
    for shape in shapes_of(connection):
        if shape.name == "audit_head" and "audit_head" in rows:
            connection.execute(shape.table().delete())
        for row in rows.get(shape.name, ()):
            connection.execute(insert(shape.table()).values(dict(row)))


def astray(
    before: Mapping[str, Mapping[tuple[Any, ...], Row]],
    after: Mapping[str, Mapping[tuple[Any, ...], Row]],
) -> list[str]:
    """What of `before` is not in `after`: tables, rows, columns, and values."""
    said = []
    for table, rows in before.items():
        for key, row in rows.items():
            found = after.get(table, {}).get(key)
            if found is None:
                said.append(f"{table} {key} is gone")
                continue
            said += [
                f"{table} {key} {name}: {value!r} became {found.get(name, 'nothing')!r}"
                for name, value in row.items()
                if name not in found or found[name] != value
            ]
    return said
