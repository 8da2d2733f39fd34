"""Goals in words, what a reader would ask of them, and the way that was gained."""

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from app.clinical import goal_progress as progress
from app.clinical.assistance import LEVELS
from app.clinical.change import REAL_GAIN, UNTOLD, WITHIN, judge_change
from app.clinical.course import Kept
from app.clinical.goal_doubts import (
    Doubt,
    change_to,
    several_tasks,
    side_of_start,
    warnings,
)
from app.clinical.goals import (
    DOES,
    WITH_HELP,
    Baseline,
    Conditions,
    Goal,
    LevelSeen,
    Target,
    TimesSeen,
    sentence,
)
from app.clinical.person import Person
from app.clinical.scoring import Score, Trial, score
from app.clinical.visiting import TASKS
from tests.clinical.reading_for import a_score, measure

TODAY = date(2026, 3, 2)
START = date(2026, 2, 2)
END = date(2026, 4, 30)
STANDS, TUG, CHAIR, GAIT = (
    "five_times_sit_to_stand", "timed_up_and_go", "thirty_second_chair_stand",
    "gait_speed",
)  # fmt: skip
PARKINSON = Person((72,), "female", ("parkinson",), "community")
OLDER = Person((74,), "female", (), "community")


def to_score(value: str, measure_id: str = STANDS, unit: str = "s") -> Target:
    return Target(kind="score", measure=measure_id, value=Decimal(value), unit=unit)


def goal(target: Target | None = None, **said: Any) -> Goal:
    given: dict[str, Any] = {
        "task": "transfer_toilet",
        "by": TODAY + timedelta(days=28),
    } | said
    return Goal(target=target or to_score("12.0"), **given)


def from_score(value: str, measure_id: str = STANDS, **facts: str) -> Baseline:
    return Baseline(START, score=made(measure_id, value, **facts))


def made(measure_id: str, value: str, **facts: str) -> Score:
    if value == "unable":
        return score(measure(measure_id), [Trial("unable")], facts=facts)
    return a_score(measure_id, value, **facts)


def asked(
    of: Goal,
    baseline: Baseline | None,
    person: Person = PARKINSON,
    plan: str = "restore",
    plan_end: date | None = END,
) -> tuple[Doubt, ...]:
    m = measure(of.target.measure) if of.target.measure else None
    step = change_to(m, person, baseline, of.target) if m else None
    return warnings(of, baseline, step, plan_end, TODAY, plan=plan, measure=m)


def keys(*args: Any, **more: Any) -> list[str]:
    return [doubt.key for doubt in asked(*args, **more)]


class TestSentence:
    @pytest.mark.parametrize(
        ("of", "says"),
        [
            (
                Goal(
                    by=date(2026, 7, 12),
                    phrase="rise from the toilet and sit with control",
                    conditions=Conditions(place="bathroom", device="grab_bar"),
                    target=Target(kind="level", level="stand_by", times=4, out_of=5),
                    so_that="toilet alone at night",
                ),
                "By 12 Jul 2026, the patient will rise from the toilet and sit with "
                "control, in the bathroom, with a grab bar or rail, with stand-by "
                "help, on 4 of 5 trials, in order to toilet alone at night.",
            ),
            (
                Goal(
                    by=date(2026, 6, 30),
                    who="caregiver",
                    task="transfer_chair",
                    conditions=Conditions(cue_kind="none"),
                    target=Target(kind="times", times=3, out_of=3),
                ),
                "By 30 Jun 2026, the caregiver will help the patient get on and off "
                "a chair, without cues, on 3 of 3 trials.",
            ),
            (
                Goal(
                    by=date(2026, 6, 30),
                    task="walk_bathroom",
                    conditions=Conditions(
                        surface="carpet",
                        device="crutches",
                        cue_kind="verbal",
                        cue_amount="occasional",
                        help="stand_by",
                    ),
                    target=to_score("0.80", GAIT, "m/s"),
                ),
                "By 30 Jun 2026, the patient will walk to the bathroom, on carpet, "
                "with crutches, with occasional verbal cues, with stand-by help, "
                "shown by 0.80 m/s or more in Gait speed.",
            ),
            (
                Goal(by=None, target=to_score("12", CHAIR, "count"), so_that="shop"),
                "The patient will reach 12 stands or more in 30-second chair stand, in "
                "order to shop.",
            ),
            (
                Goal(
                    by=date(2026, 6, 30),
                    task="eating",
                    conditions=Conditions(device="none", cue_kind="environment"),
                    target=Target(kind="level", level="independent"),
                ),
                "By 30 Jun 2026, the patient will eat a meal, without a device, with "
                "cues of the surroundings, independently.",
            ),
        ],
        ids=["level", "caregiver", "score", "count without a task", "no device"],
    )
    def test_is_one_line_in_plain_words(self, of: Goal, says: str) -> None:
        m = measure(of.target.measure) if of.target.measure else None

        assert sentence(of, m) == says

    def test_every_task_and_level_has_its_words(self) -> None:
        assert set(DOES) == set(TASKS)
        assert set(WITH_HELP) == set(LEVELS)


