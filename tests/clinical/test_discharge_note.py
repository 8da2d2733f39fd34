"""A discharge summary: start against end where they compare, and nothing invented."""

import re
from typing import Any

import pytest

from app.clinical.discharge_note import NO_VERDICT, UNPLANNED, discharge_note
from app.clinical.goal_progress import NOTHING_YET, Progress
from app.clinical.note import Line, Ref
from app.clinical.picture import Agreement
from app.clinical.report import Dated, Ended, EpisodeFacts, FallFacts
from app.clinical.visit_facts import Said
from app.clinical.vocabulary import EPISODE_ENDS
from tests.clinical.report_for import (
    STANDS,
    a_goal,
    by_key,
    day,
    episode,
    results_of,
    seen,
    stood,
    tried,
)

GAIT, STEP = "gait_speed", "functional_reach"
TEST = f"measure-{STANDS}"
#: Words of a verdict on falls, which stand nowhere.
VERDICTS = re.compile(
    r"\b(at risk|high risk|low risk|is safe|unsafe|will fall\b(?!\.))"
)


def lines(facts: EpisodeFacts) -> dict[str, Line]:
    return by_key(discharge_note(facts))


def made(key: str, **said: Any) -> str:
    return lines(episode(**said))[key].made


class TestStartAndEnd:
    def test_alike_conditions_are_judged(self) -> None:
        text = made(TEST, measures=results_of(tried(1, "19.4"), tried(26, "14.6")))

        assert "Start, 2 Feb 2026: 19.4 s. End, 27 Feb 2026: 14.6 s" in text
        assert "real gain since 19.4 s: 4.8 s faster" in text

    def test_other_conditions_get_no_verdict_and_say_what_differs(self) -> None:
        results = results_of(
            tried(1, "19.4", device="cane"), tried(8, "18.0", device="cane"),
            tried(15, "15.0", device="none"), tried(26, "11.0", device="none"),
        )  # fmt: skip
        found = lines(episode(measures=results))

        assert [key for key in found if key.startswith("measure")] == [TEST]
        text = found[TEST].made
        assert "Start, 2 Feb 2026: 19.4 s. End, 27 Feb 2026: 11.0 s" in text
        assert "No verdict: the set-up differs, walking device: cane then, none" in text
        assert not re.search(r"real|within|faster", text)
        assert found[TEST].refs == (Ref("round", 101), Ref("round", 126))

    def test_conditions_side_by_side_are_each_judged(self) -> None:
        """A usual and a fast walk of one visit are not the start and end of one."""
        usual, fast = {"pace": "usual"}, {"pace": "fast"}
        results = results_of(
            tried(1, "0.6m/s", GAIT, **usual), tried(2, "0.9m/s", GAIT, **fast),
            tried(25, "0.7m/s", GAIT, **usual), tried(26, "1.4m/s", GAIT, **fast),
            measure_id=GAIT,
        )  # fmt: skip
        found = [x.made for k, x in lines(episode(measures=results)).items()
                 if k.startswith("measure")]  # fmt: skip

        assert len(found) == 2
        assert "0.60 m/s. End, 26 Feb 2026: 0.70 m/s" in found[0]
        assert "0.90 m/s. End, 27 Feb 2026: 1.40 m/s" in found[1]
        assert not any("No verdict" in text for text in found)

    def test_one_side_never_follows_the_other(self) -> None:
        left, right = {"leg": "left"}, {"leg": "right"}
        key = "single_leg_stance"
        results = results_of(
            tried(1, "4.0", key, **left), tried(26, "9.0", key, **right), measure_id=key
        )
        found = [x.made for k, x in lines(episode(measures=results)).items()
                 if k.startswith("measure")]  # fmt: skip

        assert len(found) == 2
        assert all("Measured once" in text for text in found)

    def test_measured_once_has_no_start(self) -> None:
        text = made(TEST, measures=results_of(tried(5, "19.4")))

        assert "Measured once, 6 Feb 2026: 19.4 s" in text
        assert "Start" not in text
        assert "Against" not in text

    def test_tasks_stand_at_start_and_end(self) -> None:
        tasks = (seen(1, "moderate"), seen(2, "moderate"), seen(20, "stand_by"))
        text = made("task-kitchen", tasks=tasks, last_report_on=day(25))

        assert text == (
            "A kitchen task: start 2 Feb 2026, moderate help; end 21 Feb "
            "2026, stand_by help. Less help than at the start."
        )


MEASURED = Progress(state="on_the_way", says="x", value="14.6 s", on=day(20))


