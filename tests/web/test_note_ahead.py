"""What a note says of goals, plans and the person, as they stood on its day."""

from datetime import timedelta

from app.clinical.note import Ref
from app.storage.deficits import say
from app.storage.plans import PlanLine, write_plan
from app.storage.profile import write_profile
from app.storage.visits import set_kind
from app.web.deps import Site
from tests.make import (
    NOW,
    TODAY,
    make_precaution,
    make_set,
    new_uid,
)
from tests.web.note_bedside import bedside, facts_of, lines_of, timed


def test_plan_says_what_comes_and_what_is_left(site: Site) -> None:
    with bedside(site) as at:
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
    assert following.startswith("Planned for 4 Mar 2026: Seated lateral weight shift")
    assert ", 3 sets at shoulder travel past hip edge 4 in" in following
    assert [said.key for said in facts.next_grades] == ["grade:T01"]


def test_a_past_note_knows_nothing_of_later_days(site: Site) -> None:
    with bedside(site) as at:
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


def test_evaluation_gathers_who_and_why(site: Site) -> None:
    profile = {
        "prior_mobility": "device", "lives_with": "alone", "home": "three steps",
        "matters": "the garden < the stairs", "fall_injury": "minor",
    }  # fmt: skip
    with bedside(site) as at:
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
        "Order in force: Posterior hip rules (set on 2 Mar 2026, review 11 Mar 2026)."
    )
    assert any(Ref("round", number) in line.refs for line in problems)
    assert any("seen on the ward" in line.made for line in problems)
    assert lines["episode:plan"].made == "Plan: to restore function."
    assert lines["field:goals"].needed
    assert facts_of(site, at.visit.id).background.plan is not None
    assert facts_of(site, at.visit.id, background=False).background.plan is None


def test_struck_problems_and_later_ones_do_not_stand(site: Site) -> None:
    with bedside(site) as at:
        at.test(timed("19.4"))
        later = at.on(7)
        at.test(timed("40.0"), visit=later, measure="timed_up_and_go", facts={})
    found = _problems(site, at.visit.id)
    both = _problems(site, later.id)
    with bedside(site) as at:
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
