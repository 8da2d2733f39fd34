"""Which work evidence asks for: just below, at and beyond each limit, reason, level.

Scores are read by the shipped catalogue; each row names the source whose limit decides.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from app.catalogue.load import catalogue
from app.clinical.assistance import LEVELS
from app.clinical.deficit import (
    WEAK_REASONS,
    Answered,
    Evidence,
    Finding,
    InForce,
    Origin,
    Scored,
    TaskSeen,
)
from app.clinical.deficits import Line, Word, findings, lines, tells
from app.clinical.person import Person
from app.clinical.reading import Result, read
from app.clinical.scores import Trial
from app.clinical.scoring import score
from app.clinical.setup import read_facts
from app.clinical.visiting import TASKS
from app.clinical.vocabulary import OUTCOMES, UNABLE_REASONS, Outcome
from tests.clinical.reading_for import a_score, measure, result

SHELF = catalogue().deficits
DAY, AT = date(2026, 11, 25), datetime.fromisoformat("2026-11-25T10:00:00+00:00")
WOMAN: dict[str, Any] = {"age": 74, "sex": "female", "setting": "community"}
MAN: dict[str, Any] = {"age": 74, "sex": "male", "setting": "community"}


def origin(kind: str = "round", key: int | str = 1, days: int = 0) -> Origin:
    day = DAY + timedelta(days=days)
    return Origin((kind, str(key)), day, f"{day.day} Nov", AT + timedelta(days=days))


def named(*results: Result) -> tuple[Finding, ...]:
    """What results of days one after the other name."""
    tests = tuple(
        Scored(r, origin(key=n, days=n)) for n, r in enumerate(results)
    )  # fmt: skip
    return findings(SHELF, Evidence(tests=tests))


def keys(found: tuple[Finding, ...]) -> set[str]:
    return {finding.deficit for finding in found}


def only(found: tuple[Finding, ...], deficit: str) -> Finding:
    (one,) = [f for f in found if f.deficit == deficit]
    return one


def made(
    test: str, *trials: Trial, facts: Mapping[str, str] | None = None, **who: Any
) -> Result:
    """A result from its trials, so that parts and rules of the test come along."""
    m = measure(test)
    person = Person((74,), "female", (), "community")
    done = score(m, trials, variant=_rule_of(test), facts=read_facts(m, facts or {}))
    return read(m, done, replace(person, **who))


def _rule_of(test: str) -> str | None:
    rules = [v.id for v in measure(test).variants]
    return "single" if "single" in rules else None


def timed(seconds: str) -> Trial:
    return Trial(value=Decimal(seconds), unit="s")


def staged(*seconds: str) -> Result:
    """The four-stage balance test, each stage held for so long; `-` for unable."""
    trials = [Trial("unable", reason="physical") if s == "-" else timed(s)
              for s in seconds]  # fmt: skip
    return made("four_stage_balance", *trials)


#: Deficit, test, person and set-up, then the value not beyond, and the one beyond, of
#: the limit of which source, and how its limit is said. "At" is the value at the limit,
#: and stands on the side its source puts it.
LIMITS: list[tuple[str, str, Mapping[str, Any], str, str, str, str]] = [
    ("slow_sit_to_stand", "five_times_sit_to_stand",
     {"age": 45, "conditions": ["lumbar_degenerative"], "setting": "outpatient"},
     "10.3s", "10.4s", "Staartjes 2018", "above 10.35 s"),
    ("slow_sit_to_stand", "five_times_sit_to_stand",
     {"age": 58, "conditions": ["parkinson"], "setting": "community"},
     "16.0s", "16.1s", "Duncan 2011", "above 16.0 s"),
    ("slow_sit_to_stand", "thirty_second_chair_stand", WOMAN, "10", "9",
     "Centers for Disease Control and Prevention (US) 2017", "below 10"),
    ("slow_sit_to_stand", "thirty_second_chair_stand", {**MAN, "age": 79},
     "11", "10", "Centers for Disease Control and Prevention (US) 2017", "below 11"),
    ("slow_tug", "timed_up_and_go",
     {"age": 58, "conditions": ["amputation"], "setting": "community",
      "about": {"amputation_level": "below_knee", "time_since": "established"}},
     "8.16s", "8.17s", "Sawers 2020", "at or above 8.17 s"),
    ("slow_step_direction", "four_square_step",
     {"age": 50, "conditions": ["vestibular"], "setting": "outpatient"},
     "12.0s", "12.1s", "Whitney 2007", "above 12.0 s"),
    ("slow_step_direction", "four_square_step", {**WOMAN, "age": 81},
     "15.0s", "15.1s", "Cleary 2017", "above 15.0 s"),
    ("short_forward_reach", "functional_reach",
     {"age": 72, "conditions": ["stroke"], "setting": "community"},
     "22cm", "21.9cm", "Lusardi 2017", "below 22 cm"),
    ("poor_single_leg", "single_leg_stance", {**WOMAN, "limit": "30", "eyes": "open"},
     "5.0s", "4.9s", "Vellas 1997", "below 5.0 s"),
    ("poor_narrow_stance", "tandem_stance", {**WOMAN, "setting": "outpatient"},
     "10.0s", "9.9s", "Authors not shown 2022", "below 10.0 s"),
    ("turn_unsteady", "turn_360",
     {"age": 45, "conditions": ["stroke"], "setting": "community"},
     "3.42s", "3.43s", "Shiu 2016", "at or above 3.43 s"),
    ("turn_unsteady", "turn_360", WOMAN, "4.0s", "4.1s", "Berg 1992", "above 4.0 s"),
    ("slow_gait", "gait_speed",
     {"age": 50, "conditions": ["stroke"], "setting": "community", "course": "10m"},
     "0.93m/s", "0.92m/s", "Fulk 2017", "below 0.93 m/s"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("deficit", "test", "who", "short_of", "beyond", "source", "limit"),
    LIMITS,
    ids=[f"{row[0]}-{row[5]}-{row[1]}" for row in LIMITS],
)
def test_limit_is_crossed_only_beyond_it(
    deficit: str,
    test: str,
    who: Mapping[str, Any],
    short_of: str,
    beyond: str,
    source: str,
    limit: str,
) -> None:
    before = named(result(test, short_of, **who))
    after = named(result(test, beyond, **who))

    said = f"is {limit}, "
    assert not [f for f in before if said in f.because and source in f.because]
    found = [f for f in after if f.deficit == deficit]
    assert any(said in f.because and source in f.because for f in found), after


def test_time_over_a_course_is_its_own_quantity() -> None:
    """Goldman 2013 gives seconds over 25 ft, at a fast pace."""
    facts = {"course": "25ft", "pace": "fast"}
    who: dict[str, Any] = {
        "ages": (45,),
        "conditions": ("ms",),
        "setting": "outpatient",
    }
    short_of = made("gait_speed", timed("5.9"), facts=facts, **who)
    beyond = made("gait_speed", timed("6.0"), facts=facts, **who)

    assert not [f for f in named(short_of) if "Goldman" in f.because]
    said = only(named(beyond), "slow_gait").because
    assert "the time over the course, 6.0 s, is at or above 6.0 s" in said
    assert "(Goldman 2013)" in said


class TestSentence:
    def test_tells_test_value_day_limit_people_and_source(self) -> None:
        found = only(
            named(result("five_times_sit_to_stand", "18.4s", **WOMAN)),
            "slow_sit_to_stand",
        )

        assert found.because.startswith(
            "Five times sit to stand 18.4 s on 25 Nov is above 15.0 s, linked with "
            "recurrent falls (two or more) in healthy people 65 and over living in the "
            "community (Buatois 2008). 12 more sources' limits are crossed."
        )
        assert (found.how, found.weight) == ("common practice", 0)

    def test_says_that_sources_disagree(self) -> None:
        found = only(named(result("timed_up_and_go", "12.8s", **WOMAN)), "slow_tug")

        assert "Sources disagree" in found.because
        assert "13.5 s (Barry 2014)" in found.because
        assert found.weight == 3

    def test_says_that_the_lead_is_not_crossed(self) -> None:
        """The result page leads with Buatois 2008, 15 s, which 14.6 s is not beyond."""
        found = only(
            named(result("five_times_sit_to_stand", "14.6s", **WOMAN)),
            "slow_sit_to_stand",
        )

        assert "at or above 13.7 s" in found.because
        assert (
            "leads is about falls: not beyond 15.0 s (Buatois 2008)." in found.because
        )
        assert found.weight == 3

    def test_says_what_is_close(self) -> None:
        found = only(named(result("single_leg_stance", "4.9s", **WOMAN)),
                     "poor_single_leg")  # fmt: skip

        assert "could fall either side another day" in found.because

    def test_gives_the_value_in_both_units(self) -> None:
        found = only(
            named(result("functional_reach", "8.5in", **WOMAN)), "short_forward_reach"
        )

        assert "Functional reach 8.5 in (21.6 cm) on 25 Nov is below 22 cm" in (
            found.because
        )

    def test_names_the_side(self) -> None:
        found = only(
            named(result("single_leg_stance", "3s", **WOMAN, leg="left")),
            "poor_single_leg",
        )

        assert found.because.startswith("One-leg stance (left) 3.0 s on 25 Nov")

    def test_lead_comes_first(self) -> None:
        read_so = result("five_times_sit_to_stand", "18.4s", **WOMAN)
        lead = read_so.leading

        assert lead is not None
        assert lead.row is not None
        assert lead.row.source == "buatois2008"
        assert "(Buatois 2008)" in named(read_so)[0].because

    def test_guessed_sex_is_said(self) -> None:
        about: dict[str, Any] = {"age": 72, "setting": "community"}
        found = only(
            named(result("thirty_second_chair_stand", "11", **about)),
            "slow_sit_to_stand",
        )

        assert "Assumed: if a man." in found.because


class TestSample:
    """Lines of a sample: only an average's far end is said to be no limit."""

    def test_one_sd_is_strict(self) -> None:
        """Newton 2001: 6.15 in, SD 2.99, to the right, in four directions."""
        facts: dict[str, Any] = {"side": "right", "directions": "four"}
        at = named(result("lateral_reach", "3.16in", **WOMAN, **facts))
        past = named(result("lateral_reach", "3.15in", **WOMAN, **facts))

        assert at == ()
        said = only(past, "short_lateral_reach").because
        assert "by more than one SD (6.15 in, SD 2.99 in; Newton 2001)" in said

    def test_published_quarter_is_a_line(self) -> None:
        """Rikli 1999: the 25th percentile of women of 70 to 74 is 10 stands."""
        below = read_quarter("9")

        assert "shorter" not in below
        assert "fewer than three quarters of women of 70 to 74 years" in below
        assert read_quarter("10") == ""

    def test_average_of_healthy_people_is_no_limit_of_normal(self) -> None:
        """Bohannon 2006: 9.0 s at 60 to 69, an average's far end."""
        ward: dict[str, Any] = {
            "age": 66,
            "setting": "inpatient",
            "conditions": ["stroke"],
        }
        at = named(result("timed_up_and_go", "9.0s", **ward))
        past = only(
            named(result("timed_up_and_go", "9.1s", **ward)),
            "slow_tug",
        )

        assert at == ()
        assert "slower than the average of apparently healthy people" in past.because
        assert "no limit of normal: nearly half of them lie beyond it" in past.because
        assert "No limit linked with falls or daily life is crossed." in past.because
        assert past.weight == 6

    def test_recalled_numbers_name_nothing(self) -> None:
        """Of 60 and over, the seated averages are recalled only."""
        short = result("seated_reach_forward", "10cm", age=70, seat="chair")

        assert any(r.matched and not r.confirmed for r in short.readings)
        assert named(short) == ()

    def test_rows_without_a_verdict_name_nothing(self) -> None:
        """Quinn 2018 at 9.0 s: kept in sight, and barred from a verdict."""
        about: dict[str, Any] = {
            "age": 45,
            "conditions": ["ms"],
            "setting": "outpatient",
        }
        slow = result("timed_up_and_go", "9.0s", **about)

        assert any(r.no_verdict and r.crossed and r.matched for r in slow.readings)
        assert "Quinn" not in " ".join(f.because for f in named(slow))


