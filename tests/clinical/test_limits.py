"""Rows and cautions that depend on what a score holds, and what composites read."""

from decimal import Decimal
from fractions import Fraction

import pytest

from app.catalogue.load import catalogue
from app.clinical.person import Person
from app.clinical.reading import EDGE_SAYS, Result, read
from app.clinical.readings import Reading
from app.clinical.scoring import Score, score
from tests.catalogue.worked import battery, cuff, power, stances
from tests.clinical.reading_for import of, result

SHELF = catalogue().measures
FOUR = SHELF["four_stage_balance"]
PRESSURE = SHELF["orthostatic_vitals"]
BATTERY = SHELF["short_physical_performance_battery"]
POWER = SHELF["sit_to_stand_power"]
HOME = Person((75,), None, (), "community")
WARD = Person((75,), None, (), "inpatient")
LIE_DOWN = "Sit or lie the person down"


def pressures(*readings: str, person: Person = HOME, **facts: str) -> Result:
    rule = {2: "one_reading", 3: "one_and_three", 4: "at_once_too"}[len(readings)]
    made = score(PRESSURE, cuff(readings), variant=rule, facts=facts)
    return read(PRESSURE, made, person)


def limit(found: Result, source: str, value: str, quantity: str = "") -> Reading:
    """The one reading of a source at a limit, of a quantity where two share it."""
    (reading,) = [
        r
        for r in of(found, source)
        if r.threshold == Decimal(value) and r.unit != "bpm" and r.row
        and (not quantity or r.row.fit.quantity == quantity)
    ]  # fmt: skip
    return reading


def cautioned(found: Result, words: str) -> bool:
    return any(words in caution for caution in found.cautions)


class TestFourStages:
    """The sheet's one rule, however far the person got."""

    @pytest.mark.parametrize(
        ("seconds", "crossed", "unit"),
        [
            (["10", "10", "10", "2"], False, "s"),
            (["10", "10", "9.99"], True, "s"),
            (["10", "10", "unable"], True, "stages"),
            (["10", "4"], True, "stages"),
            (["6"], True, "stages"),
        ],
        ids=["held", "just missed", "not taken up", "second missed", "first missed"],
    )
    def test_rule_is_said_once(
        self, seconds: list[str], crossed: bool, unit: str
    ) -> None:
        found = read(FOUR, score(FOUR, stances(seconds)), HOME)
        (said,) = of(found, "cdc_four_stage")

        assert (said.matched, said.crossed, said.unit) == (True, crossed, unit)
        assert found.leading is said

    def test_unable_at_the_first_stance_says_it_too(self) -> None:
        found = read(FOUR, score(FOUR, stances(["unable"])), HOME)

        assert [r.crossed for r in of(found, "cdc_four_stage")] == [True]

    @pytest.mark.parametrize(
        ("seconds", "near"),
        [("10", False), ("10.1", False), ("9.9", True), ("9.7", False)],
    )
    def test_whole_hold_is_no_close_call(self, seconds: str, near: bool) -> None:
        """The clock ends there, so every pass would read as one."""
        made = score(FOUR, stances(["10", "10", seconds, "3"]))
        (said,) = of(read(FOUR, made, HOME), "cdc_four_stage")

        assert said.near_edge is near
        assert (EDGE_SAYS in said.says) is near

    def test_how_many_managed_it_never_leads(self) -> None:
        found = read(
            FOUR, score(FOUR, stances(["10", "6"])),
            Person((85,), None, (), "institution"),
        )  # fmt: skip
        shares = of(found, "giuliani2008")

        assert [r.matched for r in shares] == [True, True]
        assert "61 held the side-by-side stance" in shares[0].says
        assert found.leading is None

    def test_disagreeing_sample_judges_nobody(self) -> None:
        found = read(FOUR, score(FOUR, stances(["10", "10", "5"])), HOME)
        (said,) = [r for r in of(found, "oliveira_cdc4") if r.kind == "cutoff"]

        assert said.matched
        assert "Not used for a verdict" in said.says


