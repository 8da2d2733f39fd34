"""A site for fault runs: people signed in, each with a patient and a round.

Everything about it is invented. It is served by a real process, and looked over after.
"""

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from time import monotonic, sleep

import httpx
from sqlalchemy import Connection, NullPool, create_engine
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session, select

from app.commands.doctor import examined
from app.settings import Settings
from app.storage import people
from app.storage.database import make_engine, migrate, read_session, write_session
from app.storage.episodes import Visit
from app.storage.people import Person
from app.storage.trials import Trial
from tests.live import Live, environment, started
from tests.make import make_episode, make_patient, make_person, make_round, make_visit

#: A deadline for several processes on a machine that others load, not a budget.
LONGEST_S = 180
_OURS = "FROM pg_class AS c WHERE relnamespace = 'public'::regnamespace AND relkind"
HEAPS = (
    "SELECT c.oid::regclass::text, fault.blkno, fault.msg "
    f"{_OURS.replace(' WHERE', ', verify_heapam(c.oid) AS fault WHERE')} = 'r'"
)
INDEXES = f"SELECT c.oid::regclass::text {_OURS} = 'i'"


@dataclass(frozen=True, slots=True)
class Writer:
    """One signed-in browser and the round it records in."""

    token: str
    round_id: int


@dataclass(frozen=True, slots=True)
class Answered:
    """A site that answers: the seconds its start took, and its own work in them."""

    live: Live
    took: float
    worked: float


def make_site(data: Path, writers: int, database: str = "") -> Settings:
    """A migrated site with so many therapists, a patient and a visit of today each."""
    data.mkdir(mode=0o700, parents=True, exist_ok=True)
    settings = Settings(data_dir=data, database_url=database, site_timezone="UTC")
    engine, now = make_engine(settings.database), datetime.now(UTC)
    migrate(engine, None)
    with write_session(engine) as session:
        for number in range(writers):
            person = make_person(session, f"therapist{number}", now=now)
            patient = make_patient(session, person, label=f"Blue {number}", now=now)
            episode = make_episode(session, person, patient, opened_on=now.date())
            make_visit(session, person, episode, now=now, zone=settings.zone)
    engine.dispose()
    return settings


def signed_in(settings: Settings) -> list[Writer]:
    """Everybody signed in anew, with a round of their own that has no trial yet."""
    engine, now = make_engine(settings.database), datetime.now(UTC)
    with write_session(engine) as session:
        found = [_writer(session, visit, now) for visit in session.exec(select(Visit))]
    engine.dispose()
    return found


def _writer(session: Session, visit: Visit, now: datetime) -> Writer:
    person = session.get_one(Person, visit.person_id)
    round = make_round(session, person, visit, facts={"device": "none"}, now=now)
    return Writer(people.start_sign_in(session, person, now), round.id)


@contextmanager
def served(settings: Settings, *options: str) -> Iterator[Answered]:
    """The site in a process of its own, once it answers."""
    env = environment(
        TAPELINE_SITE_TIMEZONE="UTC", TAPELINE_DATABASE_URL=settings.database_url
    )
    begun = monotonic()
    told = ("serve", "--port", "0", "--data", str(settings.data_dir), *options)
    with started(*told, env=env) as live:
        while not answers(live):
            assert monotonic() - begun < LONGEST_S, "the site does not answer"
            sleep(0.01)
        yield Answered(live, monotonic() - begun, worked(live))


def worked(live: Live) -> float:
    """Seconds of processor time of the process so far; nan where none tells."""
    stat = Path(f"/proc/{live.process.pid}/stat")
    if not stat.exists():
        return float("nan")
    after_name = stat.read_text().rpartition(")")[2].split()
    user, system = int(after_name[11]), int(after_name[12])
    return (user + system) / os.sysconf("SC_CLK_TCK")


def answers(live: Live) -> bool:
    try:
        return httpx.get(f"{live.url}healthz", timeout=5).status_code == 200
    except httpx.TransportError:
        return False


def browser(live: Live, writer: Writer) -> httpx.Client:
    return httpx.Client(
        base_url=live.url,
        headers={"origin": live.url.rstrip("/")},
        cookies={"tapeline": writer.token},
        timeout=30,
    )


def kept(settings: Settings, uids: Sequence[str]) -> dict[str, list[int | None]]:
    """Each id that is stored, with the time of every row that has it."""
    engine, found = make_engine(settings.database), dict[str, list[int | None]]()
    with read_session(engine) as session:
        for uid, ms in session.exec(select(Trial.uid, Trial.raw_ms)).all():
            found.setdefault(uid, []).append(ms)
    engine.dispose()
    return {uid: found[uid] for uid in uids if uid in found}


def amiss(settings: Settings) -> list[str]:
    """What the doctor finds in file, references, audit chain, derived scores, all.

    Of such a site nobody makes backups.
    """
    found = []
    for outcome in examined(settings):
        if outcome.check.word == "backups":
            continue
        if outcome.state == "not checked":
            found.append(f"{outcome.check.word}: not checked")
        found += [f"{outcome.check.word}: {amiss.says}" for amiss in outcome.amiss]
    return found


def pages_amiss(settings: Settings) -> list[str]:
    """What PostgreSQL's own amcheck finds in the pages of tables and their indexes.

    In place of the check of a SQLite file; nothing where that extension is not there.
    """
    if not has_amcheck(settings.database):
        return []
    engine = create_engine(settings.database, poolclass=NullPool)
    with engine.begin() as connection:
        connection.exec_driver_sql("CREATE EXTENSION IF NOT EXISTS amcheck")
        found = [str(row) for row in connection.exec_driver_sql(HEAPS)]
        found += _index_faults(connection)
    return found


def has_amcheck(address: str) -> bool:
    asked = "SELECT FROM pg_available_extensions WHERE name = 'amcheck'"
    with create_engine(address, poolclass=NullPool).connect() as connection:
        return bool(connection.exec_driver_sql(asked).all())


def _index_faults(connection: Connection) -> list[str]:
    """Each row of each table must be found in each of its indexes, in its place."""
    found = []
    for index in connection.exec_driver_sql(INDEXES).scalars().all():
        try:
            with connection.begin_nested():
                connection.exec_driver_sql(f"SELECT bt_index_check('{index}', true)")
        except DBAPIError as fault:
            found.append(f"index {index}: {fault.orig}")
    return found


def load() -> str:
    """What else this machine had to do, for beside the figures."""
    return ", ".join(f"{one:.1f}" for one in os.getloadavg())