def read_quarter(stands: str) -> str:
    """What the sample's quarter alone says of a woman of 72."""
    rule = next(
        r for r in SHELF.rules
        if r.measure == "thirty_second_chair_stand" and r.kind == "beyond"
    )  # fmt: skip
    shelf = replace(SHELF, rules=(replace(rule, limits=(), lines=("quarter",)),))
    about = {**WOMAN, "age": 72}
    seen = Scored(result("thirty_second_chair_stand", stands, **about), origin())
    return " ".join(f.because for f in findings(shelf, Evidence(tests=(seen,))))


def test_very_fast_walk_is_never_called_slow() -> None:
    """Quach 2011 puts 1.3 m/s and over on the same ladder: outdoor falls."""
    fast = result("gait_speed", "1.4m/s", **WOMAN, course="4m", pace="usual")

    assert any(r.crossed and r.direction == "at_or_above" for r in fast.readings)
    assert "slow_gait" not in keys(named(fast))


class TestSetUp:
    def test_easier_set_up_beyond_a_limit_is_reasoning(self) -> None:
        flat = named(result("four_square_step", "17s", **WOMAN, marker="flat"))

        said = only(flat, "slow_step_direction")
        assert "reasoning, not a published finding" in said.because
        assert "flat tape" in said.because
        assert said.weight == 5

    def test_harder_set_up_names_nothing(self) -> None:
        foam = named(result("functional_reach", "5in", **WOMAN, surface="foam"))

        assert foam == ()

    def test_arms_used_in_a_test_without_arms(self) -> None:
        found = named(
            result("five_times_sit_to_stand", "12s", **WOMAN, arms_used="yes")
        )

        assert only(found, "unable_rise_without_arms").weight == 5
        plain = named(result("five_times_sit_to_stand", "9s", **WOMAN, arms_used="no"))
        assert "unable_rise_without_arms" not in keys(plain)

    @pytest.mark.parametrize("test", ["seated_reach_forward", "seated_reach_lateral"])
    def test_holding_on_while_reaching(self, test: str) -> None:
        found = named(result(test, "40cm", age=70, other_hand="holds"))

        assert "poor_sitting_hold" in keys(found)
        still = named(result(test, "40cm", age=70, other_hand="still"))
        assert "poor_sitting_hold" not in keys(still)


