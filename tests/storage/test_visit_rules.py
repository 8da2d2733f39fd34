"""What the database itself refuses of visits, what is owed and reviews."""

from typing import Any

import pytest
from sqlalchemy import inspect, text
from sqlalchemy.exc import IntegrityError

from app.clinical.visiting import Limit
from app.storage.database import write_session
from app.storage.notes import add_to, edit_line
from app.storage.observations import (
    SymptomCheck,
    TaskObservation,
    VitalSigns,
    give_code,
    record,
    set_limit,
)
from app.storage.owing import OwedLine, replace_owed
from app.storage.review import comment, decide, write_text
from app.storage.visits import close, pause, set_exit_items
from tests.make import NOW, TODAY, new_uid
from tests.storage.conftest import Ward

LONG = "'" + "x" * 5000 + "'"
#: Table, what is set, and the rule that must refuse it.
BAD = [
    ("visit", "kind = 'party'", "kind"),
    ("visit", "missed_reason = 'lazy', kind = 'missed'", "missed_reason"),
    ("visit", "missed_reason = 'pain'", "missed"),
    ("visit", f"missed_told = {LONG}", "missed_told"),
    ("visit", f"missed_again = {LONG}", "missed_again"),
    ("visit", f"left_without = {LONG}", "left_without"),
    ("visit", "individual_minutes = 601", "individual_minutes"),
    ("visit", "concurrent_minutes = -1", "concurrent_minutes"),
    ("visit", "group_minutes = 601", "group_minutes"),
    ("visit", "co_treatment_minutes = 601", "co_treatment_minutes"),
    ("visit", "uid = 'abc'", "uid"),
    ("visit", "zone = ''", "zone"),
    ("visit_pause", "reason = 'bored'", "reason"),
    ("visit_pause", "until = '2020-01-01 00:00:00+00:00'", "until"),
    ("exit_item", "item = 'window', told_role = NULL", "item"),
    ("exit_item", "state = 'forgotten', told_role = NULL", "state"),
    ("exit_item", "told_role = 'janitor'", "told_role"),
    ("exit_item", "item = 'bell'", "told_when"),
    ("exit_item", "state = 'not_applicable'", "told_when"),
    ("exit_item", "strip_state = 'lost'", "strip_state"),
    ("exit_item", "strip_state = 'removed'", "strip_when"),
    (
        "exit_item",
        "item = 'strip', told_role = NULL, strip_state = 'none_used'",
        "strip_when",
    ),
    ("symptom_check", "uid = 'abc'", "uid"),
    ("symptom_check", "asking = 'abc'", "asking"),
    ("symptom_check", "agreed = 'maybe'", "agreed"),
    ("symptom_check", "dizzy = 'a bit'", "dizzy"),
    ("symptom_check", "fell = 'nearly'", "fell"),
    ("symptom_check", "slept = 'so-so'", "slept"),
    ("symptom_check", "pain = 11", "pain"),
    ("symptom_check", "pain = -1", "pain"),
    ("symptom_check", f"words = {LONG}", "words"),
    ("vital_signs", "uid = 'abc'", "uid"),
    ("vital_signs", "position = 'hanging'", "position"),
    ("vital_signs", "arm = 'third'", "arm"),
    ("vital_signs", "effort_scale = '1-5', effort = 3", "effort_scale"),
    ("vital_signs", "effort = 21, effort_scale = '6-20'", "effort"),
    ("vital_signs", "effort = 3", "effort_which"),
    ("vital_signs", "diastolic = 130", "pressures"),
    ("vital_signs", "systolic = 301", "systolic"),
    ("vital_signs", "diastolic = 19", "diastolic"),
    ("vital_signs", "heart_rate = 19", "heart_rate"),
    ("vital_signs", "saturation = 101", "saturation"),
    ("vital_signs", "breathing = 81", "breathing"),
    ("vital_signs", "pain = 11", "pain"),
    ("vital_signs", "dizziness = 11", "dizziness"),
    ("vital_signs", "temperature_tenths = 299", "temperature_tenths"),
    ("vital_signs", f"oxygen = {LONG}", "oxygen"),
    ("vital_signs", "carrier = 'balloon'", "carrier"),
    ("vital_signs", "flow_tenths = 601", "flow_tenths"),
    ("vital_signs", "flow_tenths = 0", "flow_tenths"),
    ("vital_signs", "carrier = NULL", "flow_of"),
    ("vital_signs", "flow_tenths = NULL", "flow_when"),
    ("vital_signs", "carrier = 'room_air'", "flow_none"),
    ("vital_limit", "vital = 'pain'", "vital"),
    ("vital_limit", "low = -1", "low"),
    ("vital_limit", "high = 301", "high"),
    ("vital_limit", "low = 180, high = 180", "range"),
    ("vital_limit", "set_by = ''", "set_by"),
    ("task_observation", "uid = 'abc'", "uid"),
    ("task_observation", "task = 'flying'", "task"),
    ("task_observation", "level = 'some'", "level"),
    ("task_observation", "level = NULL, not_done = 'lazy'", "not_done"),
    ("task_observation", "not_done = 'pain'", "one_of_both"),
    ("task_observation", "level = NULL", "one_of_both"),
    ("task_observation", "share = 101", "share"),
    ("task_observation", "helpers = 5", "helpers"),
    ("task_observation", "cue_kind = 'shouted'", "cue_kind"),
    ("task_observation", "cue_amount = 'lots'", "cue_amount"),
    ("task_observation", "federal = '11'", "federal"),
    ("task_observation", "device_kind = 'skateboard'", "device_kind"),
    ("task_observation", "set_up_kind = 'upside_down'", "set_up_kind"),
    ("task_observation", f"device = {LONG}", "device"),
    ("task_observation", f"set_up = {LONG}", "set_up"),
    ("task_observation", f"note = {LONG}", "note"),
    ("task_observation", "void_reason = 'slip'", "voided"),
    ("task_observation", "voided_at = recorded_at, void_reason = ''", "voided"),
    ("task_observation", "voided_by = recorded_by", "void_who"),
    ("task_code", "code = '11'", "code"),
    ("task_code", "proposed = '3'", "proposed"),
    ("owed", "kind = 'money'", "kind"),
    ("owed", f"measure = {LONG}", "measure"),
    ("owed", "says = ''", "says"),
    ("owed", "ref = -1", "ref"),
    ("plan_event", "kind = 'party'", "kind"),
    ("visit_text", "kind = 'scribbled'", "kind"),
    ("visit_text", "hash = 'abc'", "hash"),
    ("visit_text", "previous_hash = 'abc'", "previous_hash"),
    ("visit_text", f"own_words = {LONG}", "own_words"),
    ("visit_text", "edition = ''", "edition"),
    ("visit_text", "version = ''", "version"),
    ("visit_text", "note = 'poem'", "note"),
    ("note_edit", "uid = 'abc'", "uid"),
    ("note_edit", "note = 'poem'", "note"),
    ("note_edit", "line_key = ''", "line_key"),
    ("note_edit", "section = 'end'", "section"),
    ("note_edit", f"text = {LONG}", "text"),
    ("addendum", "words = ''", "words"),
    ("addendum", "reason = ''", "reason"),
    ("addendum", "hash = 'abc'", "hash"),
    ("addendum", "previous_hash = 'abc'", "previous_hash"),
    ("review_comment", "line = -1", "line"),
    ("review_comment", "words = ''", "words"),
    ("review_decision", "decision = 'ignored'", "decision"),
    ("review_decision", "presence = 'by phone'", "presence"),
    ("review_decision", "minutes = 601", "minutes"),
    ("review_decision", f"statement = {LONG}", "statement"),
    ("review_decision", "statement = ''", "said"),
    ("review_decision", "presence = NULL", "presence_when"),
    ("review_decision", "hash = 'abc'", "hash"),
    ("desk_view", "name = ''", "name"),
    ("audit_check", "id = 2", "one_row"),
    ("audit_check", "upto_id = -1", "upto_id"),
    ("audit_check", "broken_id = 0", "broken_id"),
    ("audit_check", "upto_hash = 'abc'", "upto_hash"),
]
GOOD = [
    ("visit", "individual_minutes = 600"),
    ("exit_item", "state = 'not_applicable', told_role = NULL"),
    ("exit_item", "item = 'strip', told_role = NULL, strip_state = 'retrieved'"),
    ("vital_signs", "carrier = 'room_air', flow_tenths = NULL"),
    ("vital_signs", "carrier = 'ventilator', flow_tenths = NULL"),
    ("vital_signs", "carrier = NULL, flow_tenths = NULL, oxygen = '2 L'"),
    ("task_observation", "level = NULL, not_done = 'pain'"),
    (
        "task_observation",
        "voided_at = recorded_at, voided_by = recorded_by, void_reason = 'slip'",
    ),
    ("task_observation", "voided_at = recorded_at, void_reason = 'before it was kept'"),
    ("task_code", "proposed = NULL"),
    ("review_decision", "decision = 'approved', statement = '', presence = NULL"),
]
POINTERS = [
    ("visit", "closed_by"),
    ("visit_pause", "visit_id"),
    ("exit_item", "visit_id"),
    ("symptom_check", "visit_id"),
    ("vital_signs", "visit_id"),
    ("vital_limit", "episode_id"),
    ("task_observation", "visit_id"),
    ("task_code", "task_id"),
    ("owed", "patient_id"),
    ("plan_event", "episode_id"),
    ("visit_text", "visit_id"),
    ("note_edit", "visit_id"),
    ("addendum", "text_id"),
    ("review_comment", "text_id"),
    ("review_decision", "text_id"),
    ("desk_view", "person_id"),
]


