"""Episodes, what holds in them on a day, and one visit a day."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from sqlmodel import select

from app.storage import episodes, precautions
from app.storage.database import read_session, write_session
from app.storage.episodes import Visit, open_episode
from app.storage.errors import NotFound, SameIdOtherBody
from app.storage.precautions import precautions_on
from tests.make import NOW, TODAY, make_episode, make_precaution, make_visit, new_uid
from tests.storage.conftest import Ward

DAY = timedelta(days=1)


def test_latest_open_episode_is_the_one(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        later = make_episode(
            session, ward.therapist, ward.patient, opened_on=TODAY + DAY
        )
        make_episode(session, ward.therapist, ward.patient, opened_on=TODAY - DAY)

        assert open_episode(session, ward.patient).id == later.id


def test_patient_without_an_open_episode_is_told(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        episodes.close_episode(session, ward.therapist, ward.episode, on=TODAY, now=NOW)

        with pytest.raises(NotFound, match="no open episode"):
            open_episode(session, ward.patient)


def test_outsider_opens_no_episode(ward: Ward) -> None:
    with write_session(ward.engine) as session, pytest.raises(NotFound):
        make_episode(session, ward.outsider, ward.patient)


@pytest.mark.parametrize(
    ("day", "holds"),
    [
        (TODAY - DAY, False),
        (TODAY, True),
        (TODAY + 4 * DAY, True),
        (TODAY + 5 * DAY, False),
    ],
    ids=["the day before", "when set", "the last day", "when lifted"],
)
def test_precaution_holds_until_it_is_lifted(
    ward: Ward, day: date, holds: bool
) -> None:
    with write_session(ward.engine) as session:
        precaution = make_precaution(session, ward.therapist, ward.episode)
        precautions.end_precaution(
            session, ward.therapist, precaution, on=TODAY + 5 * DAY, now=NOW
        )
        found = precautions_on(session, ward.episode, day)

    assert [p.tag for p in found] == ["ttwb_le"] * holds


def test_passed_review_date_lifts_nothing(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        make_precaution(session, ward.therapist, ward.episode, review_on=TODAY)

        assert precautions_on(session, ward.episode, TODAY + 30 * DAY)


def test_outsider_neither_sets_nor_lifts_a_precaution(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        precaution = make_precaution(session, ward.therapist, ward.episode)

        with pytest.raises(NotFound):
            make_precaution(session, ward.outsider, ward.episode)
        with pytest.raises(NotFound):
            precautions.end_precaution(
                session, ward.outsider, precaution, on=TODAY, now=NOW
            )


def test_visit_of_the_day_is_made_once(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        again = make_visit(
            session, ward.therapist, ward.episode, now=NOW + timedelta(hours=3)
        )

    assert again.id == ward.visit.id


def test_next_day_and_next_person_make_other_visits(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        others = {
            make_visit(session, ward.therapist, ward.episode, now=NOW + DAY).id,
            make_visit(session, ward.supervisor, ward.episode).id,
        }

    assert len(others | {ward.visit.id}) == 3


def test_id_sent_again_after_midnight_finds_its_visit(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        again = make_visit(
            session,
            ward.therapist,
            ward.episode,
            now=NOW + DAY,
            uid=ward.visit.uid,
        )

    assert again.id == ward.visit.id


def test_id_of_somebody_elses_visit_is_refused(ward: Ward) -> None:
    with write_session(ward.engine) as session, pytest.raises(SameIdOtherBody):
        make_visit(session, ward.supervisor, ward.episode, uid=ward.visit.uid)


def test_outsider_makes_no_visit(ward: Ward) -> None:
    with write_session(ward.engine) as session, pytest.raises(NotFound):
        make_visit(session, ward.outsider, ward.episode)


def test_visit_keeps_the_day_it_was_there(ward: Ward) -> None:
    """Half past eleven at night in Lima is already tomorrow in UTC and in Tokyo."""
    lima = ZoneInfo("America/Lima")
    late = datetime(2026, 5, 4, 23, 30, tzinfo=lima).astimezone(UTC)
    with write_session(ward.engine) as session:
        uid = new_uid()
        make_visit(session, ward.therapist, ward.episode, now=late, zone=lima, uid=uid)

    with read_session(ward.engine) as session:
        visit = session.exec(select(Visit).where(Visit.uid == uid)).one()
    assert visit.local_date == date(2026, 5, 4)
    assert visit.zone == "America/Lima"
    assert visit.started_at == datetime(2026, 5, 5, 4, 30, tzinfo=UTC)