def unable(test: str, reason: str, **facts: str) -> Result:
    return made(test, Trial("unable", reason=reason), facts=facts)


#: Every test that a rule names when it could not be done, and what that asks for.
UNABLE = {
    (rule.measure, reason, rule.deficit)
    for rule in SHELF.rules if rule.kind == "unable" for reason in rule.reasons
}  # fmt: skip
MEASURES = sorted({test for test, _, _ in UNABLE})


@pytest.mark.parametrize("test", MEASURES)
@pytest.mark.parametrize("reason", [*UNABLE_REASONS, ""])
def test_only_weakness_and_help_are_named(test: str, reason: str) -> None:
    """Did not understand, and no reason at all, are never weakness."""
    found = named(unable(test, reason))

    wanted = {d for t, r, d in UNABLE if (t, r) == (test, reason)}
    assert keys(found) == wanted
    assert bool(wanted) == (reason in WEAK_REASONS)
    assert tells(unable(test, reason).score) == (reason in WEAK_REASONS)


@pytest.mark.parametrize("test", MEASURES)
@pytest.mark.parametrize("outcome", sorted(set(OUTCOMES) - {"completed", "unable"}))
def test_declined_stopped_and_not_done_name_nothing(
    test: str, outcome: Outcome
) -> None:
    assert named(made(test, Trial(outcome, reason="physical"))) == ()