@pytest.fixture
def full(ward: Ward) -> Ward:
    """The ward with one row in each of these tables."""
    oxygen = {"position": "sitting", "systolic": 130, "diastolic": 80}
    seen: list[tuple[Any, dict[str, Any]]] = [
        (SymptomCheck, {"pain": 3, "asking": new_uid()}),
        (VitalSigns, oxygen | {"carrier": "nasal", "flow_tenths": 20}),
        (TaskObservation, {"task": "eating", "level": "minimal", "helpers": 1}),
    ]
    with write_session(ward.engine) as session:
        visit = session.merge(ward.visit)
        episode = session.merge(ward.episode)
        me = session.merge(ward.therapist)
        rows = [
            record(session, me, visit, table, said, uid=new_uid(), now=NOW)
            for table, said in seen
        ]
        task = rows[-1]
        assert isinstance(task, TaskObservation)
        give_code(session, me, task, "03", proposed="03", now=NOW)
        limit = Limit(90, 180)
        set_limit(
            session, me, episode, "systolic", limit, set_by="physician", on=TODAY,
            now=NOW,
        )  # fmt: skip
        pause(session, me, visit, "meal", NOW)
        set_exit_items(session, me, visit, {"hand_off": "nurse"}, NOW)
        close(session, me, visit, without_list="called away", now=NOW)
        edit_line(
            session, me, visit, "visit", key="next", section="plan", text="Again.",
            made="", uid=new_uid(), now=NOW,
        )  # fmt: skip
        written = write_text(
            session, me, visit, ["Treatment"], own_words="", edition="e", version="v",
            now=NOW,
        )  # fmt: skip
        add_to(session, me, written, words="More.", reason="Late result", now=NOW)
        comment(session, me, written, 0, "why?", NOW)
        decide(
            session, me, written, "co_signed", statement="I was there",
            presence="in_room", minutes=30, checked=[], now=NOW,
        )  # fmt: skip
        replace_owed(session, ward.patient.id, [OwedLine("report", TODAY, "due")])
        for statement in BY_HAND:
            session.connection().execute(text(statement))
    return ward


