"""A progress report: numbers only from what was measured, words only from somebody."""

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from app.catalogue.load import catalogue
from app.clinical.change import judge_change
from app.clinical.course import MAINTAINED
from app.clinical.doing import DoneSet
from app.clinical.goal_progress import Progress
from app.clinical.note import Line, Ref
from app.clinical.person import Person
from app.clinical.progress_note import progress_note
from app.clinical.report import ActivityFacts, Dated, Ended, Pain, PeriodFacts
from tests.clinical.reading_for import measure
from tests.clinical.report_for import (
    OLDER,
    STANDS,
    a_goal,
    by_key,
    day,
    period,
    results_of,
    seen,
    stood,
    tried,
)
from tests.make import NOW

REACH = "functional_reach"
TEST = f"measure-{STANDS}"
NO_VERDICT = ("real", "within", "cannot be told", "newly", "disagree")


def lines(facts: PeriodFacts) -> dict[str, Line]:
    return by_key(progress_note(facts))


def made(key: str, **said: Any) -> str:
    return lines(period(**said))[key].made


class TestMeasures:
    """Start, last, now, and the verdict of `judge_change` alone."""

    @pytest.mark.parametrize(
        ("results", "says", "never"),
        [
            ([(1, "19.4"), (26, "14.6")], "real gain since 19.4 s: 4.8 s faster", ""),
            # Goldberg 2012, older women: MDC95 2.5 s; the edge itself is within.
            (
                [(1, "19.4"), (26, "16.9")],
                "within measurement error since 19.4",
                "real",
            ),
            ([(1, "19.4"), (26, "16.8")], "real gain since 19.4 s: 2.6 s", "within"),
            ([(1, "19.4"), (26, "22.0")], "real loss since 19.4 s: 2.6 s slower", ""),
            ([(1, "unable"), (26, "24.8")], "newly able", "real"),
            ([(1, "24.8"), (26, "unable")], "newly unable: find out why", "real"),
        ],
        ids=["gain", "at the MDC", "past it", "loss", "newly able", "newly unable"],
    )
    def test_verdict_is_that_of_the_change(
        self, results: list[tuple[int, str]], says: str, never: str
    ) -> None:
        found = [tried(number, value) for number, value in results]
        text = made(TEST, measures=results_of(*found))
        first, last = (one.kept.score for one in found)
        change = judge_change(measure(STANDS), OLDER, last, first)

        assert says in text
        assert change.verdict in text
        assert not never or never not in text.lower()
        assert lines(period(measures=results_of(*found)))[TEST].refs == (
            Ref("round", 101), Ref("round", 126),
        )  # fmt: skip

    def test_without_a_published_error_nothing_is_told(self) -> None:
        results = results_of(
            tried(1, "8.3in", REACH), tried(26, "10.9in", REACH), measure_id=REACH
        )
        text = made(f"measure-{REACH}", measures=results)

        assert "cannot be told: 2.6 in farther" in text
        assert "real" not in text

    def test_another_set_up_gets_no_verdict_and_says_what_differs(self) -> None:
        results = results_of(
            tried(1, "19.4", device="cane"),
            tried(10, "14.0", device="none"),
            tried(26, "13.9", device="none"),
        )
        text = made(TEST, measures=results)

        assert "In another set-up, 2 Feb 2026: 19.4 s; no verdict" in text
        assert "walking device: cane then, none now" in text
        assert "within measurement error since 14.0 s" in text
        assert "real" not in text

    def test_two_set_ups_in_one_period_are_two_lines(self) -> None:
        results = results_of(
            tried(1, "19.4", device="none"), tried(2, "25.0", device="cane"),
            tried(25, "14.6", device="none"), tried(26, "24.6", device="cane"),
        )  # fmt: skip
        found = lines(period(measures=results))

        assert "within measurement error since 25.0 s" in found[TEST].made
        assert "real gain since 19.4 s" in found[f"{TEST}-101"].made
        assert found[TEST].refs == (Ref("round", 102), Ref("round", 126))

    def test_last_is_that_of_the_last_report(self) -> None:
        results = results_of(*[tried(d, v) for d, v in TREND])
        first = made(TEST, measures=results)
        second = made(TEST, measures=results, last_report_on=day(12))

        assert "Last, 21 Feb 2026: 16.0 s." in first
        assert "Last, 11 Feb 2026: 18.0 s." in second
        assert "Against 11 Feb 2026: real gain since 18.0 s" in second

    @pytest.mark.parametrize("plan", ["restore", "maintain"])
    def test_no_change_is_good_under_a_plan_to_maintain(self, plan: str) -> None:
        results = results_of(tried(1, "19.4"), tried(26, "19.0"))

        assert (MAINTAINED in made(TEST, measures=results, plan=plan)) == (
            plan == "maintain"
        )

    def test_what_was_not_measured_in_the_period_says_so(self) -> None:
        results = results_of(tried(1, "19.4"), tried(10, "14.6"))
        text = made(TEST, measures=results, last_report_on=day(12))

        assert "Newest, 11 Feb 2026: 14.6 s" in text
        assert "Not measured in this period." in text
        assert not any(word in text for word in NO_VERDICT)

    def test_first_result_is_compared_with_nothing(self) -> None:
        text = made(TEST, measures=results_of(tried(26, "19.4"), tried(26, "18.0")))

        assert "Now, 27 Feb 2026, the first in this set-up: 18.0 s" in text
        assert "Against" not in text

    def test_an_attempt_without_a_result_is_told(self) -> None:
        found = lines(period(measures=results_of(tried(20, "declined"))))

        assert "declined: pain" in found["no_result-120"].made
        assert TEST not in found

    def test_key_stays_when_a_newer_result_comes(self) -> None:
        before = results_of(tried(1, "19.4"), tried(20, "15.0"))
        after = results_of(tried(1, "19.4"), tried(20, "15.0"), tried(26, "14.6"))

        assert TEST in lines(period(measures=before))
        assert TEST in lines(period(measures=after))


