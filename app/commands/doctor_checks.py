"""What `tapeline doctor` looks at. A further check is one line in `CHECKS`.

A check gets the site and yields what is amiss; yielding nothing says that it is sound.
None of them changes anything.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, Literal

from sqlalchemy import Engine, make_url
from sqlmodel import Session, col, select

from app.catalogue.load import Catalogue
from app.commands.backing_up import opened
from app.commands.demo_folder import is_demo_folder
from app.commands.opening import file_of_site
from app.commands.progress import Progress
from app.commands.shares import share_of
from app.settings import Settings
from app.storage import audit, checkup, upgrade
from app.storage.database import read_session
from app.storage.errors import SchemaTooNew, StorageProblem
from app.storage.goals import broken_goals
from app.storage.notes import broken_addenda
from app.storage.patients import Patient
from app.storage.review import broken_texts
from app.storage.scores import wrongly_marked
from app.storage.site_archive import archive_in
from app.storage.site_file import made_beside
from app.web.backup_state import NONE_MADE, backup_state, backup_trouble
from app.web.owing import owed_differs
from app.web.rejudging import Compared, compared_all

#: A note says how something stands, where nothing is amiss.
Level = Literal["note", "warning", "broken"]
NEVER_LOCKS: Final = (
    "TAPELINE_IDLE_MINUTES is 0, so a page that is left open stays open to whoever "
    "comes by, for up to 12 hours: set minutes, unless every machine and phone here "
    "locks its own screen"
)


@dataclass(frozen=True, slots=True)
class Amiss:
    """One thing that is not as it should be."""

    level: Level
    says: str


@dataclass(frozen=True, slots=True)
class Examined:
    """The site that is looked at."""

    settings: Settings
    engine: Engine
    shelf: Catalogue


@dataclass(frozen=True, slots=True)
class Check:
    """A check by its word and its name. `of_rows`: it needs this program's schema."""

    word: str
    name: str
    look: Callable[[Examined], Iterator[Amiss]]
    of_rows: bool = True


def folder(site: Examined) -> Iterator[Amiss]:
    """Who else can read it, and whether it lies where a lock can be trusted."""
    where, file = site.settings.data_dir, file_of_site(site.settings)
    # It is not there where a site in another place was never served from here.
    if where.exists() and where.stat().st_mode & 0o007:
        yield Amiss(
            "warning",
            f"everybody on this machine can get into {where}: chmod o-rwx it",
        )
    if file is not None and (kind := share_of(file.parent)):
        yield Amiss(
            "warning",
            f"{file.parent} lies on a network file system ({kind}), where a save may "
            "be lost: use a disk of this machine",
        )


def file(site: Examined) -> Iterator[Amiss]:
    with read_session(site.engine) as session:
        for fault in checkup.file_faults(session):
            yield Amiss("broken", fault)


def references(site: Examined) -> Iterator[Amiss]:
    with read_session(site.engine) as session:
        for fault in checkup.stray_references(session):
            yield Amiss("broken", fault)


def schema(site: Examined) -> Iterator[Amiss]:
    """An older one is brought up at the next start; a newer one is not ours to read."""
    with site.engine.connect() as connection:
        try:
            found = upgrade.revision_of(connection)
        except SchemaTooNew as fault:
            yield Amiss("broken", fault.sentence)
            return
    if found != upgrade.newest():
        yield Amiss(
            "warning",
            f"version {found or 'none'}, this program has {upgrade.newest()}: the next "
            "start of the site brings it up, after a copy",
        )


def audit_chain(site: Examined) -> Iterator[Amiss]:
    progress = Progress("audit chain")
    with read_session(site.engine) as session:
        broken = audit.verify(session, progress)
    progress.over()
    if broken is not None:
        yield Amiss(
            "broken",
            f"entry {broken} is not as it was written, or one before it is gone",
        )


def scores(site: Examined) -> Iterator[Amiss]:
    """Every stored score beside what its trials make, by the one reading function."""
    progress, older = Progress("derived scores, patients"), 0
    with read_session(site.engine) as session:
        ids = session.exec(select(Patient.id).order_by(col(Patient.id))).all()
        for done, patient_id in enumerate(ids, 1):
            for found in _scores_of(session, site.shelf, patient_id):
                if isinstance(found, Amiss):
                    yield found
                elif found.older:  # another edition may score and read it otherwise
                    older += 1
                else:
                    yield Amiss("broken", _score_words(found))
            session.expunge_all()
            progress(done, len(ids))
        for patient_id in wrongly_marked(session):
            yield Amiss(
                "broken",
                f"patient {patient_id}: the latest score of a test is marked wrongly",
            )
    progress.over()
    if older:
        yield Amiss(
            "warning",
            f"{older} scores were read from another edition of the catalogue: the next "
            "start of the site, or --rebuild, reads them again",
        )


def _scores_of(
    session: Session, shelf: Catalogue, patient_id: int
) -> Iterator[Compared | Amiss]:
    patient = session.get_one(Patient, patient_id)
    try:
        yield from compared_all(session, shelf, patient)
    except Exception as fault:  # a damaged row may fail anywhere in the core
        kind = type(fault).__name__
        yield Amiss(
            "broken", f"the trials of patient {patient_id} fail to read: {kind}"
        )