class TestWarnings:
    def test_a_whole_goal_beyond_the_error_raises_none(self) -> None:
        """28.5 to 12.0 s lies beyond every error published for Parkinson disease."""
        assert keys(goal(), from_score("28.5")) == []

    def test_target_inside_the_error_names_its_source(self) -> None:
        [doubt] = asked(goal(to_score("15.9")), from_score("16.8"))
        m = measure(STANDS)
        step = judge_change(m, PARKINSON, made(STANDS, "15.9"), made(STANDS, "16.8"))

        assert step.verdict == WITHIN
        assert doubt.key == "within_error"
        assert doubt.readings
        assert {r.row.source for r in doubt.readings if r.row} <= set(m.sources)

    def test_edge_of_the_error_is_that_of_the_change(self) -> None:
        """At the largest published error still inside, a tenth beyond it outside."""
        m, was = measure(STANDS), from_score("30.0")
        sizes = [
            r.threshold
            for r in asked(goal(to_score("29.9")), was)[0].readings
            if r.threshold is not None
        ]
        at = Decimal("30.0") - max(sizes).quantize(Decimal("0.1"), "ROUND_FLOOR")
        beyond = at - Decimal("0.1")

        assert "within_error" not in keys(goal(to_score(str(beyond))), was)
        assert keys(goal(to_score(str(at))), was) != []
        step = change_to(m, PARKINSON, was, to_score(str(beyond)))
        assert step is not None
        assert step.verdict == REAL_GAIN

    def test_without_a_published_error_it_is_said(self) -> None:
        somebody = Person((34,), "male", ("amputation",), "acute")
        [doubt] = asked(goal(), from_score("20.0"), somebody)
        step = change_to(measure(STANDS), somebody, from_score("20.0"), goal().target)

        assert step is not None
        assert step.verdict == UNTOLD
        assert doubt.key == "error_unknown"

    @pytest.mark.parametrize(
        ("by", "found"),
        [
            (None, ["no_date"]),
            (TODAY - timedelta(days=1), ["past"]),
            (TODAY, []),
            (END, []),
            (END + timedelta(days=1), ["beyond_plan"]),
        ],
        ids=["none", "yesterday", "today", "last day of the plan", "the day after"],
    )
    def test_date_lies_between_today_and_the_plan_s_end(
        self, by: date | None, found: list[str]
    ) -> None:
        assert keys(goal(by=by), from_score("28.5")) == found

    def test_without_a_known_end_no_date_is_late(self) -> None:
        far = goal(by=TODAY + timedelta(days=900))

        assert keys(far, from_score("28.5"), plan_end=None) == []

    @pytest.mark.parametrize(
        ("target", "baseline", "plan", "found"),
        [
            (to_score("28.5"), from_score("28.5"), "restore", ["not_better"]),
            (to_score("28.5"), from_score("28.5"), "maintain", []),
            (to_score("28.6"), from_score("28.5"), "restore", ["not_better"]),
            (to_score("28.6"), from_score("28.5"), "maintain", ["not_better"]),
            (
                to_score("9", CHAIR, "count"),
                from_score("10", CHAIR),
                "restore",
                ["not_better"],
            ),
            (
                to_score("10", CHAIR, "count"),
                from_score("10", CHAIR),
                "maintain",
                [],
            ),
        ],
    )
    def test_target_is_better_in_the_measure_s_direction(
        self, target: Target, baseline: Baseline, plan: str, found: list[str]
    ) -> None:
        assert keys(goal(target), baseline, plan=plan) == found

    @pytest.mark.parametrize(
        ("target", "baseline"),
        [
            (to_score("12.0"), None),
            (to_score("12.0"), from_score("unable")),
            (to_score("12.0"), Baseline(START)),
            (to_score("1.0", GAIT, "m/s"), Baseline(START)),
            (
                Target(kind="level", level="stand_by"),
                Baseline(START, times=TimesSeen(START, 2, 5)),
            ),
            (
                Target(kind="times", times=4, out_of=5),
                Baseline(START, times=TimesSeen(START, 2, 4)),
            ),
        ],
        ids=["none", "unable", "empty", "speed", "other kind", "other number"],
    )
    def test_start_in_the_same_unit_is_asked_for(
        self, target: Target, baseline: Baseline | None
    ) -> None:
        assert keys(goal(target), baseline) == ["no_baseline"]

    def test_inches_and_centimetres_are_one_unit(self) -> None:
        reach = "functional_reach"
        start = from_score("6in", reach)

        assert (
            side_of_start(goal(to_score("20.0", reach, "cm")), start, measure(reach))
            == 1
        )
        assert (
            side_of_start(goal(to_score("15.2", reach, "cm")), start, measure(reach))
            == 0
        )

    def test_number_alone_is_no_function(self) -> None:
        bare = goal(task="")

        assert keys(bare, from_score("28.5")) == ["no_function"]
        assert keys(goal(task="", so_that="shop"), from_score("28.5")) == []

    @pytest.mark.parametrize(
        ("task", "phrase", "several"),
        [
            ("", "rise from the 17 in toilet and sit with control", False),
            ("", "put on trousers over both feet seated at the bed edge", False),
            ("transfer_chair", "stand up from the kitchen chair", False),
            ("kitchen", "carry a full cup to the table", False),
            ("", "walk to the toilet and use it", False),
            ("", "dress and shower", True),
            ("", "cook, then climb the stairs", True),
            ("transfer_toilet", "put on socks", True),
            ("stairs", "", False),
        ],
    )
    def test_two_tasks_are_two_goals(
        self, task: str, phrase: str, several: bool
    ) -> None:
        assert several_tasks(task, phrase) is several
        said = goal(task=task, phrase=phrase, so_that="be at home")
        assert ("several_tasks" in keys(said, from_score("28.5"))) is several


