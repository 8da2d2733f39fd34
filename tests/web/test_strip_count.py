"""Where the strip is when a room is left: what may be answered, and who sees it."""

from datetime import datetime
from typing import Any

import pytest
from sqlmodel import Session, select
from starlette.testclient import TestClient

from app.storage.database import read_session, write_session
from app.storage.episodes import Episode, Visit
from app.storage.home_sheets import HomeSheet
from app.storage.left_visits import LeftSeen
from app.storage.visits import ExitItem
from app.web.deps import Site
from tests.conftest import Clock, found, person_by
from tests.make import NOW, make_precaution, new_uid
from tests.sets import make_set
from tests.web.test_visits import begin, put, rows

REST = {"all": "done", "exit-hand_off": "family"}


@pytest.fixture
def visit(therapist: TestClient, patient_id: int) -> str:
    return begin(therapist, patient_id)


def changed(site: Site, tag: str = "", setting: str = "") -> None:
    with write_session(site.engine) as session:
        episode = session.exec(select(Episode)).one()
        if tag:
            make_precaution(session, person_by(session, "therapist"), episode, tag)
        if setting:
            episode.setting = setting
            session.add(episode)


def a_set(site: Site) -> None:
    with write_session(site.engine) as session:
        (kept,) = session.exec(select(Visit)).all()
        make_set(session, person_by(session, "therapist"), kept)


def home_sheet(site: Site, ended_at: datetime | None = None) -> None:
    """A sheet as it was handed over."""
    with write_session(site.engine) as session:
        me = person_by(session, "therapist").id
        session.add(
            HomeSheet(
                uid=new_uid(), episode_id=1, helper="family", home_change="light",
                made_at=NOW, made_by=me, body_hash="0" * 64, ended_at=ended_at,
                ended_by=me if ended_at else None,
            )
        )  # fmt: skip


def strip(site: Site) -> Any:
    found = [row for row in rows(site, ExitItem) if row.item == "strip"]
    return (found[0].state, found[0].strip_state) if found else None


def offered(client: TestClient, visit: str) -> list[str]:
    section = found(client.get(visit).text, "#exit")
    return [
        str(node.attributes["value"]) for node in section.css("[name='exit-strip']")
    ]


def test_visit_does_not_close_before_the_strip_is_counted(
    therapist: TestClient, visit: str, site: Site
) -> None:
    put(therapist, visit, "exit", **REST)
    early = therapist.post(f"{visit}/close", data={})
    assert put(therapist, visit, "exit", **{"exit-strip": "removed"}) == 303
    closed = put(therapist, visit, "close")

    assert early.status_code == 422
    assert found(early.text, "#close-error").text() == (
        "Before you leave: strip and tape out of the way. Or say why you had to go."
    )
    assert closed == 303
    assert strip(site) == ("done", "removed")
    assert "Left: strip out of the room with the therapist; bell in reach" in (
        therapist.get(visit).text
    )


def test_none_used_is_an_answer(therapist: TestClient, visit: str, site: Site) -> None:
    put(therapist, visit, "exit", **REST, **{"exit-strip": "none_used"})

    assert strip(site) == ("not_applicable", "none_used")
    assert put(therapist, visit, "close") == 303
    assert "Left: no strip used; bell in reach" in therapist.get(visit).text


def test_after_a_set_none_used_is_refused(
    therapist: TestClient, visit: str, site: Site
) -> None:
    a_set(site)
    said = {"uid": new_uid(), **REST, "exit-strip": "none_used"}
    refused = therapist.post(f"{visit}/exit", data=said)

    assert refused.status_code == 422
    assert (
        found(refused.text, "#exit-strip-error")
        .text()
        .startswith("An activity was done in this visit")
    )
    assert strip(site) is None
    assert len(rows(site, ExitItem)) == 7  # the other lines are kept
    assert "none_used" not in offered(therapist, visit)


def test_a_set_after_the_answer_undoes_none_used(
    therapist: TestClient, visit: str, site: Site
) -> None:
    put(therapist, visit, "exit", **REST, **{"exit-strip": "none_used"})
    a_set(site)
    refused = therapist.post(f"{visit}/close", data={})

    assert refused.status_code == 422
    assert "strip and tape out of the way. An activity was done" in refused.text
    put(therapist, visit, "exit", **{"exit-strip": "removed"})
    assert put(therapist, visit, "close") == 303


def test_strip_stays_with_a_helper_at_home_by_plan(
    therapist: TestClient, visit: str, site: Site
) -> None:
    home_sheet(site)

    assert "left_with_helper" in offered(therapist, visit)
    put(therapist, visit, "exit", **REST, **{"exit-strip": "left_with_helper"})
    assert put(therapist, visit, "close") == 303
    assert strip(site) == ("done", "left_with_helper")
    assert "strip left with the helper, by plan" in therapist.get(visit).text


