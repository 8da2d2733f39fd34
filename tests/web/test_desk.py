"""The desk: each person under what is owed next; the table; the week in counts."""

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from app.commands.site import _work_out_what_is_owed
from app.settings import Settings
from app.storage import audit
from app.storage.database import read_session, write_session
from app.storage.owing import Owed, basis_of
from app.storage.patients import Patient, touched
from app.storage.precautions import PrecautionOnEpisode
from app.web.deps import Site
from app.web.owing import keep_owed, owed_differs, rebuild_owed
from tests.asked import Query, queries
from tests.conftest import Clock, found, person_by
from tests.make import (
    SCORED,
    TODAY,
    make_episode,
    make_patient,
    make_person,
    make_precaution,
    make_round,
    make_score,
    make_visit,
)
from tests.web.bedside import a_round, done, send

SignIn = Callable[[str], TestClient]
LOOK_INTO = "Look into: a loss, a stop, newly unable, left without the list"
DAY = timedelta(days=1)
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

    title = LOOK_INTO
    assert "stopped for safety" in before[title]
    assert title not in sections(supervisor)


def test_number_of_another_test_says_whose_it_is(
    sign_in_as: SignIn, patient_id: int, clock: Clock
) -> None:
    therapist = sign_in_as("therapist")
    send(therapist, a_round(therapist, patient_id, STANDS), outcome="stopped")
    clock.move(days=1)
    done(sign_in_as("therapist"), patient_id, "timed_up_and_go", "11.0")
    line = sections(sign_in_as("supervisor"))[LOOK_INTO]

    assert "Timed Up and Go 11.0 s" in line
    assert "Five-times stands: stopped for safety" in line


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
    few = len(asked(site, supervisor, path))
    with write_session(site.engine) as session:
        me = person_by(session, "therapist")
        for number in range(100):
            patient = make_patient(session, me, label=f"Row {number:03}")
            make_episode(session, me, patient)
            session.add(
                Owed(patient_id=patient.id, kind="retest", due_on=TODAY, says="a test")
            )
    many_ = len(asked(site, supervisor, path))

    assert patient_id == 1
    assert many_ <= max(few, 10) + 2, (few, many_)


def test_week_is_counted_from_indexes_alone(site: Site, supervisor: TestClient) -> None:
    """No row of a visit or a score is fetched to be counted, as SQLite plans it."""
    if site.engine.dialect.name != "sqlite":
        pytest.skip("PostgreSQL plans by what it knows of the rows")
    plans = []
    for statement, values in asked(site, supervisor, "/desk/summary"):
        with site.engine.connect() as connection:
            plan = f"EXPLAIN QUERY PLAN {statement}"
            plans += [row[3] for row in connection.exec_driver_sql(plan, values)]
    by_day = [p for p in plans if "local_date>" in p]
    fetched = [p for p in plans if re.search(r"(visit|score)( USING INDEX|$)", p)]

    assert len(by_day) == 3, plans
    assert all("COVERING" in p for p in by_day), by_day
    assert any("COVERING INDEX ix_score_newest_by_test" in p for p in plans), plans
    assert not fetched


def asked(site: Site, client: TestClient, path: str) -> list[Query]:
    with queries(site.engine) as seen:
        assert client.get(path).status_code == 200
    return seen


def kept_view(client: TestClient, **filters: str) -> str:
    """The table under these filters."""
    answer = client.post("/desk/table", data=filters)
    return client.get(answer.headers["location"]).text


def labels(page: str) -> list[str]:
    return [a.text() for a in found(page, "main").css("tbody th a")]


@pytest.fixture
def three(site: Site, therapist: TestClient, patient_id: int) -> Site:
    """Blue 7 has two tests, Amber another's test and an order, Copper nothing."""
    done(therapist, patient_id, STANDS, "16.2")
    done(therapist, patient_id, "timed_up_and_go", "14.1")
    with write_session(site.engine) as session:
        therapist_, colleague = (
            person_by(session, handle) for handle in ("therapist", "colleague")
        )
        amber = make_patient(session, colleague, label="Amber")
        care = make_episode(session, colleague, amber, opened_on=TODAY - 9 * DAY)
        make_precaution(session, colleague, care)
        visit = make_visit(session, colleague, care, now=site.clock() - 5 * DAY)
        round = make_round(session, colleague, visit, measure=STANDS)
        make_score(session, round, replace(SCORED, value="22.4"))
        session.add(
            Owed(patient_id=amber.id, kind="retest", due_on=TODAY - DAY, says="again")
        )
        make_episode(
            session, therapist_, make_patient(session, therapist_, label="Copper")
        )
    return site