class TestPressure:
    """Which limit speaks depends on where it started and what was read."""

    @pytest.mark.parametrize(
        ("lying", "shown"),
        [("139/89", False), ("140/80", True), ("120/90", True), ("172/90", True)],
    )
    def test_higher_limit_stands_beside_a_high_lying_pressure(
        self, lying: str, shown: bool
    ) -> None:
        found = pressures(f"lying {lying}", "standing_1 118/79", "standing_3 117/79")

        assert limit(found, "freeman2011", "30").matched is shown
        assert limit(found, "freeman2011", "20").matched

    @pytest.mark.parametrize(("after", "crossed"), [("121", False), ("120", True)])
    def test_twenty_itself_counts(self, after: str, crossed: bool) -> None:
        found = pressures("lying 140", f"standing_1 {after}", "standing_3 130")

        assert limit(found, "freeman2011", "20").crossed is crossed
        assert cautioned(found, LIE_DOWN) is crossed

    @pytest.mark.parametrize(("after", "crossed"), [("71", False), ("70", True)])
    def test_ten_diastolic_is_enough(self, after: str, crossed: bool) -> None:
        readings = ["lying 140/80", f"standing_1 138/{after}", "standing_3 139/79"]
        found = pressures(*readings)

        assert limit(found, "freeman2011", "10").crossed is crossed
        assert cautioned(found, LIE_DOWN) is crossed

    def test_fall_at_once_alone_is_judged_as_such(self) -> None:
        found = pressures(
            "lying 140/80", "at_once 99/59", "standing_1 138/79", "standing_3 139/80"
        )

        assert limit(found, "freeman2011", "40").crossed
        assert limit(found, "freeman2011", "20", "diastolic_drop_at_once").crossed
        assert not limit(found, "freeman2011", "20", "score").crossed
        assert cautioned(found, LIE_DOWN)

    def test_sitting_start_is_read_by_its_own_limits(self) -> None:
        found = pressures("sitting 130/80", "standing_1 114/74")

        assert limit(found, "shaw2017", "15").crossed
        assert limit(found, "shaw2017", "7").crossed is False
        assert not limit(found, "freeman2011", "20").matched

    def test_lying_start_is_not_read_by_the_sitting_limits(self) -> None:
        found = pressures("lying 130/80", "standing_1 114/74", "standing_3 120/75")

        assert not any(r.matched for r in of(found, "shaw2017"))

    @pytest.mark.parametrize(("lowest", "crossed"), [("90", False), ("89", True)])
    def test_low_standing_pressure_counts_whatever_the_fall(
        self, lowest: str, crossed: bool
    ) -> None:
        found = pressures("lying 100/60", f"standing_1 {lowest}/58", "standing_3 98/60")

        assert limit(found, "oi_criteria", "90").crossed is crossed

    @pytest.mark.parametrize(
        ("standing", "matched"),
        [("125/78 95", True), ("110/78 95", False), ("125/70 95", False)],
        ids=["no fall", "systolic fall", "diastolic fall"],
    )
    def test_pulse_rise_speaks_only_without_a_fall(
        self, standing: str, matched: bool
    ) -> None:
        readings = ["lying 130/80 60", f"standing_1 {standing}", "standing_3 129/79 61"]
        found = pressures(*readings)
        (rise,) = [
            r for r in of(found, "freeman2011")
            if r.unit == "bpm" and r.threshold == 30
        ]  # fmt: skip

        assert (rise.matched, rise.crossed) == (matched, True)

    def test_unknown_diastolic_is_assumed_and_said(self) -> None:
        found = pressures("lying 130 60", "standing_1 125 95", "standing_3 129 70")

        assert "if the diastolic drop is below 10 mmHg" in found.assumed

    @pytest.mark.parametrize(
        ("standing", "facts", "matched"),
        [
            ("110/78 65", {}, True),
            ("128/70 61", {}, True),
            ("121/78 61", {}, False),
            ("110/78 65", {"rhythm": "paced"}, False),
            ("110/78 65", {"rhythm": "irregular"}, False),
            ("110/78 65", {"pulse_medicine": "yes"}, False),
        ],
        ids=["systolic", "diastolic", "no fall", "paced", "fibrillation", "blocker"],
    )
    def test_ratio_speaks_only_where_pressure_fell(
        self, standing: str, facts: dict[str, str], matched: bool
    ) -> None:
        found = pressures(
            "lying 130/80 60", f"standing_1 {standing}", "standing_3 129/79 61",
            person=HOME, **facts,
        )  # fmt: skip
        (ratio,) = of(found, "norcliffekaufmann2018")

        assert ratio.matched is matched

    def test_fall_on_sitting_is_said_as_sitting(self) -> None:
        parkinson = Person((70,), None, ("parkinson",), "community")
        found = pressures("lying 130/80", "sitting 118/77", person=parkinson)

        assert limit(found, "msa_pd_sitting", "10").crossed
        assert limit(found, "msa_pd_sitting", "6").crossed is False
        assert not limit(found, "freeman2011", "20").matched
        assert cautioned(found, "a fall on sitting up")

    def test_symptoms_alone_stop_the_next_test(self) -> None:
        readings = cuff(["lying 130/80", "standing_1 128/79", "standing_3 129/80"])
        readings[1].inputs["symptoms"] = "yes"  # type: ignore[index]
        found = read(PRESSURE, score(PRESSURE, readings), HOME)

        assert cautioned(found, LIE_DOWN)
        assert cautioned(found, "Symptoms on standing count")

    def test_hanging_arm_clears_nobody(self) -> None:
        found = pressures(
            "lying 130/80", "standing_1 128/79", "standing_3 129/80",
            arm_support="hanging",
        )  # fmt: skip

        assert found.leading is None
        assert not limit(found, "freeman2011", "20").matched

    def test_lying_and_sitting_starts_are_not_compared(self) -> None:
        before = score(
            PRESSURE, cuff(["sitting 130/80", "standing_1 114/74"]),
            variant="one_reading",
        )  # fmt: skip
        now = score(
            PRESSURE, cuff(["lying 130/80", "standing_1 128/79"]),
            variant="one_reading",
        )  # fmt: skip
        change = read(PRESSURE, now, HOME, before=before).change

        assert change is not None
        assert "first reading taken: sitting then, lying now" in change.differs


