"""An import as it goes on, beside the requests: looked at first, then written at once.

A job runs in one process; others of the same site read how far it is. The files it
reads are stored, so that after a restart it is looked at again, and a half-written
import was never committed.
"""

import io
import logging
import os
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import asdict, dataclass, field, replace
from functools import partial
from typing import Any, BinaryIO

from sqlmodel import Session

from app.exports.caseload_reading import Problem
from app.storage.database import read_session, write_session
from app.storage.faults import meant_by
from app.storage.people import Person
from app.storage.staged import (
    StagedImport,
    files_of,
    forget_staged,
    forget_yesterdays,
    staged_of,
)
from app.web.deps import Site
from app.web.importing import CaseloadFile, Import, Line, take_in

log = logging.getLogger("tapeline.problems")
TELL_EVERY_S = 0.5
FAILED = "It could not be written. Nothing was imported; the files are still here."
CHANGED = "The files do not fit together any more. Nothing was imported."


@dataclass(slots=True)
class Job:
    """How far it is. `lines` are complete once it is over. `pid`: whose it is."""

    uid: str
    writing: bool
    of: int
    pid: int = field(default_factory=os.getpid)
    done: int = 0
    says: str = "rows read"
    lines: list[Line] = field(default_factory=list)
    added: int = 0
    over: bool = False
    fault: str = ""

    @property
    def written(self) -> bool:
        return self.writing and self.over and not self.fault

    def tell(self, done: int, of: int) -> None:
        """The second half of a write: scores, patient by patient."""
        self.says, self.done, self.of = "patients' scores read", done, of


class _NotTaken(Exception):
    """Something of the files does not fit; what was written until then is undone."""


def job_of(site: Site, staged: StagedImport) -> Job | None:
    """The job of these very files, if there is one that goes on or is over."""
    found = last_job(site, staged.person_id)
    return found if found is not None and found.uid == staged.uid else None


def last_job(site: Site, person_id: int) -> Job | None:
    """What a person's last import is at, in whichever process."""
    own = site.jobs.get(person_id)
    if site.shared is None or (isinstance(own, Job) and not own.over):
        return own if isinstance(own, Job) else None
    told = site.shared.told(_name(person_id))
    job = None if told is None else _job_from(told)
    return job if job is None or job.over or _lives(job.pid) else None


def forget_job(site: Site, person_id: int) -> None:
    site.jobs.pop(person_id, None)
    if site.shared is not None:
        site.shared.forget(_name(person_id))


def _name(person_id: int) -> str:
    return f"import-{person_id}"


def _tell(site: Site, person: Person, job: Job) -> None:
    if site.shared is not None:
        site.shared.tell(_name(person.id), asdict(job))


def _job_from(told: dict[str, Any]) -> Job:
    lines = [
        Line(**{**line, "problems": tuple(Problem(**one) for one in line["problems"])})
        for line in told["lines"]
    ]
    return Job(**{**told, "lines": lines})


def _lives(pid: int) -> bool:
    """A process that died will not go on with its job: it is begun again."""
    try:
        os.kill(pid, 0)
    except OSError:
        return False
    return True


@contextmanager
def _telling(site: Site, person: Person, job: Job) -> Iterator[None]:
    """For the other processes while it goes on; nothing of that is told afterwards."""
    ended = threading.Event()
    teller = threading.Thread(
        target=_keep_telling, args=(site, person, job, ended), daemon=True
    )
    if site.shared is not None:
        teller.start()
    try:
        yield
    finally:
        ended.set()
        if site.shared is not None:
            teller.join()


def _keep_telling(site: Site, person: Person, job: Job, ended: threading.Event) -> None:
    """The rows come at the end."""
    while not ended.wait(TELL_EVERY_S):
        with suppress(OSError):  # a full disk costs a look at it, not the import
            _tell(site, person, replace(job, lines=[]))


def begin(site: Site, person: Person, staged: StagedImport, *, writing: bool) -> Job:
    """Start a job for a person's staged files; one that goes on is left to go on.

    One for all processes: a second tap, wherever it lands, finds the first at work.
    """
    shared = site.shared
    with site.jobs_lock, shared.one_at_a_time() if shared else nullcontext():
        known = job_of(site, staged)
        if known is not None and (not known.over or known.writing == writing):
            return known
        job = Job(staged.uid, writing, of=0)
        _tell(site, person, job)
        site.jobs[person.id] = job
    told, name = (site, person, job), _name(person.id)
    threading.Thread(target=_run, args=told, name=name, daemon=True).start()
    return job


def _run(site: Site, person: Person, job: Job) -> None:
    try:
        with _telling(site, person, job):
            _do(site, person, job)
    finally:
        try:
            _tell(site, person, replace(job, over=True))
        finally:
            job.over = True


def _do(site: Site, person: Person, job: Job) -> None:
    try:
        if job.writing:
            _write(site, person, job)
        else:
            with read_session(site.engine) as session:
                _take(site, session, person, job)
    except _NotTaken:
        job.fault = CHANGED
    except Exception as fault:
        log.exception("an import failed")
        named = meant_by(fault)
        job.fault = f"{named.sentence} {FAILED}" if named else FAILED


def _write(site: Site, person: Person, job: Job) -> None:
    """One transaction. Whoever else saves waits at the gate and is not refused."""
    with site.gate, write_session(site.engine) as session:
        session.info["now"] = site.clock()
        _take(site, session, person, job)
        if any(line.problems for line in job.lines):
            raise _NotTaken
        job.says, job.done, job.of = "working out what is owed", 0, 0
        site.after_change(session, site.clock().astimezone(site.zone).date())
        forget_staged(session, person)
    job.added, job.lines = sum(line.adds for line in job.lines), []


def _take(site: Site, session: Session, person: Person, job: Job) -> None:
    me = session.get_one(Person, person.id)
    staged = staged_of(session, me)
    if staged is None or staged.uid != job.uid:
        raise _NotTaken
    files = as_files(session, staged)
    job.of = sum(map(_rows, files))
    doing = Import(session, me, site.catalogue, site.clock(), site.zone)
    doing.holder = session.get_one(Person, staged.assign_to)
    doing.full = site.settings.identifiers == "full"
    doing.write, doing.progress = job.writing, job.tell
    job.says = "rows written" if job.writing else "rows read"
    for line in take_in(doing, files):
        job.lines.append(line)
        job.done = len(job.lines)


def as_files(session: Session, staged: StagedImport) -> Sequence[CaseloadFile]:
    return [
        CaseloadFile(kept.name, partial(_opened, kept.content))
        for kept in files_of(session, staged)
    ]


def _opened(content: bytes) -> BinaryIO:
    return io.BytesIO(content)


def _rows(file: CaseloadFile) -> int:
    with file.open() as stream:
        return max(0, sum(1 for _ in stream) - 1)


def wipe_yesterdays(site: Site) -> None:
    """What was sent on an earlier day and never imported goes."""
    today = site.clock().astimezone(site.zone).date()
    with site.gate, write_session(site.engine) as session:
        forget_yesterdays(session, today, site.zone)
