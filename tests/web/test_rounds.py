"""Trials at the bedside: stored as they happen, read at once, never lost or doubled."""

import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest
from sqlmodel import col, select
from starlette.testclient import TestClient

from app.storage.database import read_session, write_session
from app.storage.episodes import Visit, open_episode
from app.storage.patients import Patient
from app.storage.scores import Score
from app.storage.trials import Round, Trial, trials_of
from app.web.deps import Site
from tests.conftest import Clock, found, person_by
from tests.make import TODAY, make_precaution
from tests.web.bedside import a_round, done, send

SignIn = Callable[[str], TestClient]
STANDS = "five_times_sit_to_stand"
REACH = "functional_reach"


def trials(site: Site) -> list[Trial]:
    with read_session(site.engine) as session:
        return list(session.exec(select(Trial).order_by(col(Trial.id))))


def the_score(site: Site) -> Score | None:
    with read_session(site.engine) as session:
        return session.exec(select(Score)).first()


def test_typed_time_is_stored_and_read(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    text = done(therapist, patient_id, STANDS, "16.2")

    assert [t.raw_ms for t in trials(site)] == [16200]
    assert "16.2" in found(text, ".value").text()
    assert "In the range linked with falls" in found(text, ".state").text()
    assert "Buatois" in text


def test_stopwatch_keeps_milliseconds_splits_and_clocks(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    send(
        therapist, url, raw_ms="16249", splits_ms="[3100, 6200]",
        clocks='{"resumed": true}',
    )  # fmt: skip
    (trial,) = trials(site)

    assert (trial.raw_ms, trial.splits_ms) == (16249, [3100, 6200])
    assert trial.clocks == {"resumed": True}
    assert "16.2" in found(therapist.get(url).text, ".value").text()


def test_htmx_gets_only_the_work(therapist: TestClient, patient_id: int) -> None:
    url = a_round(therapist, patient_id, STANDS)
    answer = therapist.post(
        f"{url}/trials",
        data={"uid": uuid4().hex, "typed": "16.2"},
        headers={"hx-request": "true"},
    )

    assert answer.status_code == 200
    assert answer.text.lstrip().startswith('<div id="work">')
    assert "16.2" in found(answer.text, ".value").text()


BAD = ["", "abc", "-3", "0", "0.00", "10000", "NaN", "1e2", "1_000", "12,5", "16.2345"]


@pytest.mark.parametrize("typed", BAD)
def test_bad_time_comes_back_beside_the_field(
    therapist: TestClient, patient_id: int, site: Site, typed: str
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    answer = send(therapist, url, typed=typed)

    assert answer.status_code == 422
    assert len(found(answer.text, "#typed-error").text()) > 15
    assert found(answer.text, "#typed").attributes["value"] == typed
    assert trials(site) == []


def test_refused_htmx_trial_is_only_its_form(
    therapist: TestClient, patient_id: int
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    answer = therapist.post(
        f"{url}/trials", data={"typed": "x"}, headers={"hx-request": "true"}
    )

    assert answer.status_code == 422
    assert answer.text.lstrip().startswith("<form")


@pytest.mark.parametrize(
    "fields",
    [
        {"distance": "130", "unit": "in"},
        {"distance": "9,5", "unit": "in"},
        {"start_mark": "10", "end_mark": "9", "unit": "in"},
        {"start_mark": "10", "end_mark": "", "unit": "in"},
        {"distance": "9.5", "unit": "ells"},
    ],
)
def test_bad_reach_comes_back_filled(
    therapist: TestClient, patient_id: int, site: Site, fields: dict[str, str]
) -> None:
    url = a_round(therapist, patient_id, REACH)
    answer = send(therapist, url, **fields)

    assert answer.status_code == 422
    assert found(answer.text, ".error").text()
    for name in ("distance", "start_mark", "end_mark"):
        if fields.get(name):
            typed = found(answer.text, f"#{name}").attributes["value"]
            assert typed == fields[name]
    assert trials(site) == []


def test_reach_needs_three_and_keeps_the_unit(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, REACH)
    send(therapist, url, distance="9.5", unit="in")
    send(therapist, url, start_mark="3", end_mark="13", unit="in")

    assert the_score(site) is None
    assert "trial 3 of 3" in therapist.get(url).text

    send(therapist, url, distance="10.5", unit="in")

    assert [t.raw_value for t in trials(site)] == ["9.5", "10", "10.5"]
    assert "10.3" in found(therapist.get(url).text, ".value").text()


def test_same_trial_five_times_at_once_is_one_row(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    body = {"uid": uuid4().hex, "raw_ms": "16200"}

    with ThreadPoolExecutor(5) as pool:
        answers = list(
            pool.map(lambda _: therapist.post(f"{url}/trials", data=body), range(5))
        )

    assert [a.status_code for a in answers] == [303] * 5
    assert len(trials(site)) == 1


def test_same_id_with_another_time_is_told(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    uid = uuid4().hex
    therapist.post(f"{url}/trials", data={"uid": uid, "raw_ms": "16200"})
    answer = therapist.post(f"{url}/trials", data={"uid": uid, "raw_ms": "17200"})

    assert answer.status_code == 409
    assert [t.raw_ms for t in trials(site)] == [16200]


def test_unable_is_a_result_with_its_reason(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    send(therapist, url, outcome="unable", reason="pain")
    score = the_score(site)

    assert score is not None
    assert (score.outcome, score.value) == ("unable", None)
    assert "Pain" in therapist.get(url).text


def test_unable_without_a_reason_is_asked_again(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    answer = send(therapist, url, outcome="unable")

    assert answer.status_code == 422
    assert "Choose why" in answer.text
    assert trials(site) == []


def test_stop_for_safety_keeps_the_time_without_a_score(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    send(therapist, url, outcome="stopped", raw_ms="4100")
    (trial,) = trials(site)

    assert (trial.outcome, trial.raw_ms) == ("stopped", None)
    assert trial.clocks["stopped_at_ms"] == 4100
    assert "Stopped for safety" in therapist.get(url).text


def test_void_keeps_the_row_and_takes_the_score_back(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    send(therapist, url, typed="16.2")
    (trial,) = trials(site)
    answer = therapist.post(
        f"/trials/{trial.id}/void", data={"void_reason": "The chair slid"}
    )

    assert answer.status_code == 303
    assert the_score(site) is None
    assert [t.void_reason for t in trials(site)] == ["The chair slid"]
    assert "The chair slid" in therapist.get(url).text


def test_void_without_a_reason_is_refused(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    send(therapist, url, typed="16.2")
    answer = therapist.post(f"/trials/{trials(site)[0].id}/void", data={})

    assert answer.status_code == 422
    assert the_score(site) is not None


def test_one_trial_too_many_is_kept_and_not_counted(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    """A second tab must not cost the first tab's score."""
    url = a_round(therapist, patient_id, STANDS)
    send(therapist, url, typed="16.2")
    send(therapist, url, typed="12.0")
    score = the_score(site)

    assert len(trials(site)) == 2
    assert score is not None
    assert score.value == "16.2"


def test_counting_answers_are_kept_with_the_trial(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, "tug_cognitive")
    fields = {"typed": "15", "input-numbers_said": "8", "input-errors": "1"}
    send(therapist, url, **fields)

    assert trials(site)[0].inputs == {"numbers_said": "8", "errors": "1"}


def test_bad_count_is_refused_beside_its_field(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, "tug_cognitive")
    answer = send(therapist, url, **{"typed": "15", "input-errors": "-1"})

    assert answer.status_code == 422
    assert "whole number" in found(answer.text, "#input-errors-error").text()
    assert trials(site) == []


def test_paired_test_of_the_day_gives_the_difference(
    therapist: TestClient, patient_id: int
) -> None:
    done(therapist, patient_id, "timed_up_and_go", "22.2")
    text = done(therapist, patient_id, "tug_manual", "27.2")

    assert "5.0 s" in text
    assert "-22.5 %" in text


def test_change_is_told_against_the_earlier_visit(
    sign_in_as: SignIn, patient_id: int, clock: Clock
) -> None:
    done(sign_in_as("therapist"), patient_id, STANDS, "19.9")
    clock.move(days=14)
    text = done(sign_in_as("therapist"), patient_id, STANDS, "16.2")

    assert "Real gain since 19.9 s: 3.7 s faster" in text


@pytest.mark.parametrize("who", ["colleague", "outsider", "student"])
def test_nobody_else_sees_or_adds_a_trial(
    request: pytest.FixtureRequest,
    therapist: TestClient,
    patient_id: int,
    site: Site,
    who: str,
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    other: TestClient = request.getfixturevalue(who)

    assert other.get(url).status_code == 404
    assert send(other, url, typed="16.2").status_code == 404
    assert trials(site) == []


def test_supervisor_sees_the_round(
    therapist: TestClient, supervisor: TestClient, patient_id: int
) -> None:
    url = a_round(therapist, patient_id, STANDS)

    assert supervisor.get(url).status_code == 200


def test_distance_and_marks_together_are_refused(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, REACH)
    fields = {"distance": "9", "start_mark": "10", "end_mark": "21.5", "unit": "in"}
    answer = send(therapist, url, **fields)

    assert answer.status_code == 422
    assert "not both" in found(answer.text, "#distance-error").text()
    assert trials(site) == []


def test_declined_without_a_reason_is_told_at_its_own_field(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    answer = send(therapist, url, outcome="declined")

    assert answer.status_code == 422
    assert found(answer.text, "#why-error").text()
    assert trials(site) == []


def test_what_was_not_counted_is_said(therapist: TestClient, patient_id: int) -> None:
    url = a_round(therapist, patient_id, "tug_cognitive")
    send(therapist, url, **{"typed": "15", "input-errors": "1"})
    text = therapist.get(url).text

    assert "Not counted: " in text
    assert "No plain test of the same day" in text


def test_precaution_stands_on_the_stopwatch_page(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        patient = session.get_one(Patient, patient_id)
        make_precaution(session, owner, open_episode(session, patient), "ortho_hypo")
    url = a_round(therapist, patient_id, STANDS)

    text = found(therapist.get(url).text, "form .caution").text()
    assert "Blood pressure drops on standing" in text


def test_marked_parts_have_their_names(therapist: TestClient, patient_id: int) -> None:
    url = a_round(therapist, patient_id, "timed_up_and_go")
    send(therapist, url, raw_ms="12000", splits_ms="[2100, 5200]")
    text = therapist.get(url).text

    assert "at 2.1 s" in text
    assert "part 1" not in text


def test_void_takes_back_what_was_read_against_it(
    sign_in_as: SignIn, patient_id: int, clock: Clock, site: Site
) -> None:
    done(sign_in_as("therapist"), patient_id, STANDS, "19.9")
    first = trials(site)[0]
    clock.move(days=14)
    client = sign_in_as("therapist")
    done(client, patient_id, STANDS, "16.2")
    assert "real gain" in client.get(f"/patients/{patient_id}").text
    client.post(f"/trials/{first.id}/void", data={"void_reason": "The chair slid"})

    assert "real gain" not in client.get(f"/patients/{patient_id}").text


def test_order_set_meanwhile_stands_on_the_stopwatch(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    with write_session(site.engine) as session:
        owner = person_by(session, "therapist")
        patient = session.get_one(Patient, patient_id)
        make_precaution(session, owner, open_episode(session, patient), "nwb_le")

    assert "Do not start" in found(therapist.get(url).text, "form .error").text()
    assert send(therapist, url, typed="16.2").status_code == 303  # nothing is lost


def test_marks_typed_with_their_unit_are_kept(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    url = a_round(therapist, patient_id, REACH)
    fields = {"start_mark": "0.0", "end_mark": "10.5in", "unit": "in"}

    assert send(therapist, url, **fields).status_code == 303
    assert (trials(site)[0].start_mark, trials(site)[0].end_mark) == ("0.0", "10.5")


@pytest.mark.parametrize(
    "fields",
    [
        {"raw_ms": "9" * 5000},
        {"typed": "16.2", "splits_ms": "[" * 5000},
        {"typed": "16.2", "clocks": '{"a": NaN}'},
        {"typed": "16.2", "uid": "xyz"},
        {"outcome": "stopped", "raw_ms": "9" * 5000},
    ],
)
def test_damaged_fields_never_break_the_server(
    therapist: TestClient, patient_id: int, fields: dict[str, str]
) -> None:
    url = a_round(therapist, patient_id, STANDS)

    assert send(therapist, url, **fields).status_code in (303, 422)


def wall(at: datetime) -> str:
    """The clocks of a stopwatch that was started then, as the phone sends them."""
    return json.dumps({"start": {"wall": at.timestamp() * 1000}})


def days(site: Site) -> list[tuple[date, list[int | None]]]:
    """Each round's day with its times."""
    with read_session(site.engine) as session:
        rounds = session.exec(
            select(Round, Visit)
            .join(Visit, col(Visit.id) == col(Round.visit_id))
            .order_by(col(Round.id))
        ).all()
        return [
            (visit.local_date, [t.raw_ms for t in trials_of(session, round)])
            for round, visit in rounds
        ]


def test_trial_of_another_day_begins_a_round_of_that_day(
    sign_in_as: SignIn, patient_id: int, site: Site, clock: Clock
) -> None:
    """Yesterday's unfinished test takes nothing of today's into its score."""
    therapist = sign_in_as("therapist")
    url = a_round(therapist, patient_id, "four_square_step")
    send(therapist, url, typed="11")
    clock.move(days=1)
    therapist = sign_in_as("therapist")
    sent = {"uid": uuid4().hex, "typed": "12"}
    first = therapist.post(f"{url}/trials", data=sent)
    again = therapist.post(f"{url}/trials", data=sent)

    yesterday, today = TODAY, TODAY + timedelta(days=1)
    assert days(site) == [(yesterday, [11_000]), (today, [12_000])]
    assert first.headers["location"] == again.headers["location"] != url
    assert "This test was begun on 2 Mar." in therapist.get(url).text
    assert "was begun on" not in therapist.get(first.headers["location"]).text


@pytest.mark.parametrize(
    ("taken", "arrives", "day"),
    [
        ("23:58", "00:03", 0),  # it arrives after midnight
        ("23:58", "60:00", 0),  # and after two days without a network
        ("00:02", "00:03", 1),
        ("12:00", "00:03", 1),  # a clock half a day ahead is not believed
    ],
)
def test_trial_counts_for_the_day_it_was_taken(
    sign_in_as: SignIn,
    patient_id: int,
    site: Site,
    clock: Clock,
    taken: str,
    arrives: str,
    day: int,
) -> None:
    clock.now = datetime(2026, 3, 2, 23, 50, tzinfo=UTC)
    url = a_round(sign_in_as("therapist"), patient_id, "four_square_step")
    midnight = datetime(2026, 3, 3, tzinfo=UTC)

    def at(text: str) -> datetime:
        hours, minutes = (int(part) for part in text.split(":"))
        return midnight + timedelta(hours=hours, minutes=minutes)

    clock.now = at(arrives)
    when = at(taken) - timedelta(days=1 if taken == "23:58" else 0)
    send(sign_in_as("therapist"), url, raw_ms="11000", clocks=wall(when))

    filled = [found_day for found_day, times in days(site) if times]
    assert filled == [date(2026, 3, 2) + timedelta(days=day)]


def test_typed_trial_says_when_it_was_taken(
    sign_in_as: SignIn, patient_id: int, site: Site, clock: Clock
) -> None:
    url = a_round(sign_in_as("therapist"), patient_id, REACH)
    taken = clock.now + timedelta(minutes=2)
    clock.move(days=1)
    stamp = str(int(taken.timestamp() * 1000))
    send(sign_in_as("therapist"), url, distance="9.5", unit="in", taken_at=stamp)

    assert [day for day, _ in days(site)] == [TODAY]


def test_slow_clock_never_dates_a_trial_before_its_round(
    sign_in_as: SignIn, patient_id: int, site: Site, clock: Clock
) -> None:
    clock.now = datetime(2026, 3, 3, 0, 10, tzinfo=UTC)
    therapist = sign_in_as("therapist")
    url = a_round(therapist, patient_id, STANDS)
    send(therapist, url, raw_ms="11000", clocks=wall(clock.now - timedelta(hours=1)))

    assert [day for day, _ in days(site)] == [date(2026, 3, 3)]


@pytest.mark.parametrize("sent", [{"raw_ms": "1200"}, {"typed": "1.2"}])
def test_unlikely_time_is_kept_when_somebody_stands_by_it(
    therapist: TestClient, patient_id: int, site: Site, sent: dict[str, str]
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    asked = send(therapist, url, **sent)
    kept = send(therapist, url, **sent, range_ok="yes")

    assert asked.status_code == 422
    assert "outside what a trial can be (3 to 180 s)" in asked.text
    assert found(asked.text, "input[type=checkbox][name=range_ok]")
    assert kept.status_code == 303
    assert [(t.raw_ms, t.clocks["range_ok"]) for t in trials(site)] == [(1200, True)]


@pytest.mark.parametrize("sent", [{"typed": "0"}, {"typed": "40000"}, {"typed": "x"}])
def test_standing_by_makes_no_number_of_what_is_none(
    therapist: TestClient, patient_id: int, site: Site, sent: dict[str, str]
) -> None:
    url = a_round(therapist, patient_id, STANDS)
    answer = send(therapist, url, **sent, range_ok="yes")

    assert answer.status_code == 422
    assert trials(site) == []


def test_answer_names_the_trial_it_holds(
    therapist: TestClient, patient_id: int
) -> None:
    """By this the phone knows that it may let go of it."""
    url = a_round(therapist, patient_id, STANDS)
    uid = uuid4().hex
    answer = therapist.post(f"{url}/trials", data={"uid": uid, "typed": "16.2"})
    refused = send(therapist, url, typed="x")

    assert answer.headers["tapeline-saved"] == uid
    assert "tapeline-saved" not in refused.headers


def test_trial_sent_again_after_midnight_finds_its_row(
    sign_in_as: SignIn, patient_id: int, site: Site, clock: Clock
) -> None:
    """The answer was lost; nothing said when it was taken."""
    clock.now = datetime(2026, 3, 2, 23, 50, tzinfo=UTC)
    therapist = sign_in_as("therapist")
    url = a_round(therapist, patient_id, STANDS)
    sent = {"uid": uuid4().hex, "typed": "12"}
    first = therapist.post(f"{url}/trials", data=sent)
    clock.now = datetime(2026, 3, 3, 0, 5, tzinfo=UTC)
    again = sign_in_as("therapist").post(f"{url}/trials", data=sent)

    assert (first.status_code, again.status_code) == (303, 303)
    assert [(day.day, times) for day, times in days(site)] == [(2, [12_000])]


def test_trial_of_another_round_under_the_same_id_is_refused(
    therapist: TestClient, patient_id: int, site: Site
) -> None:
    one = a_round(therapist, patient_id, STANDS)
    two = a_round(therapist, patient_id, "timed_up_and_go")
    uid = uuid4().hex
    therapist.post(f"{one}/trials", data={"uid": uid, "typed": "12"})
    answer = therapist.post(f"{two}/trials", data={"uid": uid, "typed": "13"})

    assert answer.status_code == 409
    assert [t.raw_ms for t in trials(site)] == [12_000]


def test_label_stands_above_every_page_of_a_test(
    therapist: TestClient, patient_id: int
) -> None:
    """Whose test it is, before anything is tapped."""
    url = a_round(therapist, patient_id, "timed_up_and_go")
    there = f"/patients/{patient_id}"
    for path in (
        there, f"{there}/measures", f"{there}/measures/timed_up_and_go",
        f"{there}/measures/timed_up_and_go/ready", url,
    ):  # fmt: skip
        assert "Blue 7" in found(therapist.get(path).text, "header .who").text(), path
