"""A test's history page: the course of the episode, and what does not belong to it."""

from collections.abc import Callable, Sequence

import pytest
from sqlmodel import select
from starlette.testclient import TestClient

from app.storage.database import write_session
from app.storage.episodes import close_episode, open_episode
from app.storage.patients import Patient
from app.web.deps import Site
from tests.conftest import Clock, found, person_by
from tests.make import make_episode
from tests.web.bedside import a_round, done, send

STANDS, TUG = "five_times_sit_to_stand", "timed_up_and_go"
Weekly = Callable[..., str]


@pytest.fixture
def weekly(
    sign_in_as: Callable[[str], TestClient], patient_id: int, clock: Clock
) -> Weekly:
    """Do a test once a week; `unable` is an outcome. The text of its history."""

    def do(values: Sequence[str], measure: str = STANDS, **setup: str) -> str:
        for value in values:
            therapist = sign_in_as("therapist")
            url = a_round(therapist, patient_id, measure, **setup)
            if value in ("unable", "stopped"):
                sent = send(therapist, url, outcome=value, reason="physical")
            else:
                sent = send(therapist, url, typed=value)
            assert sent.status_code == 303, sent.text
            clock.move(days=7)
        path = f"/patients/{patient_id}/measures/{measure}"
        return sign_in_as("therapist").get(path).text

    return do


def course_of(text: str) -> str:
    course = found(text, "section[aria-labelledby=course]")
    return " ".join(course.text(separator=" ").split())


def shapes(text: str) -> list[str]:
    """Which marks stand in the time picture, in their order."""
    marks = found(text, "svg.time").css("svg.mark > *")
    return [mark.attributes["class"] or "" for mark in marks]


def test_first_best_and_last_stand_with_their_days(weekly: Weekly) -> None:
    said = course_of(weekly(["19.4", "14.6", "16.2"]))

    assert "First 19.4 s 2 Mar" in said
    assert "Best 14.6 s 9 Mar" in said
    assert "Last 16.2 s 16 Mar" in said
    assert "since 19.4 s: 3.2 s faster" in said


def test_slope_is_drawn_only_when_a_direction_is_told(weekly: Weekly) -> None:
    first = weekly(["20", "19.6", "18.9"])
    assert "takes four comparable scores; there are three" in course_of(first)
    assert 'class="slope"' not in first

    then = weekly(["18.4", "17.9"])
    assert "a week faster" in course_of(then)
    assert "five scores over 4 weeks" in course_of(then)
    assert found(then, "svg.time line.slope")


def test_no_direction_is_said_and_no_line_drawn(weekly: Weekly) -> None:
    text = weekly(["16", "18", "15", "17"])

    assert "No direction can be told" in course_of(text)
    assert 'class="slope"' not in text


def test_unable_is_a_mark_of_its_own_and_no_zero(weekly: Weekly) -> None:
    text = weekly(["unable", "19.4", "stopped", "18.0"])

    assert shapes(text) == ["unable", "pin", "halted", "latest"]
    said = course_of(text)
    assert "First unable 2 Mar" in said
    assert "Newly able" in said
    label = found(text, "svg.time").attributes["aria-label"] or ""
    assert "2 Mar unable, 9 Mar 19.4 s, 16 Mar stopped, 23 Mar 18.0 s" in label
    lane = found(text, "svg.time svg.mark").attributes["y"] or ""
    floor = found(text, "svg.time .row-line").attributes["y1"] or ""
    assert float(lane[:-2]) > float(floor[:-2])


def test_only_unable_attempts_draw_no_picture(weekly: Weekly) -> None:
    text = weekly(["unable", "unable"])

    assert 'svg class="time"' not in text
    assert "Last unable" in course_of(text)
    assert "there is none" in course_of(text)


def test_another_set_up_is_an_open_square_and_says_what_differs(
    weekly: Weekly,
) -> None:
    weekly(["11.0"], TUG, **{"fact-device": "cane"})
    text = weekly(["15.0", "14.0"], TUG, **{"fact-device": "none"})

    assert shapes(text) == ["other", "pin", "latest"]
    assert "First 15.0 s" in course_of(text)
    assert "Best 14.0 s" in course_of(text)
    assert found(text, "svg.tape rect.other")
    lines = found(text, "main").text()
    assert "Not comparable with the latest: walking device" in lines


def test_scores_of_an_earlier_episode_stay_out_of_the_course(
    weekly: Weekly, site: Site, clock: Clock
) -> None:
    weekly(["25.0"])
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        patient = session.exec(select(Patient)).one()
        before = open_episode(session, patient)
        today = clock().date()
        close_episode(session, owner, before, on=today, now=clock())
        make_episode(session, owner, patient, opened_on=today)
    empty = weekly([])
    text = weekly(["19.0", "18.0"])

    assert "Nothing of this episode yet" in empty
    assert "25.0" not in course_of(text)
    assert "First 19.0 s" in course_of(text)
    assert found(text, "section:last-of-type").text().count("earlier episode") == 1


@pytest.mark.parametrize(("plan", "good"), [("maintain", True), ("restore", False)])
def test_no_change_is_a_good_result_where_the_plan_is_to_maintain(
    weekly: Weekly, site: Site, plan: str, good: bool
) -> None:
    with write_session(site.engine) as session:
        episode = open_episode(session, session.exec(select(Patient)).one())
        episode.plan = plan
        session.add(episode)
    said = course_of(weekly(["16.0", "16.1"]))

    assert "Within measurement error" in said
    assert ("no change beyond the error is a good result" in said) is good


def test_first_test_of_an_episode_is_no_course_of_many(
    therapist: TestClient, patient_id: int
) -> None:
    done(therapist, patient_id, STANDS, "19.9")
    text = therapist.get(f"/patients/{patient_id}/measures/{STANDS}").text

    assert "First" not in course_of(text)
    assert "Last 19.9 s" in course_of(text)
