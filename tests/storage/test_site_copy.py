"""A whole site there and back: every row and value, on either database, or none."""

import importlib
import json
import pkgutil
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, date, datetime, timedelta, timezone
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from alembic.script import ScriptDirectory
from sqlalchemy import (
    JSON,
    BigInteger,
    Column,
    Connection,
    Engine,
    MetaData,
    insert,
    inspect,
    null,
    text,
)
from sqlalchemy import Table as SqlTable
from sqlmodel import Session

from app import storage
from app.catalogue.load import catalogue
from app.commands.demo_files import read_story
from app.commands.demo_services import name_services
from app.commands.demo_site import build
from app.resources import folder
from app.storage import audit, links, people, upgrade, waits
from app.storage.audit import in_silence
from app.storage.database import make_engine, migrate, read_session, write_session
from app.storage.devices import add_device, pair
from app.storage.errors import NotSound, SchemaTooNew
from app.storage.held_requests import hold
from app.storage.numbers import NumberMark, keep_marks
from app.storage.people import Person
from app.storage.site_archive import (
    About,
    WrongArchive,
    content_hash,
    opened,
)
from app.storage.site_copy import SiteNotEmpty, site_filled, write_site
from app.storage.site_lines import (
    _TYPES,
    REVISIONS,
    Shape,
    line_of,
    lines_of,
    row_of,
    shapes_of,
)
from app.storage.staged import stage
from app.storage.tables import Table
from tests.cluster import SERVER, own_schema
from tests.make import NOW, PASSPHRASE, ZONE, make_patient, make_person
from tests.storage.copied_site import (
    contents_of,
    file_site,
    fill,
    forge,
    lax_site,
    retold,
    tables,
    write,
    write_odd,
)

for found in pkgutil.iter_modules(storage.__path__):
    importlib.import_module(f"{storage.__name__}.{found.name}")

TEXTS = ["", " ", "Zoë 名前 🙂", 'a "b" \\ \r\n\t;|', "\u2028 null", "00012"]


@pytest.fixture(scope="module")
def demo(
    built_file: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Engine]:
    """The demo's site, and what it leaves out: sign-ins, files, marks, a merge."""
    path = tmp_path_factory.mktemp("demo") / "demo.sqlite"
    with file_site(Path(shutil.copy(built_file, path))) as engine:
        shelf = catalogue()
        story = read_story(folder("demo_data"), shelf)
        build(engine, shelf, story, now=NOW, zone=ZONE)
        name_services(engine, folder("demo_data"), NOW)
        with write_session(engine) as session:
            let_in(session)
        yield engine


def let_in(session: Session) -> None:
    keep_marks(session)
    boss = make_person(session, "boss", role="supervisor")
    people.start_sign_in(session, boss, NOW)
    links.make_link(session, "passphrase", person=boss, by=boss, now=NOW)
    add_device(session, boss, pair("918273"), old_key="", now=NOW)
    hold(session, boss, path="/x", body="label=Zo%C3%AB", now=NOW)
    files = [("a.csv", bytes(range(256))), ("", b"")]
    stage(session, boss, files, assign_to=boss.id, now=NOW)
    waits.wrong(session, [waits.account("boss")], NOW)
    first = make_patient(session, boss, label="Points ahead")
    second = make_patient(session, boss, label="Comes later")
    session.flush()
    first.merged_into = second.id
    first.closed_at = first.archived_at = NOW