@pytest.mark.parametrize(
    ("reason", "said", "weight"),
    [
        ("physical", "could not be done: not managed physically.", 0),
        ("hands_on_help", "could not be done without hands-on help.", 0),
        ("pain", "because of pain. That tells of pain, not of strength.", 2),
        ("symptoms", "because of symptoms. Look at them first: that tells nothing", 2),
    ],
)
def test_reason_is_said_as_such(reason: str, said: str, weight: int) -> None:
    found = only(
        named(unable("five_times_sit_to_stand", reason)), "unable_rise_without_arms"
    )

    assert said in found.because
    assert found.weight == weight
    assert "Being unable was linked with" in found.because
    assert "(Zhang 2013)" in found.because


def test_eyes_closed_alone_is_no_weak_leg() -> None:
    closed = unable("single_leg_stance", "physical", eyes="closed")

    assert named(closed) == ()
    assert "poor_single_leg" in keys(named(unable("single_leg_stance", "physical")))


class TestZero:
    def stands(self, count: str, **facts: str) -> Result:
        trial = Trial(value=Decimal(count), unit="count")
        return made("thirty_second_chair_stand", trial, facts=facts)

    def test_arms_score_zero_and_need_arms(self) -> None:
        found = named(self.stands("9", arms_used="yes"))

        said = only(found, "unable_rise_without_arms")
        assert "0 stands by the test's own rule" in said.because
        assert ": 9." in said.because
        assert said.weight == 0

    def test_no_stand_at_all(self) -> None:
        found = only(named(self.stands("0")), "unable_rise_without_arms")

        assert found.because == "30-second chair stand on 25 Nov: 0 stands."

    def test_one_stand_is_no_zero(self) -> None:
        assert "unable_rise_without_arms" not in keys(named(self.stands("1")))


