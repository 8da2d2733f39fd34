"""What a note says of what was seen and done, beyond what the demo holds."""

from datetime import timedelta
from typing import Any

import pytest
from sqlmodel import select

from app.clinical.note import Ref
from app.clinical.teaching import Taught
from app.clinical.visiting import Limit
from app.storage.activity_sets import SetBody, void_set
from app.storage.database import read_session
from app.storage.episodes import Visit
from app.storage.hand_offs import HandOffBody, give
from app.storage.observations import (
    SymptomCheck,
    VitalSigns,
    answer,
    give_code,
    record,
    set_limit,
    void_observation,
)
from app.storage.responsible import assign
from app.storage.safety import record_answers
from app.storage.services import set_service_minutes
from app.storage.teaching import record_teaching, void_teaching
from app.storage.trials import Round, TrialBody, void_trial
from app.storage.visits import close, miss, pause, resume, set_minutes
from app.web.deps import Site
from app.web.visit_events import events_of
from tests.conftest import person_by
from tests.make import (
    NOW,
    TODAY,
    make_home_sheet,
    make_service,
    make_set,
    make_trial,
    make_visit,
    new_uid,
)
from tests.web.note_bedside import bedside, facts_of, lines_of, timed, trials_of


def test_symptom_taps_make_one_line_under_the_first_key(site: Site) -> None:
    asking = "ab" * 16
    with bedside(site) as at:
        for said in ({"pain": 3}, {"pain": 3, "dizzy": "yes"}, {"pain": 5}):
            answer(at.session, at.me, at.visit, said, asking=asking, now=NOW)
        (first, *_) = at.session.exec(select(SymptomCheck)).all()
        record(
            at.session, at.me, at.visit, SymptomCheck,
            {"agreed": "declined", "words": "not < today"}, uid=new_uid(), now=NOW,
        )  # fmt: skip
    once, again = facts_of(site, at.visit.id).symptoms

    assert (once.key, once.says) == (
        f"symptoms:{first.id}", "Symptom check: pain 5 of 10, dizzy",
    )  # fmt: skip
    assert len(once.refs) == 3
    assert again.says == "Symptom check: declined, “not < today”"


def test_vital_signs_stand_with_position_limits_and_no_advice(site: Site) -> None:
    limit = Limit(50, 110)
    with bedside(site) as at:
        set_limit(
            at.session, at.me, at.episode, "heart_rate", limit, set_by="ward doctor",
            on=TODAY, now=NOW,
        )  # fmt: skip
        for said in (
            {"position": "lying", "systolic": 140, "diastolic": 80},
            {"position": "standing_1", "systolic": 112, "diastolic": 76,
             "heart_rate": 118, "saturation": 93},
        ):  # fmt: skip
            record(
                at.session, at.me, at.visit, VitalSigns, said, uid=new_uid(),
                now=NOW + timedelta(minutes=1),
            )  # fmt: skip
    lying, standing, limits = (said.says for said in facts_of(site, at.visit.id).vitals)

    assert lying == "Vital signs, lying: 140/80 mmHg."
    assert standing == (
        "Vital signs, standing, after 1 minute: 112/76 mmHg, heart rate 118 per "
        "minute, saturation 93 %. Heart rate 118 per minute is above the order's limit "
        "of 110 per minute. From lying to standing the pressure fell by 28 / 4 mmHg. "
        "The consensus definition counts 20 systolic or 10 diastolic within 3 minutes "
        "(Freeman 2011, abstract)."
    )
    assert limits == "Limits by order: heart rate 50 to 110 per minute"


def test_tasks_stand_with_help_and_code_or_why_not(site: Site) -> None:
    with bedside(site) as at:
        done = at.task(level="moderate", share=60, helpers=2, cue_kind="verbal")
        give_code(at.session, at.me, done, "01", proposed=None, now=NOW)
        not_done = at.task(task="bathing", not_done="pain")
        void = at.task(level="total", task="stairs", share=11)
        void_observation(at.session, at.me, void, "other person", NOW)
    facts = facts_of(site, at.visit.id)

    assert [s.says for s in facts.tasks] == [
        "Transfer, toilet: moderate (patient does 60 %, helpers 40 %), times 2, cues "
        "verbal [federal 01]"
    ]
    assert [(s.key, s.says) for s in facts.not_done] == [
        (f"task:{not_done.id}", "Bathing: not done, pain")
    ]
    assert [s.says for s in facts.not_counted] == ["Stairs, taken back: other person"]


@pytest.mark.parametrize(
    ("goal", "linked"),
    [
        ({}, True),
        ({"signed": False}, False),
        ({"task": None}, False),
        ({"task": None, "phrase": "rise from the garden bench"}, True),
        ({"measure": "timed_up_and_go"}, False),
    ],
    ids=["signed, a task", "unsigned", "names no task", "own words", "another test"],
)
def test_only_a_signed_goal_links_a_test_to_a_task(
    site: Site, goal: dict[str, Any], linked: bool
) -> None:
    with bedside(site) as at:
        at.task(level="contact", helpers=1)
        number = at.test(timed("19.4"))
        goal_id = at.goal(**goal)
    line = lines_of(site, at.visit.id)[f"round:{number}"]
    asked = f"round:{number}:function" in lines_of(site, at.visit.id)

    assert ("Function: goal 1 (" in line.made) == linked
    assert (Ref("goal", goal_id) in line.refs) == linked
    assert asked != linked
    with_task = "in this visit, transfer, toilet: contact guard." in line.made
    assert with_task == (linked and goal.get("task", "") == "")