@pytest.fixture(scope="module")
def copy(demo: Engine, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("copy") / "site.zip"
    write(demo, path)
    return path


@pytest.fixture
def new(tmp_path: Path) -> Iterator[Engine]:
    """A place where nothing is yet."""
    with file_site(tmp_path / "new.sqlite") as engine:
        yield engine


class TestRoundTrip:
    def test_site_comes_back_the_same_on_either_database(
        self,
        demo: Engine,
        copy: Path,
        engine: Engine,
        built_file: Path,
        tmp_path: Path,
    ) -> None:
        fill(engine, copy)
        again, third = tmp_path / "again.zip", tmp_path / "third.zip"
        made = write(engine, again)
        shutil.copy(built_file, tmp_path / "back.sqlite")
        with file_site(tmp_path / "back.sqlite") as back:
            fill(back, again)
            write(back, third)

            assert contents_of(back) == contents_of(engine) == contents_of(demo)
        assert tables(copy) == tables(again) == tables(third)
        assert made.sha256 == content_hash(contents_of(demo))
        with read_session(engine) as session:
            assert audit.verify(session) is None

    def test_demo_fills_most_tables(self, copy: Path) -> None:
        """What the round trip is worth; the rest is filled with odd rows below."""
        filled = {name for name, held in tables(copy).items() if held}

        assert len(filled) >= 40

    def test_same_rows_make_the_same_bytes(self, demo: Engine, tmp_path: Path) -> None:
        write(demo, tmp_path / "one.zip")
        write(demo, tmp_path / "two.zip")

        assert (tmp_path / "one.zip").read_bytes() == (
            tmp_path / "two.zip"
        ).read_bytes()

    def test_rows_written_meanwhile_stay_out(
        self, demo: Engine, new: Engine, tmp_path: Path
    ) -> None:
        """One moment is copied, and nobody has to wait for it."""
        with (
            closing(sqlite3.connect(str(demo.url.database))) as here,
            closing(sqlite3.connect(str(new.url.database))) as there,
        ):
            here.backup(there)
        before = contents_of(new)
        added: list[str] = []

        def meanwhile(_done: int, _of: int) -> None:
            with write_session(new) as session:
                added.append(make_person(session, f"late{len(added)}").handle)

        about = About(NOW, "1", "e", upgrade.newest(), "sqlite")
        with read_session(new) as session, (tmp_path / "a.zip").open("wb") as file:
            made = write_site(session.connection(), file, about, meanwhile)

        assert len(added) >= 2
        assert made.counted == before
        assert contents_of(new)["person"].rows == before["person"].rows + len(added)


class TestEveryTable:
    def test_nothing_of_the_schema_is_left_out(self, engine: Engine) -> None:
        with read_session(engine) as session:
            shapes = shapes_of(session.connection())
        told = {shape.name: set(shape.columns) for shape in shapes}
        known = {t.name: set(t.c.keys()) for t in Table.metadata.sorted_tables}
        keys = {s.name: set(s.key) for s in shapes}

        assert told == known
        assert keys == {
            t.name: set(t.primary_key.columns.keys())
            for t in Table.metadata.sorted_tables
        }

    def test_both_databases_tell_the_same_kinds(
        self, engine: Engine, demo: Engine
    ) -> None:
        with read_session(engine) as one, read_session(demo) as other:
            ours, theirs = (
                {s.name: s for s in shapes_of(session.connection())}
                for session in (one, other)
            )

        assert ours == theirs

    def test_tables_come_after_those_they_point_at(self, engine: Engine) -> None:
        with read_session(engine) as session:
            seen = inspect(session.connection())
            names = [shape.name for shape in shapes_of(session.connection())]
            for place, name in enumerate(names):
                for key in seen.get_foreign_keys(name):
                    assert key["referred_table"] in names[: place + 1]

    def test_every_column_of_every_table_is_carried(
        self, built_file: Path, tmp_path: Path
    ) -> None:
        """Odd values everywhere, without the rules that would not let them in."""
        write_odd(built_file, tmp_path / "a.sqlite", tmp_path / "odd.zip")
        shutil.copy(built_file, tmp_path / "b.sqlite")
        with lax_site(tmp_path / "b.sqlite") as two:
            fill(two, tmp_path / "odd.zip")

        before, after = raw(tmp_path / "a.sqlite"), raw(tmp_path / "b.sqlite")
        for name, ended in (("sign_in", "last_seen_at"), ("one_time_link", "made_at")):
            for row in before[name]:
                row["ended_at"] = row["ended_at"] or row[ended]
        assert before == after
        assert all(len(rows) == 2 for rows in before.values())


def raw(path: Path) -> dict[str, list[dict[str, Any]]]:
    """A file as it lies there, without any of the program's types."""
    with closing(sqlite3.connect(path)) as connection:
        connection.row_factory = sqlite3.Row
        names = connection.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table' "
            f"AND name NOT IN ('{REVISIONS}', 'sqlite_sequence')"
        ).fetchall()
        return {
            name: sorted(
                (dict(row) for row in connection.execute(f'SELECT * FROM "{name}"')),
                key=repr,
            )
            for (name,) in names
        }