#: Rows that come about only by a page or a long run.
BY_HAND = (
    "INSERT INTO plan_event (episode_id, kind, on_date, recorded_by, recorded_at) "
    "SELECT episode_id, 'report', local_date, person_id, started_at FROM visit",
    "INSERT INTO desk_view (person_id, name, filters, saved_at) "
    "SELECT person_id, 'mine', '{}', started_at FROM visit",
    "INSERT INTO audit_check (id, upto_id, upto_hash, checked_at) "
    "SELECT 1, 0, hash, written_at FROM visit_text",
)


def change(ward: Ward, table: str, to: str) -> int:
    """Set columns by plain SQL, as no function of ours would."""
    with write_session(ward.engine) as session:
        done = session.connection().execute(text(f"UPDATE {table} SET {to}"))
        return int(done.rowcount)


@pytest.mark.parametrize(("table", "to", "rule"), BAD, ids=lambda v: str(v)[:40])
def test_bad_value_is_refused_by_its_rule(
    full: Ward, table: str, to: str, rule: str
) -> None:
    with pytest.raises(IntegrityError) as refused:
        change(full, table, to)
    name = f"ck_{table}_{rule}"
    said = str(refused.value.orig).replace('"', " ").split()
    assert name in said, said


def test_every_rule_of_these_tables_is_tried(full: Ward) -> None:
    """A rule added without a row above fails here."""
    tried = {f"ck_{table}_{rule}" for table, _, rule in BAD}
    inspector = inspect(full.engine)
    rules = {
        str(rule["name"])
        for table in {table for table, _, _ in BAD}
        for rule in inspector.get_check_constraints(table)
    }

    assert rules - tried == set()


@pytest.mark.parametrize(("table", "to"), GOOD)
def test_good_value_is_taken(full: Ward, table: str, to: str) -> None:
    assert change(full, table, to) == 1


@pytest.mark.parametrize(("table", "column"), POINTERS)
def test_pointer_to_no_row_is_refused(full: Ward, table: str, column: str) -> None:
    with pytest.raises(IntegrityError, match=r"(?i)foreign key constraint"):
        change(full, table, f"{column} = 99999")
