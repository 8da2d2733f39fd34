"""The desk: each person under what is owed next; the table; the week in counts."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from sqlalchemy import event
from sqlmodel import select
from starlette.testclient import TestClient

from app.settings import Settings
from app.storage.database import read_session, write_session
from app.storage.owing import Owed
from app.storage.patients import Patient
from app.web.deps import Site
from app.web.owing import owed_differs, rebuild_owed
from tests.conftest import Clock, found, person_by
from tests.make import TODAY, make_episode, make_patient, make_person
from tests.web.bedside import a_round, done, send

SignIn = Callable[[str], TestClient]
STANDS = "five_times_sit_to_stand"


def owed(site: Site) -> list[tuple[str, str]]:
    with read_session(site.engine) as session:
        rows = session.exec(select(Owed).order_by(Owed.id))  # type: ignore[arg-type]
        return [(row.kind, str(row.due_on)) for row in rows]


def sections(client: TestClient) -> dict[str, str]:
    page = client.get("/desk").text
    found_ = found(page, "main").css("section.owed")
    return {
        s.css_first("h2").text(): s.text()  # type: ignore[union-attr]
        for s in found_
    }


def test_score_makes_a_retest_and_clocks_owed(
    therapist: TestClient, supervisor: TestClient, patient_id: int, site: Site
) -> None:
    assert owed(site) == []
    done(therapist, patient_id, STANDS, "16.2")
    kinds = dict(owed(site))

    assert set(kinds) == {"retest", "recertify"}
    assert kinds["recertify"] == str(TODAY + timedelta(days=90))
    assert sections(supervisor) == {}
    assert "Nothing is owed" in supervisor.get("/desk").text


def test_overdue_test_stands_on_the_desk_until_an_order_blocks_it(
    sign_in_as: SignIn, patient_id: int, clock: Clock
) -> None:
    done(sign_in_as("therapist"), patient_id, STANDS, "16.2")
    clock.move(days=60)
    before = sections(sign_in_as("supervisor"))
    order = {"tag": "ttwb_le", "set_by": "surgeon"}
    url = f"/patients/{patient_id}/precautions"
    assert sign_in_as("therapist").post(url, data=order).status_code == 303
    after = sections(sign_in_as("supervisor"))

    assert "Blue 7" in before["Test again"]
    assert "last 16.2 s" in before["Test again"]
    assert "Therapist" in before["Test again"]
    assert "Test again" not in after


def test_stop_is_looked_into_and_gone(
    therapist: TestClient, supervisor: TestClient, patient_id: int
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    send(therapist, url, outcome="stopped")
    before = sections(supervisor)
    therapist.post("/trials/1/safety", data={"what": "seated"})
    assert therapist.post("/trials/1/seen").status_code in (200, 303)

    title = "Look into: a real loss, a stop, newly unable"
    assert "stopped for safety" in before[title]
    assert title not in sections(supervisor)


def test_report_falls_due_and_is_answered_on_the_brief(
    sign_in_as: SignIn, patient_id: int, clock: Clock
) -> None:
    for _ in range(10):
        url = f"/patients/{patient_id}/visit"
        assert sign_in_as("therapist").post(url, data={}).status_code == 303
        clock.move(days=1)
    therapist = sign_in_as("therapist")
    brief = therapist.get(f"/patients/{patient_id}").text
    desk = sections(sign_in_as("supervisor"))
    answered = [therapist.post("/episodes/1/clocks/report") for _ in range(2)]

    assert "10 of 10 treatment days used" in brief
    assert "s. 220.3 D, full text" in brief
    assert "Progress report" in desk["Report or recertify"]
    assert [a.status_code for a in answered] == [303, 303]
    assert "Progress report" not in str(sections(sign_in_as("supervisor")))
    assert therapist.post("/episodes/1/clocks/lunch").status_code == 404


def test_demo_people_are_on_no_real_desk(
    supervisor: TestClient, therapist: TestClient, patient_id: int, site: Site
) -> None:
    done(therapist, patient_id, STANDS, "16.2")
    with write_session(site.engine) as session:
        demo = make_person(session, "demo", is_demo=True)
        planted = make_patient(session, demo, label="Planted")
        make_episode(session, demo, planted)
        session.add(
            Owed(patient_id=planted.id, kind="retest", due_on=TODAY, says="planted")
        )

    for path in ("/desk", "/desk/table", "/desk/summary"):
        assert "lanted" not in supervisor.get(path).text


@pytest.fixture
def many(site: Site, patient_id: int) -> None:
    """A hundred and twenty more, and one who is closed."""
    assert patient_id == 1
    with write_session(site.engine) as session:
        me = person_by(session, "therapist")
        for number in range(120):
            patient = make_patient(session, me, label=f"Row {number:03}")
            plan = "maintain" if number % 2 else "restore"
            make_episode(session, me, patient, plan=plan)  # type: ignore[arg-type]


@pytest.mark.usefixtures("many")
def test_table_is_paged_sorted_and_filtered(supervisor: TestClient) -> None:
    first = supervisor.get("/desk/table").text
    third = supervisor.get("/desk/table?number=3").text
    down = supervisor.get("/desk/table?sort=label&down=true").text
    view = supervisor.post("/desk/table", data={"plan": "maintain", "name": "Steady"})
    kept = supervisor.get(view.headers["location"]).text

    assert "121 patients, page 1 of 3" in first
    assert first.count("<tr>") == 51
    assert third.count("<tr>") == 22
    assert 'aria-sort="descending"' in down
    assert down.index("Row 119") < down.index("Row 100")
    assert "60 patients" in kept
    assert "Steady" in kept
    assert "maintain" not in view.headers["location"]


def test_view_of_another_is_not_found(
    supervisor: TestClient, sign_in_as: SignIn, site: Site
) -> None:
    supervisor.post("/desk/table", data={"plan": "maintain"})
    with write_session(site.engine) as session:
        make_person(session, "second", role="supervisor")
    second = sign_in_as("second")

    assert second.get("/desk/table?view=1").status_code == 404
    assert second.post("/desk/views/1/drop").status_code == 404
    assert supervisor.post("/desk/views/1/drop").status_code == 303


def test_filter_takes_closed_words_only(supervisor: TestClient) -> None:
    odd = {"plan": "x' OR 1=1", "person": "one", "condition": "nobody", "owed": "a+b"}
    view = supervisor.post("/desk/table", data=odd)

    assert "1 patient," in supervisor.get(view.headers["location"]).text


def test_summary_never_shows_a_small_share(
    therapist: TestClient, supervisor: TestClient, patient_id: int
) -> None:
    done(therapist, patient_id, STANDS, "16.2")
    page = supervisor.get("/desk/summary").text

    assert "fewer than 11" in page
    assert "1 to 10" in page
    assert "Therapist" not in found(page, "main").text()


def test_rebuilt_rows_are_the_rows_that_were_kept(
    therapist: TestClient, patient_id: int, site: Site, settings: Settings
) -> None:
    done(therapist, patient_id, STANDS, "16.2")
    before = owed(site)
    with write_session(site.engine) as session:
        row = session.exec(select(Owed)).first()
        assert row is not None
        row.says = "something else"
        session.add(row)
        session.flush()
        patient = session.get_one(Patient, patient_id)
        told = owed_differs(session, site.catalogue, settings.clocks, patient, TODAY)
    rebuild_owed(
        site.engine, site.catalogue, settings.clocks, TODAY, lambda _done, _of: None
    )

    assert told
    assert owed(site) == before


@pytest.mark.parametrize("path", ["/desk", "/desk/table", "/desk/summary"])
def test_queries_do_not_grow_with_the_site(
    path: str, supervisor: TestClient, site: Site, patient_id: int
) -> None:
    """At most ten for the page itself, with ten people or a hundred."""
    few = queries(site, supervisor, path)
    with write_session(site.engine) as session:
        me = person_by(session, "therapist")
        for number in range(100):
            patient = make_patient(session, me, label=f"Row {number:03}")
            make_episode(session, me, patient)
            session.add(
                Owed(patient_id=patient.id, kind="retest", due_on=TODAY, says="a test")
            )
    many_ = queries(site, supervisor, path)

    assert patient_id == 1
    assert many_ <= max(few, 10) + 2, (few, many_)


def queries(site: Site, client: TestClient, path: str) -> int:
    """Statements that read, beginnings and settings aside."""
    seen: list[str] = []

    def note(_c: object, _u: object, statement: str, *_rest: object) -> None:
        if statement.lstrip().upper().startswith("SELECT"):
            seen.append(statement)

    event.listen(site.engine, "before_cursor_execute", note)
    try:
        assert client.get(path).status_code == 200
    finally:
        event.remove(site.engine, "before_cursor_execute", note)
    return len(seen)