class TestStages:
    """CDC's sheet: the tandem stance, 10 s."""

    @pytest.mark.parametrize(
        ("held", "found"),
        [
            (("10", "10", "9.99"), {"poor_narrow_stance"}),
            (("10", "10", "10", "10"), set()),
            (("10", "10", "10", "9.9"), {"poor_single_leg"}),
            (("10", "10", "10", "-"), {"poor_single_leg"}),
            (("10", "7"), {"poor_narrow_stance"}),
            (("-",), {"poor_narrow_stance"}),
        ],
    )
    def test_stage_that_was_missed(
        self, held: tuple[str, ...], found: set[str]
    ) -> None:
        assert keys(named(staged(*held))) == found

    def test_seconds_are_said(self) -> None:
        said = only(named(staged("10", "10", "10", "6.1")), "poor_single_leg").because

        assert "held 6.1 s of 10.0 s" in said
        assert "no limit for this stage alone was found" in said


class TestDualTask:
    """The scale's rule (secondary): a loss above 10 percent against the plain test."""

    def dual(self, plain: str, second: str) -> tuple[Finding, ...]:
        m = measure("tug_cognitive")
        pair = {"timed_up_and_go": a_score("timed_up_and_go", plain)}
        both = score(m, [timed(second)], variant="single", paired=pair)
        return named(read(m, both, Person((70,), "male", (), "community")))

    def test_loss_of_a_tenth_is_the_edge(self) -> None:
        assert "dual_task_cost" not in keys(self.dual("10.0s", "11.0"))
        said = only(self.dual("10.0s", "11.1"), "dual_task_cost").because
        assert "-11.0 %, is below -10.0 %" in said

    def test_slow_time_alone_is_no_cost(self) -> None:
        """Beyond 15 s for falls (Shumway-Cook 2000), and no plain test beside it."""
        alone = made("tug_cognitive", timed("18.0"))

        assert any(r.crossed and r.matched for r in alone.readings)
        assert named(alone) == ()

    def test_carrying_costs_seconds_where_that_was_found(self) -> None:
        """Lundin-Olsson 1998: 4.5 s, in sheltered housing."""
        m = measure("tug_manual")
        pair = {"timed_up_and_go": a_score("timed_up_and_go", "14.0s")}
        home = Person((84,), "female", (), "sheltered_housing")
        cost = {
            seconds: keys(named(read(
                m, score(m, [timed(seconds)], variant="single", paired=pair), home
            )))
            for seconds in ("18.4", "18.5")
        }  # fmt: skip

        assert "dual_task_cost" not in cost["18.4"]
        assert "dual_task_cost" in cost["18.5"]


