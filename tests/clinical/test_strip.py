"""How the strip lies: what each shape takes of 120 in, and that it is drawn so."""

import math
from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.clinical.strip import (
    OVERLAP_IN,
    SIZES,
    WHERE,
    WHERE_WORDS,
    ZERO_WORDS,
    ZEROS,
    Layout,
    Point,
    fits,
    largest,
    marks_on,
    outline,
    says,
    used,
    whole,
)

D = Decimal
SHAPES = {
    "line": Layout("line", length=D(36)),
    "lane": Layout("lane", length=D(54), gap=D(12)),
    "square": Layout("square", side=D(30)),
    "ring": Layout("ring", radius=D(12)),
    "loop": Layout("loop", "hand", round=D(48)),
    "vertical": Layout("vertical", "wall", length=D(24), zero="shoulder"),
    "steps": Layout("steps", length=D(100)),
    "held": Layout("held", "hand", length=D(18)),
    "none": Layout("none"),
}


def walked(path: Iterable[Point]) -> float:
    """A path's length by itself, not by the module that made it."""
    return sum(math.hypot(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(path))


def test_every_shape_is_looked_at() -> None:
    assert set(SHAPES) == set(SIZES)
    assert set(WHERE_WORDS) == set(WHERE)
    assert set(ZERO_WORDS) | {""} == set(ZEROS)


@pytest.mark.parametrize(
    ("radius", "takes"), [(12, "75"), (15, "94"), (17, "107"), (19, "119")]
)
def test_ring_takes_its_circumference(radius: int, takes: str) -> None:
    ring = Layout("ring", radius=D(radius))

    assert whole(used(ring)) == takes
    assert float(used(ring)) == pytest.approx(2 * math.pi * radius, abs=1e-9)
    assert fits(ring)


@pytest.mark.parametrize(
    ("layout", "takes"),
    [
        (SHAPES["square"], 120),
        (SHAPES["lane"], 120),
        (Layout("lane", length=D(54), gap=D(6)), 114),
        (Layout("line", length=D(120)), 120),
        (Layout("vertical", length=D("24.5")), D("24.5")),
        (Layout("loop", round=D(60)), 60 + OVERLAP_IN),
        (SHAPES["none"], 0),
    ],
    ids=lambda v: v.shape if isinstance(v, Layout) else str(v),
)
def test_what_a_shape_takes(layout: Layout, takes: Decimal) -> None:
    assert used(layout) == takes
    assert fits(layout)


@pytest.mark.parametrize(
    ("layout", "name", "most"),
    [
        (Layout("ring", radius=D(20)), "radius", "19.0"),
        (Layout("square", side=D("30.1")), "side", "30.0"),
        (Layout("lane", length=D(54), gap=D(13)), "gap", "12.0"),
        (Layout("lane", length=D(55), gap=D(12)), "length", "54.0"),
        (Layout("line", length=D(121)), "length", "120.0"),
        (Layout("loop", round=D(117)), "round", "116.0"),
    ],
    ids=lambda v: v.shape if isinstance(v, Layout) else v,
)
def test_too_long_says_what_fits(layout: Layout, name: str, most: str) -> None:
    assert not fits(layout)
    assert str(largest(layout, name)) == most
    assert fits(replace(layout, **{name: D(most)}))  # type: ignore[arg-type]


def test_size_below_zero_never_fits() -> None:
    assert not fits(Layout("line", length=D(-1)))


@pytest.mark.parametrize("layout", SHAPES.values(), ids=list(SHAPES))
def test_drawn_strip_is_as_long_as_the_used_one(layout: Layout) -> None:
    assert walked(outline(layout)) == pytest.approx(float(used(layout)), abs=0.02)


@given(st.decimals(1, 19, places=1), st.decimals(6, 116, places=1))
def test_round_ones_are_drawn_at_their_size(radius: Decimal, round: Decimal) -> None:
    ring, loop = Layout("ring", radius=radius), Layout("loop", round=round)

    assert all(abs(math.hypot(*p) - float(radius)) < 1e-9 for p in outline(ring))
    assert walked(outline(loop)) == pytest.approx(float(used(loop)), abs=1e-6)


def test_lane_is_as_wide_as_its_gap() -> None:
    near, fold, far, end = outline(SHAPES["lane"])

    assert (far.y - fold.y, end.y - near.y) == (12, 12)
    assert (fold.x - near.x, far.x - end.x) == (54, 54)


def test_strip_from_the_shoulder_hangs_in_the_hand_and_rises_on_the_wall() -> None:
    on_wall = SHAPES["vertical"]
    in_hand = replace(on_wall, where="hand", marks=(D(6),))

    assert [
        layout_end.y for layout_end in (outline(on_wall)[-1], outline(in_hand)[-1])
    ] == [24, -24]
    assert marks_on(in_hand) == ((D(6), Point(0, -6)),)
    assert (
        says(in_hand)
        == "Hanging from the hand, 24 in; 0 at the shoulder; mark at 6 in."
    )


def test_no_strip_no_outline() -> None:
    assert outline(SHAPES["none"]) == ()
    assert outline(Layout("line", length=D(0))) == ()


def test_marks_lie_along_the_strip_from_zero() -> None:
    square = replace(SHAPES["square"], marks=(D(0), D(30), D(75)))

    assert [p for _, p in marks_on(square)] == [(0, 0), (0, 30), (30, 15)]


def test_marks_from_a_middle_zero_lie_both_ways() -> None:
    line = replace(SHAPES["line"], zero="middle", marks=(D(6), D(12)))

    assert [p.x for _, p in marks_on(line)] == [6, 12, 24, 30]


def test_mark_beyond_the_end_is_left_out() -> None:
    line = replace(SHAPES["line"], marks=(D(12), D(37)))

    assert [mark for mark, _ in marks_on(line)] == [12]


@pytest.mark.parametrize(
    ("layout", "words"),
    [
        (
            SHAPES["ring"],
            "Ring, 12 in radius: 75 in of the strip; the person stands in the middle.",
        ),
        (
            replace(SHAPES["line"], zero="toes", marks=(D(4), D(8), D("12.5"))),
            "Straight line on the floor, 36 in; 0 at the toes; "
            "marks at 4, 8 and 12.5 in.",
        ),
        (
            replace(SHAPES["line"], zero="middle", marks=(D(6),)),
            "Straight line on the floor, 36 in; 0 in the middle; "
            "mark at 6 in each way.",
        ),
        (
            SHAPES["lane"],
            "Lane on the floor, 54 in long and 12 in wide: 120 in of the strip, "
            "folded once.",
        ),
        (
            replace(SHAPES["held"], note="The therapist holds it."),
            "Held in the hands, 18 in; not on the floor. The therapist holds it.",
        ),
    ],
    ids=lambda v: v.shape if isinstance(v, Layout) else "",
)
def test_one_line_says_it(layout: Layout, words: str) -> None:
    assert says(layout) == words


def test_half_an_inch_is_said_upward() -> None:
    assert [whole(D(n)) for n in ("74.4999", "74.5", "75.398")] == ["74", "75", "75"]


def test_grade_sets_its_size_and_no_other() -> None:
    ring = replace(SHAPES["ring"], graded="radius")

    assert used(ring.at(D(19))) > used(ring.at(D(12))) == used(SHAPES["ring"])
    assert SHAPES["ring"].at(D(19)) == SHAPES["ring"]
