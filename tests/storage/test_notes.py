"""Edits are appended, signed texts stand, addenda chain; old texts stay sound."""

import hashlib
import json
from datetime import timedelta

import pytest
from sqlalchemy import text
from sqlmodel import Session, col, select

from app.storage.audit import START, AuditEntry
from app.storage.database import read_session, write_session
from app.storage.episodes import Visit
from app.storage.errors import NotAllowed
from app.storage.notes import (
    NoteEdit,
    add_to,
    addenda_of,
    broken_addenda,
    edit_line,
    edits_of,
    is_open,
    note_before,
    standing,
)
from app.storage.owing import PlanEvent, answer_clock
from app.storage.people import Person
from app.storage.review import (
    VisitText,
    broken_texts,
    decide,
    texts_of,
    waiting_visits,
    write_text,
)
from app.storage.visits import close
from tests.make import NOW, TODAY, make_visit, new_uid
from tests.storage.conftest import Ward

PARTS = [{"section": "plan", "key": "next", "made": "", "text": "A.", "refs": []}]


def edit(
    session: Session, me: Person, visit: Visit, words: str, uid: str | None = None,
    note: str = "visit",
) -> NoteEdit:  # fmt: skip
    return edit_line(
        session, me, visit, note, key="next", section="plan", text=words,
        made="Made.", uid=uid or new_uid(), now=NOW,
    )  # fmt: skip


def write(
    session: Session, me: Person, visit: Visit, line: str, note: str | None = "visit"
) -> VisitText:
    return write_text(
        session, me, visit, [line], note=note, parts=PARTS if note else None,
        readings=[{"round": 1, "score": {"value": "18.4"}}] if note else None,
        edition="e", version="v", now=NOW,
    )  # fmt: skip


@pytest.fixture
def closed(ward: Ward) -> Ward:
    with write_session(ward.engine) as session:
        me, visit = session.merge(ward.therapist), session.merge(ward.visit)
        close(session, me, visit, without_list="called away", now=NOW)
    return ward


def here(session: Session, ward: Ward) -> tuple[Person, Visit]:
    me = session.get_one(Person, ward.therapist.id)
    return me, session.get_one(Visit, ward.visit.id)


def test_last_edit_of_a_line_stands_and_earlier_ones_stay(closed: Ward) -> None:
    """A supervisor's words never take the place of a student's: both stay, named."""
    with write_session(closed.engine) as session:
        me, visit = here(session, closed)
        boss = session.get_one(Person, closed.supervisor.id)
        edit(session, me, visit, "Student's words.")
        edit(session, boss, visit, "Supervisor's words.")
        edit(session, me, visit, "Of another note.", note="progress")
    with read_session(closed.engine) as session:
        _, visit = here(session, closed)
        edits = edits_of(session, visit, "visit")

        assert [(e.text, e.edited_by) for e in edits] == [
            ("Student's words.", closed.therapist.id),
            ("Supervisor's words.", closed.supervisor.id),
        ]
        assert standing(edits)["next"].text == "Supervisor's words."


def test_same_send_is_one_edit_whatever_came_between(closed: Ward) -> None:
    uid = new_uid()
    with write_session(closed.engine) as session:
        me, visit = here(session, closed)
        for words in ("First.", "First."):
            edit(session, me, visit, words, uid)
        edit(session, me, visit, "Second.")
        edit(session, me, visit, "First.", uid)  # a late copy of the first send

        assert [e.text for e in edits_of(session, visit, "visit")] == [
            "First.",
            "Second.",
        ]


def test_signed_note_takes_no_edit_and_a_returned_one_does(closed: Ward) -> None:
    with write_session(closed.engine) as session:
        me, visit = here(session, closed)
        written = write(session, me, visit, "A.")
        with pytest.raises(NotAllowed, match="addendum"):
            edit(session, me, visit, "Too late.")
        edit(session, me, visit, "Another note is open.", note="progress")
        with pytest.raises(NotAllowed):
            write(session, me, visit, "B.")
        assert write(session, me, visit, "A.").id == written.id
        decide(
            session, me, written, "returned", statement="More.", presence=None,
            minutes=None, checked=[], now=NOW,
        )  # fmt: skip
        edit(session, me, visit, "Again.")

        assert is_open(session, visit, "visit")
        assert write(session, me, visit, "B.").previous_hash == written.hash
        assert not is_open(session, visit, "visit")


