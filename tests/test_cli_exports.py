"""`tapeline export --csv` and `--deidentified` of the invented site.

The second is held to the 18 kinds of identifiers of 45 CFR 164.514(b)(2)(i), A to R:
each is planted in every column of the schema that takes it, and found in no file.
"""

import io
import json
import re
import shutil
import zipfile
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from sqlalchemy import Connection, Engine, text
from sqlalchemy import Table as SqlTable
from sqlmodel import col, select

from app.catalogue.load import catalogue
from app.cli import main
from app.commands.demo_folder import DATABASE, MARKER
from app.commands.saving import save
from app.exports.caseload_reading import rows_of
from app.exports.content_hash import content_hash
from app.storage.audit import AuditEntry
from app.storage.database import make_engine, read_session, write_session
from app.storage.episodes import Episode
from app.storage.people import Person
from app.storage.profile import write_profile
from app.storage.tables import Table
from app.web.archive import archived
from app.web.deidentifying import Deidentifying
from tests.built_demo import CopyDemo
from tests.conftest import undrawn

Capture = pytest.CaptureFixture[str]
#: One of each kind, of nobody. The words beside each are those of the regulation.
IDENTIFIERS = {
    "A": "Zoltan Quillfeather",  # names
    "B": "12 Mill Lane 90210",  # places smaller than a state
    "C": "17 Mar 1931",  # parts of dates but the year; ages over 89
    "D": "+1 555 0142778",  # telephone numbers
    "E": "fax 555 0199664",  # fax numbers
    "F": "zq@mail.example",  # e-mail addresses
    "G": "078-05-1120",  # social security numbers
    "H": "MRN 4471923",  # medical record numbers
    "I": "HPB-77120-Q",  # health plan beneficiary numbers
    "J": "acct 99381127",  # account numbers
    "K": "licence OT-55817",  # certificate and licence numbers
    "L": "plate QX 71 ZRT",  # vehicles and licence plates
    "M": "serial SN-40091-B",  # devices and serial numbers
    "N": "https://zq.example/p",  # web addresses
    "O": "203.0.113.77",  # IP addresses
    "P": "voiceprint vp-8812",  # finger and voice prints
    "Q": "face-zq-0413.jpg",  # photographs of a face
    "R": "ZK-0091-7x",  # any other unique number, mark or code
}
#: Words that decide which rows there are at all: planted in a second go.
DECIDE = {("round", "measure"), ("round", "variant"), ("activity_set", "activity"),
          ("goal", "measure")}  # fmt: skip
#: Some of the columns that must be among those the markers got into.
MUST = {
    ("patient", "label"), ("patient", "full_name"), ("patient", "record_number"),
    ("episode", "reason"), ("precaution", "note"), ("precaution", "set_by"),
    ("trial", "reason"), ("trial", "void_reason"), ("trial", "inputs"),
    ("trial", "clocks"), ("round", "facts"), ("activity_set", "note"),
    ("activity_set", "override"), ("activity_set", "log"), ("goal", "phrase"),
    ("goal", "so_that"), ("goal", "base_says"), ("visit_text", "own_words"),
    ("visit_text", "lines"), ("symptom_check", "words"), ("visit", "zone"),
    ("visit", "left_without"), ("profile", "matters"), ("person", "name"),
    ("score", "lead_says"),
}  # fmt: skip


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory, copy_demo: CopyDemo) -> Path:
    """The invented site, built once."""
    data = tmp_path_factory.mktemp("demo")
    (data / MARKER).write_text("invented")
    copy_demo(data / DATABASE)
    return data


@pytest.fixture
def planted(demo: Path, tmp_path: Path) -> Iterator[Engine]:
    """A copy to plant things in."""
    shutil.copy(demo / DATABASE, tmp_path / DATABASE)
    engine = make_engine(f"sqlite:///{tmp_path / DATABASE}")
    with write_session(engine) as session:
        for episode in session.exec(select(Episode)):
            me = session.exec(select(Person).where(Person.role == "supervisor")).one()
            lived = {"matters": "x", "home": "x", "helper": "x"}
            now = datetime.now(UTC)
            write_profile(session, me, episode, lived, version=0, now=now)
    yield engine
    engine.dispose()


def export(data: Path, *options: object) -> int:
    return main(["export", "--data", str(data), *map(str, options)])


