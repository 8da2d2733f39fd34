"""What was done of an activity: drawn, told as a table, judged by nobody."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from app.catalogue.load import catalogue
from app.clinical.doing import DoneSet
from app.storage.activity_sets import void_set
from app.storage.database import write_session
from app.storage.episodes import Episode
from app.web.activity_words import grade_value
from app.web.deps import Site
from app.web.dose_lines import amount
from app.web.dose_picture import MOST_SESSIONS, DoseView
from app.web.doses import DoseHistory, histories
from tests.conftest import found, person_by
from tests.make import NOW, TODAY, make_visit
from tests.sets import make_set

SHELF = catalogue()
RISING = SHELF.activities["R01"]


def did(day: int = 0, **said: object) -> DoneSet:
    """A set of rising at 21 in, so many days after the first."""
    on = date(2026, 1, 1) + timedelta(days=day)
    told = {
        "activity": "R01", "on": on, "visit_id": day + 1, "grade": Decimal(21),
        "at": datetime.combine(on, NOW.time(), NOW.tzinfo), "numbers": {"reps": 8},
    }  # fmt: skip
    return DoneSet(**{**told, **said})  # type: ignore[arg-type]


def history(*sets: DoneSet) -> DoseHistory:
    (only,) = histories(SHELF, sets, TODAY)
    return only


def picture(*sets: DoneSet) -> DoseView:
    drawn = history(*sets).picture
    assert drawn is not None
    return drawn


def test_alike_sets_make_one_line() -> None:
    told = history(did(), did(), did(grade=Decimal(20), numbers={"reps": 6}))
    last, first = told.lines

    assert told.sessions == 1
    assert (first.grade, first.sets) == ("21 in", "2 x 8")
    assert (last.grade, last.sets) == ("20 in", "1 x 6")


def test_unlike_amounts_are_told_one_by_one() -> None:
    (line,) = history(
        did(numbers={"reps": 10, "errors": 0}, effort=3, effort_scale="0-10"),
        did(numbers={"reps": 8}),
        did(numbers={"reps": 8, "errors": 2}, effort=6, effort_scale="0-10"),
    ).lines

    assert line.sets == "3 sets: 10, 8, 8"
    assert line.errors == "0, -, 2"
    assert line.effort == "3, -, 6 on 0-10"


def test_seconds_never_read_as_repetitions() -> None:
    held = did(numbers={}, holds_ms=(19_000,))
    told = history(held)
    twice = history(held, held)

    assert told.lines[0].sets == "1 set, 19 s"
    assert told.picture is not None
    assert [dot.says for dot in told.picture.dots] == ["1 set, 19 s"]
    assert twice.lines[0].sets == "2 sets, 19 s"
    assert [dot.says for dot in picture(did(), did()).dots] == ["2\u00d78"]


def test_nothing_said_is_not_none() -> None:
    (silent,) = history(did()).lines
    (asked,) = history(did(no_symptom=True)).lines
    (told,) = history(did(symptoms=("dizzy", "tired"))).lines

    assert (silent.errors, silent.hands, silent.symptoms) == ("", "", "")
    assert asked.symptoms == "none"
    assert told.symptoms == "dizzy, too tired"


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"numbers": {"reps": 8}}, "8"),
        ({"numbers": {"steps": 12}}, "12 steps"),
        ({"numbers": {"passes": 4}}, "4 passes"),
        ({"numbers": {}, "holds_ms": (9_600, 20_400)}, "20 s"),
        ({"numbers": {"correct": 9, "calls": 12}}, "9 of 12"),
        ({"numbers": {"time_ms": 31_500}}, "32 s"),
        ({"numbers": {}, "distance": Decimal("7.50"), "distance_unit": "in"}, "7.5 in"),
        ({"numbers": {}}, ""),
    ],
)
def test_amount_is_what_was_counted(said: dict[str, Any], words: str) -> None:
    assert amount(did(**said)) == words


def test_harder_is_up_also_where_less_is_harder() -> None:
    view = picture(did(), did(1, grade=Decimal(20)), did(2, grade=Decimal(22)))
    first, harder, easier = view.dots

    assert harder.y < first.y < easier.y
    assert first.x < harder.x < easier.x
    assert "less is harder" in view.axis
    assert min(view.rows).numeral == "19"


def test_rungs_stand_by_their_numbers() -> None:
    sets = [did(d, activity="B01", grade=Decimal(g)) for d, g in enumerate((1, 2, 5))]
    told = history(*sets)
    ladder = SHELF.activities["B01"].grade

    assert told.picture is not None
    assert [dot.y for dot in told.picture.dots] == sorted(
        (dot.y for dot in told.picture.dots), reverse=True
    )
    assert [line.grade for line in told.lines][::-1] == [
        grade_value(ladder, Decimal(g)) for g in (1, 2, 5)
    ]
    assert {row.numeral for row in told.picture.rows} <= {"1", "2", "3", "4", "5"}


def test_errors_are_ticks_and_a_stop_is_shape_and_word() -> None:
    view = picture(
        did(numbers={"reps": 8, "errors": 2}),
        did(1, numbers={"reps": 8, "errors": 9}),
        did(2, outcome="stopped", symptoms=("dizzy",)),
    )

    assert [(len(d.ticks), d.more) for d in view.dots] == [
        (2, False), (6, True), (0, False),
    ]  # fmt: skip
    assert [d.stopped for d in view.dots] == [False, False, True]
    assert (view.any_errors, view.any_stop) == (True, True)


def test_words_stand_under_each_session_once_for_what_holds() -> None:
    view = picture(
        did(hand_support="two_hands", level="contact"),
        did(1, hand_support="two_hands", level="contact"),
        did(2, hand_support="fingertip", level="contact"),
        did(2, hand_support="none", level="contact"),
    )
    lanes = {
        lane.name: [" ".join(s.words) for s in lane.stretches] for lane in view.lanes
    }

    assert lanes == {
        "hands": ["two hands", "two hands", "fingertips", "no hands"],
        "help": ["contact guard", "contact guard", "contact guard"],
    }


def test_sets_of_one_session_stand_side_by_side() -> None:
    view = picture(
        did(), did(1), did(1, outcome="stopped"), did(1, grade=Decimal(20)),
    )  # fmt: skip

    assert [day.words for day in view.days] == ["1 Jan", "2 Jan"]
    assert [day.ends for day in view.days] == [25, 100]
    assert [dot.x for dot in view.dots] == [12.5, 37.5, 62.5, 87.5]


def test_what_was_not_done_draws_nothing_and_stands_in_the_table() -> None:
    told = history(did(), did(1, outcome="declined", grade=None, numbers={}))

    assert told.picture is not None
    assert len(told.picture.dots) == 1
    assert told.lines[0].sets == "declined"
    assert history(did(grade=None)).picture is None


def test_sixty_sessions_draw_the_latest() -> None:
    told = history(*(did(day) for day in range(60)))

    assert told.picture is not None
    assert len(told.picture.days) == len(told.picture.dots) == MOST_SESSIONS
    assert told.picture.left_out == 60 - MOST_SESSIONS
    assert len(told.lines) == 60
    assert told.picture.width > MOST_SESSIONS * 2


def test_latest_activity_comes_first() -> None:
    found = histories(SHELF, [did(), did(1, activity="S01"), did(2)], TODAY)

    assert [h.id for h in found] == ["R01", "S01"]


def test_activity_that_left_the_catalogue_still_stands() -> None:
    told = history(did(activity="Z99"))

    assert (told.name, told.picture, told.lines[0].grade) == ("Z99", None, "21")


@pytest.fixture
def done(site: Site) -> int:
    """Two sets and a voided one; the voided one's number."""
    with write_session(site.engine) as session:
        me = person_by(session, "therapist")
        visit = make_visit(session, me, session.exec(select(Episode)).one())
        make_set(session, me, visit, "R01", grade="21", reps=8)
        make_set(session, me, visit, "S01", outcome="stopped", symptoms=("dizzy",))
        slip = make_set(session, me, visit, "R01", grade="17", reps=99)
        void_set(session, me, slip.id, reason="other patient", now=NOW)
        return slip.id


