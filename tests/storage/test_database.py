"""The engine and its two kinds of session."""

import gc
import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import IntegrityError
from sqlmodel import select
from sqlmodel.sql.expression import SelectOfScalar

from app.storage.database import (
    make_engine,
    prepare_sqlite,
    read_session,
    write_session,
)
from app.storage.errors import NotSound, ReadOnly
from app.storage.people import Person
from tests.asked import queries
from tests.make import make_person
from tests.storage.conftest import Ward


def names(engine: Engine) -> list[str]:
    with read_session(engine) as session:
        return list(session.exec(select(Person.handle).order_by(Person.handle)))


def test_folder_of_a_new_file_is_made(tmp_path: Path) -> None:
    engine = make_engine(f"sqlite:///{tmp_path / 'new' / 'site.sqlite'}")
    with engine.connect() as connection:
        connection.execute(text("SELECT 1"))
    engine.dispose()

    assert (tmp_path / "new" / "site.sqlite").is_file()
    assert (tmp_path / "new").stat().st_mode & 0o077 == 0


@pytest.mark.parametrize(
    "url", ["sqlite://", "sqlite:///:memory:", "sqlite:///file:site.sqlite?uri=true"]
)
def test_database_that_is_no_file_is_refused(url: str) -> None:
    with pytest.raises(NotSound, match="must be a file"):
        make_engine(url)


@pytest.mark.parametrize(
    ("setting", "value"),
    [
        ("journal_mode", "wal"),
        ("synchronous", 2),
        ("foreign_keys", 1),
        ("busy_timeout", 10_000),
    ],
)
def test_every_sqlite_connection_is_sound(
    new_file: Engine, setting: str, value: object
) -> None:
    with new_file.connect() as one, new_file.connect() as other:
        for connection in (one.connection, other.connection):
            cursor = connection.cursor()
            cursor.execute(f"PRAGMA {setting}")

            assert cursor.fetchone() == (value,)


def test_place_that_cannot_keep_a_log_is_refused() -> None:
    """Memory stands for a network share: there too SQLite stays without its log."""
    with (
        closing(sqlite3.connect(":memory:")) as connection,
        pytest.raises(NotSound, match="journal_mode cannot be set"),
    ):
        prepare_sqlite(connection, None)  # type: ignore[arg-type]  # the driver itself


def test_write_session_commits_at_its_end(engine: Engine) -> None:
    with write_session(engine) as session:
        make_person(session, "kept")

    assert names(engine) == ["kept"]


def test_write_session_undoes_everything_after_an_error(engine: Engine) -> None:
    def add_and_fail() -> None:
        with write_session(engine) as session:
            make_person(session, "lost")
            raise RuntimeError("the route failed")

    with pytest.raises(RuntimeError):
        add_and_fail()

    assert names(engine) == []


def test_rows_stay_readable_after_the_commit(engine: Engine) -> None:
    with write_session(engine) as session:
        person = make_person(session, "kept")

    assert person.handle == "kept"


def test_read_session_refuses_a_changed_row(ward: Ward) -> None:
    with read_session(ward.engine) as session:
        person = session.exec(select(Person)).first()
        assert person is not None
        person.name = "Changed"

        with pytest.raises(ReadOnly):
            session.commit()


def test_read_session_refuses_a_new_row(engine: Engine) -> None:
    with read_session(engine) as session, pytest.raises(ReadOnly):
        make_person(session)


def test_database_itself_refuses_a_change_while_reading(ward: Ward) -> None:
    with read_session(ward.engine) as session, pytest.raises(ReadOnly):
        session.connection().execute(text("UPDATE person SET name = 'Changed'"))


def test_connection_that_read_may_write_afterwards(engine: Engine) -> None:
    assert names(engine) == []
    with write_session(engine) as session:
        make_person(session, "kept")

    assert names(engine) == ["kept"]


def test_page_that_ends_leaves_nothing_to_the_collector(engine: Engine) -> None:
    """Else the garbage of many pages is swept while one of them waits."""

    def a_page() -> None:
        with read_session(engine, page=True) as session:
            for _ in range(2):
                assert session.exec(select(Person)).all()
            assert session.get(Person, 1)

    with write_session(engine) as session:
        for number in range(50):
            make_person(session, f"person-{number}")
    a_page()
    gc.collect()
    gc.disable()
    try:
        a_page()
        assert gc.collect() < 50
    finally:
        gc.enable()


@pytest.mark.parametrize("page", [True, False])
def test_page_asks_the_same_question_once(engine: Engine, page: bool) -> None:
    with write_session(engine) as session:
        make_person(session, "first")
        make_person(session, "second")
    with read_session(engine, page=page) as session, queries(engine) as asked:
        found = [session.exec(select(Person.handle)).all() for _ in range(2)]
        others = [session.exec(of(name)).one() for name in ("first", "second")]
        again = session.exec(of("first")).first()

    assert found[0] == found[1] == ["first", "second"]
    assert [person.handle for person in others] == ["first", "second"]
    assert again is others[0]
    # A question with another value is another question.
    assert len(asked) == (3 if page else 5)


def of(handle: str) -> SelectOfScalar[Person]:
    return select(Person).where(Person.handle == handle)


def test_read_session_sees_one_moment(engine: Engine) -> None:
    with read_session(engine) as reading:
        before = reading.exec(select(Person)).all()
        with write_session(engine) as session:
            make_person(session, "meanwhile")
        after = reading.exec(select(Person)).all()

    assert (before, after) == ([], [])


def test_second_writer_waits_for_the_first(engine: Engine) -> None:
    """What one has read is still true when it writes."""
    inside = threading.Event()
    order = []

    def second() -> None:
        inside.wait()
        with write_session(engine):
            order.append("second")

    thread = threading.Thread(target=second)
    thread.start()
    with write_session(engine):
        inside.set()
        thread.join(0.2)
        order.append("first")
    thread.join()

    assert order == ["first", "second"]


def test_forty_threads_with_two_sessions_each_all_finish(ward: Ward) -> None:
    """The pool is large enough for every thread to read and write at once."""
    together = threading.Barrier(40)
    done = []

    def serve() -> None:
        with read_session(ward.engine) as reading:
            reading.exec(select(Person.id)).all()
            together.wait()
            with write_session(ward.engine) as writing:
                done.append(len(writing.exec(select(Person.id)).all()))

    threads = [threading.Thread(target=serve) for _ in range(40)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert done == [4] * 40


def test_row_that_points_nowhere_is_refused(ward: Ward) -> None:
    with write_session(ward.engine) as session, pytest.raises(IntegrityError):
        session.connection().execute(text("UPDATE round SET visit_id = 99999"))
