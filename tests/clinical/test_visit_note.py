"""The lines of a visit note and an evaluation: in order, from events, or asked."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from app.clinical.measure_line import MeasureLine
from app.clinical.note import ORDERS, Line, Ref, as_text, written
from app.clinical.visit_facts import Background, GoalSaid, Measured, Said, VisitFacts
from app.clinical.visit_note import evaluation, visit_note

DAY = date(2026, 6, 3)
GOAL = GoalSaid(
    "goal:4", "By 20 Jun 2026, the patient will climb the stairs.", (Ref("goal", 4),),
    number=1, term="short-term", short="Climb the stairs: 12.0 s or less, by 20 Jun",
    start="19.4 s on 1 May 2026",
)  # fmt: skip
FIELDS_OF_EVALUATION = (
    "field:subjective", "field:matters", "field:reason", "field:conditions",
    "field:prior", "field:precautions", "field:baseline", "field:minutes",
    "field:problems", "field:skill", "field:prognosis", "field:barriers",
    "field:goals", "field:frequency", "field:discharge_place", "field:agreement",
)  # fmt: skip


def facts(**said: Any) -> VisitFacts:
    return VisitFacts(visit_id=1, kind="treatment", day=DAY, **said)


def said(key: str, says: str = "") -> Said:
    kind, _, number = key.partition(":")
    refs = (Ref(kind, int(number)),) if number.isdigit() else ()
    return Said(key, says or f"what {key} holds", refs)


def measured(key: str, *, done: bool = True, link: str = "") -> Measured:
    line = MeasureLine(("Four square step.", "10.1 s.", "", "", link))
    made = said(key, line.text)
    return Measured(made.key, made.says, made.refs, name="Four square step",
                    line=line, done=done)  # fmt: skip


FULL = facts(
    symptoms=(said("symptoms:1"),),
    vitals=(said("vitals:2"), said("limits")),
    measures=(measured("round:3", done=False), measured("round:4", link="Function.")),
    not_counted=(said("round:4:not_counted"),),
    tasks=(said("task:5"),),
    activities=(said("set:6"),),
    stops=(said("stop:trial:7"),),
    not_done=(said("task:8"),),
    rooms=(said("room:9"),),
    teaching=(said("home_sheet:10"),),
    exits=(said("exit:1"),),
    hand_off=(said("hand_off"),),
    goals=(GOAL,),
    next_grades=(said("grade:T01"),),
    planned=(said("planned:11"),),
    due=(said("due:report"),),
    minutes=(said("minutes:services"), said("minutes:clock")),
    background=Background(
        reason=said("episode:reason"),
        person=said("person"),
        conditions=(said("person:conditions"),),
        living=(said("profile:living"),),
        matters=said("profile:matters"),
        precautions=(said("precaution:12"),),
        deficits=(said("deficit:slow_rise"),),
        plan=said("episode:plan"),
    ),
)


def keys(lines: tuple[Line, ...], section: str = "") -> list[str]:
    return [x.key for x in lines if not section or x.section == section]


def by_key(lines: tuple[Line, ...]) -> dict[str, Line]:
    found = {line.key: line for line in lines}
    assert len(found) == len(lines), "a key stands twice"
    return found


@pytest.mark.parametrize(
    ("section", "wanted"),
    [
        ("subjective", ["symptoms:1"]),
        ("objective", [
            "vitals:2", "limits", "round:4", "round:4:not_counted", "task:5", "set:6",
            "stop:trial:7", "round:3", "task:8", "room:9", "home_sheet:10", "exit:1",
            "hand_off", "minutes:services", "minutes:clock",
        ]),
        ("assessment", ["field:skill", "goal:4", "field:response"]),
        ("plan", ["grade:T01", "planned:11", "due:report", "field:next"]),
    ],
)  # fmt: skip
def test_visit_note_has_its_parts_in_order(section: str, wanted: list[str]) -> None:
    lines = visit_note(FULL)

    assert keys(lines, section) == wanted
    assert {line.section for line in lines} == set(ORDERS["soap"])


def test_made_lines_keep_words_and_events_and_ask_nothing() -> None:
    lines = by_key(visit_note(FULL))

    assert lines["task:5"].made == "What task:5 holds."
    assert lines["task:5"].refs == (Ref("task", 5),)
    assert not any(line.made and (line.asks or line.needed) for line in lines.values())


def test_empty_fields_ask_and_make_nothing_up() -> None:
    lines = by_key(visit_note(FULL))
    empty = {k: line for k, line in lines.items() if not line.made}

    assert set(empty) == {"field:skill", "field:response", "field:next"}
    assert all(line.asks.endswith("?") and line.needed for line in empty.values())
    assert [k for k, line in lines.items() if line.verbs] == ["field:skill"]


def test_visit_without_events_only_asks() -> None:
    lines = by_key(visit_note(facts()))

    assert [line.made for line in lines.values()] == [""] * 5
    assert {k for k, line in lines.items() if line.needed} == {
        "field:minutes", "field:skill", "field:next",
    }  # fmt: skip
    assert as_text(written(tuple(lines.values()), {}), "soap") == []


def test_missed_visit_says_only_that() -> None:
    lines = visit_note(facts(missed=said("missed:1", "Visit missed: declined")))

    assert [line.made for line in lines] == ["Visit missed: declined.", ""]
    assert not any(line.needed for line in lines)


def test_measure_without_a_link_asks_what_it_means() -> None:
    lines = by_key(visit_note(facts(measures=(measured("round:4"),))))
    field = lines["round:4:function"]

    assert (
        field.asks == "Four square step: what does it mean for what they do every day?"
    )
    assert (field.made, field.needed, field.refs) == ("", False, (Ref("round", 4),))
    assert "round:4:function" not in by_key(visit_note(FULL))
    ended = visit_note(facts(measures=(measured("round:3", done=False),)))
    assert "round:3:function" not in by_key(ended)


@pytest.mark.parametrize(
    ("minutes", "asked", "needed"),
    [
        ((), True, True),
        ((said("minutes:clock"),), True, False),
        ((said("minutes:services"),), False, False),
    ],
    ids=["none recorded", "not told apart", "timed and untimed"],
)
def test_minutes_are_asked_until_timed_ones_are_told(
    minutes: tuple[Said, ...], asked: bool, needed: bool
) -> None:
    lines = by_key(visit_note(facts(minutes=minutes)))

    assert ("field:minutes" in lines) == asked
    assert not asked or lines["field:minutes"].needed == needed


@pytest.mark.parametrize(
    ("changes", "made"),
    [
        ({}, "Goal 1, short-term: By 20 Jun 2026, the patient will climb the stairs. "
             "Start: 19.4 s on 1 May 2026."),
        ({"signed": False, "start": ""},
         "Goal 1, short-term: By 20 Jun 2026, the patient will climb the stairs. Not "
         "signed yet."),
        ({"progress": "64 % of the way from 19.4 s to 12.0 s or less: 14.6 s."},
         "Goal 1 (Climb the stairs: 12.0 s or less, by 20 Jun): 64 % of the way from "
         "19.4 s to 12.0 s or less: 14.6 s."),
        ({"progress": "Nothing measured since the start.", "standing": "on hold: pain",
          "signed": False},
         "Goal 1 (Climb the stairs: 12.0 s or less, by 20 Jun): Nothing measured since "
         "the start. On hold: pain. Not signed yet."),
        ({"progress": "Reached", "ended": "met: alone on all of them"},
         "Goal 1 (Climb the stairs: 12.0 s or less, by 20 Jun): met: alone on all of "
         "them."),
    ],
    ids=["set today", "unsigned", "on the way", "on hold", "ended"],
)  # fmt: skip
def test_goal_has_one_line_of_progress(changes: dict[str, Any], made: str) -> None:
    line = by_key(visit_note(facts(goals=(replace(GOAL, **changes),))))["goal:4"]

    assert line.made == made
    assert line.refs == GOAL.refs


@pytest.mark.parametrize(
    ("section", "wanted"),
    [
        ("subjective", ["symptoms:1", "profile:matters"]),
        ("objective", [
            "episode:reason", "person", "person:conditions", "profile:living",
            "precaution:12", "vitals:2", "limits", "round:4", "round:4:not_counted",
            "task:5", "set:6", "stop:trial:7", "round:3", "task:8", "room:9",
            "home_sheet:10", "exit:1", "hand_off", "minutes:services",
            "minutes:clock",
        ]),
        ("assessment", ["deficit:slow_rise", "field:skill", "field:prognosis",
                        "field:barriers"]),
        ("plan", ["episode:plan", "goal:4", "field:frequency",
                  "field:discharge_place", "field:agreement", "grade:T01",
                  "planned:11", "due:report"]),
    ],
)  # fmt: skip
def test_evaluation_has_its_parts_in_order(section: str, wanted: list[str]) -> None:
    assert keys(evaluation(FULL), section) == wanted


def test_evaluation_without_anything_asks_for_all_of_it() -> None:
    lines = by_key(evaluation(facts()))

    assert tuple(lines) == FIELDS_OF_EVALUATION
    assert not any(line.made for line in lines.values())
    assert {k for k, line in lines.items() if not line.needed} == {
        "field:subjective", "field:precautions", "field:barriers", "field:agreement",
    }  # fmt: skip


def test_evaluation_prints_goals_as_they_were_set() -> None:
    later = replace(GOAL, progress="64 % of the way")
    ended = replace(GOAL, key="goal:5", number=2, ended="met: done")
    lines = by_key(evaluation(facts(goals=(later, ended))))

    assert lines["goal:4"].made.startswith("Goal 1, short-term: By 20 Jun 2026")
    assert "goal:5" not in lines
    assert "field:goals" not in lines
    assert "field:goals" in by_key(evaluation(facts(goals=(ended,))))


def test_making_a_note_again_gives_the_same_keys() -> None:
    """Edits hang on them: what is added later moves no key."""
    before = keys(visit_note(FULL))
    more = replace(FULL, tasks=(*FULL.tasks, said("task:20")))

    assert keys(visit_note(FULL)) == before
    assert [k for k in keys(visit_note(more)) if k != "task:20"] == before
    assert keys(evaluation(FULL)) == keys(evaluation(FULL))


@pytest.mark.parametrize(
    ("typed", "stands"),
    [
        ("Not met.", ["Assessment:", "Goal 1: Not met."]),
        ("goal 1 was met.", ["Assessment:", "goal 1 was met."]),
        ("", []),
    ],
)
def test_answer_about_a_goal_says_which_one(typed: str, stands: list[str]) -> None:
    line = Line("goal_status-1", "assessment", asks="How does it end?", lead="Goal 1: ")
    assert as_text(written((line,), {line.key: typed}), "soap") == stands
