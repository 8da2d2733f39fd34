"""A caseload in and out as two CSV files, for supervisors.

Importing is looked at first: the files are read, every row says what it would do, and
only then are they sent back to be written, all rows or none.
"""

import base64
import binascii
import io
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Annotated, BinaryIO, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import (
    HTMLResponse,
    RedirectResponse,
    Response,
    StreamingResponse,
)
from sqlmodel import Session
from starlette.datastructures import UploadFile

from app.access import may
from app.catalogue.load import Catalogue
from app.exports import caseload_columns
from app.exports.caseload_csv import patients_csv, scores_csv
from app.storage import audit
from app.storage.caseload_rows import labelled
from app.storage.database import read_session
from app.storage.errors import NotAllowed
from app.storage.people import Person, actor
from app.web.deps import (
    Form,
    FormDep,
    FormProblem,
    Now,
    ReadSession,
    SignedIn,
    Site,
    SiteDep,
    WriteSession,
    Zone,
    page,
)
from app.web.exporting import exported_patients, exported_scores
from app.web.importing import CaseloadFile, Import, Line, take_in
from app.web.reauth import PassphraseFault

router = APIRouter()
#: Sent back in letters it grows by a third, and must still fit into one request.
MOST_BYTES: Final = 150 * 1024
#: Written in one go while others wait to save, so it has to be over in seconds.
MOST_ROWS: Final = 300
MOST_FILES: Final = 2
SHOWN_LINES: Final = 200


@dataclass(frozen=True, slots=True)
class Sent:
    """A file as it came, and as it is sent back in the form that imports it."""

    name: str
    content: bytes

    @property
    def letters(self) -> str:
        return base64.b64encode(self.content).decode()

    @property
    def as_file(self) -> CaseloadFile:
        return CaseloadFile(self.name, partial(_opened, self.content))


def _opened(content: bytes) -> BinaryIO:
    return io.BytesIO(content)


async def _files(request: Request) -> tuple[Sent, ...]:
    """The files chosen on the page. Asked before a form that takes none."""
    async with request.form(max_files=MOST_FILES, max_fields=10) as form:
        chosen = [v for _, v in form.multi_items() if isinstance(v, UploadFile)]
        return tuple(
            [Sent(f.filename[:80], await f.read()) for f in chosen if f.filename]
        )


Files = Annotated[tuple[Sent, ...], Depends(_files)]


def _may(me: Person, deed: str) -> None:
    if not may(actor(me), deed, None):
        raise NotAllowed


@router.get("/caseload/import")
def choose(request: Request, me: SignedIn) -> HTMLResponse:
    _may(me, "import_caseload")
    added = request.query_params.get("added", "")
    done = int(added) if added.isascii() and added.isdigit() and len(added) < 5 else -1
    return _choose_page(request, done=done)


def _choose_page(request: Request, wrong: str = "", *, done: int = -1) -> HTMLResponse:
    return page(
        request,
        "files/import.html",
        status=422 if wrong else 200,
        wrong=wrong,
        done=done,
        most_rows=MOST_ROWS,
        most_kb=MOST_BYTES // 1024,
        columns=(
            ("patients.csv", caseload_columns.PATIENTS),
            ("scores.csv", caseload_columns.SCORES),
        ),
    )


@router.post("/caseload/import/check")
def look(
    request: Request,
    me: SignedIn,
    files: Files,
    session: ReadSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
) -> HTMLResponse:
    """What every row would do; nothing is written."""
    _may(me, "import_caseload")
    wrong = _too_much(files)
    if wrong:
        return _choose_page(request, wrong)
    doing = Import(session, me, site.catalogue, now, zone)
    lines = list(take_in(doing, [sent.as_file for sent in files]))
    return _report(request, files, lines)


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


def _report(
    request: Request, files: Sequence[Sent], lines: Sequence[Line]
) -> HTMLResponse:
    wrong = [(line.file, problem) for line in lines for problem in line.problems]
    return page(
        request,
        "files/report.html",
        status=422 if wrong else 200,
        files=files,
        wrong=wrong,
        lines=[line for line in lines if not line.problems],
        adds=sum(line.adds for line in lines),
        shown=SHOWN_LINES,
    )


@router.post("/caseload/import")
def bring_in(
    request: Request,
    form: FormDep,
    me: SignedIn,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
) -> Response:
    """All rows or none. The same files again find everything here already."""
    _may(me, "import_caseload")
    sent = _sent_back(form)
    wrong = _too_much(sent)
    if wrong:
        return _choose_page(request, wrong)
    files = [each.as_file for each in sent]
    lines = list(take_in(Import(session, me, site.catalogue, now, zone), files))
    if any(line.problems for line in lines):
        return _report(request, sent, lines)
    doing = Import(session, me, site.catalogue, now, zone, write=True)
    done = list(take_in(doing, files))
    if any(line.problems for line in done):
        raise FormProblem("The files do not fit together. Nothing was imported.")
    return RedirectResponse(
        f"/caseload/import?added={sum(line.adds for line in done)}", 303
    )


def _sent_back(form: Form) -> list[Sent]:
    names, contents = form.every("name"), form.every("content")
    try:
        return [
            Sent(name[:80], base64.b64decode(content, validate=True))
            for name, content in zip(names, contents, strict=True)
        ]
    except (ValueError, binascii.Error) as fault:
        raise FormProblem("The files did not arrive whole. Choose them again.") from (
            fault
        )


@router.get("/caseload/export")
def ask(request: Request, me: SignedIn) -> HTMLResponse:
    _may(me, "export_caseload")
    return page(request, "files/export.html", errors={})


@router.post("/caseload/export")
def take_out(
    request: Request,
    me: SignedIn,
    fault: PassphraseFault,
    session: WriteSession,
    site: SiteDep,
    now: Now,
    zone: Zone,
) -> Response:
    """One archive with both files, sent as it is made: a large site has no wait."""
    _may(me, "export_caseload")
    if fault:
        errors = {"passphrase": fault}
        return page(request, "files/export.html", status=422, errors=errors)
    audit.deed(session, "exported_caseload", me, by=me.id, now=now)
    name = f"tapeline-caseload-{now.astimezone(zone):%Y-%m-%d}.zip"
    return StreamingResponse(
        _archive(site, demo=me.is_demo),
        media_type="application/zip",
        headers={"content-disposition": f'attachment; filename="{name}"'},
    )


def _archive(site: Site, *, demo: bool) -> Iterator[bytes]:
    """The bytes of the archive, both files told of one moment."""
    sink = _Sink()
    with read_session(site.engine) as session:
        with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, lines in _both(session, site.catalogue, demo=demo):
                with archive.open(name, "w", force_zip64=True) as entry:
                    for line in lines:
                        entry.write(line.encode())
                        yield from sink.taken()
        yield from sink.taken()


def _both(
    session: Session, shelf: Catalogue, *, demo: bool
) -> Iterator[tuple[str, Iterator[str]]]:
    named = labelled(session, demo=demo)
    yield "patients.csv", patients_csv(exported_patients(session, named, demo=demo))
    yield "scores.csv", scores_csv(exported_scores(session, shelf, named, demo=demo))


class _Sink(io.RawIOBase):
    """Where the archive is written to, a little at a time."""

    def __init__(self) -> None:
        self.held: list[bytes] = []

    def writable(self) -> bool:
        return True

    def write(self, part: object) -> int:
        made = bytes(part)  # type: ignore[call-overload]  # any buffer
        self.held.append(made)
        return len(made)

    def taken(self) -> Iterator[bytes]:
        held, self.held = self.held, []
        if held:
            yield b"".join(held)