@pytest.mark.parametrize(
    ("tag", "setting", "why"),
    [
        ("ligature_risk", "", "The strip may not stay: Risk of self-harm is in force."),
        ("entanglement", "", "Strip could wrap a limb or line is in force."),
        ("", "inpatient", "only at the person&#39;s own home"),
        ("", "outpatient", "only at the person&#39;s own home"),
    ],
)
def test_strip_never_stays_where_it_may_not(
    therapist: TestClient, visit: str, site: Site, tag: str, setting: str, why: str
) -> None:
    home_sheet(site)
    changed(site, tag, setting)
    said = {"uid": new_uid(), "exit-strip": "left_with_helper"}
    refused = therapist.post(f"{visit}/exit", data=said)

    assert refused.status_code == 422
    assert why in refused.text
    assert "left_with_helper" not in offered(therapist, visit)
    assert why in therapist.get(visit).text
    assert strip(site) is None


def test_without_a_current_sheet_no_strip_stays(
    therapist: TestClient, visit: str, site: Site
) -> None:
    home_sheet(site, ended_at=NOW)

    assert "left_with_helper" not in offered(therapist, visit)
    assert "no home sheet is current" in therapist.get(visit).text


def test_an_order_since_the_answer_undoes_it(
    therapist: TestClient, visit: str, site: Site
) -> None:
    home_sheet(site)
    put(therapist, visit, "exit", **REST, **{"exit-strip": "left_with_helper"})
    changed(site, "ligature_risk")
    refused = therapist.post(f"{visit}/close", data={})

    assert refused.status_code == 422
    assert "Risk of self-harm is in force" in found(refused.text, "#close-error").text()


def test_with_a_ligature_risk_it_is_counted_in_and_out_first(
    therapist: TestClient, visit: str, site: Site
) -> None:
    plain = found(therapist.get(visit).text, "#exit .leave span").text()
    changed(site, "ligature_risk")
    first = found(therapist.get(visit).text, "#exit .leave span").text()

    assert plain == "Strip and tape out of the way"
    assert first == "Strip and tape counted in and out"


def test_a_strip_that_was_fetched_is_seen_at_the_desk(
    therapist: TestClient, visit: str, supervisor: TestClient, clock: Clock
) -> None:
    put(therapist, visit, "exit", **REST, **{"exit-strip": "retrieved"})
    put(therapist, visit, "close")
    desk = supervisor.get("/desk").text
    page = supervisor.get(visit).text

    assert "strip left in the room, and fetched" in desk
    assert f'href="{visit}#exit"' in desk
    assert "I have looked into this" in page
    assert "Strip left by mistake, and fetched" in found(page, "#timeline").text()
    clock.move(minutes=1)
    assert supervisor.post(f"{visit}/looked").status_code == 303
    assert "strip left in the room" not in supervisor.get("/desk").text


def test_going_on_with_a_visit_forgets_no_strip_that_was_left(
    therapist: TestClient, visit: str, site: Site, supervisor: TestClient, clock: Clock
) -> None:
    put(therapist, visit, "exit", **REST, **{"exit-strip": "retrieved"})
    put(therapist, visit, "close")
    clock.move(minutes=2)
    put(therapist, visit, "resume")
    put(therapist, visit, "exit", **REST, **{"exit-strip": "removed"})
    put(therapist, visit, "close")

    assert strip(site) == ("done", "removed")
    assert "strip left in the room, and fetched" in supervisor.get("/desk").text
    assert rows_of_seen(site) == []


def rows_of_seen(site: Site) -> list[LeftSeen]:
    with read_session(site.engine) as session:
        return list(session.exec(select(LeftSeen)))


def test_a_slip_of_a_tap_is_no_event(
    therapist: TestClient, visit: str, supervisor: TestClient
) -> None:
    put(therapist, visit, "exit", **{"exit-strip": "retrieved"})
    put(therapist, visit, "exit", **REST, **{"exit-strip": "removed"})
    put(therapist, visit, "close")

    assert "strip left in the room" not in supervisor.get("/desk").text


def test_answers_from_before_still_read(
    therapist: TestClient, visit: str, site: Site
) -> None:
    put(therapist, visit, "exit", **REST)
    with write_session(site.engine) as session:
        old(session)

    assert "Left: strip and tape out of the way; bell in reach" in (
        therapist.get(visit).text
    )
    assert put(therapist, visit, "close") == 303


def old(session: Session) -> None:
    """A row as it was before the strip had a place."""
    (visit,) = session.exec(select(Visit)).all()
    row = ExitItem(
        visit_id=visit.id, item="strip", state="done", recorded_at=NOW, recorded_by=1
    )
    session.add(row)


def test_the_word_done_says_nothing_of_a_strip(
    therapist: TestClient, visit: str, site: Site
) -> None:
    assert put(therapist, visit, "exit", **{"exit-strip": "done"}) == 422
    assert strip(site) is None
