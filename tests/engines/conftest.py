"""Firefox and WebKit, each started once; a signed-in page on a site of its own.

They run when asked for, by `python -m tests.engines`.
"""

import os
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
from fastapi import FastAPI

from app.storage import people
from app.storage.database import write_session
from tests.conftest import person_by
from tests.engines.page import Overheard, Page
from tests.engines.wire import ASKED, ENGINES, Engine, missing
from tests.journeys.conftest import Live, live, today

__all__ = ["live", "today"]


@pytest.fixture(scope="session", params=sorted(ENGINES))
def engine(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Engine]:
    if ASKED not in os.environ:
        pytest.skip("run by `python -m tests.engines`")
    if reason := missing(request.param):
        pytest.skip(reason)
    engine = ENGINES[request.param](tmp_path_factory.mktemp(request.param))
    yield engine
    engine.close()


@pytest.fixture
def said(app: FastAPI) -> list[str]:
    """What the pages complain of, from before the first request on."""
    said: list[str] = []
    app.add_middleware(Overheard, said=said)
    return said


@pytest.fixture
def stranger(engine: Engine, said: list[str], live: Live) -> Iterator[Page]:
    """Nobody's page; at the end nothing may have complained."""
    page = Page(engine, live, said, Path(os.environ[ASKED]))
    page.goto("/sign-in")
    engine.ask("no_cookies")
    yield page
    page.at_rest()  # what is cut off by leaving complains
    page.goto("/static/icons/tape.svg")  # nothing of it runs on
    assert page.complaints() == []


@pytest.fixture
def page(stranger: Page, today: datetime) -> Page:
    """The therapist's."""
    sign_in(stranger, "therapist", today)
    return stranger


def sign_in(page: Page, handle: str, now: datetime) -> None:
    """Without the cost of hashing."""
    with write_session(page.live.app.state.site.engine) as session:
        token = people.start_sign_in(session, person_by(session, handle), now)
    cookie = {"name": "tapeline", "value": token, "path": "/", "httpOnly": True}
    page.engine.ask("cookie", cookie=cookie)