class TestBattery:
    """One ladder of one source: only the band reached is said."""

    @pytest.mark.parametrize(
        ("total", "threshold", "effect"),
        [
            ("0", "3", "3.25"), ("3", "3", "3.25"), ("4", "6", "2.14"),
            ("6", "6", "2.14"), ("7", "9", "1.50"), ("9", "9", "1.50"),
            ("10", "9", None), ("12", "9", None),
        ],
    )  # fmt: skip
    def test_group_of_the_total_is_said_once(
        self, total: str, threshold: str, effect: str | None
    ) -> None:
        found = result(BATTERY.id, f"{total}points", age=76, setting="community")
        (said,) = of(found, "pavasini2016")

        assert str(said.threshold) == threshold
        assert (None if said.effect is None else str(said.effect.value)) == effect

    def test_odds_of_death_never_lead(self) -> None:
        for total in range(13):
            found = result(BATTERY.id, f"{total}points", age=76)
            assert found.leading is None or found.leading.outcome_type != "death"

    @pytest.mark.parametrize(("sex", "crossed"), [("female", True), ("male", False)])
    def test_seven_to_nine_went_with_falls_in_women_only(
        self, sex: str, crossed: bool
    ) -> None:
        found = result(BATTERY.id, "8points", age=76, sex=sex, setting="community")

        matched = [r for r in of(found, "veronese2014") if r.matched]
        assert [r.crossed for r in matched] == [crossed]

    def test_eight_foot_findings_need_the_eight_foot_course(self) -> None:
        on_four, on_eight = (
            result(BATTERY.id, "5points", age=76, setting="community", course=course)
            for course in ("4m", "8ft")
        )

        assert not any(r.matched for r in of(on_four, "guralnik2000"))
        assert [r.crossed for r in of(on_eight, "guralnik2000")] == [True]
        assert cautioned(on_eight, "recalled, not read")

    @pytest.mark.parametrize(
        ("stay", "matched"), [("discharge", True), ("during", False)]
    )
    def test_discharge_findings_need_a_discharge(
        self, stay: str, matched: bool
    ) -> None:
        found = result(BATTERY.id, "4points", age=76, setting="inpatient", stay=stay)

        for source in ("volpato2011", "corsonello2012"):
            assert {r.matched for r in of(found, source)} == {matched}

    @pytest.mark.parametrize(
        ("now", "real"), [("8points", False), ("9points", True), ("3points", True)]
    )
    def test_one_person_must_move_three_points(self, now: str, real: bool) -> None:
        """MDC90 2.9 (mangione2010): 2 points within, 3 beyond."""
        before = result(BATTERY.id, "6points").score
        found = result(BATTERY.id, now, age=78, setting="community", before=before)

        assert found.change is not None
        assert found.change.verdict.startswith("real") is real

    def test_half_a_point_is_never_a_verdict(self) -> None:
        before = result(BATTERY.id, "6points").score
        found = result(BATTERY.id, "7points", age=78, before=before)
        assert found.change is not None
        halves = [r for r in found.change.readings if r.threshold == Decimal("0.5")]

        assert halves
        assert all(r.crossed is None for r in halves)

    @pytest.mark.parametrize(
        ("before", "fits"), [("9points", True), ("10points", False)]
    )
    def test_change_found_below_ten_points_needs_such_a_start(
        self, before: str, fits: bool
    ) -> None:
        first = result(BATTERY.id, before).score
        found = result(BATTERY.id, "11points", age=78, before=first)
        rows = [r for r in of(found, "kwon2009") if r.matched]

        assert bool(rows) is fits

    @pytest.mark.parametrize(("stop", "said"), [("seated", True), ("standing", False)])
    def test_clock_of_the_chair_is_said_where_it_differs(
        self, stop: str, said: bool
    ) -> None:
        found = result(BATTERY.id, "8points", age=76, stop=stop)

        assert cautioned(found, "may show a point too few") is said

    def test_totals_over_two_courses_are_not_compared(self) -> None:
        parts = {"stances": ["10", "10", "10"], "walks": ["4.5"], "chair": "11"}
        before, now = (battery({**parts, "course": c}) for c in ("3m", "4m"))
        change = read(BATTERY, now, HOME, before=before).change

        assert change is not None
        assert "course of the walk: 3 m then, 4 m now" in change.differs