ALL = Shape(
    "scratch",
    {
        "a_day": "day", "an_instant": "instant", "id": "integer", "held": "bytes",
        "json": "json", "said": "text", "so": "yes_no",
    },
    ("id",),
)  # fmt: skip
CEST = timezone(timedelta(hours=2))
VALUES: list[tuple[Any, ...]] = [
    (date(1903, 2, 28), datetime(2026, 3, 29, 3, 0, 0, 1, CEST), -(2**62), b"", [], "",
     False),
    (None, None, 0, None, null(), None, None),
    (date(9999, 12, 31), datetime(1, 1, 1, tzinfo=UTC), 2**62, b"\0\xff", JSON.NULL,
     "\u2028", True),
    *((None, None, place, None, told, said, None)
      for place, (told, said) in enumerate(zip(
          [{"z": 1, "a": 2}, 1.5, "", [1e300, -0.0, 10**30], {"ä": None}, True], TEXTS,
          strict=True), 1)),
]  # fmt: skip


@contextmanager
def scratch(engine: Engine, shape: Shape) -> Iterator[Any]:
    """A table of this shape and nothing else's."""
    columns: list[Column[Any]] = [
        Column(
            name,
            BigInteger() if kind == "integer" else _TYPES[kind],
            primary_key=name in shape.key,
            autoincrement=False,
        )
        for name, kind in shape.columns.items()
    ]
    table = SqlTable(shape.name, MetaData(), *columns)
    with engine.begin() as connection:
        table.create(connection)
        yield connection
        table.drop(connection)


class TestValues:
    def test_every_kind_comes_back_and_reads_alike_on_both(
        self, engine: Engine
    ) -> None:
        rows = [dict(zip(ALL.columns, row, strict=True)) for row in VALUES]
        with scratch(engine, ALL) as connection:
            connection.execute(insert(ALL.table()), rows)
            before = list(lines_of(connection, ALL))
            back = [row_of(ALL, line) for line in before]
            connection.execute(ALL.table().delete())
            connection.execute(insert(ALL.table()), list(reversed(back)))
            after = list(lines_of(connection, ALL))

        assert before == after
        assert before[0] == (
            b'{"a_day":"1903-02-28","an_instant":"2026-03-29T01:00:00.000001+00:00",'
            b'"id":-4611686018427387904,"held":"","json":[[]],"said":"","so":false}\n'
        )
        empty, null_of_json = json.loads(before[1]), json.loads(before[-1])["json"]
        assert {empty[name] for name in empty if name != "id"} == {None}
        assert null_of_json == [None]
        assert b'"json":[{"z":1,"a":2}]' in before[2]
        assert len(before) == len(VALUES) == len(set(before))

    def test_rows_are_ordered_by_the_bytes_of_their_key(self, engine: Engine) -> None:
        shape = Shape("keyed", {"name": "text", "upto": "integer"}, ("name",))
        names = ["b", "Z", "a b", "a", "ä", "ab", "_", "é", "A", "z"]
        with scratch(engine, shape) as connection:
            rows = [{"name": name, "upto": 1} for name in names]
            connection.execute(insert(shape.table()), rows)
            read = [json.loads(line)["name"] for line in lines_of(connection, shape)]

        assert read == sorted(names, key=str.encode)

    def test_spacing_of_json_does_not_count(self, engine: Engine) -> None:
        shape = Shape("spaced", {"held": "json", "id": "integer"}, ("id",))
        with scratch(engine, shape) as connection:
            connection.execute(
                text("""INSERT INTO spaced VALUES ('{"a" :  [1,2]}', 1)""")
            )
            (line,) = lines_of(connection, shape)

        assert line == b'{"held":[{"a":[1,2]}],"id":1}\n'

    @pytest.mark.parametrize(
        ("name", "value"),
        [
            ("id", "1"), ("id", True), ("id", 1.0), ("so", 1), ("said", 5),
            ("a_day", "2026-02-30"), ("a_day", 5),
            ("an_instant", "2026-02-03T10:00:00"), ("held", "%%"), ("json", []),
            ("json", {"a": 1}),
        ],
    )  # fmt: skip
    def test_value_of_another_kind_is_no_row(self, name: str, value: Any) -> None:
        told = dict.fromkeys(ALL.columns) | {"id": 1, name: value}

        with pytest.raises((ValueError, TypeError)):
            row_of(ALL, json.dumps(told).encode())

    def test_other_columns_are_no_row(self) -> None:
        for told in ({"id": 1}, dict.fromkeys([*ALL.columns, "more"]), [1], None):
            with pytest.raises(ValueError, match="other columns"):
                row_of(ALL, json.dumps(told).encode())

    def test_row_that_sqlite_let_in_is_not_copied(
        self, new: Engine, built_file: Path
    ) -> None:
        """A text where a number belongs: said, and not written as something else."""
        shutil.copy(built_file, str(new.url.database))
        with closing(sqlite3.connect(str(new.url.database))) as connection, connection:
            connection.execute("PRAGMA ignore_check_constraints = ON")
            connection.execute("UPDATE audit_head SET last_id = 'many'")

        with pytest.raises(NotSound, match="audit_head holds something"):
            contents_of(new)

    def test_kind_of_a_line_is_checked_when_it_is_written(self) -> None:
        with pytest.raises(TypeError):
            line_of(Shape("x", {"id": "integer"}, ("id",)), ("1",))


