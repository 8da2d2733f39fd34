"""Scores as kept beside their rounds."""

from dataclasses import replace
from datetime import timedelta

from sqlmodel import Session, select

from app.storage import scores
from app.storage.database import read_session, write_session
from app.storage.scores import DerivedScore, Score
from tests.make import (
    NOW,
    SCORED,
    make_episode,
    make_patient,
    make_round,
    make_score,
    make_visit,
)
from tests.storage.conftest import Ward

LATER = NOW + timedelta(days=1)
UNABLE = DerivedScore(
    outcome="unable",
    value=None,
    unit="s",
    variant="mean_of_two",
    edition="edition-2",
    lead_says="could not do it",
    lead_source="someone2001",
    lead_crossed=True,
    change_verdict="newly unable",
)
DECLINED = replace(SCORED, outcome="declined", value=None)


def test_score_knows_whose_it_is_and_of_which_day(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        make_score(session, ward.round)

    with read_session(ward.engine) as session:
        kept = session.exec(select(Score)).one()
    assert (kept.patient_id, kept.on_date, kept.measure, kept.value, kept.unit) == (
        ward.patient.id,
        ward.visit.local_date,
        "timed_up_and_go",
        "16.2",
        "s",
    )


def test_newer_score_takes_the_place_of_the_older(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        make_score(session, ward.round)
    with write_session(ward.engine) as session:
        make_score(session, ward.round, UNABLE, now=LATER)

    with read_session(ward.engine) as session:
        kept = session.exec(select(Score)).one()
    derived = {name: getattr(kept, name) for name in DerivedScore.__slots__}
    assert DerivedScore(**derived) == UNABLE
    assert kept.computed_at == LATER


def test_dropped_score_is_gone(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        make_score(session, ward.round)
        scores.drop_score(session, ward.round)
        scores.drop_score(session, ward.round)

        assert not scores.scores_of(session, [ward.patient.id])


def test_scores_come_by_patient_oldest_first(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        other = make_patient(session, ward.therapist, label="Red 1")
        episode = make_episode(session, ward.therapist, other)
        third = make_round(
            session,
            ward.therapist,
            make_visit(session, ward.therapist, episode),
            measure="functional_reach",
        )
        tomorrow = make_visit(session, ward.therapist, ward.episode, now=LATER)
        second = make_round(session, ward.therapist, tomorrow)
        for round in (third, second, ward.round):
            make_score(session, round, replace(SCORED, variant=str(round.id)))
        both = [ward.patient.id, other.id]

        of_both = scores.scores_of(session, both)
        of_one = scores.scores_of(session, both, "functional_reach")
        of_nobody = scores.scores_of(session, [])

    assert [s.round_id for s in of_both] == [ward.round.id, second.id, third.id]
    assert [s.round_id for s in of_one] == [third.id]
    assert of_nobody == []


def test_latest_try_is_marked_whatever_is_written_dropped_or_refused(
    ward: Ward,
) -> None:
    with write_session(ward.engine) as session:
        tomorrow = make_visit(session, ward.therapist, ward.episode, now=LATER)
        second = make_round(session, ward.therapist, tomorrow)
        third = make_round(session, ward.therapist, tomorrow)
        for round in (second, ward.round):
            make_score(session, round)
        after_two = _marks(session)
        make_score(session, third, DECLINED)
        after_refusal = _marks(session)
        scores.drop_score(session, second)
        after_drop = _marks(session)

        assert after_two == {ward.round.id: (False, False), second.id: (True, True)}
        assert after_refusal == {**after_two, third.id: (False, False)}
        assert after_drop == {ward.round.id: (True, False), third.id: (False, False)}
        assert not scores.wrongly_marked(session)


def test_wrong_mark_is_found_and_made_right(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        make_score(session, ward.round).again = True
        session.flush()
        found = list(scores.wrongly_marked(session))
        scores.mark_all_newest(session, ward.patient.id)

        assert found == [ward.patient.id]
        assert not scores.wrongly_marked(session)


def _marks(session: Session) -> dict[int, tuple[bool, bool]]:
    rows = session.exec(select(Score)).all()
    return {row.round_id: (row.newest, row.again) for row in rows}
