"""Trials: kept once, never edited, never lost."""

import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from app.storage import trials
from app.storage.database import read_session, write_session
from app.storage.errors import NotFound, SameIdOtherBody
from app.storage.people import Person
from app.storage.trials import Round, Trial, TrialBody
from tests.asked import Query
from tests.make import (
    NOW,
    TIMED,
    make_episode,
    make_patient,
    make_round,
    make_trial,
    make_visit,
    new_uid,
)
from tests.storage.conftest import Ward

REACHED = TrialBody(
    raw_value="9.50",
    raw_unit="in",
    start_mark="3.25",
    end_mark="12.75",
    inputs={"arm": "right"},
    clocks={"origin": 1_772_443_800_123.4, "hidden": False},
)
COUNTED = TrialBody(count=12)
UNABLE = TrialBody(outcome="unable", reason="pain")
STOPPED = TrialBody(outcome="stopped", reason="dizzy", splits_ms=[2_000])


def record(
    session: Session, person: Person, round: Round, uid: str, body: TrialBody = TIMED
) -> tuple[Trial, bool]:
    return trials.record_trial(session, person, round, uid=uid, body=body, now=NOW)


def body_of(trial: Trial) -> TrialBody:
    return TrialBody(**{name: getattr(trial, name) for name in TrialBody.__slots__})


@pytest.mark.parametrize(
    "body",
    [TIMED, REACHED, COUNTED, UNABLE, STOPPED, replace(TIMED, practice=True)],
    ids=["timed", "reached", "counted", "unable", "stopped", "practice"],
)
def test_trial_comes_back_as_it_was_sent(ward: Ward, body: TrialBody) -> None:
    with write_session(ward.engine) as session:
        make_trial(session, ward.therapist, ward.round, body)

    with read_session(ward.engine) as session:
        (kept,) = trials.trials_of(session, ward.round)
    assert body_of(kept) == body
    assert (kept.recorded_at, kept.recorded_by) == (NOW, ward.therapist.id)