def swapped(old: bytes, new: bytes, held: bytes) -> bytes:
    return held.replace(old, new)


class TestRewritten:
    def test_archive_that_was_rewritten_must_still_keep_the_rules(
        self, copy: Path, engine: Engine, tmp_path: Path
    ) -> None:
        """With hashes made anew: the schema's checks and keys have the last word."""
        forged = [
            (b'"role":"supervisor"', b'"role":"superviser"', "person"),
            (b'"person_id":1,', b'"person_id":99,', "visit"),
            (b'"is_demo":true', b'"is_demo":"true"', "person"),
        ]
        for old, wrong, name in forged:
            path = forge(copy, tmp_path, name, partial(swapped, old, wrong))
            with pytest.raises((WrongArchive, NotSound)):
                fill(engine, path)

            held = contents_of(engine)
            assert sum(each.rows for each in held.values()) == 1, "the audit head"

    def test_live_sign_in_in_a_rewritten_archive_is_refused(
        self, copy: Path, new: Engine, tmp_path: Path
    ) -> None:
        def reopen(held: bytes) -> bytes:
            row = json.loads(held)
            return (
                json.dumps({**row, "ended_at": None}, separators=(",", ":")).encode()
                + b"\n"
            )

        path = forge(copy, tmp_path, "sign_in", reopen)
        with pytest.raises(NotSound, match="does not read like the archive"):
            fill(new, path)


class TestWhere:
    def test_site_that_holds_anything_is_left_as_it_is(
        self, copy: Path, engine: Engine
    ) -> None:
        with write_session(engine) as session:
            make_person(session, "first")
        before = contents_of(engine)

        with pytest.raises(SiteNotEmpty, match="There is a site already"):
            fill(engine, copy)
        assert contents_of(engine) == before

    def test_database_of_something_else_is_left_as_it_is(
        self, copy: Path, new: Engine
    ) -> None:
        with new.begin() as connection:
            connection.execute(text("CREATE TABLE ward (id INTEGER)"))

        with pytest.raises(SiteNotEmpty, match="holds something else"):
            fill(new, copy)
        assert inspect(new).get_table_names() == ["ward"]

    def test_failure_at_the_end_undoes_all(self, copy: Path, new: Engine) -> None:
        with (
            pytest.raises(OSError, match="disk"),
            opened(copy) as archive,
            site_filled(new, archive, in_silence),
        ):
            raise OSError("the disk is full")

        assert inspect(new).get_table_names() == []

    @pytest.mark.skipif(not SERVER, reason="no PostgreSQL server is named")
    def test_postgresql_without_tables_gets_them(
        self, demo: Engine, copy: Path
    ) -> None:
        with own_schema() as address:
            there = make_engine(address)
            fill(there, copy)
            found = contents_of(there)
            there.dispose()

        assert found == contents_of(demo)