class TestLevels:
    @pytest.mark.parametrize(
        ("target", "side"),
        [("independent", 1), ("stand_by", 1), ("contact", 0), ("minimal", -1)],
    )
    def test_less_help_is_better(self, target: str, side: int) -> None:
        start = Baseline(START, level=seen("contact", START))
        wanted = goal(Target(kind="level", level=target))

        assert side_of_start(wanted, start, None) == side

    def test_less_help_than_the_start_raises_nothing(self) -> None:
        start = Baseline(START, level=seen("contact", START))

        assert keys(goal(Target(kind="level", level="stand_by")), start) == []


def seen(level: str, day: date, **more: Any) -> LevelSeen:
    return LevelSeen(day, "transfer_toilet", level, **more)


def later(*values: str, measure_id: str = STANDS, **facts: str) -> list[Kept]:
    """One score a week after the start."""
    return [
        Kept(START + timedelta(weeks=n), made(measure_id, value, **facts))
        for n, value in enumerate(values, 1)
    ]


def way(
    kept: Sequence[Kept],
    target: Target | None = None,
    baseline: Baseline | None = None,
) -> progress.Progress:
    wanted = target or to_score("12.0")
    start = baseline or from_score("20.0")
    return progress.of_score(
        measure(wanted.measure), PARKINSON, wanted, start, kept
    )  # fmt: skip


class TestWay:
    @pytest.mark.parametrize(
        ("now", "state", "percent"),
        [
            ("20.1", "worse", 0),
            ("20.0", "no_change", 0),
            ("19.9", "on_the_way", 1),  # 0.1 of 8.0 s: 1.25 %
            ("16.0", "on_the_way", 50),
            ("12.1", "on_the_way", 99),  # 98.75 %: never called all of it
            ("12.0", "reached", 100),
            ("9.0", "reached", 100),
        ],
    )
    def test_percent_from_start_to_target(
        self, now: str, state: str, percent: int
    ) -> None:
        found = way(later(now))

        assert (found.state, found.percent) == (state, percent)
        assert now in found.says

    def test_more_is_better_in_a_count(self) -> None:
        target, start = to_score("12", CHAIR, "count"), from_score("8", CHAIR)
        kept = later("11", measure_id=CHAIR)
        found = way(kept, target, start)

        assert (found.state, found.percent) == ("on_the_way", 75)
        assert found.says == (
            "75 % of the way from 8 to 12 stands or more: 11 stands on 9 Feb."
        )

    def test_other_set_up_tells_nothing(self) -> None:
        start = from_score("15.0", TUG, device="none")
        kept = later("12.0", measure_id=TUG, device="walker")
        found = way(kept, to_score("12.0", TUG), start)

        assert found.state == "untold"
        assert found.percent is None
        assert "Cannot be told" in found.says
        assert "walking device" in found.differs[0]

    def test_newer_score_in_another_set_up_is_said_beside(self) -> None:
        start = from_score("15.0", TUG, device="none")
        kept = [
            *later("13.5", measure_id=TUG, device="none"),
            Kept(START + timedelta(weeks=2), made(TUG, "11.0", device="walker")),
        ]
        found = way(kept, to_score("12.0", TUG), start)

        assert (found.state, found.percent) == ("on_the_way", 50)
        assert found.differs
        assert "A newer one, on 16 Feb, was in another set-up." in found.says

    def test_score_of_the_first_day_is_no_way(self) -> None:
        again = [Kept(START, made(STANDS, "12.0"))]

        assert way(again).state == "none_yet"
        assert way([]).state == "none_yet"

    def test_unable_is_no_number(self) -> None:
        found = way(later("16.0", "unable"))

        assert (found.state, found.percent) == ("worse", None)
        assert found.change is not None
        assert found.change.verdict == "newly unable"

    def test_from_unable_there_is_no_percent(self) -> None:
        start = from_score("unable")

        assert way(later("11.9"), baseline=start).state == "reached"
        newly = way(later("30.0"), baseline=start)
        assert (newly.state, newly.percent) == ("on_the_way", None)
        assert newly.says.startswith("Newly able: 30.0 s")

    def test_keeping_what_is_there_is_reached_or_lost(self) -> None:
        target = to_score("20.0")

        assert way(later("19.8"), target).state == "reached"
        assert way(later("20.1"), target).state == "worse"
        assert way(later("20.0"), target).percent is None

    def test_change_is_the_one_function_s_word(self) -> None:
        kept = later("16.0")
        expected = judge_change(
            measure(STANDS), PARKINSON, kept[0].score, made(STANDS, "20.0")
        )

        assert way(kept).change == expected

    def test_expected_date_is_a_range_from_four_scores_on(self) -> None:
        three, four = later("19.0", "18.2"), later("19.0", "18.2", "17.0")

        assert way(three).expected is None
        early, late = way(four).expected or (None, None)
        assert early is not None
        assert late is not None
        assert START + timedelta(weeks=3) < early <= late
        said = progress.expected_words((early, late))
        assert said.startswith("Going on like this: between ")

    def test_without_a_start_only_the_newest_is_said(self) -> None:
        found = progress.of_score(
            measure(STANDS), PARKINSON, to_score("12.0"), None, later("16.0")
        )

        assert (found.state, found.percent) == ("untold", None)
        assert "Newest: 16.0 s on 9 Feb." in found.says


