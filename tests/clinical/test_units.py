"""Minutes to units: the manual's examples, the table's edges, what must always hold.

The counting rule is in the Medicare Claims Processing Manual (Pub. 100-04), chapter 5,
section 20.2, part C. How each row here is known stands in its id.
"""

from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.clinical.units import RULES, Count, Given, Tie, count, units_in


def day(*minutes: int, rule: str = "medicare", chosen: Sequence[int] = ()) -> Count:
    """Timed services numbered from 0, with these minutes."""
    services = [Given(key, each) for key, each in enumerate(minutes)]
    return count(services, rule=rule, chosen=chosen)


def split_of(counted: Count) -> list[int]:
    return [counted.split[key] for key in sorted(counted.split)]


@pytest.mark.parametrize(
    ("minutes", "units", "split"),
    [
        pytest.param((24, 23), 3, [2, 1], id="manual example 1 (secondary)"),
        pytest.param((33, 7), 3, [2, 1], id="manual example 3 (from memory)"),
        pytest.param((18, 13, 10, 8), 3, [1, 1, 1, 0], id="example 4 (secondary)"),
        pytest.param((18, 10), 2, [1, 1], id="university coding office (secondary)"),
        pytest.param((25, 15), 3, [2, 1], id="coders' forum (secondary)"),
        pytest.param((5, 3), 1, [1, 0], id="rule 5, under 8 each (computed)"),
        pytest.param((15, 1), 1, [1, 0], id="one left-over minute (computed)"),
    ],
)
def test_example_is_counted_and_split(
    minutes: Sequence[int], units: int, split: list[int]
) -> None:
    counted = day(*minutes)

    assert (counted.units, split_of(counted)) == (units, split)
    assert counted.tie is None


@pytest.mark.parametrize(
    ("minutes", "units", "certain", "tie"),
    [
        pytest.param((20, 20), 3, [1, 1], Tie(1, (0, 1)), id="example 2 (from memory)"),
        pytest.param((7, 7, 7), 1, [0, 0, 0], Tie(1, (0, 1, 2)),
                     id="example 5 (from memory)"),
        pytest.param((10, 10, 10, 10), 3, [0] * 4, Tie(3, (0, 1, 2, 3)),
                     id="three of four (computed)"),
        pytest.param((14, 9, 9), 2, [1, 0, 0], Tie(1, (1, 2)),
                     id="tie behind a service that is certain (computed)"),
    ],
)  # fmt: skip
def test_tie_is_left_to_the_therapist(
    minutes: Sequence[int], units: int, certain: list[int], tie: Tie
) -> None:
    counted = day(*minutes)

    assert (counted.units, split_of(counted), counted.tie) == (units, certain, tie)
    assert counted.is_open


def test_choice_settles_a_tie() -> None:
    counted = day(20, 20, chosen=[1])

    assert split_of(counted) == [1, 2]
    assert not counted.is_open
    assert counted.chosen == {1}


@pytest.mark.parametrize("chosen", [(0, 1), (2,), ()], ids=["both", "neither", "none"])
def test_choice_that_fits_no_tie_is_none(chosen: Sequence[int]) -> None:
    counted = day(20, 20, chosen=chosen)

    assert split_of(counted) == [1, 1]
    assert counted.is_open


def test_choice_is_forgotten_where_nothing_ties() -> None:
    assert split_of(day(24, 23, chosen=[1])) == [2, 1]


@pytest.mark.parametrize(
    ("minutes", "units"),
    [
        (0, 0), (7, 0), (8, 1), (22, 1), (23, 2), (37, 2), (38, 3), (52, 3), (53, 4),
        (67, 4), (68, 5), (82, 5), (83, 6), (97, 6), (98, 7), (112, 7), (113, 8),
        (127, 8),
    ],
)  # fmt: skip
def test_both_ends_of_each_row_of_the_table(minutes: int, units: int) -> None:
    """Table of section 20.2, rows 0 to 8 (secondary: several sites agree)."""
    assert units_in(minutes) == units
    assert day(minutes).units == units


@pytest.mark.parametrize(("minutes", "units"), [(128, 9), (142, 9), (143, 10)])
def test_pattern_goes_on_past_the_table(minutes: int, units: int) -> None:
    """15 n - 7 to 15 n + 7 (computed; the manual says that the pattern goes on)."""
    assert day(minutes).units == units


@pytest.mark.parametrize(("alone", "units"), [(7, 0), (8, 1)])
def test_rule_1_one_service_needs_eight_minutes(alone: int, units: int) -> None:
    assert day(alone).units == units


def test_rule_2_all_timed_minutes_are_added_first() -> None:
    """Four services of 10 to 18 minutes are 3 units, not 4 (secondary)."""
    assert day(18, 13, 10, 8).units == 3
    assert day(18, 13, 10, 8, rule="each").units == 4


