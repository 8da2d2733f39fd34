"""Taking in a caseload by page: files are kept for their sender, looked at, written.

Reading and writing go on beside the requests; the page says how far they are.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlmodel import Session
from starlette.datastructures import UploadFile

from app.access import may
from app.exports import caseload_columns
from app.storage.errors import NotAllowed, NotFound
from app.storage.holders import possible_holders
from app.storage.people import Person, actor
from app.storage.staff import managed
from app.storage.staged import (
    StagedImport,
    forget_staged,
    forget_yesterdays,
    stage,
    staged_of,
)
from app.typed import as_typed
from app.web import import_jobs
from app.web.deps import (
    Form,
    FormDep,
    Now,
    ReadSession,
    SignedIn,
    SiteDep,
    WriteSession,
    Zone,
    page,
)

router = APIRouter()
#: What the guard lets through for this one address is a little more: form and names.
MOST_BYTES: Final = 1024 * 1024
#: Written in one go while others wait to save: see the times in DEVELOPERS.md.
MOST_ROWS: Final = 3000
MOST_FILES: Final = 2
#: Measured on two busy cores: 1,000 rows were written and read in 11 seconds.
MS_EACH: Final = 11
SHOWN_LINES: Final = 200
PROGRESS: Final = "/caseload/import/progress"


@dataclass(frozen=True, slots=True)
class Sent:
    """A file as it came."""

    name: str
    content: bytes


async def _files(request: Request) -> tuple[Sent, ...]:
    """The files chosen on the page. Asked before a form that takes none."""
    async with request.form(max_files=MOST_FILES, max_fields=10) as form:
        chosen = [v for _, v in form.multi_items() if isinstance(v, UploadFile)]
        return tuple(
            [
                Sent(as_typed(f.filename)[:80], await f.read())
                for f in chosen
                if f.filename
            ]
        )


Files = Annotated[tuple[Sent, ...], Depends(_files)]


def _may(me: Person) -> None:
    if not may(actor(me), "import_caseload", None):
        raise NotAllowed


@router.get("/caseload/import")
def choose(request: Request, me: SignedIn, session: ReadSession) -> HTMLResponse:
    _may(me)
    added = request.query_params.get("added", "")
    done = int(added) if added.isascii() and added.isdigit() and len(added) < 6 else -1
    return _choose_page(request, session, me, done=done)


def _choose_page(
    request: Request, session: Session, me: Person, wrong: str = "", *, done: int = -1
) -> HTMLResponse:
    return page(
        request,
        "files/import.html",
        status=422 if wrong else 200,
        wrong=wrong,
        done=done,
        waiting=staged_of(session, me) is not None,
        holders=possible_holders(session, me),
        most_rows=MOST_ROWS,
        most_kb=MOST_BYTES // 1024,
        columns=(
            ("patients.csv", caseload_columns.PATIENTS),
            ("scores.csv", caseload_columns.SCORES),
            ("trials.csv besides", caseload_columns.TRIALS),
        ),
    )


@router.post("/caseload/import/check", response_model=None)
def look(
    request: Request,
    me: SignedIn,
    files: Files,
    form: FormDep,
    session: WriteSession,
    now: Now,
    zone: Zone,
) -> Response:
    """Keep the files; what every row would do is read beside this request."""
    _may(me)
    wrong = _too_much(files)
    if wrong:
        return _choose_page(request, session, me, wrong)
    forget_yesterdays(session, now.astimezone(zone).date(), zone)
    kept = [(sent.name, sent.content) for sent in files]
    stage(session, me, kept, assign_to=_holder(session, me, form), now=now)
    return RedirectResponse(PROGRESS, 303)


def _holder(session: Session, me: Person, form: Form) -> int:
    """Who is to look after whom the files add; the importer when nobody is named."""
    typed = form.text("assign_to") or str(me.id)
    if not (typed.isascii() and typed.isdigit() and len(typed) < 10):
        raise NotFound
    person = managed(session, me, int(typed))
    if person.id not in {p.id for p in possible_holders(session, me)}:
        raise NotFound
    return person.id


def _too_much(files: Sequence[Sent]) -> str:
    if not files:
        return "Choose patients.csv, scores.csv, or both."
    if sum(len(sent.content) for sent in files) > MOST_BYTES:
        return (
            f"More than {MOST_BYTES // 1024} kilobytes. Split the files, or use "
            "tapeline import where the site runs: it takes files of any length."
        )
    # Blank lines count too: this is about time, not about rows.
    if sum(sent.content.count(b"\n") for sent in files) > MOST_ROWS + MOST_FILES:
        return (
            f"More than {MOST_ROWS} rows. Split the files, or use tapeline import "
            "where the site runs: it takes files of any length."
        )
    return ""


@router.get(PROGRESS, response_model=None)
def progress(
    request: Request, me: SignedIn, session: ReadSession, site: SiteDep
) -> Response:
    """How far it is; once it is over, what came of it."""
    _may(me)
    staged, job = staged_of(session, me), import_jobs.last_job(site, me.id)
    if staged is not None and (job is None or job.uid != staged.uid):
        job = import_jobs.begin(site, me, staged, writing=False)
    job = job and replace(job)  # asked once: it may be over by the next line
    if job is None or _is_past(job, staged):
        return _leave(request, "/caseload/import")
    if job.written:
        return _leave(request, f"/caseload/import?added={job.added}")
    return page(
        request,
        "files/progress.html",
        "files/_progress.html",
        job=job,
        over=job.over,
        shown=SHOWN_LINES,
        wrong=[(line.file, p) for line in job.lines for p in line.problems]
        if job.over
        else [],
        seconds=max(1, len(job.lines) * MS_EACH // 1000),
        adds=sum(line.adds for line in job.lines) if job.over else 0,
    )


def _is_past(job: import_jobs.Job, staged: StagedImport | None) -> bool:
    """Its files are gone, and not because it wrote them or is about to have done so."""
    return staged is None and not job.written and (job.over or not job.writing)


def _leave(request: Request, to: str) -> Response:
    """A script follows a redirect unseen, so it is told where to go."""
    if request.headers.get("hx-request") == "true":
        return Response(headers={"hx-redirect": to})
    return RedirectResponse(to, 303)


@router.post("/caseload/import")
def bring_in(me: SignedIn, session: ReadSession, site: SiteDep) -> RedirectResponse:
    """All rows or none, in one transaction; a second tap finds the first at work."""
    _may(me)
    staged = staged_of(session, me)
    if staged is not None:
        job = import_jobs.job_of(site, staged)
        if job is not None and job.over and not any(x.problems for x in job.lines):
            import_jobs.begin(site, me, staged, writing=True)
    return RedirectResponse(PROGRESS, 303)


@router.post("/caseload/import/discard")
def discard(me: SignedIn, session: WriteSession, site: SiteDep) -> RedirectResponse:
    """Wipe what was sent."""
    _may(me)
    forget_staged(session, me)
    import_jobs.forget_job(site, me.id)
    return RedirectResponse("/caseload/import", 303)