class TestLevelWay:
    @pytest.mark.parametrize(
        ("now", "state", "says"),
        [
            ("total", "worse", "more help than at the start"),
            ("moderate", "no_change", "as at the start"),
            ("minimal", "on_the_way", "1 of 3 levels gained"),
            ("contact", "on_the_way", "2 of 3 levels gained"),
            ("stand_by", "reached", "Reached: stand-by"),
            ("independent", "reached", "Reached: independent"),
        ],
    )
    def test_levels_are_counted_and_are_no_percent(
        self, now: str, state: str, says: str
    ) -> None:
        start = Baseline(START, level=seen("moderate", START))
        target = Target(kind="level", level="stand_by")
        found = progress.of_level(target, start, [seen(now, TODAY)])

        assert found.state == state
        assert says in found.says
        assert found.percent is None

    @pytest.mark.parametrize(
        ("more", "differs"),
        [
            ({"device": "walker"}, "device: none then, walker now"),
            ({"helpers": 2}, "helpers: 1 then, 2 now"),
            ({"set_up": "chair"}, "set-up: in bed then, seated in a chair now"),
        ],
    )
    def test_done_another_way_tells_nothing(
        self, more: dict[str, Any], differs: str
    ) -> None:
        first = seen("moderate", START, device="none", set_up="in_bed", helpers=1)
        said = {"device": "none", "set_up": "in_bed", "helpers": 1} | more
        found = progress.of_level(
            Target(kind="level", level="stand_by"),
            Baseline(START, level=first),
            [seen("stand_by", TODAY, **said)],
        )

        assert found.state == "untold"
        assert found.differs == (differs,)

    def test_other_tasks_are_no_part_of_it(self) -> None:
        start = Baseline(START, level=seen("moderate", START))
        other = LevelSeen(TODAY, "kitchen", "independent")
        target = Target(kind="level", level="stand_by")

        assert progress.of_level(target, start, [other]).state == "none_yet"


class TestTimesWay:
    @pytest.mark.parametrize(
        ("now", "state", "percent"),
        [
            ((1, 5), "worse", 0),
            ((2, 5), "no_change", 0),
            ((3, 5), "on_the_way", 50),
            ((4, 5), "reached", 100),
            ((3, 3), "untold", None),
        ],
    )
    def test_how_often_it_works(
        self, now: tuple[int, int], state: str, percent: int | None
    ) -> None:
        start = Baseline(START, times=TimesSeen(START, 2, 5))
        found = progress.of_times(
            Target(kind="times", times=4, out_of=5), start, [TimesSeen(TODAY, *now)]
        )

        assert (found.state, found.percent) == (state, percent)


def test_plateau_is_two_measures_and_the_days_between() -> None:
    says = progress.plateau_words((START, "14.6 s"), (TODAY, "14.5 s"))

    assert says == "14.6 s on 2 Feb, 14.5 s on 2 Mar, 28 days apart"