TREND = [(1, "22.0"), (10, "18.0"), (20, "16.0"), (26, "14.6")]


class TestGoals:
    @pytest.mark.parametrize(
        ("said", "says"),
        [
            ({"stood": stood("progressing", 26, "x", 65)},
             "Goal 1: progressing, 27 Feb 2026: 65 % of the way."),
            ({"stood": stood("on_hold", 26, "waits for new shoes")},
             "Goal 1: on hold, 27 Feb 2026: waits for new shoes."),
            ({"stood": stood("plateau", 26, "19.4 s on 2 Feb, 19.0 s on 26 Feb, 24 "
                             "days apart"), "told": 2},
             "Goal 1: plateau, 27 Feb 2026: 19.4 s on 2 Feb, 19.0 s on 26 Feb, "
             "24 days apart."),
            ({"ended": Ended("met", day(26), "12.0 s, three days running")},
             "Goal 1: met on 27 Feb 2026: 12.0 s, three days running."),
        ],
        ids=["progressing", "on hold", "plateau", "met"],
    )  # fmt: skip
    def test_status_is_what_somebody_said(
        self, said: dict[str, Any], says: str
    ) -> None:
        assert made("goal_status-1", goals=(a_goal(**said),)) == says

    @pytest.mark.parametrize(
        "said",
        [
            {},
            {"stood": stood("progressing", 5, percent=20)},
            {"stood": stood("plateau", 26, "no more gain"), "told": 1},
            {"stood": stood("plateau", 26), "told": 2},
        ],
        ids=["nothing", "before the period", "one measure", "no measures named"],
    )
    def test_else_the_clinician_is_asked(self, said: dict[str, Any]) -> None:
        found = lines(period(goals=(a_goal(**said),), last_report_on=day(12)))
        line = found["goal_status-1"]

        assert (line.made, line.needed, line.section) == ("", True, "assessment")
        assert "Goal 1" in line.asks

    def test_unsigned_goal_says_so_and_its_word_is_not_needed(self) -> None:
        found = lines(period(goals=(a_goal(signed=False),)))

        assert "Goal 1 (short-term, not signed): " in found["goal-1"].made
        assert not found["goal_status-1"].needed

    def test_goal_reported_closed_is_dropped_later(self) -> None:
        closed = a_goal(ended=Ended("met", day(10), "12.0 s"))

        assert "goal-1" in lines(period(goals=(closed,)))
        assert "goal-1" not in lines(period(goals=(closed,), last_report_on=day(12)))

    def test_numbers_stand_with_their_days(self) -> None:
        results = [tried(1, "19.4"), tried(26, "14.6")]
        first, last = (one.kept.score for one in results)
        goal = a_goal(
            measure=STANDS,
            progress=Progress(
                state="on_the_way", says="65 % of the way: 14.6 s.", value="14.6 s",
                on=day(26), change=judge_change(measure(STANDS), OLDER, last, first),
            ),
            before=Progress(state="on_the_way", says="", value="17.8 s", on=day(10)),
        )  # fmt: skip
        found = lines(period(goals=(goal,), measures=results_of(*results)))

        assert found["goal-1"].made == (
            "Goal 1 (short-term): Will rise. Start: 19.4 s, 2 Feb 2026. Last: "
            "17.8 s, 11 Feb 2026. Target: 12.0 s or less. 65 % of the way: 14.6 "
            "s. Real gain since 19.4 s: 4.8 s faster."
        )
        assert found[TEST].made.endswith("Function: goal 1.")

    @pytest.mark.parametrize("plan", ["restore", "maintain"])
    def test_same_help_is_good_under_a_plan_to_maintain(self, plan: str) -> None:
        kept = Progress(state="no_change", says="No way gained.", value="x", on=day(26))
        goal = a_goal(progress=kept)

        said = made("goal-1", goals=(goal,), plan=plan)
        assert ("no change is a good result" in said) == (plan == "maintain")

    def test_without_any_goal_it_is_asked(self) -> None:
        assert lines(period())["goals"].needed


