"""An episode by days: the picture and the table say the same, in as many queries."""

from collections.abc import Callable, Iterable
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from selectolax.lexbor import LexborHTMLParser
from starlette.testclient import TestClient

from app.catalogue.load import catalogue
from app.clinical.doing import DoneSet
from app.clinical.timeline import ROOMS, Seen
from app.storage.database import write_session
from app.storage.episodes import Episode, Visit, close_episode, open_episode
from app.storage.goal_rows import GoalBody, GoalRow
from app.storage.observations import SymptomCheck, record
from app.storage.patients import Patient, PatientDetails
from app.storage.precautions import PrecautionOnEpisode, end_precaution
from app.storage.safety import record_answers
from app.storage.trials import Round, RoundTrials, Trial, TrialBody
from app.storage.visits import miss
from app.web.care_facts import Care, span_of
from app.web.deps import Site
from app.web.episode_picture import CarePicture, care_picture
from tests.asked import queries
from tests.conftest import Clock, found, person_by
from tests.make import (
    make_episode,
    make_goal,
    make_patient,
    make_precaution,
    make_round,
    make_trial,
    make_visit,
    new_uid,
)
from tests.sets import make_set

SHELF = catalogue()
STANDS, TUG, REACH = "five_times_sit_to_stand", "timed_up_and_go", "functional_reach"
TODAY = date(2026, 3, 2)


def in_room(pieces: Iterable[Seen[Any]], room: str) -> list[Any]:
    return [seen.it for seen in pieces if f"no-{room}" not in seen.hide.split()]


def drawn_facts(view: CarePicture, room: str) -> set[int]:
    """The facts that the marks of a width stand for."""
    facts: set[int] = set()
    rows = [
        *view.rows,
        *(lane.row for lane in view.tests + view.activities if lane.row),
    ]
    for row in rows:
        facts |= {fact for mark in in_room(row.marks, room) for fact in mark.of}
    for lane in (lane.view for lane in view.tests + view.activities if lane.view):
        facts |= {fact for mark in in_room(lane.marks, room) for fact in mark.of}
        facts |= {part.of for part in (lane.notch, lane.bracket) if part is not None}
    for bar in view.goals + view.orders:
        facts |= {fact for mark in bar.bar.marks for fact in mark.of}
    return facts


def day_of(number: int) -> date:
    return TODAY - timedelta(days=400 - number)


def at(day: date) -> datetime:
    return datetime.combine(day, time(9), ZoneInfo("UTC"))


def kept_round(number: int, day: int, measure: str, ms: int | None) -> RoundTrials:
    """A round of one trial, on the visit of that day; None: unable."""
    of = Round(
        id=number, uid=new_uid(), visit_id=day + 1, person_id=1,
        measure=measure, variant="",
        facts={"device": "none" if number % 3 else "cane"}, created_at=at(day_of(day)),
    )  # fmt: skip
    trial = Trial(
        id=number, uid=new_uid(), round_id=number, place=1, clocks={},
        recorded_at=at(day_of(day)), recorded_by=1, body_hash="",
        practice=False, inputs={}, splits_ms=[],
        reason="" if ms else "pain", outcome="completed" if ms else "unable", raw_ms=ms,
    )  # fmt: skip
    return RoundTrials(of, day_of(day), (trial,))


def done(day: int, grade: int, outcome: str) -> DoneSet:
    return DoneSet(
        activity="R01", on=day_of(day), visit_id=day + 1, grade=Decimal(grade),
        at=at(day_of(day)), numbers={"reps": 8}, outcome=outcome,
    )  # fmt: skip


def invented(
    days: list[int],
    scores: list[tuple[int, str, int | None]],
    sets: list[tuple[int, int, str]],
    due: int,
) -> Care:
    """An episode out of nothing but these, none of it stored."""
    episode = Episode(
        id=1, patient_id=1, reason="r", setting="community", plan="restore",
        opened_on=day_of(0),
    )  # fmt: skip
    every = {*days, *(s[0] for s in scores), *(s[0] for s in sets)}
    visits = [
        Visit(
            id=day + 1, uid=new_uid(), episode_id=1, person_id=1, zone="UTC",
            local_date=day_of(day),
            started_at=at(day_of(day)),
            kind="missed" if day % 9 == 8 else "treatment",
        )
        for day in sorted(every)
    ]  # fmt: skip
    rounds: dict[str, list[RoundTrials]] = {}
    for number, (day, measure, ms) in enumerate(sorted(scores, key=lambda s: s[0]), 1):
        rounds.setdefault(measure, []).append(kept_round(number, day, measure, ms))
    goal = GoalRow(
        id=7, uid=new_uid(), recorded_at=at(TODAY), episode_id=1, number=1,
        term="short", who="patient", kind="score",
        measure=TUG, target_value="12.0", target_unit="s", by_date=day_of(due),
        set_on=day_of(3), set_by=1, task="kitchen", closed_on=day_of(due + 5),
        close_word="met",
    )  # fmt: skip
    order = PrecautionOnEpisode(id=1, episode_id=1, tag="ttwb_le", set_on=day_of(-30))
    return Care(
        shelf=SHELF, patient=_nobody(), episode=episode,
        details=PatientDetails(label="Blue 7", birth_year=1948, sex="female"),
        span=span_of(episode, visits, TODAY), visits=visits, rounds=rounds,
        sets=[done(*s) for s in sorted(sets, key=lambda s: s[0])], goals=[goal],
        stops=[], falls=[], precautions=[order],
    )  # fmt: skip


