"""`tapeline serve`: one site in the browsers of this machine, or of a network.

The port is taken before anything is made, and is being listened on when the address is
printed: who opens it at once waits a moment and is answered.
"""

import argparse
import ctypes
import os
import signal
import socket
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any

import uvicorn
from fastapi import FastAPI
from sqlalchemy import make_url

from app.commands import lan, service_files, workers
from app.commands.opening import (
    add_data_option,
    file_of_site,
    refuse_demo_folder,
    settings_from,
    told_plainly,
)
from app.commands.pairing import pairing_lines
from app.commands.refused import Refused
from app.commands.serving import SERVING
from app.commands.shares import share_of
from app.main import create_app
from app.settings import Settings
from app.storage import people
from app.storage.database import read_session, write_session
from app.storage.links import make_link
from app.storage.owing import basis_of
from app.storage.site_file import forget_unfinished
from app.web.backup_state import start_words
from app.web.deps import Site
from app.web.owing import BATCH, basis, rebuild_owed
from app.web.rebuilding import rebuild_scores
from app.web.shared import forget_all

#: `M_ARENA_MAX` of glibc's malloc.h.
M_ARENA_MAX = -8
EVERYWHERE = {"0.0.0.0": "127.0.0.1", "::": "::1"}


def add(commands: Any) -> None:
    serve = commands.add_parser(
        "serve",
        help="run the real site",
        epilog="example:\n  tapeline serve --data ~/tapeline\n"
        "  tapeline serve --data ~/tapeline --lan",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    address_options(serve)
    serve.add_argument(
        "--no-qr", action="store_true", help="print no picture for a phone's camera"
    )
    add_data_option(serve, "the site's folder; default: TAPELINE_DATA_DIR or your own")
    lan.add_options(serve)
    service_files.add_option(serve)
    workers.add_option(serve)
    serve.set_defaults(run=run_serve)


def address_options(p: argparse.ArgumentParser) -> None:
    p.add_argument("--port", metavar="N", type=int, help="default 8765; 0 takes any")
    p.add_argument("--host", metavar="NAME", help="default 127.0.0.1: only here")


def run_serve(given: argparse.Namespace) -> int:
    settings = settings_from(given, demo=False)
    lan.check(settings, given)
    if given.print_service is not None:
        print(service_files.service_file(given.print_service, settings, given), end="")
        return 0
    refuse_demo_folder(settings)
    workers.check(settings, lan=given.lan)
    warn_of_share(settings)
    with until_stopped(), _doors(settings, given) as (door, network):
        with told_plainly():
            forget_all(settings)
            _forget_unfinished(settings)
            app = create_app(settings, network.keeper.place if network else None)
        print(f"Tapeline: {address_of(settings, door)}  (Ctrl-C stops it)", flush=True)
        if network:
            lan.say(network)
        _read_again(app.state.site)
        _work_out_what_is_owed(app.state.site)
        place = app.state.site.lan
        opens = _say_how_to_begin(app.state.site, address_of(settings, door))
        for line in pairing_lines(settings, opens, place, qr=not given.no_qr):
            print(line, flush=True)
        print(start_words(settings), flush=True)
        if settings.workers > 1:
            app.state.site.engine.dispose()
            workers.serve(settings, door, **SERVING)
        else:
            run_server(app, door, network)
    return 0


def _forget_unfinished(settings: Settings) -> None:
    """What a restore left that was killed is a site in clear: it does not stay."""
    if file_of_site(settings) is not None:
        forget_unfinished(make_url(settings.database))


def warn_of_share(settings: Settings) -> None:
    """Of the database's own folder; a PostgreSQL server minds its own disk."""
    file = file_of_site(settings)
    if file is not None and (kind := share_of(file.parent)):
        how = "in TAPELINE_DATABASE_URL" if settings.database_url else "with --data"
        print(
            f"Warning: {file.parent} lies on a network share ({kind}), where the "
            "database cannot rely on its locks and may lose what is saved or be "
            f"damaged: choose a folder on a disk of this machine {how}.",
            file=sys.stderr,
            flush=True,
        )


@contextmanager
def _doors(
    settings: Settings, given: argparse.Namespace
) -> Iterator[tuple[socket.socket, lan.Lan | None]]:
    """The plain door, and with --lan the secure one."""
    if given.lan:
        with lan.opened(settings, new=given.new_authority) as both:
            yield both
        return
    with listening(settings) as door:
        yield door, None


def _read_again(site: Site) -> None:
    """Scores read from an older catalogue are read anew, with progress."""
    rebuild_scores(
        site.engine,
        site.catalogue,
        now=site.clock(),
        progress=lambda done, of: print(
            f"New catalogue edition: read {done} of {of} scores again.", flush=True
        ),
    )


def _work_out_what_is_owed(site: Site) -> None:
    """For a site whose rows were made with other settings, or never.

    A desk would otherwise show what an interval that was changed since had said.
    """
    shelf, clocks = site.catalogue, site.settings.clocks
    with read_session(site.engine) as session:
        if basis_of(session) == basis(shelf, clocks):
            return
    today = site.clock().astimezone(site.zone).date()
    rebuild_owed(
        site.engine,
        shelf,
        clocks,
        today,
        lambda done, of: (
            print(
                f"Other settings: worked out what is owed to {done} of {of} patients.",
                flush=True,
            )
            if of > BATCH
            else None
        ),
    )


def _say_how_to_begin(site: Site, address: str) -> str:
    """A link that makes the first supervisor; the one of an earlier start ends.

    Returns what to open first: that link, or else the site itself.
    """
    with read_session(site.engine) as session:
        if people.any_people(session):
            return address
    with write_session(site.engine) as session:
        token = make_link(session, "setup", now=site.clock())
    print(
        "Nobody can sign in yet. Open this once, within a day, to become the first "
        f"supervisor:\n  {address}set-up/{token}",
        flush=True,
    )
    return f"{address}set-up/{token}"


@contextmanager
def listening(settings: Settings) -> Iterator[socket.socket]:
    """The site's port, taken and listened on; Refused with a way out when it cannot."""
    host, port = settings.host, settings.port
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        door = socket.create_server((host, port), family=family, backlog=128)
    except OSError as fault:
        raise Refused(lan.cannot_listen(host, port, "--port", fault)) from fault
    with door:
        yield door


def address_of(settings: Settings, door: socket.socket) -> str:
    host = EVERYWHERE.get(settings.host, settings.host)
    shown = f"[{host}]" if ":" in host else host
    return f"http://{shown}:{door.getsockname()[1]}/"


def run_server(
    app: FastAPI, door: socket.socket, network: lan.Lan | None = None
) -> None:
    server = (
        network.server(SERVING, app)
        if network
        else uvicorn.Server(uvicorn.Config(app, **SERVING))
    )
    _share_what_is_free()
    server.run(sockets=[door])


def _share_what_is_free() -> None:
    """Threads put memory they are done with where the others look for it.

    On Linux with glibc each would keep it for itself, some 10 MB in all.
    """
    tell = getattr(ctypes.CDLL(None), "mallopt", None) if os.name == "posix" else None
    if tell is not None:
        tell(M_ARENA_MAX, 1)


@contextmanager
def until_stopped() -> Iterator[None]:
    """Ctrl-C and a polite kill both end the site in order, folders tidied up."""
    before = signal.signal(signal.SIGTERM, _stop)
    try:
        yield
    except KeyboardInterrupt:
        print("Stopped.", flush=True)
    finally:
        signal.signal(signal.SIGTERM, before)


def _stop(_signal: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt
