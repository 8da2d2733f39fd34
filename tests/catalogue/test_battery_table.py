"""The battery's published scoring table, cell by cell, edge by edge.

Which side an edge falls is the table's own: 3.62 s over 3 m has 3 points, as the usual
sheet starts them there.
"""

from fractions import Fraction

import pytest

from app.catalogue.load import catalogue
from app.clinical.composite import points
from tests.catalogue.worked import battery

BANDS = catalogue().measures["short_physical_performance_battery"].bands
CELLS = {
    "side_by_side": [("0.01", 0), ("9.99", 0), ("10.00", 1), ("30.00", 1)],
    "semi_tandem": [("0.01", 0), ("9.99", 0), ("10.00", 1), ("30.00", 1)],
    "tandem": [("0.01", 0), ("2.99", 0), ("3.00", 1), ("9.99", 1), ("10.00", 2)],
    "walk_3m": [
        ("1.00", 4), ("3.61", 4), ("3.62", 3), ("4.65", 3), ("4.66", 2), ("6.52", 2),
        ("6.53", 1), ("300.00", 1),
    ],
    "walk_4m": [
        ("1.00", 4), ("4.81", 4), ("4.82", 3), ("6.20", 3), ("6.21", 2), ("8.70", 2),
        ("8.71", 1), ("300.00", 1),
    ],
    # Printed in tenths, so the hundredths between two bands are rounded half up.
    "walk_8ft": [
        ("1.0", 4), ("3.1", 4), ("3.14", 4), ("3.15", 3), ("3.2", 3), ("4.0", 3),
        ("4.04", 3), ("4.05", 2), ("4.1", 2), ("5.6", 2), ("5.64", 2), ("5.65", 1),
        ("5.7", 1), ("300", 1),
    ],
    "chair": [
        ("3.00", 4), ("11.19", 4), ("11.20", 3), ("13.69", 3), ("13.70", 2),
        ("16.69", 2), ("16.70", 1), ("60.00", 1), ("60.01", 0), ("180.00", 0),
    ],
}  # fmt: skip
UNABLE = ["side_by_side", "semi_tandem", "tandem", "walk_any", "chair"]


@pytest.mark.parametrize(
    ("table", "seconds", "worth"),
    [(table, s, p) for table, cells in CELLS.items() for s, p in cells],
)
def test_cell_of_the_table(table: str, seconds: str, worth: int) -> None:
    assert points(BANDS, table, Fraction(seconds)) == worth


@pytest.mark.parametrize("table", UNABLE)
def test_unable_is_worth_nothing(table: str) -> None:
    assert points(BANDS, table, None) == 0


def test_every_published_table_is_tested() -> None:
    assert {band.quantity for band in BANDS} == {*CELLS, "walk_any"}


@pytest.mark.parametrize(
    ("stances", "worth"),
    [
        (["10", "10", "10"], 4), (["10", "10", "3"], 3), (["10", "10", "2.9"], 2),
        (["10", "10", "unable"], 2), (["10", "9.9"], 1), (["10", "unable"], 1),
        (["9.9"], 0), (["unable"], 0),
    ],
)  # fmt: skip
def test_stances_are_added_up_to_the_first_one_missed(
    stances: list[str], worth: int
) -> None:
    rest = {"walks": ["4.50"], "course": "4m", "chair": "11.19"}
    made = battery({"stances": stances, **rest})

    assert made.parts["balance"].value == worth
    assert made.value == worth + 8


@pytest.mark.parametrize(
    ("course", "seconds", "worth"),
    [("3m", "4.30", 3), ("4m", "4.30", 4), ("8ft", "4.30", 2), ("3m", "unable", 0)],
)
def test_walk_is_worth_what_its_own_course_says(
    course: str, seconds: str, worth: int
) -> None:
    rest = {"stances": ["10", "10", "10"], "chair": "11.19"}
    made = battery({"walks": [seconds], "course": course, **rest})

    assert made.parts["walk"].value == worth