def _nobody() -> Patient:
    return Patient(
        id=1, uid=new_uid(), label="Blue 7", is_demo=False, created_at=at(TODAY)
    )  # fmt: skip


def test_missed_visit_without_a_reason_is_given_none() -> None:
    view = care_picture(invented([0, 8], [], [], 30), TODAY)
    (missed,) = [fact for fact in view.table if fact.what == "Missed visit"]

    assert missed.words == "the reason was not noted"


some_day = st.integers(0, 390)


@given(
    st.lists(some_day, max_size=30),
    st.lists(
        st.tuples(
            some_day, st.sampled_from([STANDS, TUG]),
            st.one_of(st.none(), st.integers(6_000, 60_000)),
        ),
        max_size=25,
    ),
    st.lists(
        st.tuples(
            some_day, st.integers(17, 21),
            st.sampled_from(["done", "stopped", "declined"]),
        ),
        max_size=15,
    ),
    st.integers(5, 600),
)  # fmt: skip
@settings(max_examples=25)
def test_picture_and_table_hold_the_same_facts(
    days: list[int],
    scores: list[tuple[int, str, int | None]],
    sets: list[tuple[int, int, str]],
    due: int,
) -> None:
    view = care_picture(invented(days, scores, sets, due), TODAY)
    rows = {fact.key for fact in view.table}

    assert len(rows) == len(view.table)
    for room in ROOMS:
        assert drawn_facts(view, room.name) == rows, room.name
    in_order = [fact.day for fact in view.table]
    assert in_order == sorted(in_order)
    told = [fact for fact in view.table if fact.what == "Timed Up and Go"]
    assert len(told) == sum(1 for _, measure, _ in scores if measure == TUG)
    numbers = sum(1 for _, measure, ms in scores if measure == TUG and ms)
    assert sum(1 for fact in told if fact.number and fact.unit == "s") == numbers


def weeks(site: Site, patient_id: int, visits: int, measures: int) -> int:
    """Twice a week everything that a picture draws; the number of the episode."""
    tests = (STANDS, TUG, "turn_360", "four_square_step")[:measures]
    with write_session(site.engine) as session:
        me = person_by(session, "therapist")
        episode = open_episode(session, session.get_one(Patient, patient_id))
        for place in range(visits):
            now = site.clock() - timedelta(days=3 * (visits - place))
            visit = make_visit(session, me, episode, now=now)
            if place % 4 == 3:
                miss(session, me, visit, reason="pain", told="", again="", now=now)
                continue
            for measure in tests:
                round = make_round(session, me, visit, measure=measure, now=now)
                body = TrialBody(raw_ms=20_000 - 100 * place)
                make_trial(session, me, round, body, now=now)
            make_set(session, me, visit, "R01", at=now, grade=str(21 - place % 3))
            said = {"fell": "yes" if place % 5 == 4 else "no"}
            record(session, me, visit, SymptomCheck, said, uid=new_uid(), now=now)
        make_set(session, me, visit, "R01", at=now, grade="20", outcome="stopped")
        _stopped(session, me, visit, now)
        start = episode.opened_on - timedelta(days=3 * visits)
        tag = make_precaution(session, me, episode, set_on=start)
        end_precaution(session, me, tag, on=start + timedelta(days=2), now=now)
        for number in range(measures):
            make_goal(session, me, episode, _goal(tests[number]))
        return episode.id


def _stopped(session: Any, me: Any, visit: Visit, now: datetime) -> None:
    round = make_round(session, me, visit, measure=STANDS, now=now)
    trial = make_trial(session, me, round, TrialBody(outcome="stopped"), now=now)
    record_answers(session, me, trial.id, {"what": "fell"}, base_id=None, now=now)


def _goal(measure: str) -> GoalBody:
    return GoalBody(
        term="short", who="patient", kind="score", by_date=TODAY + timedelta(days=9),
        task="kitchen", measure=measure, target_value="12.0", target_unit="s",
    )  # fmt: skip


def picture(client: TestClient, patient_id: int, episode_id: int) -> str:
    answer = client.get(f"/patients/{patient_id}/episodes/{episode_id}/picture")
    assert answer.status_code == 200
    return answer.text


def test_everything_stands_on_one_axis_and_in_the_table(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    episode_id = weeks(site, patient_id, 8, 2)
    page = picture(therapist, patient_id, episode_id)
    text = " ".join(found(page, "main").text(separator=" ").split())
    names = [n.text() for n in LexborHTMLParser(page).css("svg.care > text")]
    rows = LexborHTMLParser(page).css(".care-table tbody tr")

    assert "6 visits, 2 missed; 2 stops, 2 falls." in text
    assert {"Visits", "Missed", "Stops", "Falls"} <= set(names)
    assert "First 20.0 s, 6 Feb; last 19.4 s, 24 Feb." in text
    assert "Goal 1: 12.0 s or less, by 11 Mar" in text
    assert "Stopped for safety: Five times sit to stand: fell" in text
    assert "Order, 6 Feb to 8 Feb" in text
    assert len(LexborHTMLParser(page).css(".care-days")) == 2
    said = [[c.text() for c in row.css("th, td")] for row in rows]
    assert ["6 Feb", "Timed Up and Go", "20.0", "s", ""] in said
    assert ["15 Feb", "Missed visit", "", "", "pain"] in said
    due = next(row for row in said if row[1] == "Goal 2: due")
    assert due[:1] + due[2:4] == ["11 Mar", "12.0", "s"]
    assert "12.0 s or less, by 11 Mar" in due[4]
    assert "style=" not in found(page, "main").html  # type: ignore[operator]


def test_tests_lead_to_their_history(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    page = picture(therapist, patient_id, weeks(site, patient_id, 3, 1))

    assert found(page, f"h3 a[href='/patients/{patient_id}/measures/{STANDS}']")
    assert found(page, f"h3 a[href='/patients/{patient_id}/doses?activity=R01']")


@pytest.mark.parametrize("from_page", ["", "/episodes"])
def test_brief_and_episode_lead_here(
    therapist: TestClient, patient_id: int, from_page: str
) -> None:
    page = therapist.get(f"/patients/{patient_id}{from_page}").text

    assert found(page, f"a[href='/patients/{patient_id}/episodes/1/picture']")


def test_empty_episode_says_what_to_do(therapist: TestClient, patient_id: int) -> None:
    page = picture(therapist, patient_id, 1)

    assert "Do a test: its score stands here at its day." in page
    assert found(page, f"main a[href='/patients/{patient_id}/measures']")
    assert 'svg class="care' not in page


def test_closed_episode_ends_at_its_last_day_and_keeps_to_itself(
    sign_in_as: Callable[[str], TestClient], site: Site, patient_id: int, clock: Clock
) -> None:
    episode_id = weeks(site, patient_id, 8, 1)
    with write_session(site.engine) as session:
        me = person_by(session, "therapist")
        episode = session.get_one(Episode, episode_id)
        close_episode(
            session, me, episode, on=episode.opened_on, why="goals_met", now=clock()
        )
        patient = session.get_one(Patient, patient_id)
        later = make_episode(session, me, patient).id
    clock.move(days=10)
    therapist = sign_in_as("therapist")
    page = picture(therapist, patient_id, episode_id)
    ends = {n.text() for n in LexborHTMLParser(page).css(".care-days .end")}

    assert "closed: goals met" in page
    assert ends == {"6 Feb", "2 Mar"}
    assert "Do a test" in picture(therapist, patient_id, later)


def test_episode_of_another_patient_is_not_found(
    therapist: TestClient, outsider: TestClient, site: Site, patient_id: int
) -> None:
    with write_session(site.engine) as session:
        mine = make_patient(session, person_by(session, "therapist"), label="Green 2")
        theirs = make_patient(session, person_by(session, "outsider"), label="Red 3")
        own = make_episode(session, person_by(session, "therapist"), mine).id
        other = make_episode(session, person_by(session, "outsider"), theirs).id

    def asked(client: TestClient, patient: int, episode: int) -> int:
        return client.get(f"/patients/{patient}/episodes/{episode}/picture").status_code

    assert asked(therapist, patient_id, own) == 404
    assert asked(therapist, patient_id, other) == 404
    assert asked(therapist, patient_id, 999) == 404
    assert asked(outsider, patient_id, 1) == 404
    assert asked(therapist, mine.id, own) == 200


def test_queries_do_not_grow_with_visits_or_tests(
    therapist: TestClient, site: Site, patient_id: int
) -> None:
    counts = []
    with write_session(site.engine) as session:
        me = person_by(session, "therapist")
        other = make_patient(session, me, label="Green 2")
        make_episode(session, me, other)
        bigger = other.id
    for of, visits, measures in ((patient_id, 6, 1), (bigger, 24, 4)):
        episode_id = weeks(site, of, visits, measures)
        picture(therapist, of, episode_id)  # the first one also writes who was here
        with queries(site.engine) as asked:
            picture(therapist, of, episode_id)
        counts.append(len(asked))

    assert counts[0] == counts[1]
    assert counts[1] <= 30
