"""An import as it goes on, beside the requests: looked at first, then written at once.

A job lives in this process alone. The files it reads are on the disk, so that after a
restart it is looked at again, and a half-written import was never committed.
"""

import io
import logging
import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import BinaryIO

from sqlmodel import Session

from app.storage.database import read_session, write_session
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
FAILED = "It could not be written. Nothing was imported; the files are still here."
CHANGED = "The files do not fit together any more. Nothing was imported."


@dataclass(slots=True)
class Job:
    """How far it is. `lines` are complete once it is over."""

    uid: str
    writing: bool
    of: int
    done: int = 0
    says: str = "rows read"
    lines: list[Line] = field(default_factory=list)
    added: int = 0
    over: bool = False
    fault: str = ""

    def tell(self, done: int, of: int) -> None:
        """The second half of a write: scores, patient by patient."""
        self.says, self.done, self.of = "patients' scores read", done, of


class _NotTaken(Exception):
    """Something of the files does not fit; what was written until then is undone."""


def job_of(site: Site, staged: StagedImport) -> Job | None:
    """The job of these very files, if there is one in this process."""
    found = site.jobs.get(staged.person_id)
    return found if isinstance(found, Job) and found.uid == staged.uid else None


def begin(site: Site, person: Person, staged: StagedImport, *, writing: bool) -> Job:
    """Start a job for a person's staged files; one that goes on is left to go on."""
    with site.jobs_lock:
        known = job_of(site, staged)
        if known is not None and (not known.over or known.writing == writing):
            return known
        job = Job(staged.uid, writing, of=0)
        site.jobs[person.id] = job
    told, name = (site, person, job), f"import-{person.id}"
    threading.Thread(target=_run, args=told, name=name, daemon=True).start()
    return job


def _run(site: Site, person: Person, job: Job) -> None:
    try:
        if job.writing:
            _write(site, person, job)
        else:
            with read_session(site.engine) as session:
                _take(site, session, person, job)
    except _NotTaken:
        job.fault = CHANGED
    except Exception:
        log.exception("an import failed")
        job.fault = FAILED
    finally:
        job.over = True


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
