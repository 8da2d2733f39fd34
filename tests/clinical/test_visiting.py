"""Assistance in the trade's words and the federal code, limits, postural drop."""

import pytest

from app.clinical.assistance import FEDERAL, LEVELS, contradictions, proposed
from app.clinical.visiting import Limit, outside, postural


@pytest.mark.parametrize(
    ("level", "helpers", "share", "code"),
    [
        # LOINC 89405-5 (full text): 06 independent ... 01 dependent or two helpers;
        # 03 the helper does less than half, 02 more than half.
        ("independent", 0, None, "06"),
        ("modified", 0, None, "06"),
        ("set_up", 1, None, "05"),
        ("supervision", 1, None, "04"),
        ("stand_by", 1, None, "04"),
        ("contact", 1, None, "04"),
        ("minimal", 1, 75, "03"),
        ("moderate", 1, 74, "03"),
        ("moderate", 1, 51, "03"),
        ("moderate", 1, 50, "02"),
        ("maximal", 1, 49, "02"),
        ("maximal", 1, 25, "02"),
        ("total", 1, 24, "01"),
        ("total", 1, None, "01"),
        ("minimal", 2, 80, "01"),
        ("contact", 2, None, "01"),
    ],
)
def test_federal_code_is_proposed(
    level: str, helpers: int, share: int | None, code: str
) -> None:
    made = proposed(level, helpers, share)

    assert made.code == code
    assert made.because
    assert code in FEDERAL


@pytest.mark.parametrize(
    ("level", "helpers", "cued", "asks"),
    [
        # Teaching tables: the patient does 50 to 74 %, both sides of the list's half.
        ("moderate", 1, False, "enter the patient's share"),
        ("independent", 0, True, "helped or cued"),
        ("modified", 1, False, "helped or cued"),
    ],
)
def test_no_code_is_proposed_without_grounds(
    level: str, helpers: int, cued: bool, asks: str
) -> None:
    made = proposed(level, helpers, cued=cued)

    assert made.code is None
    assert asks in made.because


def test_total_with_a_share_points_at_the_next_code() -> None:
    """The list says 01 when the helper does all; 02 when more than half."""
    assert "look at 02" in proposed("total", 1, share=20).because
    assert "look at 02" not in proposed("total", 1).because


def test_every_level_has_a_word_about_its_code() -> None:
    assert all(proposed(level, 1).because for level in LEVELS)


def test_bands_of_the_share_meet_without_a_gap() -> None:
    """Teaching tables: 75 and more, 50 to 74, 25 to 49, under 25 (secondary)."""
    bands = sorted(level.share for level in LEVELS.values() if level.share)

    assert bands == [(0, 24), (25, 49), (50, 74), (75, 99)]


@pytest.mark.parametrize(
    ("level", "helpers", "cued", "says"),
    [
        ("independent", 0, True, "cueing is supervision"),
        ("modified", 1, False, "with a helper"),
        ("minimal", 0, False, "without a helper"),
    ],
)
def test_contradiction_is_said(level: str, helpers: int, cued: bool, says: str) -> None:
    assert any(says in words for words in contradictions(level, helpers, cued))


@pytest.mark.parametrize(
    ("level", "helpers", "cued"),
    [("independent", 0, False), ("minimal", 1, True), ("set_up", 0, False)],
)
def test_what_fits_together_is_not_questioned(
    level: str, helpers: int, cued: bool
) -> None:
    assert contradictions(level, helpers, cued) == ()


@pytest.mark.parametrize(
    ("value", "says"),
    [(89, "below"), (90, ""), (180, ""), (181, "above")],
)
def test_limit_itself_is_inside(value: int, says: str) -> None:
    found = outside({"systolic": value}, {"systolic": Limit(90, 180)})

    assert (says in found.get("systolic", "")) == bool(says or not found)
    assert bool(found) == bool(says)


def test_open_end_and_missing_limit_say_nothing() -> None:
    limits = {"saturation": Limit(88, None)}

    assert outside({"saturation": 100, "heart_rate": 30}, limits) == {}
    assert "88 %" in outside({"saturation": 87}, limits)["saturation"]


@pytest.mark.parametrize(
    ("before", "was", "now", "counts"),
    [
        # Lying: 20 systolic or 10 diastolic (Freeman 2011, abstract).
        ("lying", (130, 80), (111, 71), False),
        ("lying", (130, 80), (110, 80), True),
        ("lying", (130, 80), (130, 70), True),
        # Sitting: 15 or 7 (abstract, Shaw 2017).
        ("sitting", (130, 80), (116, 74), False),
        ("sitting", (130, 80), (115, 80), True),
        ("sitting", (130, 80), (130, 73), True),
        ("standing", (130, 80), (90, 50), False),
    ],
)
def test_postural_drop_by_its_source(
    before: str, was: tuple[int, int], now: tuple[int, int], counts: bool
) -> None:
    said = postural(before, was, now)

    assert bool(said) == counts
    if counts:
        assert "mmHg" in said
        assert "Follow the order" in said
        assert "hypotension" not in said
        source = "Freeman 2011, abstract" if before == "lying" else "Shaw 2017"
        assert source in said
