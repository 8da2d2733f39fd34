"""The picture of differences: everything lies inside it, whatever was timed."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from app.practice.agreement import limits_of_agreement
from app.practice.scale import SCALES
from app.web.agreement_picture import APART, FOOT, TOP, ApartView, apart_picture

TIMES = st.tuples(
    st.integers(min_value=0, max_value=3_600_000),
    st.integers(min_value=-3_600_000, max_value=3_600_000),
)


def view_of(apart: list[tuple[int, int]]) -> ApartView:
    limits = limits_of_agreement([float(off) for _, off in apart])
    assert limits is not None
    return apart_picture(apart, limits, "Sam", SCALES["s"])


@given(st.lists(TIMES, min_size=10, max_size=60))
def test_everything_lies_inside(apart: list[tuple[int, int]]) -> None:
    view = view_of(apart)

    assert len(view.dots) == len(apart)
    assert all(0 <= d.x <= 100 and TOP <= d.y <= FOOT for d in view.dots)
    assert all(TOP <= r.y <= FOOT for r in view.rows)
    assert all(0 <= c.x <= 100 for c in view.columns)
    for level in view.levels:
        assert TOP <= level.y <= FOOT
        assert TOP <= level.band[0] <= level.y + 0.001
        assert level.band[1] >= 0
        assert level.band[0] + level.band[1] <= FOOT + 0.001
    assert 2 <= len(view.rows) <= 8
    assert 2 <= len(view.columns) <= 6


@given(st.lists(TIMES, min_size=10, max_size=60))
def test_labels_never_cover_each_other(apart: list[tuple[int, int]]) -> None:
    assume(len({off for _, off in apart}) > 1)
    upper, middle, lower = (level.label_y for level in view_of(apart).levels)

    assert middle - upper >= APART - 0.001
    assert lower - middle >= APART - 0.001
    assert upper >= 0
    assert lower <= FOOT + 0.001


@given(st.lists(TIMES, min_size=10, max_size=30))
def test_longer_lies_higher(apart: list[tuple[int, int]]) -> None:
    assume(len({off for _, off in apart}) > 1)
    view = view_of(apart)
    by_off = sorted(zip(apart, view.dots, strict=True), key=lambda p: p[0][1])

    assert by_off[0][1].y >= by_off[-1][1].y


@pytest.mark.parametrize(
    ("offs", "says"),
    [
        ([50, 250] * 10, "On average 0.15 s longer than the key"),
        ([-50, -250] * 10, "On average 0.15 s shorter than the key"),
        ([-100, 100] * 10, "On average the same as the key"),
    ],
)
def test_words_say_the_same(offs: list[int], says: str) -> None:
    view = view_of([(12_000, off) for off in offs])

    assert view.says[0].startswith(says)
    assert "n = 20" in view.says[0]
    assert view.says[0] in view.label


def test_differences_without_spread_have_an_average_and_no_limits() -> None:
    view = view_of([(12_000 + i, 200) for i in range(20)])

    assert [(level.kind, level.band[1]) for level in view.levels] == [("average", 0)]
    assert view.says == (
        "On average 0.20 s longer than the key (n = 20).",
        "All 20 differences were the same, +0.20 s; no limits can be given.",
    )


def test_zero_is_always_drawn() -> None:
    rows = view_of([(12_000 + i, 900 + i) for i in range(12)]).rows

    assert [r.numeral for r in rows if r.zero] == ["0.0"]