class TestHowItEnded:
    @pytest.mark.parametrize("why", EPISODE_ENDS)
    def test_reason_and_open_goals(self, why: str) -> None:
        """Where care broke off, what was last measured; else the clinician is asked."""
        goals = (
            a_goal(progress=MEASURED, stood=stood("progressing", 20, percent=65)),
            a_goal(2, ended=Ended("met", day(10), "stand-by, 3 days")),
            a_goal(3),
        )
        found = lines(episode(end_reason=why, closed_on=day(28), goals=goals))

        assert EPISODE_ENDS[why] in found["end"].made
        assert found["goal_status-2"].made.startswith("Goal 2: met on 11 Feb 2026")
        if why in UNPLANNED:
            assert found["goal_status-1"].made == (
                "Goal 1: not finished when care ended; last measured 14.6 s, 21 "
                "Feb 2026; target 12.0 s or less."
            )
            assert "nothing was measured" in found["goal_status-3"].made
            assert NOTHING_YET not in found["goal_status-3"].made
        else:
            assert found["goal_status-1"].asks == (
                "Goal 1 is still open (last told progressing on 21 Feb 2026): how "
                "does it end?"
            )
            assert found["goal_status-1"].needed
            assert found["goal_status-1"].lead == "Goal 1: "
            assert not found["goal_status-3"].made

    def test_no_number_is_invented_where_care_broke_off(self) -> None:
        facts = episode(
            end_reason="died", goals=(a_goal(),), attended=(), statements=(),
        )  # fmt: skip
        text = " ".join(line.made for line in discharge_note(facts))
        known = {"1", "12.0", "19.4", "2", "2026", "0"}  # the goal, its start, the days

        assert {*re.findall(r"\d+(?:\.\d+)?", text)} <= known

    def test_without_a_reason_it_is_asked(self) -> None:
        assert lines(episode())["end"].needed

    @pytest.mark.parametrize("closed", [None, day(30)])
    def test_span_of_care(self, closed: Any) -> None:
        text = made("care", closed_on=closed)
        to = " to 3 Mar 2026" if closed else "; last visit 1 Mar 2026"

        assert text == f"Care from 2 Feb 2026{to}, for: slow to rise since a fall."

    def test_missed_visits_of_the_whole_episode_count(self) -> None:
        gone = Dated("missed-3", "pain", (), day(5))
        found = lines(episode(missed=(gone,), last_report_on=day(20)))

        assert found["visits"].made.startswith("2 visits attended on 2 treatment days")
        assert found["visits"].made.endswith("1 missed.")
        assert found["missed-3"].made == "Missed, 6 Feb 2026: pain."


class TestWhatStays:
    def test_made_where_the_record_says_it_else_asked(self) -> None:
        said = {
            "changes": (Said("change-1", "Bathroom: rail: done", (Ref("room", 1),)),),
            "home": (Said("home_sheet-1", "two activities, shown back"),),
            "precautions": (Said("precaution-1", "Still in force: hip rules"),),
        }
        empty, full = lines(episode()), lines(episode(**said))

        assert full["change-1"].made == "Bathroom: rail: done."
        assert full["change-1"].refs == (Ref("room", 1),)
        assert full["home_sheet-1"].made == "Two activities, shown back."
        assert full["precaution-1"].made == "Still in force: hip rules."
        assert {"equipment", "home_programme"} <= {
            k for k, x in empty.items() if x.asks
        }
        assert empty["precautions"].made.startswith("No precaution in force")
        assert not {"equipment", "home_programme", "precautions"} & {*full}

    def test_judgements_are_empty_fields(self) -> None:
        found = lines(episode(end_reason="goals_met"))
        open_ones = {k: x.needed for k, x in found.items() if not x.made}

        assert open_ones == {
            "said": False, "equipment": False, "home_programme": False,
            "fall_statement": False, "skill": True, "recommendations": True,
            "received": False,
        }  # fmt: skip
        assert all(bool(x.made) != bool(x.asks) for x in found.values())


class TestFalls:
    def test_says_what_it_rests_on_and_no_verdict(self) -> None:
        beyond = "Falls: one result speaks of it, beyond its limit: Timed Up and Go."
        falls = FallFacts(
            told=((day(1), False, 1), (day(9), True, 2)),
            known=(Said("h", "as entered: one fall in the last 12 months",
                        (Ref("episode", 7),)),),
            stops=(Said("stop", "11 Feb 2026, walking: fell", (Ref("stop", 4),)),),
            tests=Agreement("falls", ("TUG",), (), (), (), beyond),
            rounds=(126,),
        )  # fmt: skip
        line = lines(episode(falls=falls))["falls"]

        assert line.made == (
            "About falls, on record: Asked 2 times; a fall was told on 10 Feb "
            "2026. As entered: one fall in the last 12 months. 11 Feb 2026, "
            f"walking: fell. By the newest results: {beyond} {NO_VERDICT}"
        )
        assert not VERDICTS.search(line.made)
        assert line.refs == (
            Ref("symptoms", 1), Ref("symptoms", 2), Ref("episode", 7), Ref("stop", 4),
            Ref("round", 126),
        )  # fmt: skip

    def test_no_fall_told_is_no_clearance(self) -> None:
        falls = FallFacts(told=((day(1), False, 1),))
        text = made("falls", falls=falls)

        assert text == "About falls, on record: Asked 1 time; no fall was told."

    def test_nothing_known_makes_no_line(self) -> None:
        found = lines(episode())

        assert "falls" not in found
        assert found["fall_statement"].asks