def _score_words(found: Compared) -> str:
    """Ids and columns only: no value of a person."""
    which = f"round {found.round.id} ({found.round.measure})"
    if found.stored is None:
        return f"{which} lacks the score that its trials make"
    if found.made is None:
        return f"{which} has a score that its trials do not make"
    columns = ", ".join(found.differs)
    return f"{which}: stored otherwise than its trials make it: {columns}"


def texts(site: Examined) -> Iterator[Amiss]:
    """Each text, addendum, decision and signed goal is as it was when written."""
    with read_session(site.engine) as session:
        rows = [*broken_texts(session), *broken_addenda(session)]
        for row in (*rows, *broken_goals(session)):
            yield Amiss("broken", f"{row} was changed after it was written")


def owed(site: Examined) -> Iterator[Amiss]:
    """What waits for somebody, beside what is stored of it. Days pass: no fault."""
    progress, stale = Progress("what is owed, patients"), 0
    clocks, zone = site.settings.clocks, site.settings.zone
    today = datetime.now(zone).date()
    with read_session(site.engine) as session:
        ids = session.exec(select(Patient.id).order_by(col(Patient.id))).all()
        for done, patient_id in enumerate(ids, 1):
            patient = session.get_one(Patient, patient_id)
            stale += owed_differs(session, site.shelf, clocks, patient, today)
            session.expunge_all()
            progress(done, len(ids))
    progress.over()
    if stale:
        yield Amiss(
            "warning",
            f"what is owed to {stale} patients was worked out before something "
            "changed: --rebuild works it out again",
        )


def backups(site: Examined) -> Iterator[Amiss]:
    """Whether any are made, how old the last good one is, and whether it opens."""
    settings, now = site.settings, datetime.now(UTC)
    if is_demo_folder(settings.data_dir):
        return
    state = backup_state(settings, now)
    for half in state.halves:
        yield Amiss(
            "warning", f"{half.name} was cut off while it was made. {state.last_words}"
        )
    for file in state.ahead:
        yield Amiss(
            "warning",
            f"{file.path.name} bears a later time than it is: a clock was ahead. It is "
            "never taken away by itself",
        )
    if trouble := backup_trouble(settings, now):
        yield Amiss("broken", trouble)
    elif settings.backup_every is None:
        told = f" {state.last_words}" if state.last else ""
        yield Amiss("warning", f"{NONE_MADE}{told}")
    elif state.last is None:
        yield Amiss("warning", f"None was made yet into {settings.backups}.")
    try:
        secret = settings.backup_secret
    except ValueError as fault:
        yield Amiss("broken", f"no backup can be made or opened: {fault}")
        return
    if state.last and secret:
        yield from _opens(state.last.path, secret)


def _opens(path: Path, passphrase: str) -> Iterator[Amiss]:
    """The newest one with the passphrase that is set, down to its manifest."""
    try:
        with opened(path, passphrase) as (_, packed), archive_in(packed):
            pass
    except (StorageProblem, OSError) as fault:
        yield Amiss("broken", f"{path.name} does not open: {fault}")


def copies(site: Examined) -> Iterator[Amiss]:
    """What lies beside the site and is as confidential: copies, and halves of them."""
    folder = site.settings.data_dir / "backups"
    keyed = bool(make_url(site.settings.database).password)
    for copy in upgrade.copies_in(folder):
        yield Amiss("note", f"{copy} is the site before an upgrade")
        if keyed and _in_clear(copy):
            yield Amiss(
                "warning",
                f"{copy.name} is not encrypted, though the site is: delete it, and "
                "wipe the disk it lay on when that goes",
            )
    halves = upgrade.halves_in(folder)
    file = file_of_site(site.settings)
    if file is not None and made_beside(file).exists():
        halves.append(made_beside(file))
    for half in halves:
        yield Amiss(
            "warning",
            f"{half} is part of a site, left by an upgrade, a restore or an import "
            "that was cut off: the next one, or the next start, takes it away",
        )


def _in_clear(path: Path) -> bool:
    """What a SQLite file begins with that nothing encrypted (its file format, 1.3)."""
    with path.open("rb") as file:
        return file.read(16) == b"SQLite format 3\0"


def lock(site: Examined) -> Iterator[Amiss]:
    """A desktop in a shared room that nobody locks is open to whoever walks by."""
    if site.settings.idle is None and not is_demo_folder(site.settings.data_dir):
        yield Amiss("warning", NEVER_LOCKS)


#: In this order: what comes first may make the rest unreadable.
CHECKS: Final[tuple[Check, ...]] = (
    Check("folder", "data folder", folder, of_rows=False),
    Check("file", "database file", file, of_rows=False),
    Check("references", "references between rows", references, of_rows=False),
    Check("schema", "schema version", schema, of_rows=False),
    Check("audit", "audit chain", audit_chain),
    Check("scores", "derived scores", scores),
    Check("texts", "texts handed in or signed", texts),
    Check("owed", "what is owed", owed),
    Check("backups", "backups", backups, of_rows=False),
    Check("copies", "copies before upgrades", copies, of_rows=False),
    Check("lock", "lock of idle pages", lock, of_rows=False),
)