class TestTasks:
    @pytest.mark.parametrize("level", LEVELS)
    def test_dressing_counts_from_minimal_help(self, level: str) -> None:
        found = findings(
            SHELF, Evidence(tasks=(TaskSeen("dressing_lower", level, origin("task")),))
        )

        counts = ("minimal", "moderate", "maximal", "total")
        assert keys(found) == ({"lb_dressing_dependent"} if level in counts else set())

    @pytest.mark.parametrize("level", LEVELS)
    @pytest.mark.parametrize("task", [t for t in TASKS if t.startswith("transfer")])
    def test_transfer_counts_from_a_hand_on(self, task: str, level: str) -> None:
        found = findings(
            SHELF, Evidence(tasks=(TaskSeen(task, level, origin("task")),))
        )

        alone = ("independent", "modified", "set_up", "supervision", "stand_by")
        assert keys(found) == (set() if level in alone else {"transfer_assist"})

    @pytest.mark.parametrize(
        "task",
        [t for t in TASKS if t != "dressing_lower" and not t.startswith("transfer")],
    )
    def test_other_tasks_name_nothing(self, task: str) -> None:
        total = TaskSeen(task, "total", origin("task"))

        assert findings(SHELF, Evidence(tasks=(total,))) == ()

    def test_newest_of_a_task_counts(self) -> None:
        then = TaskSeen("transfer_bed", "maximal", origin("task", 1))
        now = TaskSeen("transfer_bed", "modified", origin("task", 2, days=3))
        other = TaskSeen("transfer_tub", "minimal", origin("task", 3))

        assert findings(SHELF, Evidence(tasks=(then, now))) == ()
        (found,) = findings(SHELF, Evidence(tasks=(then, now, other)))
        assert found.because == (
            "Transfer, tub or shower, on 25 Nov: minimal (patient does 75 % or more)."
        )


class TestKnown:
    @pytest.mark.parametrize(
        ("tag", "deficit"),
        [("freezing", "freezing_gait"), ("neglect", "neglect_scanning")],
    )
    def test_precaution_is_a_known_fact(self, tag: str, deficit: str) -> None:
        held = Evidence(precautions=(InForce(tag, origin("precaution")),))
        (found,) = findings(SHELF, held)

        assert found.deficit == deficit
        assert "a known fact, on record since 25 Nov" in found.because

    def test_other_precautions_name_nothing(self) -> None:
        held = Evidence(precautions=(InForce("sternal", origin("precaution")),))

        assert findings(SHELF, held) == ()

    @pytest.mark.parametrize(
        ("falls", "setting", "found"),
        [
            ("one", "community", {"home_hazards"}),
            ("two_or_more", "home_care", {"home_hazards"}),
            ("none", "community", set()),
            ("one", "inpatient", set()),
            ("one", "institution", set()),
            ("one", None, set()),
        ],
    )
    def test_fall_and_a_home_ask_for_a_walk_through(
        self, falls: str, setting: str | None, found: set[str]
    ) -> None:
        said = Answered("falls_12_months", falls, origin("answer"))
        known = findings(SHELF, Evidence(answers=(said,), setting=setting))

        assert keys(known) == found
        assert all("no hazard was seen yet" in f.because for f in known)
        assert all((f.source, f.how) == ("clemson2023", "secondary") for f in known)

    @pytest.mark.parametrize(("word", "found"), [("yes", 1), ("no", 0)])
    def test_worry_is_asked_about(self, word: str, found: int) -> None:
        said = Answered("worried", word, origin("answer"))

        assert len(findings(SHELF, Evidence(answers=(said,)))) == found


