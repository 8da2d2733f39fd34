"""The trail as it is read: newest first, own world only, and how far it was checked."""

from datetime import timedelta

import pytest
from sqlalchemy import text
from sqlmodel import Session

from app.storage import audit_checks
from app.storage.audit import AuditEntry
from app.storage.audit_trail import (
    Wanted,
    _ways_to_patient,
    entries_for,
    places_of,
    words_used,
)
from app.storage.database import read_session, write_session
from app.storage.errors import NotAllowed
from app.storage.people import Person
from tests.asked import Query
from tests.make import NOW, make_patient, make_person, make_trial
from tests.storage.conftest import Ward


def read(ward: Ward, me: Person | None = None, **wanted: object) -> list[AuditEntry]:
    with read_session(ward.engine) as session:
        asked = Wanted(**wanted)  # type: ignore[arg-type]
        found = entries_for(session, me or ward.supervisor, asked, 50)
    return [entry for entry, _ in found]


def checked(session: Session, *, afresh: bool = False) -> audit_checks.AuditCheck:
    found = audit_checks.read_on(session, afresh=afresh, seconds=9)
    audit_checks.keep(session, found, NOW)
    kept = audit_checks.last_check(session)
    assert kept is not None
    return kept


def test_newest_comes_first(ward: Ward) -> None:
    assert [entry.id for entry in read(ward)] == list(range(9, 0, -1))


def test_pages_join_without_gap_or_overlap(ward: Ward) -> None:
    """All entries of the ward have one time, so only the id tells them apart."""
    seen: list[int] = []
    before: int | None = None
    for _ in range(5):
        with read_session(ward.engine) as session:
            rows = entries_for(session, ward.supervisor, Wanted(before=before), 2)
        seen += [entry.id for entry, _ in rows]
        before = seen[-1]

    assert seen == list(range(9, 0, -1))


def test_clock_set_back_loses_no_entry(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        make_trial(session, ward.therapist, ward.round, now=NOW - timedelta(hours=1))

    found = [entry.id for entry in read(ward, before=1)]

    assert found == [10]


@pytest.mark.parametrize("role", ["therapist", "student", "outsider"])
def test_only_supervisors_read_it(ward: Ward, role: str) -> None:
    with pytest.raises(NotAllowed):
        read(ward, getattr(ward, role))


def test_filters_join(ward: Ward) -> None:
    mine = read(ward, who=ward.therapist.id)
    visits = read(ward, who=ward.therapist.id, deed="started_visit")
    rounds = read(ward, subject="round")

    assert {entry.person_id for entry in mine} == {ward.therapist.id}
    assert [entry.deed for entry in visits] == ["started_visit"]
    assert [entry.subject for entry in rounds] == ["round"]


def test_days_are_a_half_open_stretch(ward: Ward) -> None:
    later = NOW + timedelta(days=1)
    with write_session(ward.engine) as session:
        make_trial(session, ward.therapist, ward.round, now=later)

    assert len(read(ward, until=later)) == 9
    assert [entry.deed for entry in read(ward, since=later)] == ["recorded_trial"]


def test_worlds_are_told_apart(ward: Ward) -> None:
    """Adding the demo supervisor was the program's deed, but done to their world."""
    with write_session(ward.engine) as session:
        demo = make_person(session, "demo", role="supervisor", is_demo=True)
        make_patient(session, demo, label="Teal 1")

    theirs = read(ward, demo)
    ours = read(ward)

    assert [e.deed for e in theirs] == ["assigned", "added_patient", "added_person"]
    assert not {e.id for e in theirs} & {e.id for e in ours}
    assert len(ours) == 9


def test_subjects_are_found_where_they_may_be_seen(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        make_trial(session, ward.therapist, ward.round)
        entries = [e for e, _ in entries_for(session, ward.supervisor, Wanted(), 50)]
        places = places_of(session, ward.supervisor, entries)

    kinds = {
        subject: (place.kind, place.name) for (subject, _), place in places.items()
    }
    assert kinds["trial"] == ("round", "Blue 7")
    assert kinds["round"] == ("round", "Blue 7")
    assert kinds["visit"] == ("patient", "Blue 7")
    assert kinds["person"][0] == "person"


@pytest.mark.parametrize(
    ("table", "belongs"),
    [
        ("patient", True), ("episode", True), ("precaution", True), ("profile", True),
        ("visit", True), ("round", True), ("trial", True), ("safety_event", True),
        ("vital_signs", True), ("review_comment", True), ("assignment", True),
        ("sign_in", False), ("device", False), ("cover", False), ("site", False),
        ("held_request", False), ("exit_item", False),
    ],
)  # fmt: skip
def test_way_to_the_patient_is_found_in_the_schema(table: str, belongs: bool) -> None:
    assert bool(_ways_to_patient(table)) == belongs


def test_subject_of_the_other_world_has_no_place(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        demo = make_person(session, "demo", role="supervisor", is_demo=True)
        entries = [e for e, _ in entries_for(session, ward.supervisor, Wanted(), 50)]

        assert places_of(session, demo, entries) == {}


def test_words_used_are_every_word_once(ward: Ward) -> None:
    with read_session(ward.engine) as session:
        assert words_used(session, "subject") == [
            "assignment", "episode", "patient", "person", "round", "visit",
        ]  # fmt: skip


def test_queries_do_not_grow_with_the_page(ward: Ward, reached: list[Query]) -> None:
    with read_session(ward.engine) as session:
        rows = entries_for(session, ward.supervisor, Wanted(), 50)
        places_of(session, ward.supervisor, [entry for entry, _ in rows])

    assert len(reached) <= 9


def test_check_reads_on_from_where_it_stopped(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        first = checked(session).upto_id
        make_trial(session, ward.therapist, ward.round)
        second = checked(session)

    assert (first, second.upto_id, second.broken_id) == (9, 10, None)


def test_check_that_reads_on_trusts_what_it_read(ward: Ward) -> None:
    """Only reading from the start finds what was changed behind it."""
    with write_session(ward.engine) as session:
        checked(session)
        session.connection().execute(
            text("UPDATE audit_entry SET subject_id = 99 WHERE id = 4")
        )
        session.expire_all()
        on, afresh = checked(session).broken_id, checked(session, afresh=True)

    assert on is None
    assert (afresh.upto_id, afresh.broken_id) == (3, 4)


def test_check_without_time_still_gets_on(
    ward: Ward, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(audit_checks, "AT_A_TIME", 4)
    found = []
    for _ in range(3):
        with write_session(ward.engine) as session:
            read_so_far = audit_checks.read_on(session, afresh=False, seconds=-1)
            audit_checks.keep(session, read_so_far, NOW)
            found.append(read_so_far.upto.id)

    assert found == [4, 8, 9]