class TestWords:
    def test_statements_are_quoted_and_of_the_period(self) -> None:
        told = [
            Dated("said-1", "“too tired > before”", (Ref("symptoms", 1),), day(5)),
            Dated("said-2", "declined, “not today”", (Ref("symptoms", 2),), day(20)),
        ]
        found = lines(period(statements=tuple(told), last_report_on=day(12)))

        assert found["said-2"].made == "21 Feb 2026: declined, “not today”."
        assert found["said-2"].section == "subjective"
        assert "said-1" not in found
        assert "said" not in found
        whole = lines(period(statements=tuple(told)))
        assert "“too tired > before”" in whole["said-1"].made

    def test_without_any_they_are_asked_for(self) -> None:
        assert lines(period())["said"].asks

    def test_pain_is_first_and_newest(self) -> None:
        pains = (Pain(day(1), 6, 1), Pain(day(9), 4, 2), Pain(day(26), 2, 3))

        assert made("pain", pains=pains) == (
            "Pain 6 of 10 on 2 Feb 2026, 2 of 10 on 27 Feb 2026."
        )

    def test_period_visits_and_missed_ones(self) -> None:
        missed = Dated("missed-9", "pain; told: nurse", (), day(20))
        found = lines(period(missed=(missed,), last_report_on=day(12)))

        assert found["period"].made == (
            "Reporting period: 14 Feb 2026 to 1 Mar 2026. Last report: 13 Feb 2026."
        )
        assert found["visits"].made == (
            "1 visit attended on 1 treatment day: 1 Mar 2026; 1 missed."
        )
        assert found["missed-9"].made == "Missed, 21 Feb 2026: pain; told: nurse."

    @pytest.mark.parametrize(
        ("used", "of", "says"), [(8, 10, "8 of 10 treatment days used"), (8, 0, "")]
    )
    def test_clock_is_said_where_there_is_one(
        self, used: int, of: int, says: str
    ) -> None:
        found = lines(period(days_used=used, days_of=of))

        assert bool(says) == ("treatment_days" in found)
        assert not says or says in found["treatment_days"].made

    def test_judgements_are_empty_fields(self) -> None:
        found = lines(period(goals=(a_goal(),)))
        open_ones = {k: (x.needed, x.verbs) for k, x in found.items() if not x.made}

        assert open_ones == {
            "said": (False, False),
            "goal_status-1": (True, False),
            "skill": (True, True),
            "barriers": (False, False),
            "need": (True, False),
            "plan": (True, False),
        }
        assert all(bool(x.made) != bool(x.asks) for x in found.values())

    def test_need_is_asked_otherwise_under_a_plan_to_maintain(self) -> None:
        need = lines(period(plan="maintain"))["need"]

        assert "keeping this level" in need.asks


