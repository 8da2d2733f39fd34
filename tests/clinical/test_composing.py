"""Stages held in order, falls of pressure, and scores made from other tests."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.catalogue.load import catalogue
from app.clinical.composite import points
from app.clinical.scoring import NotScorable, Score, TooFewTrials, Trial, score
from app.clinical.vocabulary import Outcome
from tests.catalogue.worked import a_walk, battery, cuff, power, stances, stands

SHELF = catalogue().measures
FOUR = SHELF["four_stage_balance"]
PRESSURE = SHELF["orthostatic_vitals"]
BATTERY = SHELF["short_physical_performance_battery"]
POWER = SHELF["sit_to_stand_power"]
ALL = {"stances": ["10", "10", "10"], "walks": ["4.5"], "course": "4m", "chair": "11"}


def held(*seconds: str, rule: str = "four") -> Score:
    return score(FOUR, stances(seconds), variant=rule)


class TestStages:
    """The first stance missed ends the test."""

    @pytest.mark.parametrize(
        ("seconds", "stages"),
        [
            (["9.99"], 0), (["9.994"], 0), (["9.995", "2"], 1), (["10", "9.9"], 1),
            (["10", "10", "9.6"], 2), (["10", "10", "10", "0.4"], 3),
            (["10", "10", "10", "10"], 4), (["12", "11", "10", "15"], 4),
        ],
    )  # fmt: skip
    def test_stages_held_are_counted(self, seconds: list[str], stages: int) -> None:
        made = held(*seconds)

        assert made.value == stages
        assert made.parts["side_by_side"].value == Fraction(seconds[0])

    def test_what_comes_after_a_missed_stance_counts_for_nothing(self) -> None:
        made = held("8", "10", "10")

        assert made.value == 0
        assert set(made.parts) == {"side_by_side"}

    def test_three_stances_need_no_fourth(self) -> None:
        assert held("10", "10", "10", rule="three").value == 3
        with pytest.raises(TooFewTrials):
            held("10", "10", "10")

    def test_stance_that_could_not_be_taken_up_has_no_seconds(self) -> None:
        made = held("10", "unable")

        assert made.value == 1
        assert "semi_tandem" not in made.parts

    def test_unable_at_the_first_stance_is_unable(self) -> None:
        assert (held("unable").outcome, held("unable").value) == ("unable", None)

    @pytest.mark.parametrize("outcome", ["stopped", "declined", "not_done"])
    def test_test_that_was_broken_off_has_no_number(self, outcome: Outcome) -> None:
        made = score(FOUR, [*stances(["10"]), Trial(outcome)])

        assert (made.outcome, made.value) == (outcome, None)

    @pytest.mark.parametrize(
        ("seconds", "total"),
        [(["10", "10", "10", "7.5"], "37.5"), (["11", "10", "10", "12"], "40")],
    )
    def test_times_are_added_once_all_four_are_known(
        self, seconds: list[str], total: str
    ) -> None:
        assert held(*seconds).parts["sum_of_stages"].value == Fraction(total)
        assert "sum_of_stages" not in held("10", "10", "9").parts


class TestFall:
    """Falls of pressure from the first reading."""

    def test_largest_fall_of_one_and_three_minutes_counts(self) -> None:
        made = score(
            PRESSURE, cuff(["lying 148/82", "standing_1 132/78", "standing_3 126/79"])
        )

        assert made.value == 22
        assert made.parts["diastolic_drop"].value == 4
        assert made.parts["standing_systolic"].value == 126
        assert made.facts["reached"] == "standing"

    def test_rise_is_below_zero(self) -> None:
        made = score(PRESSURE, cuff(["lying 110", "standing_1 118", "standing_3 115"]))

        assert made.value == -5
        assert "hr_sbp_ratio" not in made.parts

    def test_fall_at_once_stands_beside_a_fall_that_lasts(self) -> None:
        readings = ["lying 140/80", "at_once 95/58", "standing_1 135/79"]
        made = score(
            PRESSURE, cuff([*readings, "standing_3 136/80"]), variant="at_once_too"
        )

        assert made.value == 5
        assert made.parts["systolic_drop_at_once"].value == 45
        assert made.parts["diastolic_drop_at_once"].value == 22
        assert made.parts["standing_systolic"].value == 95

    def test_fall_on_sitting_is_not_one_on_standing(self) -> None:
        made = score(
            PRESSURE, cuff(["lying 130/80", "sitting 112/70"]), variant="one_reading"
        )

        assert made.value == made.parts["systolic_drop_sitting"].value == 18
        assert made.facts["reached"] == "sitting"
        assert not {"diastolic_drop", "standing_systolic"} & set(made.parts)

    def test_sitting_on_the_way_up_does_not_count(self) -> None:
        readings = ["lying 130/80", "sitting 100/60", "standing_1 125/78"]
        made = score(PRESSURE, cuff(readings))

        assert made.value == 5
        assert made.facts["reached"] == "standing"

    def test_pulse_and_fall_of_one_reading_make_the_ratio(self) -> None:
        readings = ["lying 150/80 60", "standing_1 140/79 90", "standing_3 120/70 66"]
        made = score(PRESSURE, cuff(readings))

        assert made.parts["heart_rate_rise"].value == 30
        assert made.parts["hr_sbp_ratio"].value == Fraction(6, 30)

    @pytest.mark.parametrize(
        ("readings", "why"),
        [
            (["standing_1 120", "lying 140"], "lying or sitting"),
            (["lying 120", "lying 118"], "a reading after"),
            (["sitting 120", "sitting 118"], "a reading after"),
        ],
    )
    def test_readings_that_show_no_change_of_position_are_refused(
        self, readings: list[str], why: str
    ) -> None:
        with pytest.raises(NotScorable, match=why):
            score(PRESSURE, cuff(readings), variant="one_reading")

    def test_broken_off_for_symptoms_the_fall_so_far_is_kept(self) -> None:
        made = score(
            PRESSURE, [*cuff(["lying 140/80", "at_once 90/60"]), Trial("stopped")]
        )

        assert made.value == 50
        assert made.facts["reached"] == "at_once"


class TestPoints:
    """A total never has a hole in it."""

    @pytest.mark.parametrize("gone", ["stances", "walks", "chair"])
    def test_missing_part_leaves_the_total_open(self, gone: str) -> None:
        given_parts = {k: v for k, v in ALL.items() if k != gone}

        with pytest.raises(NotScorable, match="not done today"):
            battery(given_parts)

    @pytest.mark.parametrize("outcome", ["stopped", "declined", "not_done"])
    def test_part_not_done_for_another_reason_leaves_it_open(
        self, outcome: Outcome
    ) -> None:
        paired = {
            "four_stage_balance": score(FOUR, stances(["10", "10", "10"]),
                                        variant="three"),
            "gait_speed": a_walk(["4.5"], course="4m"),
            "five_times_sit_to_stand": replace(stands("unable"), outcome=outcome),
        }  # fmt: skip

        with pytest.raises(NotScorable, match=r"chair part: .*total stays open"):
            score(BATTERY, [], paired=paired)

    def test_unable_everywhere_is_nought(self) -> None:
        made = battery({"stances": ["unable"], "walks": ["unable"], "chair": "unable"})

        assert made.value == 0
        assert {k: v.value for k, v in made.parts.items()} == {
            "balance": 0, "walk": 0, "chair": 0,
        }  # fmt: skip

    def test_unable_said_of_the_whole_is_unable(self) -> None:
        paired = {"gait_speed": a_walk(["4.5"], course="4m")}
        made = score(BATTERY, [Trial("unable")], paired=paired)

        assert (made.outcome, made.value) == ("unable", None)

    @pytest.mark.parametrize("course", ["10ft", "6m", "10m"])
    def test_course_without_published_points_is_refused(self, course: str) -> None:
        with pytest.raises(
            NotScorable, match=f"no published points for course {course}"
        ):
            battery({**ALL, "course": course})

    @pytest.mark.parametrize(
        "fact", [{"pace": "fast"}, {"start": "dynamic"}, {"assistance": "hands_on"}]
    )
    def test_walk_done_another_way_is_refused(self, fact: dict[str, str]) -> None:
        paired = {
            "four_stage_balance": score(FOUR, stances(["10", "10", "9"])),
            "gait_speed": a_walk(["4.5"], course="4m", **fact),
            "five_times_sit_to_stand": stands("11 s"),
        }

        with pytest.raises(NotScorable, match="walk part: done another way"):
            score(BATTERY, [], paired=paired)

    def test_faster_of_two_walks_counts(self) -> None:
        assert battery({**ALL, "walks": ["5.10", "4.81"]}).parts["walk"].value == 4

    def test_total_keeps_how_its_parts_were_done(self) -> None:
        paired = {
            "four_stage_balance": score(FOUR, stances(["10", "10", "9"])),
            "gait_speed": a_walk(["4.5"], course="3m", device="cane"),
            "five_times_sit_to_stand": stands("11 s", seat_height="17 in"),
        }
        made = score(BATTERY, [], paired=paired)

        assert made.facts == {
            "course": "3m", "device": "cane", "seat_height": "17 in",
        }  # fmt: skip


class TestPower:
    """0.9 x 9.81 x (half the height - seat) over half a cycle, by hand."""

    def test_five_stands_by_hand(self) -> None:
        """0.9 x 9.81 x (0.825 - 0.43) / (0.5 x 2.4) = 2.906..."""
        made = power({"stands": "12.0 s", "height": "165 cm", "seat": "43 cm"})
        by_hand = Fraction(9, 10) * Fraction(981, 100) * Fraction(395, 1000)

        assert made.value == by_hand / Fraction(12, 10)
        assert made.facts["made_from"] == "five_times_sit_to_stand"
        assert "power" not in made.parts

    def test_stands_of_half_a_minute_by_hand(self) -> None:
        """0.9 x 9.81 x (0.8 - 0.44) / (0.5 x 2) = 3.178..."""
        made = power(
            {"stands": "15", "height": "160 cm", "seat": "44 cm", "weight": "50 kg"}
        )
        by_hand = Fraction(9, 10) * Fraction(981, 100) * Fraction(36, 100)

        assert made.value == by_hand
        assert made.parts["power"].value == by_hand * 50

    @pytest.mark.parametrize("seat", ["45 cm", "46 cm", "18 in"])
    def test_seat_at_or_above_half_the_height_is_refused(self, seat: str) -> None:
        with pytest.raises(NotScorable, match="not above the seat"):
            power({"stands": "12.0 s", "height": "90 cm", "seat": seat})

    @pytest.mark.parametrize(
        ("body", "facts", "why"),
        [
            ({}, {"seat_height": "43 cm"}, "body height"),
            ({"height": Fraction(17, 10)}, {}, "height of the seat"),
            ({"height": Fraction(17, 10)}, {"seat_height": "43 cm",
                                            "arms_used": "yes"}, "without the arms"),
        ],
    )  # fmt: skip
    def test_what_is_missing_is_named(
        self, body: dict[str, Fraction], facts: dict[str, str], why: str
    ) -> None:
        paired = {"five_times_sit_to_stand": stands("12 s", **facts)}

        with pytest.raises(NotScorable, match=why):
            score(POWER, [], paired=paired, body=body)

    def test_no_stand_makes_no_power(self) -> None:
        none = replace(stands("1", seat_height="43 cm"), value=Fraction(0))

        with pytest.raises(NotScorable, match="No stand was completed"):
            score(POWER, [], paired={none.measure: none},
                  body={"height": Fraction(17, 10)})  # fmt: skip

    def test_unable_to_do_five_stands_makes_none_either(self) -> None:
        with pytest.raises(NotScorable, match="Still missing"):
            power({"stands": "unable", "height": "170 cm", "seat": "43 cm"})


hundredths = st.integers(min_value=1, max_value=12_000)


def seconds(number: int) -> str:
    return str(Decimal(number) / 100)


@given(
    st.lists(st.integers(min_value=1, max_value=1_500), min_size=4, max_size=4),
    st.integers(min_value=0, max_value=3),
    st.integers(min_value=1, max_value=900),
)
def test_longer_hold_never_gives_fewer_stages_or_points(
    holds: list[int], which: int, more: int
) -> None:
    longer = [*holds]
    longer[which] += more
    short, long = (held(*map(seconds, tries)) for tries in (holds, longer))

    assert (long.value or 0) >= (short.value or 0)
    assert stance_points(longer) >= stance_points(holds)


def stance_points(holds: list[int]) -> Fraction:
    made = battery({**ALL, "stances": [seconds(h) for h in holds[:3]]})
    return made.parts["balance"].value


@given(
    st.sampled_from(sorted({band.quantity for band in BATTERY.bands} - {"walk_any"})),
    hundredths,
    st.integers(min_value=1, max_value=500),
)
def test_every_table_runs_one_way_without_a_hole(
    table: str, first: int, more: int
) -> None:
    """A faster walk or chair, and a longer hold, never give fewer points."""
    lower, higher = (
        points(BATTERY.bands, table, Fraction(n, 100)) for n in (first, first + more)
    )

    held_longer = table in ("side_by_side", "semi_tandem", "tandem")
    assert lower <= higher if held_longer else lower >= higher


@given(
    st.sampled_from(["unable", "0.1", "9.9", "30"]),
    st.integers(min_value=0, max_value=3),
    st.booleans(),
)
def test_uncounted_stance_never_changes_a_score(
    text: str, place: int, practice: bool
) -> None:
    counted = stances(["10", "10", "6.5"])
    extra = replace(stances([text])[0], practice=practice, voided=not practice)
    made = score(FOUR, [*counted[:place], extra, *counted[place:]])

    assert made == score(FOUR, counted)


@given(st.integers(min_value=50, max_value=250), st.integers(min_value=0, max_value=3))
def test_uncounted_reading_never_changes_a_fall(systolic: int, place: int) -> None:
    counted = cuff(["lying 140/80", "standing_1 130/78", "standing_3 126/76"])
    voided = replace(cuff([f"standing_1 {systolic}/40"])[0], voided=True)
    made = score(PRESSURE, [*counted[:place], voided, *counted[place:]])

    assert made == score(PRESSURE, counted)


@given(hundredths, hundredths)
def test_less_time_never_gives_less_power(first: int, more: int) -> None:
    body = {"height": "170 cm", "seat": "44 cm"}
    quick, slow = (
        power({"stands": f"{seconds(n)} s", **body}) for n in (first, first + more)
    )

    assert (quick.value or 0) > (slow.value or 0)