@pytest.mark.usefixtures("three")
def test_table_of_one_test_shows_its_latest_score(supervisor: TestClient) -> None:
    page = kept_view(supervisor, measure="timed_up_and_go")
    stands = kept_view(supervisor, measure=STANDS, name="Stands")

    assert labels(page) == ["Blue 7"]
    assert "14.1 s" in page
    assert labels(stands) == ["Amber", "Blue 7"]
    assert "16.2 s" in stands
    assert "14.1 s" not in stands


@pytest.mark.usefixtures("three")
def test_new_filters_are_kept_in_a_view(supervisor: TestClient) -> None:
    kept_view(supervisor, measure=STANDS, orders="yes", name="Stands, ordered")
    page = supervisor.get("/desk/table?view=1").text
    chosen = {
        s.attributes["name"]: s.css_first("[selected]").attributes["value"]  # type: ignore[union-attr]
        for s in found(page, "main").css("select")
        if s.css_first("[selected]")
    }

    assert labels(page) == ["Amber"]
    assert chosen == {"measure": STANDS, "orders": "yes"}
    assert labels(kept_view(supervisor, measure="no_such_test")) != []


@pytest.mark.usefixtures("three")
@pytest.mark.parametrize(
    ("sort", "up"),
    [
        ("label", ["Amber", "Blue 7", "Copper"]),
        ("owner", ["Amber", "Blue 7", "Copper"]),
        ("opened", ["Amber", "Blue 7", "Copper"]),
        ("next", ["Amber", "Blue 7", "Copper"]),
        ("visit", ["Amber", "Blue 7", "Copper"]),
        ("test", ["Amber", "Blue 7", "Copper"]),
    ],
)
def test_every_column_sorts_both_ways(
    supervisor: TestClient, sort: str, up: list[str]
) -> None:
    """Whoever has nothing to sort by comes last either way."""
    first = labels(supervisor.get(f"/desk/table?sort={sort}").text)
    page = supervisor.get(f"/desk/table?sort={sort}&down=true").text
    down = labels(page)

    assert first == up
    assert down[0] in ("Blue 7", "Copper")
    assert down.index("Blue 7") < down.index("Amber")
    assert found(page, "th[aria-sort=descending]")
    if sort in ("next", "visit", "test"):
        assert down[-1] == "Copper"


@pytest.mark.parametrize("sort", ["owner", "next", "visit", "test"])
def test_sorted_table_takes_no_more_queries(
    sort: str, three: Site, supervisor: TestClient
) -> None:
    path = f"/desk/table?sort={sort}"
    supervisor.get(path)

    assert len(asked(three, supervisor, path)) <= 12


def leave(client: TestClient, patient_id: int) -> str:
    visit = client.post(f"/patients/{patient_id}/visit").headers["location"]
    said = {"without": "called to the next ward"}
    assert client.post(f"{visit}/close", data=said).status_code == 303
    return visit


def test_visit_left_without_the_list_is_looked_into(
    therapist: TestClient, supervisor: TestClient, patient_id: int, clock: Clock
) -> None:
    visit = leave(therapist, patient_id)
    before = supervisor.get("/desk").text
    own = therapist.post(f"{visit}/looked").status_code
    page = supervisor.get(visit).text
    assert supervisor.post(f"{visit}/looked").status_code == 303
    after = sections(supervisor)
    clock.move(minutes=5)
    therapist.post(f"{visit}/resume")
    gone_on = sections(supervisor)
    leave(therapist, patient_id)

    assert f'href="{visit}#exit"' in before
    assert "left without the exit list" in before
    assert "called to the next ward" not in before
    assert own == 403
    assert "I have looked into this" in page
    assert "I have looked into this" not in therapist.get(visit).text
    assert LOOK_INTO not in after
    assert LOOK_INTO not in gone_on
    assert LOOK_INTO in sections(supervisor)