class TestPower:
    """Two kinds of stands, two sets of limits."""

    def made(self, stands: str, seat: str = "43 cm", **facts: str) -> Score:
        return power(
            {"stands": stands, "height": "157 cm", "seat": seat, "facts": facts}
        )

    def test_each_kind_of_stands_has_its_own_limits(self) -> None:
        woman = Person((75,), "female", (), "community")
        five = read(POWER, self.made("15.0 s"), woman)
        thirty = read(POWER, self.made("10"), woman)

        assert {r.row.source for r in five.readings if r.row} == {"baltasar2021cut"}
        assert {r.row.source for r in thirty.readings if r.row and r.matched} == {
            "garciaaguirre2024", "alcazar2021",
        }  # fmt: skip

    def test_power_from_two_kinds_of_stands_is_no_change(self) -> None:
        change = read(POWER, self.made("12"), HOME, before=self.made("12.0 s")).change

        assert change is not None
        assert change.verdict == "not comparable"
        assert change.differs[0].startswith("made from: five timed stands then")

    def test_clock_stopped_at_the_fifth_stand_is_said_and_not_judged(self) -> None:
        found = read(POWER, self.made("12.0 s", stop="standing"), HOME)

        assert found.leading is None
        assert cautioned(found, "about 11 % too high")
        assert not cautioned(read(POWER, self.made("12.0 s"), HOME), "11 %")

    def test_four_and_a_half_cycles_make_eleven_percent(self) -> None:
        assert round((Fraction(5) / Fraction(9, 2) - 1) * 100) == 11

    @pytest.mark.parametrize(("sex", "limit"), [("male", "2.5"), ("female", "1.9")])
    def test_limit_is_of_ones_own_sex(self, sex: str, limit: str) -> None:
        found = read(POWER, self.made("12.0 s"), Person((75,), sex, (), "community"))

        assert [str(r.threshold) for r in found.readings if r.matched] == [limit]
