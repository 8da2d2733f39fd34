"""A caseload out as two CSV files, for supervisors. In: `import_pages`."""

from collections.abc import Iterator

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from sqlmodel import Session

from app.access import may
from app.catalogue.load import Catalogue
from app.exports.caseload_csv import patients_csv, scores_csv
from app.storage import audit
from app.storage.caseload_rows import labelled
from app.storage.database import read_session
from app.storage.errors import NotAllowed
from app.storage.people import Person, actor
from app.web.archive import archived, sent
from app.web.deps import (
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
from app.web.reauth import PassphraseFault
from app.web.released import held, open_ones

router = APIRouter()


def _may(me: Person, deed: str) -> None:
    if not may(actor(me), deed, None):
        raise NotAllowed


@router.get("/caseload/export")
def ask(request: Request, me: SignedIn, session: ReadSession) -> HTMLResponse:
    _may(me, "export_caseload")
    return _ask(request, session, me, {})


def _ask(
    request: Request, session: Session, me: Person, errors: dict[str, str]
) -> HTMLResponse:
    found = held(session, open_ones(demo=me.is_demo))
    return page(
        request,
        "files/export.html",
        status=422 if errors else 200,
        open_ones=found,
        left=None,
        large=found.large,
        errors=errors,
    )


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
        return _ask(request, session, me, {"passphrase": fault})
    audit.deed(session, "exported_caseload", me, by=me.id, now=now)
    name = f"tapeline-caseload-{now.astimezone(zone):%Y-%m-%d}"
    return sent(_archive(site, demo=me.is_demo), name)


def _archive(site: Site, *, demo: bool) -> Iterator[bytes]:
    """The bytes of the archive, both files told of one moment."""
    with read_session(site.engine) as session:
        yield from archived(_both(session, site.catalogue, demo=demo))


def _both(
    session: Session, shelf: Catalogue, *, demo: bool
) -> Iterator[tuple[str, Iterator[str]]]:
    named = labelled(session, demo=demo)
    yield "patients.csv", patients_csv(exported_patients(session, named, demo=demo))
    yield "scores.csv", scores_csv(exported_scores(session, shelf, named, demo=demo))
