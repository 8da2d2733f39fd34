"""What the pages of one patient ask, and how much of it they put together anew."""

from typing import Any

import pytest
from sqlalchemy.orm import ORMExecuteState, Session
from sqlmodel import select
from starlette.testclient import TestClient

from app.storage.activity_sets import SetBody
from app.storage.database import write_session
from app.storage.episodes import Episode
from app.storage.trials import TrialBody
from app.web.deps import Site
from tests.asked import heard, queries
from tests.conftest import person_by
from tests.make import (
    make_goal,
    make_home_sheet,
    make_round,
    make_set,
    make_trial,
    make_visit,
)

#: Each with the most SELECTs, and the most statements of its own at a second asking:
#: rows fetched by key, and questions that read otherwise from one time to the next.
PAGES = {
    "/patients/{patient}": (23, 0),
    "/patients/{patient}/episodes/{episode}/picture": (19, 4),
    "/patients/{patient}/treat": (23, 2),
    "/rounds/{round}": (16, 4),
    "/visits/{visit}": (38, 8),
    "/visits/{visit}/notes/visit": (43, 4),
    "/visits/{visit}/hand-off/nursing": (25, 5),
}


@pytest.fixture
def told(site: Site) -> dict[str, int]:
    """A visit in which a test and an activity were done."""
    with write_session(site.engine) as session:
        me = person_by(session, "therapist")
        episode = session.exec(select(Episode)).one()
        make_goal(session, me, episode)
        make_home_sheet(session, me, episode, "S01")
        visit = make_visit(session, me, episode, now=site.clock(), zone=site.zone)
        round = make_round(session, me, visit)
        for ms in (14_300, 13_900):
            make_trial(session, me, round, TrialBody(raw_ms=ms), now=site.clock())
        make_set(session, me, visit, SetBody(outcome="stopped"))
        return {"patient": episode.patient_id, "episode": episode.id, "visit": visit.id,
                "round": round.id}  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
def test_page_asks_little_and_most_of_it_by_prepared_questions(
    path: str, therapist: TestClient, site: Site, told: dict[str, int]
) -> None:
    most, most_new = PAGES[path]
    address = path.format(**told)
    therapist.get(address)
    put: list[list[Any]] = [[], []]
    for asked in put:

        def hear(state: ORMExecuteState, asked: list[Any] = asked) -> None:
            asked.append(state.statement)  # held, so that no other takes its place

        with queries(site.engine) as reached, heard(Session, "do_orm_execute", hear):
            assert therapist.get(address).status_code == 200
    known = {id(statement) for statement in put[0]}
    new = [statement for statement in put[1] if id(statement) not in known]

    assert 2 <= len(reached) <= most, len(reached)
    assert len(new) <= most_new, [str(statement)[-160:] for statement in new]
