"""create_app(settings): one site put together from its parts, and nothing else."""

import asyncio
import gc
import logging
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path

import jinja2
from anyio import to_thread
from fastapi import APIRouter, Depends, FastAPI
from sqlmodel import Session
from starlette.concurrency import run_in_threadpool
from starlette.middleware.gzip import GZipMiddleware

from app.catalogue.load import catalogue
from app.clinical.days import full_day
from app.commands.backup_clock import BackupClock
from app.lan.place import Place
from app.logs import start_log
from app.resources import folder
from app.settings import Settings, SettingsProblem
from app.storage.database import make_engine, migrate
from app.version import VERSION
from app.web import (
    account,
    activities,
    activity_tools,
    agreement_view,
    audit,
    bedside,
    caseload,
    caseload_files,
    clocks,
    competence,
    competence_rules,
    cover,
    deficit_pages,
    desk,
    desk_table,
    doses,
    editing,
    episode,
    episode_picture,
    errors,
    exercises,
    exports,
    fhir_export,
    find,
    goal_builder,
    goal_scales,
    goals,
    hand_off,
    health,
    held,
    help,
    helping,
    home_sheets,
    import_pages,
    joining,
    kit,
    lifecycle,
    measures,
    notes,
    pack,
    pairing,
    pathways,
    patients,
    people,
    picture,
    plans,
    practice,
    precautions,
    profile,
    responsible,
    review,
    rooms,
    rounds,
    safety,
    services,
    sets,
    sign_in,
    sources,
    teaching,
    team_checks,
    treat,
    trust,
    visits,
)
from app.web.assets import Assets
from app.web.deps import Site, signed_in
from app.web.import_jobs import wipe_yesterdays
from app.web.owing import keep_owed
from app.web.security import Guard
from app.web.shared import shared_by

log = logging.getLogger("tapeline.problems")
WIPE_EVERY_S = 600
#: Of the file, by each connection: there are many, and their rows few.
CACHE_KIB = 256
#: Answer without sign-in. Every other router asks for one, whatever its routes say.
PUBLIC: Sequence[APIRouter] = (
    health.router,
    sign_in.public,
    joining.public,
    pairing.public,
    bedside.public,
    trust.public,
)
SIGNED_IN: Sequence[APIRouter] = (
    sign_in.router,
    account.router,
    pairing.router,
    activity_tools.router,
    # Before /practice/{case}/{trial}, which takes whatever stands there.
    competence.router,
    competence_rules.router,
    agreement_view.router,
    team_checks.router,
    people.router,
    services.router,
    caseload.router,
    pack.router,
    cover.router,
    clocks.router,
    review.router,
    desk.router,
    desk_table.router,
    find.router,
    patients.router,
    editing.router,
    episode.router,
    episode_picture.router,
    precautions.router,
    profile.router,
    responsible.router,
    lifecycle.router,
    # Before /visits/{id}/{part}, which takes whatever stands there.
    teaching.router,
    hand_off.router,
    notes.router,
    visits.router,
    picture.router,
    measures.router,
    goals.router,
    goal_builder.router,
    goal_scales.router,
    sources.router,
    treat.router,
    plans.router,
    kit.router,
    pathways.router,
    rooms.router,
    deficit_pages.router,
    rounds.router,
    helping.router,
    safety.router,
    sets.router,
    held.router,
    help.router,
    home_sheets.router,
    exercises.router,
    audit.router,
    caseload_files.router,
    import_pages.router,
    fhir_export.router,
    exports.router,
    bedside.router,
    # Last of its kind: /activities/{id} takes whatever stands there.
    activities.router,
    doses.router,
    # Last of its kind: /practice/{case}/{trial} takes whatever stands there.
    practice.router,
)


def create_app(settings: Settings, lan: Place | None = None) -> FastAPI:
    """A site ready to serve: its folder, log, catalogue and database are in order."""
    _make_data_dir(settings)
    start_log(settings.data_dir, shared=settings.workers > 1)
    assets = _shipped_assets(folder("static"))
    app = FastAPI(
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        redirect_slashes=False,
        lifespan=_lifespan,
        routes=_pages().routes,
    )
    app.state.site = _make_site(settings, assets)
    app.state.site.lan = lan
    app.state.assets = assets
    app.mount("/static", assets)
    errors.install(app)
    app.add_middleware(GZipMiddleware, minimum_size=1024, compresslevel=5)
    # Added last, so outermost: its headers stand on everything, errors too.
    app.add_middleware(Guard, settings=settings, answer=errors.answer, lan=lan)
    return app


def _make_data_dir(settings: Settings) -> None:
    try:
        settings.data_dir.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as fault:
        raise SettingsProblem(
            f"TAPELINE_DATA_DIR={str(settings.data_dir)!r} cannot be used: "
            f"{fault.strerror}."
        ) from fault


def _make_site(settings: Settings, assets: Assets) -> Site:
    engine = make_engine(settings.database, settings.connections, CACHE_KIB)
    migrate(engine, settings.data_dir / "backups")

    def after_change(session: Session, today: date) -> None:
        keep_owed(session, site.catalogue, settings.clocks, today)

    site = Site(
        settings=settings,
        engine=engine,
        catalogue=catalogue(),
        after_change=after_change,
        templates=make_templates(assets),
        version=VERSION,
        clock=lambda: datetime.now(UTC),
        zone=settings.zone,
        shared=shared_by(settings),
    )
    return site


@cache
def _pages() -> APIRouter:
    """Every route; what each depends on is worked out at the first request, once."""
    pages = APIRouter()
    for router in PUBLIC:
        pages.include_router(router)
    for router in SIGNED_IN:
        pages.include_router(router, dependencies=[Depends(signed_in)])
    return pages


@cache
def _shipped_assets(static: Path) -> Assets:
    """Joined and hashed once, also where one program makes many sites: the tests do."""
    return Assets(static)


@cache
def make_templates(assets: Assets) -> jinja2.Environment:
    """Escaping always on; a name a template misspells is a fault, never a blank."""
    templates = jinja2.Environment(
        loader=jinja2.FileSystemLoader(folder("templates")),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    templates.globals |= {"asset": assets.url, "pair_minutes": pairing.MINUTES}
    templates.filters["day"] = full_day
    return templates


async def _wipe(site: Site) -> None:
    """Files sent on an earlier day and never imported go soon after midnight."""
    while True:
        try:
            await run_in_threadpool(wipe_yesterdays, site)
        except Exception as fault:
            # A full disk or a database that is away comes right again: so does this.
            log.error("files sent earlier were not wiped: %s", type(fault).__name__)
        await asyncio.sleep(WIPE_EVERY_S)


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    limiter = to_thread.current_default_thread_limiter()
    limiter.total_tokens = min(limiter.total_tokens, app.state.site.settings.threads)
    wiping = asyncio.create_task(_wipe(app.state.site))
    backups = BackupClock(app.state.site)
    backups.start()
    # What lasts as long as the site, the catalogue above all, is not searched for
    # garbage again and again: a page waited up to 0.3 s for that.
    gc.freeze()
    yield
    wiping.cancel()
    await run_in_threadpool(backups.stop)
    app.state.site.engine.dispose()