def test_text_written_before_there_were_kinds_stays_sound(closed: Ward) -> None:
    """Its hash is over exactly what was hashed then; new columns enter when set."""
    with write_session(closed.engine) as session:
        me, visit = here(session, closed)
        old = write(session, me, visit, "Old.", note=None)
        said = [
            visit.id, "signed", ["Old."], "", "e", "v", me.id, NOW.isoformat(), START,
        ]  # fmt: skip
        hashed = json.dumps(said, ensure_ascii=False, separators=(",", ":")).encode()

        assert old.hash == hashlib.sha256(hashed).hexdigest()
        write(session, me, visit, "Report.", note="progress")
    with read_session(closed.engine) as session:
        _, visit = here(session, closed)
        (old,) = texts_of(session, visit)
        (new,) = texts_of(session, visit, "progress")

        assert (old.note, old.parts, old.readings) == (None, None, None)
        assert new.parts == PARTS
        assert new.previous_hash == old.hash
        assert broken_texts(session) == []


@pytest.mark.parametrize(
    "change", ["parts = NULL", "readings = '[]'", "note = 'discharge'"]
)
def test_changed_part_of_a_signed_note_is_found(closed: Ward, change: str) -> None:
    with write_session(closed.engine) as session:
        me, visit = here(session, closed)
        number = write(session, me, visit, "A.").id
        session.connection().execute(text(f"UPDATE visit_text SET {change}"))
    with read_session(closed.engine) as session:
        assert broken_texts(session) == [f"visit_text {number}"]


def test_addenda_follow_the_text_and_each_other(closed: Ward) -> None:
    with write_session(closed.engine) as session:
        me, visit = here(session, closed)
        written = write(session, me, visit, "A.")
        before = written.hash
        for words in ("One.", "One.", "Two."):
            add_to(session, me, written, words=words, reason="Result came", now=NOW)
        first, second = addenda_of(session, written)

        assert (first.previous_hash, second.previous_hash) == (before, first.hash)
        assert written.hash == before
        assert broken_addenda(session) == []
        session.connection().execute(
            text(
                "UPDATE addendum SET words = 'x' "
                "WHERE id = (SELECT min(id) FROM addendum)"
            )
        )
        session.expire_all()
        assert broken_addenda(session) == [f"addendum {first.id}"]


def test_visit_note_is_its_own_persons_and_waits_for_the_door(ward: Ward) -> None:
    with write_session(ward.engine) as session:
        me, visit = here(session, ward)
        other = session.get_one(Person, ward.supervisor.id)
        for person, note in ((me, "visit"), (me, "evaluation"), (other, "visit")):
            with pytest.raises(NotAllowed):
                write(session, person, visit, "A.", note=note)

        assert write(session, other, visit, "A.", note="progress").kind == "signed"


def test_note_before_is_of_the_same_kind_and_an_earlier_day(closed: Ward) -> None:
    with write_session(closed.engine) as session:
        me, visit = here(session, closed)
        write(session, me, visit, "A.")
        write(session, me, visit, "Report.", note="progress")
        next_day = NOW + timedelta(days=1)
        episode = session.merge(closed.episode)
        later = make_visit(session, me, episode, now=next_day)
        found = note_before(session, later, "visit")

        assert found is not None
        assert found.lines == ["A."]
        assert note_before(session, visit, "visit") is None


def test_handed_in_note_waits_until_it_is_decided(closed: Ward) -> None:
    with write_session(closed.engine) as session:
        me, visit = here(session, closed)
        me.role = "student"
        session.add(me)
        written = write(session, me, visit, "A.")
        waits = [v.id for v in waiting_visits(session, closed.patient.id)]
        assert (written.kind, waits) == ("handed_in", [visit.id])
        decide(
            session, me, written, "co_signed", statement="I was there.",
            presence="in_room", minutes=None, checked=[], now=NOW,
        )  # fmt: skip
        assert waiting_visits(session, closed.patient.id) == []


def test_clock_of_an_earlier_day_is_answered_once(closed: Ward) -> None:
    """A report signed late is of its visit's day, also after a newer one."""
    yesterday = TODAY - timedelta(days=1)
    with write_session(closed.engine) as session:
        me, _ = here(session, closed)
        episode = session.merge(closed.episode)
        for day in (yesterday, TODAY, yesterday):
            answer_clock(session, me, episode, "report", day, NOW)
        days = session.exec(select(col(PlanEvent.on_date))).all()
        deeds = session.exec(
            select(AuditEntry).where(AuditEntry.deed == "answered_report")
        ).all()

        assert sorted(days) == [yesterday, TODAY]
        assert len(deeds) == 2