class TestLatest:
    def test_newer_result_replaces_the_older(self) -> None:
        slow, quick = (
            result("five_times_sit_to_stand", s, **WOMAN) for s in ("18.4s", "8.0s")
        )

        assert named(slow, quick) == ()
        assert keys(named(quick, slow)) == {"slow_sit_to_stand"}

    def test_legs_stand_side_by_side(self) -> None:
        left = result("single_leg_stance", "3s", **WOMAN, leg="left")
        right = result("single_leg_stance", "30s", **WOMAN, leg="right")

        assert "(left)" in only(named(left, right), "poor_single_leg").because

    def test_declined_leaves_the_last_result(self) -> None:
        slow = result("five_times_sit_to_stand", "18.4s", **WOMAN)
        declined = made("five_times_sit_to_stand", Trial("declined"))
        lost = unable("five_times_sit_to_stand", "not_understood")

        assert keys(named(slow, declined)) == {"slow_sit_to_stand"}
        assert keys(named(slow, lost)) == {"slow_sit_to_stand"}

    def test_able_again_is_able(self) -> None:
        could_not = unable("five_times_sit_to_stand", "physical")
        can = result("five_times_sit_to_stand", "8.0s", **WOMAN)

        assert named(could_not, can) == ()
        assert keys(named(can, could_not)) == {"unable_rise_without_arms"}

    def test_order_of_evidence_changes_nothing(self) -> None:
        slow = Scored(result("five_times_sit_to_stand", "18.4s", **WOMAN), origin())
        quick = Scored(
            result("five_times_sit_to_stand", "8.0s", **WOMAN), origin(key=2, days=1)
        )
        tug = Scored(result("timed_up_and_go", "20s", **WOMAN), origin(key=3))
        one = findings(SHELF, Evidence(tests=(slow, quick, tug)))

        assert one == findings(SHELF, Evidence(tests=(tug, quick, slow)))
        assert keys(one) == {"slow_tug"}


def word(said: str, hours: int, deficit: str = "slow_sit_to_stand") -> Word:
    """A word said so many hours after the first result."""
    return Word(deficit, said, "seen", "Thea (therapist) on 25 Nov",
                AT + timedelta(hours=hours))  # fmt: skip


class TestWords:
    SLOW = result("five_times_sit_to_stand", "18.4s", **WOMAN)

    def lines(self, found: tuple[Finding, ...], *said: Word) -> tuple[Line, ...]:
        return lines(SHELF, found, said)

    def test_strike_holds_for_what_was_there(self) -> None:
        (line,) = self.lines(named(self.SLOW), word("struck", 1))

        assert (line.state, line.holds) == ("struck", False)
        assert line.because[-1] == "Struck by Thea (therapist) on 25 Nov: seen"

    def test_newer_result_brings_it_back(self) -> None:
        (line,) = self.lines(named(self.SLOW, self.SLOW), word("struck", 1))

        assert (line.state, line.holds) == ("again", True)
        assert "Five times sit to stand 18.4 s on 26 Nov" in line.because[0]
        assert line.because[-1] == (
            "Struck by Thea (therapist) on 25 Nov, before this: seen"
        )

    def test_struck_without_any_evidence_left_is_gone(self) -> None:
        assert self.lines((), word("struck", 1)) == ()

    def test_strike_taken_back(self) -> None:
        (line,) = self.lines(named(self.SLOW), word("struck", 1), word("back", 2))

        assert (line.state, line.word) == ("found", None)

    def test_added_stands_alone_and_beside_a_finding(self) -> None:
        added = word("added", 1, "fine_motor_slow")
        found, alone = self.lines(named(self.SLOW), added)
        (both,) = self.lines(named(self.SLOW), word("added", 1))

        assert (found.state, alone.state) == ("found", "added")
        assert alone.because == ("Added by Thea (therapist) on 25 Nov: seen",)
        assert (both.state, len(both.because)) == ("found", 2)

    def test_addition_taken_back(self) -> None:
        assert self.lines((), word("added", 1), word("back", 2)) == ()

    def test_several_findings_make_one_line(self) -> None:
        stands = result("thirty_second_chair_stand", "5", **WOMAN)
        (line,) = self.lines(named(self.SLOW, stands))

        assert [f.weight for f in line.found] == [0, 2]
        assert len(line.because) == 2

    def test_struck_come_last_and_the_strongest_first(self) -> None:
        tug = result("timed_up_and_go", "12.8s", **WOMAN)
        found = named(self.SLOW, tug)

        assert [x.deficit for x in self.lines(found)] == [
            "slow_sit_to_stand", "slow_tug",
        ]  # fmt: skip
        assert [x.deficit for x in self.lines(found, word("struck", 9))] == [
            "slow_tug", "slow_sit_to_stand",
        ]  # fmt: skip