def test_trials_stand_in_the_order_they_came(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        sent = [make_trial(session, ward.therapist, ward.round).id for _ in range(3)]
        kept = trials.trials_of(session, ward.round)

    assert [(t.id, t.place) for t in kept] == list(zip(sent, (1, 2, 3), strict=True))


def test_same_id_and_body_are_kept_once(ward: Ward) -> None:
    uid = new_uid()
    with write_session(ward.engine) as session:
        first, is_new = record(session, ward.therapist, ward.round, uid)
    with write_session(ward.engine) as session:
        again, is_new_again = record(session, ward.therapist, ward.round, uid)

        assert len(trials.trials_of(session, ward.round)) == 1
    assert (first.id, is_new, is_new_again) == (again.id, True, False)


@pytest.mark.parametrize(
    "other",
    [
        replace(TIMED, raw_ms=16_241),
        replace(TIMED, splits_ms=[]),
        replace(TIMED, practice=True),
        replace(TIMED, clocks={"hidden": True}),
        UNABLE,
    ],
    ids=["time", "splits", "practice", "clocks", "outcome"],
)
def test_same_id_with_another_body_is_refused(ward: Ward, other: TrialBody) -> None:
    uid = new_uid()
    with write_session(ward.engine) as session:
        record(session, ward.therapist, ward.round, uid)

    with write_session(ward.engine) as session, pytest.raises(SameIdOtherBody):
        record(session, ward.therapist, ward.round, uid, other)

    with read_session(ward.engine) as session:
        (kept,) = trials.trials_of(session, ward.round)
        assert body_of(kept) == TIMED


def test_same_id_from_another_person_is_refused(ward: Ward) -> None:
    uid = new_uid()
    with write_session(ward.engine) as session:
        record(session, ward.therapist, ward.round, uid)

        with pytest.raises(SameIdOtherBody):
            record(session, ward.supervisor, ward.round, uid)


def test_same_id_in_another_round_is_refused(ward: Ward) -> None:
    uid = new_uid()
    with write_session(ward.engine) as session:
        record(session, ward.therapist, ward.round, uid)
        other = make_round(session, ward.therapist, ward.visit)

        with pytest.raises(SameIdOtherBody):
            record(session, ward.therapist, other, uid)


def test_five_threads_with_one_id_keep_one_trial(ward: Ward) -> None:
    uid = new_uid()
    together = threading.Barrier(5)
    answers: list[tuple[int, bool]] = []

    def send() -> None:
        together.wait()
        with write_session(ward.engine) as session:
            trial, is_new = record(session, ward.therapist, ward.round, uid)
            answers.append((trial.id, is_new))

    threads = [threading.Thread(target=send) for _ in range(5)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    with read_session(ward.engine) as session:
        (kept,) = trials.trials_of(session, ward.round)
    assert sorted(answers) == [(kept.id, False)] * 4 + [(kept.id, True)]


@pytest.mark.parametrize(
    "body",
    [
        TrialBody(),
        replace(TIMED, count=3),
        replace(UNABLE, raw_ms=16_240),
        replace(TIMED, raw_ms=0),
        replace(TIMED, raw_ms=36_000_001),
        TrialBody(raw_value="9.5"),
    ],
    ids=["none", "two", "unable with one", "zero", "too long", "without unit"],
)
def test_trial_with_a_wrong_number_is_not_kept(ward: Ward, body: TrialBody) -> None:
    with write_session(ward.engine) as session, pytest.raises(IntegrityError):
        record(session, ward.therapist, ward.round, new_uid(), body)


def test_voided_trial_stays_as_it_was(ward: Ward) -> None:
    later = NOW + timedelta(minutes=5)
    with write_session(ward.engine) as session:
        trial = make_trial(session, ward.therapist, ward.round)
        trials.void_trial(
            session, ward.supervisor, trial, reason="chair slid", now=later
        )

    with read_session(ward.engine) as session:
        (kept,) = trials.trials_of(session, ward.round)
    assert body_of(kept) == TIMED
    assert (kept.voided_at, kept.voided_by, kept.void_reason) == (
        later,
        ward.supervisor.id,
        "chair slid",
    )


def test_voiding_twice_keeps_the_first_reason(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        trial = make_trial(session, ward.therapist, ward.round)
        for reason in ("chair slid", "second thoughts"):
            trials.void_trial(session, ward.therapist, trial, reason=reason, now=NOW)

    assert trial.void_reason == "chair slid"


def test_voiding_needs_a_reason(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        trial = make_trial(session, ward.therapist, ward.round)

    with write_session(ward.engine) as session, pytest.raises(IntegrityError):
        trials.void_trial(session, ward.therapist, trial, reason="", now=NOW)


def test_place_of_a_voided_trial_is_not_given_again(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        first = make_trial(session, ward.therapist, ward.round)
        trials.void_trial(session, ward.therapist, first, reason="slid", now=NOW)

        assert make_trial(session, ward.therapist, ward.round).place == 2


def test_replay_of_a_voided_trial_finds_it_voided(ward: Ward) -> None:
    uid = new_uid()
    with write_session(ward.engine) as session:
        trial, _ = record(session, ward.therapist, ward.round, uid)
        trials.void_trial(session, ward.therapist, trial, reason="slid", now=NOW)
        again, is_new = record(session, ward.therapist, ward.round, uid)

    assert (again.id, again.void_reason, is_new) == (trial.id, "slid", False)


@pytest.mark.parametrize("who", ["outsider", "student"])
def test_unassigned_people_reach_no_trial(ward: Ward, who: str) -> None:
    person: Person = getattr(ward, who)
    with write_session(ward.engine) as session:
        trial = make_trial(session, ward.therapist, ward.round)

        for deed in (
            lambda: trials.round_for(session, person, ward.round.id),
            lambda: trials.trial_for(session, person, trial.id),
            lambda: record(session, person, ward.round, new_uid()),
            lambda: make_round(session, person, ward.visit),
            lambda: trials.void_trial(session, person, trial, reason="x", now=NOW),
        ):
            with pytest.raises(NotFound):
                deed()


def test_owner_finds_round_and_trial(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        trial = make_trial(session, ward.therapist, ward.round)

        assert trials.round_for(session, ward.therapist, ward.round.id) == ward.round
        assert trials.trial_for(session, ward.therapist, trial.id) is trial


@pytest.mark.parametrize("fetch", [trials.round_for, trials.trial_for])
def test_missing_round_or_trial_is_not_found(
    ward: Ward, fetch: Callable[[Session, Person, int], object]
) -> None:
    with read_session(ward.engine) as session, pytest.raises(NotFound):
        fetch(session, ward.therapist, 99_999)


def test_same_round_id_begins_one_round(ward: Ward) -> None:
    """Even when the repeat arrives the day after, on another visit."""
    with write_session(ward.engine) as session:
        tomorrow = make_visit(
            session, ward.therapist, ward.episode, now=NOW + timedelta(days=1)
        )
        again = make_round(session, ward.therapist, tomorrow, uid=ward.round.uid)

    assert again.id == ward.round.id
    assert again.visit_id == ward.visit.id


@pytest.mark.parametrize(
    "other",
    [{"measure": "functional_reach"}, {"variant": "x"}, {"facts": {"device": "cane"}}],
    ids=["measure", "variant", "facts"],
)
def test_same_round_id_with_another_body_is_refused(
    ward: Ward, other: dict[str, object]
) -> None:
    with write_session(ward.engine) as session, pytest.raises(SameIdOtherBody):
        make_round(
            session,
            ward.therapist,
            ward.visit,
            uid=ward.round.uid,
            **other,  # type: ignore[arg-type]
        )


def test_rounds_come_oldest_first_with_their_trials(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        tomorrow = make_visit(
            session, ward.therapist, ward.episode, now=NOW + timedelta(days=1)
        )
        later = make_round(session, ward.therapist, tomorrow)
        reach = make_round(
            session, ward.therapist, ward.visit, measure="functional_reach"
        )
        for round in (later, ward.round, ward.round):
            make_trial(session, ward.therapist, round)
        found = trials.rounds_of(session, ward.patient.id)
        timed = trials.rounds_of(session, ward.patient.id, "timed_up_and_go")

    assert [(r.round.id, len(r.trials)) for r in found] == [
        (ward.round.id, 2),
        (reach.id, 0),
        (later.id, 1),
    ]
    assert [r.round.id for r in timed] == [ward.round.id, later.id]
    assert found[2].on_date == found[0].on_date + timedelta(days=1)


def test_rounds_of_another_patient_stay_out(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        other = make_patient(session, ward.therapist, label="Red 1")
        episode = make_episode(session, ward.therapist, other)
        visit = make_visit(session, ward.therapist, episode)
        make_trial(session, ward.therapist, make_round(session, ward.therapist, visit))

        (only,) = trials.rounds_of(session, ward.patient.id)
    assert only.round.id == ward.round.id
    assert only.trials == ()


def test_many_rounds_take_two_queries(ward: Ward, reached: list[Query]) -> None:
    with write_session(ward.engine) as session:
        for _ in range(30):
            round = make_round(session, ward.therapist, ward.visit)
            make_trial(session, ward.therapist, round)

    reached.clear()
    with read_session(ward.engine) as session:
        found = trials.rounds_of(session, ward.patient.id)

    assert len(found) == 31
    assert len(reached) == 2
