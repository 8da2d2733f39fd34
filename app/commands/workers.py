"""`tapeline serve --workers N`: one site in several processes, on a PostgreSQL server.

The first process prepares the site, listens, and starts the others, which answer; one
that dies is replaced. A SQLite file stays with one process, which knows of everybody
who writes and lets them wait; several would only refuse each other.
"""

import os
import signal
import threading
import time
from collections.abc import Callable
from functools import partial
from socket import socket
from typing import Any, Final

import uvicorn
from fastapi import FastAPI
from uvicorn.supervisors import Multiprocess

from app.commands.refused import Refused
from app.main import create_app
from app.settings import Settings

LOOK_EVERY_S: Final = 1.0
#: A process that has not answered its first one for so long is replaced. It cannot
#: answer while it starts, for which uvicorn's own five seconds are short.
LONGEST_START_S: Final = 120


def add_option(p: Any) -> None:
    p.add_argument(
        "--workers",
        metavar="N",
        type=int,
        help="processes that answer, 1 to 8; more than 1 needs a PostgreSQL database",
    )


def check(settings: Settings, *, lan: bool) -> None:
    """Refuse several processes on a database that is a file, or with a door of TLS."""
    if settings.workers > 1 and lan:
        raise Refused(
            "--lan serves from one process: leave --workers out, or let a server in "
            "front speak TLS (README, When one laptop is not enough)"
        )
    if settings.workers > 1 and not settings.database_url.startswith("postgresql"):
        raise Refused(
            "several workers need a PostgreSQL server: set TAPELINE_DATABASE_URL, or "
            "leave --workers and TAPELINE_WORKERS out"
        )


def serve(settings: Settings, door: socket, **options: Any) -> None:
    """Answer from several processes until a stop; each makes the site anew."""
    factory: Callable[[], FastAPI] = partial(_worker, settings, os.getpid())
    config = uvicorn.Config(
        factory,  # called in each process
        factory=True,
        workers=settings.workers,
        timeout_worker_healthcheck=LONGEST_START_S,
        **options,
    )
    Multiprocess(config, sockets=[door]).run()


def _worker(settings: Settings, first: int) -> FastAPI:
    threading.Thread(target=_end_with, args=(first,), daemon=True).start()
    return create_app(settings)


def _end_with(first: int) -> None:
    """Where the first process was killed nobody else would ever stop this one."""
    while os.getppid() == first:
        time.sleep(LOOK_EVERY_S)
    os.kill(os.getpid(), signal.SIGTERM)