def test_order_that_ends_frees_the_test_on_its_day(
    sign_in_as: SignIn, patient_id: int, site: Site
) -> None:
    """Nobody touches the patient on that day."""
    done(sign_in_as("therapist"), patient_id, STANDS, "16.2")
    order = {"tag": "ttwb_le", "set_by": "surgeon"}
    therapist = sign_in_as("therapist")
    therapist.post(f"/patients/{patient_id}/precautions", data=order)
    blocked = dict(owed(site))
    with write_session(site.engine) as session:
        held = session.exec(select(PrecautionOnEpisode)).one()
        held.ended_on = TODAY + 20 * DAY
        touched(session).add(patient_id)
        keep_owed(session, site.catalogue, site.settings.clocks, TODAY)

    assert "retest" not in blocked
    assert dict(owed(site))["retest"] == str(TODAY + 20 * DAY)


@pytest.mark.parametrize(
    ("every", "early", "late"), [(3, "", "due again"), (0, "", ""), (40, "", "")]
)
def test_sites_own_retest_days_stand_for_every_test(
    sign_in_as: SignIn, patient_id: int, site: Site, clock: Clock,
    every: int, early: str, late: str,
) -> None:  # fmt: skip
    settings = site.settings.model_copy(update={"retest_days": every})
    site.settings = settings
    site.after_change = lambda session, day: keep_owed(
        session, site.catalogue, settings.clocks, day
    )
    done(sign_in_as("therapist"), patient_id, STANDS, "16.2")
    clock.move(days=2)
    before = sign_in_as("therapist").get(f"/patients/{patient_id}").text
    clock.move(days=20)
    therapist, chief = sign_in_as("therapist"), sign_in_as("supervisor")
    brief = therapist.get(f"/patients/{patient_id}").text
    said = [
        "due again" in before,
        "due again" in brief,
        "state due" in therapist.get("/caseload").text,
        "Test again" in sections(chief),
    ]

    assert said == [bool(early), *[bool(late)] * 3]


def test_rows_made_with_other_settings_are_known(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    done(therapist, patient_id, STANDS, "16.2")
    _work_out_what_is_owed(site)
    with read_session(site.engine) as session:
        first = basis_of(session)
    site.settings = site.settings.model_copy(update={"retest_days": 3})
    _work_out_what_is_owed(site)

    assert "retest None" in first
    assert dict(owed(site))["retest"] == str(TODAY + 3 * DAY)
    with read_session(site.engine) as session:
        assert "retest 3" in basis_of(session)


def test_restored_site_says_of_when_it_is(
    site: Site, sign_in_as: Callable[[str], TestClient], clock: Clock
) -> None:
    """Between the last deed of the backup and the restore nothing is there."""
    before = sign_in_as("supervisor").get("/desk")
    assert before.status_code == 200
    assert "Restored from a backup" not in before.text
    clock.move(days=3)
    with write_session(site.engine) as session:
        audit.append(
            session, person_id=None, deed="restored_site", subject="site",
            subject_id=1, now=clock(),
        )  # fmt: skip

    page = sign_in_as("supervisor").get("/desk")
    assert page.status_code == 200
    told = " ".join(found(page.text, "main").text().split())
    assert "was restored on 5 Mar, 09:30 from a backup of 2 Mar, 09:30" in told


def test_fresh_site_says_what_to_do_first(
    supervisor: TestClient, sign_in_as: SignIn, site: Site
) -> None:
    """To a supervisor of a world without patients, and to who has none assigned."""
    with write_session(site.engine) as session:
        make_person(session, "first", role="supervisor", is_demo=True)
    first = sign_in_as("first")
    steps = [
        [a.attributes["href"] or "" for a in found(page.text, "#first").css("a")]
        for page in (first.get("/desk"), sign_in_as("outsider").get("/caseload"))
    ]

    assert steps == [
        ["/people/new", "/patients/new", "/caseload/import", "/practice"],
        ["/patients/new", "/practice"],
    ]
    for step in steps[0]:
        assert first.get(step).status_code == 200
    assert "To begin with" not in supervisor.get("/desk").text
