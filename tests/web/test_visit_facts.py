"""What a note says of things that the demo's visits do not hold."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest
from sqlmodel import Session, select

from app.clinical.note import Line, Ref
from app.clinical.visit_facts import VisitFacts
from app.clinical.visiting import Limit
from app.storage.activity_sets import SetBody, void_set
from app.storage.database import read_session, write_session
from app.storage.deficits import say
from app.storage.episodes import Episode, Visit, open_episode
from app.storage.goal_rows import GoalBody
from app.storage.goals import sign_goal
from app.storage.observations import (
    SymptomCheck,
    TaskObservation,
    VitalSigns,
    answer,
    give_code,
    record,
    set_limit,
    void_observation,
)
from app.storage.patients import Patient
from app.storage.people import Person
from app.storage.plans import PlanLine, write_plan
from app.storage.profile import write_profile
from app.storage.responsible import assign
from app.storage.safety import record_answers
from app.storage.services import set_service_minutes
from app.storage.trials import Round, Trial, TrialBody, void_trial
from app.storage.visits import close, miss, pause, resume, set_kind, set_minutes
from app.web.deps import Site
from app.web.note_facts import evaluation_lines, visit_facts, visit_lines
from app.web.visit_events import events_of
from tests.conftest import person_by
from tests.make import (
    NOW,
    TODAY,
    make_goal,
    make_home_sheet,
    make_precaution,
    make_round,
    make_service,
    make_set,
    make_trial,
    make_visit,
    new_uid,
)

STANDS = {"measure": "five_times_sit_to_stand", "variant": "single"}
SETUP = {"seat_height": "17.5 in", "arms_used": "no", "device": "none"}


@dataclass
class Bedside:
    """A visit in the making, by the therapist who owns the patient."""

    session: Session
    me: Person
    patient: Patient
    episode: Episode
    visit: Visit

    def test(self, *bodies: TrialBody, visit: Visit | None = None, **said: Any) -> int:
        """A round of a test; its number."""
        at = visit or self.visit
        kind = {**STANDS, "facts": SETUP, **said}
        round = make_round(self.session, self.me, at, **kind)
        for body in bodies:
            make_trial(self.session, self.me, round, body)
        return round.id

    def task(self, **said: Any) -> TaskObservation:
        return record(
            self.session, self.me, self.visit, TaskObservation,
            {"task": "transfer_toilet", **said}, uid=new_uid(), now=NOW,
        )  # fmt: skip

    def goal(self, *, signed: bool = True, **said: Any) -> int:
        body = {
            "term": "short", "who": "patient", "kind": "score",
            "by_date": TODAY + timedelta(days=28), "task": "transfer_toilet",
            "measure": "five_times_sit_to_stand", "target_value": "12.0",
            "target_unit": "s", **said,
        }  # fmt: skip
        row = make_goal(self.session, self.me, self.episode, GoalBody(**body))
        if signed:
            sign_goal(self.session, self.me, row, version=1, now=NOW)
        return row.id

    def on(self, days: int) -> Visit:
        """Another visit, so many days from today."""
        return make_visit(
            self.session, self.me, self.episode, now=NOW + timedelta(days=days)
        )


@pytest.fixture
def bedside(site: Site) -> Callable[[], Any]:
    @contextmanager
    def opened() -> Iterator[Bedside]:
        with write_session(site.engine) as session:
            me = person_by(session, "therapist")
            patient = session.exec(select(Patient)).one()
            episode = open_episode(session, patient)
            visit = make_visit(session, me, episode)
            yield Bedside(session, me, patient, episode, visit)

    return opened


def facts_of(site: Site, visit_id: int, **said: Any) -> VisitFacts:
    with read_session(site.engine) as session:
        return visit_facts(session, site, session.get_one(Visit, visit_id), **said)


def lines_of(site: Site, visit_id: int, kind: str = "visit") -> dict[str, Line]:
    make = visit_lines if kind == "visit" else evaluation_lines
    with read_session(site.engine) as session:
        lines = make(session, site, session.get_one(Visit, visit_id))
    return {line.key: line for line in lines}


def trials_of(at: Bedside, round_id: int) -> Sequence[Trial]:
    return at.session.exec(select(Trial).where(Trial.round_id == round_id)).all()


def timed(seconds: str) -> TrialBody:
    return TrialBody(raw_ms=int(seconds.replace(".", "")) * 100)


def test_symptom_taps_make_one_line_under_the_first_key(
    site: Site, bedside: Any
) -> None:
    asking = "ab" * 16
    with bedside() as at:
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


def test_vital_signs_stand_with_position_limits_and_no_advice(
    site: Site, bedside: Any
) -> None:
    limit = Limit(50, 110)
    with bedside() as at:
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


def test_tasks_stand_with_help_and_code_or_why_not(site: Site, bedside: Any) -> None:
    with bedside() as at:
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
    site: Site, bedside: Any, goal: dict[str, Any], linked: bool
) -> None:
    with bedside() as at:
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


def test_trials_that_do_not_count_stand_with_their_reason(
    site: Site, bedside: Any
) -> None:
    with bedside() as at:
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


def test_readings_of_a_cuff_stand_with_what_was_felt(site: Site, bedside: Any) -> None:
    lying = {"when": "lying", "diastolic": "84", "pulse": "70"}
    standing = {"when": "standing_1", "diastolic": "76", "symptoms": "yes"}
    with bedside() as at:
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
    site: Site, bedside: Any, practised: bool
) -> None:
    practice = [TrialBody(raw_ms=20_000, practice=True)] * practised
    with bedside() as at:
        number = at.test(
            *practice, timed("16.0"), measure="timed_up_and_go", variant="single",
            facts={},
        )  # fmt: skip
    line = lines_of(site, at.visit.id)[f"round:{number}"].made

    assert "16.0 s, one timed walk after one untimed practice" in line
    assert ("(no practice is on record)" in line) != practised


def test_stop_is_said_with_what_followed(site: Site, bedside: Any) -> None:
    said = {
        "what": "lowered", "symptoms": frozenset({"dizzy"}), "called": "nurse",
        "called_at": NOW + timedelta(minutes=4), "systolic": 102, "diastolic": 60,
        "heart_rate": 96, "position": "sitting", "note": "colour back < 2 minutes",
    }  # fmt: skip
    with bedside() as at:
        number = at.test(TrialBody(outcome="stopped", reason="knees buckled"))
        (trial,) = trials_of(at, number)
        record_answers(at.session, at.me, trial.id, said, base_id=None, now=NOW)
        make_set(at.session, at.me, at.visit, SetBody(outcome="stopped"), now=NOW)
    first, second = facts_of(site, at.visit.id).stops

    assert first.key == f"stop:trial:{trial.id}"
    assert first.says == (
        "2 March 2026, 09:30: Stopped for safety: Five times sit to stand: knees "
        "buckled. Then: lowered to the floor, dizzy; sitting: 102/60 mmHg, heart rate "
        "96 per minute; called: nurse at 09:34; “colour back < 2 minutes”."
    )
    assert {ref.kind for ref in first.refs} == {"trial", "stop"}
    assert second.says.endswith("What followed was not noted.")
    with read_session(site.engine) as session:
        visit = session.get_one(Visit, at.visit.id)
        events = [e.says for e in events_of(session, site.catalogue, visit)]
    assert any("sitting: 102/60 mmHg" in says for says in events)


def test_sets_of_an_activity_are_one_line(site: Site, bedside: Any) -> None:
    alike = SetBody(grade="12", reps=10, errors=1)
    with bedside() as at:
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


def test_minutes_are_those_recorded(site: Site, bedside: Any) -> None:
    with bedside() as at:
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
    with bedside() as at:
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


def test_missed_visit_says_why_and_whom(site: Site, bedside: Any) -> None:
    with bedside() as at:
        miss(at.session, at.me, at.visit, reason="declined", told="nurse",
             again="tomorrow at 10", now=NOW)  # fmt: skip
    lines = lines_of(site, at.visit.id)

    assert lines[f"missed:{at.visit.id}"].made == (
        "Visit missed: declined. Told: nurse. To be tried again: tomorrow at 10."
    )
    assert not any(line.needed for line in lines.values())


def test_home_sheet_is_education_shown_back(site: Site, bedside: Any) -> None:
    with bedside() as at:
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


def test_plan_says_what_comes_and_what_is_left(site: Site, bedside: Any) -> None:
    with bedside() as at:
        make_set(at.session, at.me, at.visit)
        for day, lines in (
            (TODAY, [PlanLine("T01", "12", 2, 5), PlanLine("S01", "3", 2, 5)]),
            (TODAY + timedelta(days=2), [PlanLine("S01", "4", 3, 5)]),
        ):
            write_plan(at.session, at.me, at.episode, day, lines, uid=new_uid(),
                       version=0, now=NOW)  # fmt: skip
    facts = facts_of(site, at.visit.id)
    left, following = (said.says for said in facts.planned)

    assert left == "Planned for this visit, without a set: Seated lateral weight " + (
        "shift to a mark"
    )
    assert following.startswith("Planned for 4 March 2026: Seated lateral weight shift")
    assert ", 3 sets at shoulder travel past hip edge 4 in" in following
    assert [said.key for said in facts.next_grades] == ["grade:T01"]


def test_a_past_note_knows_nothing_of_later_days(site: Site, bedside: Any) -> None:
    with bedside() as at:
        first = at.test(timed("19.4"))
        at.goal(base_round_id=first, base_on=TODAY, base_says="19.4 s")
        second, third = at.on(7), at.on(14)
        at.test(timed("17.0"), visit=second)
        at.test(timed("12.0"), visit=third)
    before, after = (facts_of(site, v.id).goals[0] for v in (second, third))

    assert facts_of(site, at.visit.id).goals[0].progress == ""
    assert before.progress == (
        "32 % of the way from 19.4 s to 12.0 s or less: 17.0 s on 9 Mar."
    )
    assert after.progress.startswith("Reached: 12.0 s on 16 Mar")
    assert facts_of(site, second.id).due[0].says == (
        "Progress report: 2 of 10 treatment days used"
    )


def test_evaluation_gathers_who_and_why(site: Site, bedside: Any) -> None:
    profile = {
        "prior_mobility": "device", "lives_with": "alone", "home": "three steps",
        "matters": "the garden < the stairs", "fall_injury": "minor",
    }  # fmt: skip
    with bedside() as at:
        set_kind(at.session, at.me, at.visit, "evaluation", NOW)
        write_profile(at.session, at.me, at.episode, profile, version=0, now=NOW)
        order = make_precaution(at.session, at.me, at.episode, "hip_post",
                                review_on=TODAY + timedelta(days=9))  # fmt: skip
        number = at.test(timed("19.4"))
        say(at.session, at.me, at.episode, "slow_gait", "added", "seen on the ward",
            uid=new_uid(), day=TODAY, now=NOW)  # fmt: skip
    lines = lines_of(site, at.visit.id, "evaluation")
    problems = [line for key, line in lines.items() if key.startswith("deficit:")]

    assert lines["episode:reason"].made == (
        "Reason: walks less since a fall; living in the community."
    )
    assert lines["person"].made == "Person: 77 or 78, woman."
    assert lines["field:conditions"].needed
    assert lines["profile:living"].made == (
        "Getting about before: alone, with a device or more time. Lives: alone. Home: "
        "three steps."
    )
    assert lines["profile:falls"].made == (
        "Falls: injury from a fall: minor injury, no care needed."
    )
    assert lines["profile:matters"].made == (
        "What matters to them: “the garden < the stairs”."
    )
    assert lines[f"precaution:{order.id}"].made == (
        "Order in force: Posterior hip rules (set on 2 March 2026, review 11 March "
        "2026)."
    )
    assert any(Ref("round", number) in line.refs for line in problems)
    assert any("seen on the ward" in line.made for line in problems)
    assert lines["episode:plan"].made == "Plan: to restore function."
    assert lines["field:goals"].needed
    assert facts_of(site, at.visit.id).background.plan is not None
    assert facts_of(site, at.visit.id, background=False).background.plan is None


def test_struck_problems_and_later_ones_do_not_stand(site: Site, bedside: Any) -> None:
    with bedside() as at:
        at.test(timed("19.4"))
        later = at.on(7)
        at.test(timed("40.0"), visit=later, measure="timed_up_and_go", facts={})
    found = _problems(site, at.visit.id)
    both = _problems(site, later.id)
    with bedside() as at:
        for key in found:
            say(at.session, at.me, at.episode, key.partition(":")[2], "struck",
                "knee pain that day", uid=new_uid(), day=TODAY,
                now=NOW + timedelta(hours=1))  # fmt: skip

    assert found
    assert found < both
    assert _problems(site, at.visit.id) == set()


def _problems(site: Site, visit_id: int) -> set[str]:
    keys = lines_of(site, visit_id, "evaluation")
    return {key for key in keys if key.startswith("deficit:")}