def test_trials_that_do_not_count_stand_with_their_reason(site: Site) -> None:
    with bedside(site) as at:
        number = at.test(
            TrialBody(raw_ms=21_100, practice=True),
            timed("14.9"),
            TrialBody(outcome="declined", reason="wanted to rest first"),
        )
        (wrong,) = (t for t in trials_of(at, number) if t.raw_ms == 14_900)
        void_trial(at.session, at.me, wrong, reason="only four stands", now=NOW)
        round = at.session.get_one(Round, number)
        for seconds in ("18.6", "17.7"):
            make_trial(at.session, at.me, round, timed(seconds))
        begun = at.test(timed("9.9"), measure="four_square_step", variant="best_of_two",
                        facts={"marker": "raised"})  # fmt: skip
    facts = facts_of(site, at.visit.id)
    counted, open_ = facts.not_counted

    assert facts.measures[0].line.parts[1] == "18.6 s, one timed trial."
    assert counted.says == (
        "Five times sit to stand, not counted: 21.1 s (practice); 14.9 s (taken back: "
        "only four stands); declined: wanted to rest first (no number); 17.7 s (more "
        "than the rule takes)"
    )
    assert open_.key == f"round:{begun}:no_score"
    assert open_.says.startswith("Four square step, no score: 1 of 2 counted trials")
    assert open_.says.endswith("9.9 s (counted so far)")


def test_readings_of_a_cuff_stand_with_what_was_felt(site: Site) -> None:
    lying = {"when": "lying", "diastolic": "84", "pulse": "70"}
    standing = {"when": "standing_1", "diastolic": "76", "symptoms": "yes"}
    with bedside(site) as at:
        number = at.test(
            TrialBody(count=142, inputs=lying), TrialBody(count=118, inputs=standing),
            measure="orthostatic_vitals", variant="one_reading",
            facts={"arm_support": "supported"},
        )  # fmt: skip
    value = lines_of(site, at.visit.id)[f"round:{number}"].made

    assert "A fall of 24 mmHg, " in value
    assert (
        "lying, after 5 minutes: 142/84 mmHg, pulse 70; standing, 1 minute: " in value
    )
    assert "118/76 mmHg, dizzy, light-headed, pale or grey sight" in value
    assert "First systolic" not in value


@pytest.mark.parametrize("practised", [True, False])
def test_a_rule_that_names_a_practice_does_not_claim_one(
    site: Site, practised: bool
) -> None:
    practice = [TrialBody(raw_ms=20_000, practice=True)] * practised
    with bedside(site) as at:
        number = at.test(
            *practice, timed("16.0"), measure="timed_up_and_go", variant="single",
            facts={},
        )  # fmt: skip
    line = lines_of(site, at.visit.id)[f"round:{number}"].made

    assert "16.0 s, one timed walk after one untimed practice" in line
    assert ("(no practice is on record)" in line) != practised


def test_stop_is_said_with_what_followed(site: Site) -> None:
    said = {
        "what": "lowered", "symptoms": frozenset({"dizzy"}), "called": "nurse",
        "called_at": NOW + timedelta(minutes=4), "systolic": 102, "diastolic": 60,
        "heart_rate": 96, "position": "sitting", "note": "colour back < 2 minutes",
    }  # fmt: skip
    with bedside(site) as at:
        number = at.test(TrialBody(outcome="stopped", reason="knees buckled"))
        (trial,) = trials_of(at, number)
        record_answers(at.session, at.me, trial.id, said, base_id=None, now=NOW)
        make_set(at.session, at.me, at.visit, SetBody(outcome="stopped"), now=NOW)
    first, second = facts_of(site, at.visit.id).stops

    assert first.key == f"stop:trial:{trial.id}"
    assert first.says == (
        "2 Mar 2026, 09:30: Stopped for safety: Five times sit to stand: knees "
        "buckled. Then: lowered to the floor, dizzy; sitting: 102/60 mmHg, heart rate "
        "96 per minute; called: nurse at 09:34; “colour back < 2 minutes”."
    )
    assert {ref.kind for ref in first.refs} == {"trial", "stop"}
    assert second.says.endswith("What followed was not noted.")
    with read_session(site.engine) as session:
        visit = session.get_one(Visit, at.visit.id)
        events = [e.says for e in events_of(session, site.catalogue, visit)]
    assert any("sitting: 102/60 mmHg" in says for says in events)


