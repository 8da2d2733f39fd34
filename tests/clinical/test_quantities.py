"""Typed numbers, exact conversion and the one rounding rule."""

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.clinical.quantities import (
    BadNumber,
    beyond,
    compared,
    convert,
    parse,
    rounded,
    shown,
)

REFUSED = [
    "", " ", "abc", "-3", "0", "0.00", "NaN", "inf", "1e2", "1_000", "9,5", "+3",
    "10,000", "12.3456", "１２", "3 s s", "1234567", "..5", "5.", ".5",
]  # fmt: skip


@pytest.mark.parametrize("text", REFUSED)
def test_garbage_is_refused_with_a_sentence(text: str) -> None:
    with pytest.raises(BadNumber) as refusal:
        parse(text, ("s",))

    assert len(str(refusal.value)) > 15


def test_comma_refusal_shows_the_point() -> None:
    with pytest.raises(BadNumber, match=r"9\.5"):
        parse("9,5", ("in", "cm"))


@pytest.mark.parametrize(
    ("text", "units", "expected"),
    [
        ("16.2", ("s",), ("16.2", "s")),
        ("16.2s", ("s",), ("16.2", "s")),
        ("9.5 in", ("in", "cm"), ("9.5", "in")),
        ("24cm", ("in", "cm"), ("24", "cm")),
        ("9.50", ("in", "cm"), ("9.50", "in")),
    ],
)
def test_number_is_kept_as_typed(
    text: str, units: tuple[str, ...], expected: tuple[str, str]
) -> None:
    value, unit = parse(text, units)

    assert (str(value), unit) == expected


def test_wrong_unit_names_the_right_ones() -> None:
    with pytest.raises(BadNumber, match="seconds"):
        parse("9in", ("s",))


@pytest.mark.parametrize(
    ("value", "places", "expected"),
    [
        ("2.5", 0, "3"),  # banker's rounding would give 2
        ("2.675", 2, "2.68"),
        ("10.25", 1, "10.3"),
        ("13.45", 1, "13.5"),
        ("13.449", 1, "13.4"),
        ("-20.75", 1, "-20.8"),
        ("0.04", 1, "0.0"),
    ],
)
def test_rounding_is_half_up(value: str, places: int, expected: str) -> None:
    assert str(rounded(Fraction(value), places)) == expected


@given(st.decimals(-9999, 9999, places=4), st.integers(0, 3))
def test_rounding_agrees_with_the_standard_library(value: Decimal, places: int) -> None:
    """The decimal module's ROUND_HALF_UP is the oracle."""
    oracle = value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)

    assert rounded(value, places) == oracle


def test_inch_is_exactly_two_point_five_four_centimetres() -> None:
    """International yard and pound agreement, 1959: 1 in = 2.54 cm exactly."""
    assert convert(Fraction(10), "in", "cm") == Fraction("25.4")
    assert convert(Fraction("15.24"), "cm", "in") == 6


@given(st.fractions(min_value="0.1", max_value=100, max_denominator=64))
def test_there_and_back_never_drifts(value: Fraction) -> None:
    assert convert(convert(value, "in", "cm"), "cm", "in") == value


def test_time_does_not_turn_into_length() -> None:
    with pytest.raises(ValueError, match="cannot"):
        convert(Fraction(1), "s", "cm")


@pytest.mark.parametrize(
    ("value", "unit", "threshold", "to", "expected"),
    [
        ("12.466", "s", "12.47", "s", "12.47"),  # at the threshold's two decimals
        ("12.444", "s", "12", "s", "12.4"),  # at the shown tenth
        ("10", "in", "25.4", "cm", "25.4"),
        ("9.999", "in", "10", "in", "10.0"),
        ("25", "cm", "10", "in", "9.8"),
    ],
)
def test_comparison_uses_the_finer_precision(
    value: str, unit: str, threshold: str, to: str, expected: str
) -> None:
    assert str(compared(Fraction(value), unit, Decimal(threshold), to)) == expected


@pytest.mark.parametrize(
    ("direction", "below", "at", "above"),
    [
        ("above", False, False, True),
        ("at_or_above", False, True, True),
        ("below", True, False, False),
        ("at_or_below", True, True, False),
    ],
)
def test_edge_falls_on_the_stated_side(
    direction: str, below: bool, at: bool, above: bool
) -> None:
    limit = Decimal("13.5")

    found = [beyond(limit + step, direction, limit) for step in
             (Decimal("-0.1"), Decimal(0), Decimal("0.1"))]  # fmt: skip

    assert found == [below, at, above]


def test_shown_precision_is_the_units() -> None:
    assert str(shown(Fraction("16.249"), "s")) == "16.2"
    assert str(shown(Fraction("9.75"), "in")) == "9.8"
    assert str(shown(Fraction(12), "count")) == "12"