@pytest.mark.usefixtures("done")
def test_page_shows_all_and_leaves_the_voided_out(
    therapist: TestClient, patient_id: int
) -> None:
    page = therapist.get(f"/patients/{patient_id}/doses").text

    assert RISING.name in page
    assert "1 x 8" in page
    assert "99" not in found(page, "main").text()
    assert "stopped for safety" in page
    assert "dizzy" in page
    assert "nothing here says that it was enough" in page


@pytest.mark.usefixtures("done")
def test_one_activity_alone(therapist: TestClient, patient_id: int) -> None:
    url = f"/patients/{patient_id}/doses"
    page = therapist.get(url, params={"activity": "R01"})
    empty = therapist.get(url, params={"activity": "T01"})

    assert found(page.text, "h1").text() == RISING.name
    assert SHELF.activities["S01"].name not in page.text
    assert found(page.text, "tbody th").text() == "2 Mar"
    assert "This activity has not been done yet." in empty.text
    assert therapist.get(url, params={"activity": "Z99"}).status_code == 404


def test_nothing_done_yet(therapist: TestClient, patient_id: int) -> None:
    page = therapist.get(f"/patients/{patient_id}/doses")

    assert "No activity has been done yet." in page.text


@pytest.mark.usefixtures("done")
def test_only_who_looks_after_them_sees_it(
    supervisor: TestClient, colleague: TestClient, student: TestClient, patient_id: int
) -> None:
    url = f"/patients/{patient_id}/doses"

    assert supervisor.get(url).status_code == 200
    assert colleague.get(url).status_code == 404
    assert student.get(url).status_code == 404


def test_brief_and_visit_lead_there(therapist: TestClient, patient_id: int) -> None:
    link = f'href="/patients/{patient_id}/doses"'
    visit = therapist.post(f"/patients/{patient_id}/visit", data={"uid": "a" * 32})

    assert link in therapist.get(f"/patients/{patient_id}").text
    assert link in therapist.get(visit.headers["location"]).text