def test_sets_of_an_activity_are_one_line(site: Site) -> None:
    alike = SetBody(grade="12", reps=10, errors=1)
    with bedside(site) as at:
        sets = [
            make_set(at.session, at.me, at.visit, body, now=NOW + timedelta(minutes=n))
            for n, body in enumerate((alike, SetBody(reps=4), alike, alike))
        ]
        void_set(at.session, at.me, sets[3].id, reason="twice", now=NOW)
        pain = SetBody(outcome="not_done", reason="pain")
        make_set(at.session, at.me, at.visit, pain, activity="S01")
    facts = facts_of(site, at.visit.id)
    (line,) = facts.activities

    assert line.key == f"set:{sets[0].id}"
    assert [ref.id for ref in line.refs] == [row.id for row in sets[:3]]
    assert ": sets 1 and 3: 10 repetitions, 1 error" in line.says
    assert "; set 2: 4 repetitions" in line.says
    assert [s.says.rpartition(": ")[2] for s in facts.not_done] == ["pain"]
    assert facts.not_counted[0].says.endswith("a set taken back: twice")


def test_minutes_are_those_recorded(site: Site) -> None:
    with bedside(site) as at:
        services = {
            name: make_service(
                at.session, person_by(at.session, "supervisor"), name, timed=is_timed
            ).id
            for name, is_timed in (("Standing work", True), ("Group hour", False))
        }
        given = dict(zip(services.values(), (25, 10), strict=True))
        set_service_minutes(at.session, at.me, at.visit, given, NOW)
        set_minutes(at.session, at.me, at.visit, {"individual": 35}, NOW)
        pause(at.session, at.me, at.visit, "toilet", NOW + timedelta(minutes=10))
        resume(
            at.session, at.me, at.visit, today=TODAY, now=NOW + timedelta(minutes=15)
        )
    open_one = [s.key for s in facts_of(site, at.visit.id).minutes]
    with bedside(site) as at:
        close(at.session, at.me, at.visit, without_list="called away",
              now=NOW + timedelta(minutes=40))  # fmt: skip
        colleague = person_by(at.session, "colleague")
        assign(at.session, at.me, at.patient, colleague, now=NOW)
        other = make_visit(at.session, colleague, at.episode)
        work = {services["Standing work"]: 8}
        set_service_minutes(at.session, colleague, other, work, NOW)
    said = {s.key: s.says for s in facts_of(site, at.visit.id).minutes}

    assert open_one == ["minutes:services", "minutes:kinds"]
    assert said == {
        "minutes:services": "Treatment in all 35 min, timed 25 min, untimed 10 min: "
        "Group hour 10 min, Standing work 25 min",
        "minutes:day": "All visits of this day: treatment in all 43 min, timed 33 min",
        "minutes:kinds": "By kind: individual 35 min",
        "minutes:clock": "By the clock 35 min; paused 5 min, not billable: toilet",
    }
    assert facts_of(site, at.visit.id).exits[0].says == (
        "Left without the list: called away."
    )


def test_missed_visit_says_why_and_whom(site: Site) -> None:
    with bedside(site) as at:
        miss(at.session, at.me, at.visit, reason="declined", told="nurse",
             again="tomorrow at 10", now=NOW)  # fmt: skip
    lines = lines_of(site, at.visit.id)

    assert lines[f"missed:{at.visit.id}"].made == (
        "Visit missed: declined. Told: nurse. To be tried again: tomorrow at 10."
    )
    assert not any(line.needed for line in lines.values())


def test_home_sheet_is_education_shown_back(site: Site) -> None:
    with bedside(site) as at:
        sheet = make_home_sheet(at.session, at.me, at.episode, "S01")
        at.on(1)
        make_home_sheet(
            at.session, at.me, at.episode, "S01", now=NOW + timedelta(days=1)
        )
    (said,) = facts_of(site, at.visit.id).teaching

    assert said.key == f"home_sheet:{sheet.id}"
    assert said.says.startswith(
        "Taught to a family member, who showed each back: Seated lateral weight shift "
        "to a mark (2 sets, 5 times a week, "
    )
    assert said.says.endswith(
        "change at home: Keep a light on from bed to bathroom at night."
    )


def test_teaching_and_hand_off_stand_with_what_came_back(site: Site) -> None:
    taught = Taught("family", "guarding", "shown", "prompts", prompts=2)
    card = HandOffBody("nursing", "nurse", ("Walks with one.",), read_back=True)
    with bedside(site) as at:
        rows = [
            record_teaching(at.session, at.me, at.visit, taught, uid=new_uid(), now=NOW)
            for _ in range(2)
        ]
        void_teaching(at.session, at.me, rows[1].id, reason="twice", now=NOW)
        row = give(at.session, at.me, at.visit, card, uid=new_uid(), now=NOW)
    facts = facts_of(site, at.visit.id)

    assert [(s.key, s.says) for s in facts.teaching] == [
        (
            f"teaching:{rows[0].id}",
            "Taught family: guarding with the belt; shown; showed it back with 2 "
            "prompts",
        )
    ]
    assert [(s.key, s.says) for s in facts.hand_off] == [
        (f"hand_off:{row.id}", "Hand-off to: nurse, read back")
    ]