class TestWhoIsLetIn:
    def test_sign_ins_and_links_are_ended_and_the_passphrase_stays(
        self, engine: Engine, new: Engine, built_file: Path, tmp_path: Path
    ) -> None:
        with write_session(engine) as session:
            boss = make_person(session, "boss", role="supervisor")
            token = people.start_sign_in(session, boss, NOW)
            link = links.make_link(session, "passphrase", person=boss, by=boss, now=NOW)
            assert people.signed_in(session, token, NOW) is not None
            assert links.open_link(session, link, NOW) is not None
        write(engine, tmp_path / "a.zip")
        shutil.copy(built_file, str(new.url.database))
        fill(new, tmp_path / "a.zip")

        with read_session(new) as session:
            assert people.signed_in(session, token, NOW) is None
            with pytest.raises(links.LinkUsed):
                links.open_link(session, link, NOW)
            assert people.check_passphrase(session, "boss", PASSPHRASE) is not None


class TestNumbers:
    def test_no_number_is_given_again(
        self, engine: Engine, new: Engine, built_file: Path, tmp_path: Path
    ) -> None:
        """What was purged before the copy is above all that came."""
        shutil.copy(built_file, str(new.url.database))
        with write_session(new) as session:
            boss = make_person(session, "boss")
            make_patient(session, boss)
            session.add(NumberMark(name="patient", upto=40))
        write(new, tmp_path / "a.zip")
        fill(engine, tmp_path / "a.zip")

        with write_session(engine) as session:
            boss = session.get_one(Person, boss.id)
            assert make_patient(session, boss, label="Next").id == 41
            assert make_person(session, "next").id == boss.id + 1


def revisions() -> list[str]:
    """Oldest first."""
    steps = ScriptDirectory(upgrade.MIGRATIONS).walk_revisions()
    return [script.revision for script in steps][::-1]


class TestOlder:
    @pytest.mark.parametrize("place", [0, -2])
    def test_archive_of_older_tables_becomes_what_an_upgrade_makes(
        self, place: int, new: Engine, tmp_path: Path
    ) -> None:
        revision = revisions()[place]
        with file_site(tmp_path / "old.sqlite") as old:
            with upgrade.changing_schema(old) as connection:
                upgrade.to_revision(connection, revision)
                add_old_rows(connection)
            write(old, tmp_path / "old.zip", revision)
            migrate(old, None)
            fill(new, tmp_path / "old.zip")

            assert contents_of(new) == contents_of(old)
        with new.connect() as connection:
            assert upgrade.revision_of(connection) == upgrade.newest()

    def test_empty_tables_of_another_version_are_no_place_for_it(
        self, engine: Engine, new: Engine, tmp_path: Path
    ) -> None:
        with upgrade.changing_schema(new) as connection:
            upgrade.to_revision(connection, revisions()[-2])
        write(new, tmp_path / "old.zip", revisions()[-2])

        with pytest.raises(SiteNotEmpty, match="a database without tables"):
            fill(engine, tmp_path / "old.zip")

    def test_archive_of_a_newer_version_is_refused(
        self, copy: Path, new: Engine, tmp_path: Path
    ) -> None:
        def newer(told: dict[str, Any]) -> None:
            told["schema_revision"] = "9999"

        with pytest.raises(SchemaTooNew, match="newer version"):
            fill(new, retold(copy, tmp_path, newer))
        assert inspect(new).get_table_names() == []


def add_old_rows(connection: Connection) -> None:
    """Somebody, a patient and their care, in the columns that were there then."""
    at, day = datetime(2026, 3, 2, 9, 30, 0, 5, tzinfo=UTC), date(2026, 3, 2)
    told: dict[str, Any] = {
        "id": 1, "handle": "first", "name": "First", "role": "therapist",
        "passphrase_hash": "x", "is_demo": False, "active": True, "version": 1,
        "created_at": at, "uid": "a" * 32, "label": "Blue 7", "owner_id": 1,
        "patient_id": 1, "opened_on": day, "reason": "falls", "setting": "community",
        "plan": "restore", "added_by": 1, "person_id": 1, "since": at,
    }  # fmt: skip
    for name in ("person", "patient", "episode"):
        (shape,) = [s for s in shapes_of(connection) if s.name == name]
        row = {c: told[c] for c in shape.columns if c in told}
        connection.execute(insert(shape.table()), [row])
