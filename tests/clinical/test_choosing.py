"""Which tests fit today, and the one sentence for each that does not."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from itertools import pairwise

import pytest

from app.catalogue.load import catalogue
from app.clinical.choosing import LastTry, Offer, Today, offers
from app.clinical.vocabulary import ABILITIES, KIT_ITEMS

SHELF = catalogue().measures
ON = date(2026, 3, 10)
THIRD = date(2026, 3, 3)
WALKS = Today("walks")
SITTING = {"seated_reach_forward", "seated_reach_lateral", "orthostatic_vitals"}


def offer(
    measure: str,
    today: Today = WALKS,
    *tags: str,
    last: LastTry | None = None,
) -> Offer:
    tries = {measure: last} if last else {}
    (found,) = offers([SHELF[measure]], today, tags, tries, ON)
    return found


def fitting(today: Today, last: Mapping[str, LastTry] | None = None) -> list[str]:
    found = offers(SHELF.values(), today, (), last or {}, ON)
    return [o.measure.id for o in found if o.fits]


@pytest.mark.parametrize(
    ("measure", "can", "why"),
    [
        ("seated_reach_forward", "sits", ()),
        ("orthostatic_vitals", "sits", ()),
        ("seated_reach_forward", "sits_held", ("needs sitting alone",)),
        ("seated_reach_forward", "lies", ("needs sitting",)),
        ("functional_reach", "sits", ("needs standing",)),
        ("functional_reach", "stands_held", ("needs standing alone",)),
        ("functional_reach", "stands", ()),
        ("timed_up_and_go", "sits", ("needs a walk of 3 m",)),
        ("timed_up_and_go", "stands", ("needs a walk of 3 m",)),
        ("gait_speed", "stands", ("needs a walk of 2.4 m",)),
        ("four_square_step", "stands", ("needs walking",)),
        ("timed_up_and_go", "walks", ()),
        # Composites follow from their parts: the battery walks, the power only rises.
        ("short_physical_performance_battery", "stands", ("needs a walk of 2.4 m",)),
        ("sit_to_stand_power", "stands", ()),
        ("sit_to_stand_power", "stands_held", ("needs standing alone",)),
    ],
)
def test_what_the_person_can_do(measure: str, can: str, why: tuple[str, ...]) -> None:
    assert offer(measure, Today(can)).why_not == why


@pytest.mark.parametrize(
    ("measure", "without", "why"),
    [
        ("orthostatic_vitals", "cuff", "no cuff"),
        ("four_square_step", "sticks", "no canes or sticks"),
        ("functional_reach", "tape", "no tape"),
        ("five_times_sit_to_stand", "chair", "no chair"),
        ("tandem_stance", "stopwatch", "no stopwatch"),
        ("short_physical_performance_battery", "tape", "no tape"),
        ("sit_to_stand_power", "chair", "no chair"),
    ],
)
def test_kit_that_is_not_here(measure: str, without: str, why: str) -> None:
    lacking = Today("walks", frozenset(KIT_ITEMS) - {without})
    every_other = Today("walks", frozenset(SHELF[measure].kit_items))

    assert offer(measure, lacking).why_not == (why,)
    assert offer(measure, every_other).fits


@pytest.mark.parametrize(
    ("minutes", "why"),
    [(5, ("takes about 12 min",)), (10, ("takes about 12 min",)), (15, ()), (None, ())],
)
def test_minutes_left(minutes: int | None, why: tuple[str, ...]) -> None:
    assert offer("orthostatic_vitals", Today("sits", minutes=minutes)).why_not == why


@pytest.mark.parametrize(
    ("measure", "last", "why"),
    [
        ("timed_up_and_go", LastTry("unable", THIRD), "floor: unable on 3 Mar"),
        (
            "timed_up_and_go",
            LastTry("unable", date(2025, 12, 3)),
            "floor: unable on 3 Dec 2025",
        ),
        ("timed_up_and_go", LastTry("stopped", THIRD), ""),
        ("timed_up_and_go", LastTry("completed", THIRD, Decimal("300")), ""),
        (
            "single_leg_stance",
            LastTry("completed", THIRD, Decimal("30.0"), facts={"limit": "30"}),
            "ceiling: held all 30 s on 3 Mar, try a harder one",
        ),
        (
            "single_leg_stance",
            LastTry("completed", THIRD, Decimal("29.9"), facts={"limit": "30"}),
            "",
        ),
        (
            "single_leg_stance",
            LastTry("completed", THIRD, Decimal("30.0"), facts={"limit": "60"}),
            "",
        ),
        (
            "four_stage_balance",
            LastTry("completed", THIRD, Decimal(4), "four"),
            "ceiling: held all 4 stages on 3 Mar, try a harder one",
        ),
        ("four_stage_balance", LastTry("completed", THIRD, Decimal(3), "four"), ""),
        (
            "four_stage_balance",
            LastTry("completed", THIRD, Decimal(3), "three"),
            "ceiling: held all 3 stages on 3 Mar, try a harder one",
        ),
        (
            "short_physical_performance_battery",
            LastTry("completed", THIRD, Decimal(12)),
            "ceiling: 12 of 12 points on 3 Mar, try a harder one",
        ),
        (
            "short_physical_performance_battery",
            LastTry("completed", THIRD, Decimal(11)),
            "",
        ),
        ("functional_reach", LastTry("completed", THIRD, Decimal(20)), ""),
        ("sit_to_stand_power", LastTry("completed", THIRD, Decimal(12)), ""),
    ],
)
def test_floor_and_ceiling(measure: str, last: LastTry, why: str) -> None:
    assert offer(measure, last=last).why_not == ((why,) if why else ())


def test_order_blocks_and_is_named_first() -> None:
    found = offer("timed_up_and_go", Today("sits"), "ttwb_le")

    assert not found.clearance.allowed
    assert found.why_not == ("order: Leg: toe-touch only", "needs a walk of 3 m")


def test_risk_a_test_must_not_meet_is_called_a_risk() -> None:
    found = offer("timed_up_and_go", WALKS, "dizzy_uncontrolled")

    assert found.why_not == ("risk: Dizziness not settled",)


def test_warning_keeps_nothing_away() -> None:
    found = offer("timed_up_and_go", WALKS, "oxygen")

    assert found.fits
    assert [p.tag for p in found.clearance.warned_by] == ["oxygen"]


@pytest.mark.parametrize("can", ABILITIES)
def test_nothing_is_hidden(can: str) -> None:
    found = offers(SHELF.values(), Today(can, frozenset(), 5), ["nwb_le"], {}, ON)

    assert {o.measure.id for o in found} == set(SHELF)
    assert [o.fits for o in found] == sorted((o.fits for o in found), reverse=True)


def test_more_ability_never_takes_a_test_away() -> None:
    sets = [set(fitting(Today(can))) for can in ABILITIES]

    assert sets[0] == sets[1] == set()
    assert sets[2] == sets[3] == SITTING
    assert all(a <= b for a, b in pairwise(sets))
    assert sets[-1] == set(SHELF)


def test_what_asks_most_comes_first() -> None:
    order = fitting(WALKS)

    assert SHELF[order[0]].needs == "walks"
    assert {*order[-3:]} == SITTING


def test_nothing_said_leaves_all_but_orders() -> None:
    unable = {m: LastTry("unable", THIRD) for m in SHELF}

    assert fitting(Today(), unable) == sorted(SHELF, key=lambda m: SHELF[m].name)
    assert offer("timed_up_and_go", Today(), "ttwb_le").why_not == (
        "order: Leg: toe-touch only",
    )