class TestTasks:
    @pytest.mark.parametrize(
        ("last", "more", "plan", "says"),
        [
            ("stand_by", {}, "restore", "Less help than at the start."),
            ("maximal", {}, "restore", "More help than at the start."),
            ("moderate", {}, "restore", "The same help."),
            ("moderate", {}, "maintain", "a good result"),
            ("stand_by", {"helpers": 2}, "restore", "No verdict: it was done another"),
            ("stand_by", {"device": "walker"}, "restore", "device: cane then, walker"),
        ],
    )
    def test_help_is_compared_where_it_was_done_alike(
        self, last: str, more: dict[str, Any], plan: str, says: str
    ) -> None:
        device = {"device": "cane"} | more
        tasks = (seen(1, "moderate", device="cane"), seen(26, last, **device))
        text = made("task-kitchen", tasks=tasks, plan=plan)

        assert says in text
        if "device" in more or "helpers" in more:
            assert "ess help" not in text

    def test_task_of_before_the_period_is_left_out(self) -> None:
        tasks = (seen(1, "moderate"), seen(5, "minimal"))

        assert "task-kitchen" not in lines(period(tasks=tasks, last_report_on=day(12)))


class TestActivities:
    @pytest.mark.parametrize(
        ("first", "last", "says"),
        [
            ("22", "19", "Graded up since the first."),
            ("19", "22", "Graded down since the first."),
            ("19", "19", "The same grade as at first."),
        ],
        ids=["lower seat is harder", "higher is easier", "same"],
    )
    def test_grade_at_first_and_now(self, first: str, last: str, says: str) -> None:
        activity = catalogue().activities["R01"]
        sets = [_set(1, first, day(1)), _set(2, "20", day(9)), _set(3, last, day(26))]
        found = lines(
            period(activities=(ActivityFacts("Sit to stand", activity, tuple(sets)),))
        )["activity-R01"]

        assert found.made == (
            f"Sit to stand: 3 sessions in this period; first 2 Feb 2026, seat "
            f"height {first} in, minimal; last 27 Feb 2026, seat height {last} "
            f"in, minimal. {says}"
        )
        assert found.refs == (Ref("set", 1), Ref("set", 3))

    def test_stops_are_counted(self) -> None:
        activity = catalogue().activities["R01"]
        stopped = replace(_set(2, "20", day(9)), outcome="stopped")
        sets = (_set(1, "20", day(1)), stopped)
        text = made("activity-R01", activities=(ActivityFacts("X", activity, sets),))

        assert text.endswith("Stopped for safety: 1 set.")


def _set(number: int, grade: str, on: date) -> DoneSet:
    return DoneSet(
        activity="R01", on=on, visit_id=number, at=NOW, grade=Decimal(grade),
        level="minimal", id=number,
    )  # fmt: skip


def test_person_is_read_as_on_the_day_of_the_newest() -> None:
    """What had not begun by then is not read into it."""
    asked: list[date] = []
    results = results_of(tried(1, "19.4"), tried(26, "14.6"))

    def person_on(on: date) -> Person:
        asked.append(on)
        return OLDER

    progress_note(period(measures=results, person_on=person_on))

    assert {*asked} == {day(26)}