def members(archive: bytes) -> dict[str, str]:
    with zipfile.ZipFile(io.BytesIO(archive)) as opened:
        assert {each.date_time for each in opened.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        return {n: opened.read(n).decode("utf-8-sig") for n in opened.namelist()}


def deidentified(engine: Engine, some: frozenset[int] = frozenset()) -> dict[str, str]:
    """The archive; of `some` patients alone where all would take long."""
    with read_session(engine) as session:
        made = Deidentifying(session, catalogue(), demo=True)
        made.codes = {k: v for k, v in made.codes.items() if not some or k in some}
        return members(b"".join(archived(made.members())))


def test_tables_are_files_of_one_content(
    demo: Path, tmp_path: Path, capsys: Capture
) -> None:
    assert export(demo, "--csv", tmp_path / "out") == 0
    said, shelf = capsys.readouterr().out, catalogue().measures
    hashes = set()
    for name in ("trials.csv", "scores.csv"):
        with (tmp_path / "out" / name).open("rb") as file:
            read = list(rows_of(file, shelf, date.today()))
        assert [r.problems for r in read if r.problems] == []
        hashes.add(content_hash(r.row for r in read))
    rows = {f.name: f.read_bytes().count(b"\r\n") - 1
            for f in (tmp_path / "out").iterdir()}  # fmt: skip

    assert len(hashes) == 1
    assert f"sha256: {hashes.pop()}\n" in said
    assert set(rows) == {"trials.csv", "scores.csv", "readings.csv"}
    assert all(f"{name}: {number} rows\n" in said for name, number in rows.items())
    assert rows["readings.csv"] > rows["trials.csv"] > rows["scores.csv"] > 40
    assert "waiting for a co-signature: 2 visits of students" in said


def test_deidentified_archive_of_the_demo(
    demo: Path, tmp_path: Path, capsys: Capture
) -> None:
    ways = [(), ("--day-offsets",)]
    for n, way in enumerate(ways):
        assert export(demo, "--deidentified", tmp_path / f"{n}.zip", *way) == 0
    plain, counted = (members((tmp_path / f"{n}.zip").read_bytes()) for n in (0, 1))
    codes = [set(re.findall(r"^[0-9a-f]{16}(?=,)", each["patients.csv"], re.MULTILINE))
             for each in (plain, counted)]  # fmt: skip
    said = capsys.readouterr().err
    engine = make_engine(f"sqlite:///{demo / DATABASE}")
    with read_session(engine) as session:
        wanted = select(AuditEntry.deed).order_by(col(AuditEntry.id).desc())
        deeds = session.exec(wanted.limit(2)).all()
    engine.dispose()

    assert len(codes[0]) == len(codes[1]) > 10
    assert not codes[0] & codes[1]
    assert ",day\r\n" in counted["visits.csv"]
    assert "day" not in plain["visits.csv"]
    assert not re.search(r"\d{4}-\d\d|\d\d:\d\d", "".join(plain.values()))
    assert "privacy officer" in said
    assert deeds == ["exported_deidentified_days", "exported_deidentified"]
    assert (tmp_path / "0.zip").stat().st_mode & 0o077 == 0


def test_file_that_fails_half_way_leaves_nothing_behind(tmp_path: Path) -> None:
    def parts() -> Iterator[bytes]:
        yield b"label\r\nBlue 7\r\n"
        raise ValueError("torn")

    with pytest.raises(ValueError, match="torn"):
        save(tmp_path / "patients.csv", parts())

    assert list(tmp_path.iterdir()) == []


def test_bad_options_end_with_one_line(demo: Path, tmp_path: Path) -> None:
    assert export(demo, "--deidentified", tmp_path / "x.csv") == 2
    assert export(demo, "--deidentified", tmp_path / "none" / "x.zip") == 2
    assert export(demo, "--csv", tmp_path / "y", "--day-offsets") == 2
    with pytest.raises(SystemExit):
        export(demo, "--csv", tmp_path / "y", "--out", tmp_path / "z")
    assert list(tmp_path.iterdir()) == []


def plant(
    connection: Connection, marker: str, *, deciding: bool
) -> set[tuple[str, str]]:
    """Put a marker into every column that takes it; which those are."""
    taken = set()
    for table in Table.metadata.sorted_tables:
        for column in table.columns:
            name = (table.name, column.name)
            kind = str(column.type)
            if kind == "JSON":
                if _json(connection, table, column.name, marker):
                    taken.add(name)
            elif kind == "VARCHAR" and (deciding or name not in DECIDE):
                tries = (f"'{marker}'", f"'{marker}' || rowid", f"'{marker[:8]}'",
                         f"'{re.sub(r'[^0-9]', '', marker) or 'x'}'")  # fmt: skip
                if any(update_rows(connection, table, column.name, t) for t in tries):
                    taken.add(name)
    return taken


def update_rows(
    connection: Connection, table: SqlTable, column: str, value: str
) -> bool:
    """Whether the rules of the table let it into any row."""
    set_to = f"UPDATE OR IGNORE {table.name} SET {column} = {value}"
    connection.execute(text(set_to))
    asked = f"SELECT count(*) FROM {table.name} WHERE {column} = {value}"
    return bool(connection.execute(text(asked)).scalar())


def _json(connection: Connection, table: SqlTable, column: str, marker: str) -> bool:
    """As a key and as a value, in whatever stands there; numbers stay numbers."""
    asked = f"SELECT rowid, {column} FROM {table.name} WHERE {column} IS NOT NULL"
    planted = False
    for row, held in connection.execute(text(asked)).all():
        said = json.loads(held)
        if isinstance(said, dict):
            said |= {marker: marker, "device": marker}
        elif not all(isinstance(each, str) for each in said) or column.endswith("_ms"):
            continue
        else:
            said.append(marker)
        connection.execute(
            text(f"UPDATE {table.name} SET {column} = :said WHERE rowid = :row"),
            {"said": json.dumps(said), "row": row},
        )
        planted = True
    return planted


def some_of(engine: Engine) -> frozenset[int]:
    """Those whose records hold most: goals, sets, and a voided trial."""
    with engine.connect() as connection:
        asked = (
            "SELECT patient_id FROM episode JOIN goal ON episode.id = goal.episode_id "
            "WHERE signed_at IS NOT NULL "
            "UNION SELECT patient_id FROM episode "
            "JOIN visit ON visit.episode_id = episode.id "
            "JOIN round ON round.visit_id = visit.id "
            "JOIN trial ON trial.round_id = round.id WHERE void_reason IS NOT NULL"
        )
        return frozenset(connection.execute(text(asked)).scalars())


@pytest.mark.parametrize(
    ("deciding", "letters"), [(False, "ABCDEFGHIJKLMNOPQR"), (True, "ACR")]
)
def test_each_of_the_18_kinds_is_planted_and_absent(
    planted: Engine, deciding: bool, letters: str
) -> None:
    some = some_of(planted)
    before = {name: lines.count("\n") for name, lines in
              deidentified(planted, some).items()}  # fmt: skip
    assert len(IDENTIFIERS) == 18
    assert min(before.values()) > 1
    for letter in letters:
        marker = IDENTIFIERS[letter]
        with planted.connect() as connection, connection.begin() as transaction:
            taken = plant(connection, marker, deciding=deciding)
            transaction.commit()
        files = deidentified(planted, some)
        whole = undrawn("".join(files.values()))
        digits = re.sub(r"[^0-9]", "", marker)

        assert taken >= MUST, letter
        assert marker not in whole, letter
        assert marker[:8] not in whole, letter
        assert len(digits) < 6 or digits not in whole, letter
        if not deciding:
            assert {n: t.count("\n") for n, t in files.items()} == before, letter


def test_no_code_of_the_record_is_told(planted: Engine) -> None:
    """R again: ids made on the phone, and hashes."""
    whole = "".join(deidentified(planted).values())
    with planted.connect() as connection:
        for table in Table.metadata.sorted_tables:
            names = [c.name for c in table.columns
                     if c.name == "uid" or c.name.endswith("hash")]  # fmt: skip
            for name in names:
                asked = text(f"SELECT {name} FROM {table.name}")
                held = {str(v) for v in connection.execute(asked).scalars() if v}
                found = {v for v in held if len(v) > 6 and v in whole}

                assert not found, f"{table.name}.{name}"


def test_only_what_was_drawn_is_taken_out() -> None:
    words = (
        "90+,Zoltan Quillfeather,17-03-1931,five_times_sit_to_stand,R01,/patients/12"
    )
    hashed = 'href="/static/app.css?v=de2519314c171cbb"'

    assert undrawn(f"de2519314c171cbb,{words}") == f"CODE,{words}"
    assert undrawn(f"{hashed} {words}") == f'href="/static/app.css?v=CODE" {words}'
    assert undrawn(f"_1931Qx-tWzb7LkPmNvR {words}") == f"CODE {words}"


def test_over_89_shows_no_age_and_no_year_of_birth(planted: Engine) -> None:
    with planted.begin() as connection:
        connection.execute(
            text("UPDATE patient SET birth_year = NULL, birth_date = '1931-03-17'")
        )
    files = deidentified(planted)
    ages = {line.split(",")[1] for line in files["patients.csv"].splitlines()[1:]}

    assert ages == {"90+"}
    assert "1931" not in undrawn("".join(files.values()))