def test_rule_4_no_minutes_are_poured_over() -> None:
    """33 and 7: the 3 left of the first do not make the second's unit (memory)."""
    assert split_of(day(33, 7)) == [2, 1]
    assert split_of(day(33, 18)) == [2, 1]


def test_rule_6_untimed_and_rest_stay_out_of_timed_minutes() -> None:
    """Policy Manual (Pub. 100-02), chapter 15, section 220.3 E (full text)."""
    counted = count([Given(1, 22), Given(2, 30, timed=False)], unbillable=9)

    assert (counted.timed, counted.untimed, counted.treatment) == (22, 30, 52)
    assert counted.unbillable == 9
    assert (counted.units, dict(counted.split)) == (1, {1: 1})


@pytest.mark.parametrize(
    ("rule", "units", "split"),
    [
        ("medicare", 1, {0: 1, 1: 0}),
        ("each", 0, {0: 0, 1: 0}),
        ("none", None, {}),
    ],
)
def test_rules_differ_on_seven_and_six_minutes(
    rule: str, units: int | None, split: Mapping[int, int]
) -> None:
    """Medicare's rule 5 makes one unit of two short services; others make none."""
    counted = day(7, 6, rule=rule)

    assert (counted.units, dict(counted.split)) == (units, split)
    assert counted.timed == 13


def test_each_alone_leaves_nothing_to_choose() -> None:
    counted = day(20, 20, rule="each")

    assert (counted.units, split_of(counted), counted.tie) == (2, [1, 1], None)


def test_nothing_given_is_nothing() -> None:
    counted = count([])

    assert (counted.timed, counted.treatment, counted.units) == (0, 0, 0)


@pytest.mark.parametrize("wrong", [-1, 7.5, True, "8"])
def test_only_whole_minutes_are_counted(wrong: int) -> None:
    with pytest.raises(ValueError, match="no whole minutes"):
        Given(1, wrong)


def test_one_service_twice_is_a_fault() -> None:
    with pytest.raises(ValueError, match="twice"):
        count([Given(1, 8), Given(1, 8)])


def test_unknown_rule_is_a_fault() -> None:
    with pytest.raises(ValueError, match="no rule"):
        day(8, rule="eight")


DAYS = st.lists(st.integers(0, 130), max_size=7)
COUNTED = st.sampled_from([rule for rule in RULES if rule != "none"])


@given(DAYS, COUNTED)
def test_split_and_tie_make_the_total(minutes: list[int], rule: str) -> None:
    counted = day(*minutes, rule=rule)
    left = counted.tie.left if counted.tie else 0

    assert sum(counted.split.values()) + left == counted.units


@given(st.lists(st.sampled_from([5, 7, 10, 20, 25, 40]), min_size=2, max_size=6))
def test_every_choice_of_a_tie_makes_the_total(minutes: list[int]) -> None:
    tie = day(*minutes).tie
    choices: Iterable[tuple[int, ...]] = [()]
    if tie:
        choices = combinations(tie.among, tie.left)
    for chosen in choices:
        settled = day(*minutes, chosen=chosen)
        assert sum(settled.split.values()) == settled.units
        assert not settled.is_open


@given(DAYS, COUNTED)
def test_rule_3_full_quarters_are_the_services_own(
    minutes: list[int], rule: str
) -> None:
    """15 minutes of a service are at least one unit, 30 at least two, and so on."""
    counted = day(*minutes, rule=rule)

    assert all(counted.split[key] >= own // 15 for key, own in enumerate(minutes))
    assert all(counted.split[k] >= 2 for k, own in enumerate(minutes) if own >= 30)


@given(DAYS)
def test_nobody_gets_more_than_their_minutes_begin(minutes: list[int]) -> None:
    """At most one unit beyond the full quarters, and none to a service without rest."""
    counted = day(*minutes)
    among = counted.tie.among if counted.tie else ()

    assert all(counted.split[k] <= -(-own // 15) for k, own in enumerate(minutes))
    assert all(minutes[key] % 15 for key in among)


@given(st.lists(st.integers(0, 130), min_size=1, max_size=7), COUNTED)
def test_a_minute_more_never_makes_less(minutes: list[int], rule: str) -> None:
    before = day(*minutes, rule=rule)
    after = day(minutes[0] + 1, *minutes[1:], rule=rule)

    assert before.units is not None
    assert after.units is not None
    assert before.units <= after.units <= before.units + 1
    assert before.split[0] <= after.split[0]


@given(DAYS)
def test_order_of_the_services_changes_nothing(minutes: list[int]) -> None:
    there = split_of(day(*minutes))
    back = split_of(day(*reversed(minutes)))

    assert there == back[::-1]
