"""Past rounds from a file: who may write them, and which care and visit they join."""

from datetime import date, timedelta

import pytest
from sqlmodel import Session, select

from app.storage.audit import AuditEntry, verify
from app.storage.database import write_session
from app.storage.episodes import Episode, Visit
from app.storage.errors import NotFound
from app.storage.past_rounds import (
    PastRound,
    PastTrial,
    care_on,
    is_imported,
    keep_rounds,
    kept_among,
    marks_of_import,
)
from app.storage.people import Person
from app.storage.trials import Round, Trial, TrialBody
from tests.make import NOW, TODAY, ZONE, make_episode, make_patient, new_uid
from tests.storage.conftest import Ward

DAY = TODAY - timedelta(days=30)


def past(on: date = DAY, voided: str = "") -> PastRound:
    body = TrialBody(raw_ms=16_240, clocks=marks_of_import("ward3"))
    trials = (PastTrial(body), PastTrial(body, voided))
    return PastRound(new_uid(), on, "timed_up_and_go", "", {"device": "cane"}, trials)


def keep(session: Session, ward: Ward, me: Person, told: PastRound) -> Round:
    (kept,) = keep_rounds(session, me, ward.patient, [told], now=NOW, zone=ZONE)
    return kept


@pytest.mark.parametrize("who", ["outsider", "student"])
def test_stranger_writes_none(ward: Ward, who: str) -> None:
    with write_session(ward.engine) as session, pytest.raises(NotFound):
        keep(session, ward, getattr(ward, who), past())


def test_round_is_the_importers_and_its_trials_are_marked(ward: Ward) -> None:
    told = past(voided="slid")
    with write_session(ward.engine) as session:
        round = keep(session, ward, ward.supervisor, told)
        trials = session.exec(select(Trial).where(Trial.round_id == round.id)).all()
        last = session.exec(select(AuditEntry).where(AuditEntry.subject == "round"))
        deeds = [entry.deed for entry in last]

    assert round.person_id == ward.supervisor.id
    assert [trial.place for trial in trials] == [1, 2]
    assert all(is_imported(trial) for trial in trials)
    assert [trial.void_reason for trial in trials] == [None, "slid"]
    assert deeds == ["started_round", "imported_round"]


def test_rounds_of_one_day_share_their_visit(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        rounds = [keep(session, ward, ward.supervisor, past()) for _ in range(2)]
        visit = session.get_one(Visit, rounds[0].visit_id)

    assert rounds[0].visit_id == rounds[1].visit_id
    assert visit.local_date == DAY
    assert visit.started_at.astimezone(ZONE).date() == DAY


def test_kept_round_is_known_by_its_id(ward: Ward) -> None:
    told = past()
    with write_session(ward.engine) as session:
        before = kept_among(session, [told.uid])
        keep(session, ward, ward.supervisor, told)

        assert not before
        assert kept_among(session, [told.uid, new_uid()]) == {told.uid}


@pytest.mark.parametrize(
    ("day", "found"),
    [
        (date(2024, 12, 1), "first"),
        (date(2025, 1, 1), "first"),
        (date(2025, 2, 1), "first"),
        (date(2025, 2, 20), "first"),
        (date(2025, 3, 20), "second"),
        (date(2025, 4, 1), "second"),
        (date(2026, 3, 1), "second"),
    ],
)
def test_day_belongs_to_its_care_or_the_nearest(
    ward: Ward, day: date, found: str
) -> None:
    with write_session(ward.engine) as session:
        who = make_patient(session, ward.therapist, label="Green 2")
        first, second = (
            make_episode(session, ward.therapist, who, reason=name, opened_on=opened)
            for name, opened in (
                ("first", date(2025, 1, 1)),
                ("second", date(2025, 4, 1)),
            )
        )
        first.closed_on = date(2025, 2, 1)
        session.flush()

        assert care_on([first, second], day).reason == found


def test_later_of_two_open_cares_counts(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        make_episode(session, ward.therapist, ward.patient, reason="again")
        kept = keep(session, ward, ward.supervisor, past(TODAY))
        visit = session.get_one(Visit, kept.visit_id)

        assert session.get_one(Episode, visit.episode_id).reason == "again"


def test_who_has_no_care_gets_no_round(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        who = make_patient(session, ward.therapist, label="Green 2")
        with pytest.raises(NotFound):
            keep_rounds(session, ward.supervisor, who, [past()], now=NOW, zone=ZONE)


def test_many_rounds_are_one_visit_a_day_and_an_unbroken_trail(ward: Ward) -> None:
    told = [past(DAY), past(TODAY), past(DAY)]
    with write_session(ward.engine) as session:
        kept = keep_rounds(
            session, ward.supervisor, ward.patient, told, now=NOW, zone=ZONE
        )
        visits = [session.get_one(Visit, round.visit_id) for round in kept]

        assert [visit.local_date for visit in visits] == [DAY, TODAY, DAY]
        assert visits[0] is visits[2]
        assert [round.uid for round in kept] == [each.uid for each in told]
        assert verify(session) is None
