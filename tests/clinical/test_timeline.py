"""The days of an episode laid across a picture: nothing lost, no words covered."""

from datetime import date, timedelta
from decimal import Decimal
from itertools import combinations, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.clinical.timeline import (
    LEFT_EM,
    ROOMS,
    Room,
    Span,
    axis,
    bunches,
    in_em,
    seat,
    seen_in,
    ticks,
)
from app.clinical.timeline_lanes import (
    Error,
    Lane,
    Limit,
    Point,
    Rise,
    Target,
    lane_view,
    marks,
)
from app.clinical.timeline_rows import Happened, Stretch, bar, row
from app.clinical.timeline_words import Box, dot_box, word_box

MONDAY = date(2026, 11, 2)
TIGHT, PHONE, WIDE = ROOMS
SECONDS = Rise(Decimal(10), Decimal(30), Decimal(5), "lower", 8.0)
STEADY = settings(max_examples=60)


def on(day: int) -> date:
    return MONDAY + timedelta(days=day)


def span(days: int, first: date = MONDAY) -> Span:
    return Span(first, first + timedelta(days=days))


def point(fact: int, day: int, value: str | None, shape: str = "pin") -> Point:
    number = None if value is None else Decimal(value)
    return Point(fact, on(day), number, shape, value or shape, number is not None)


def words(days: int, room: Room, now: str = "today") -> list[str]:
    return [t.words for t in sorted(ticks(span(days), room, now)) if t.words]


@pytest.mark.parametrize(
    ("days", "room", "said"),
    [
        (0, PHONE, ["today"]),
        (3, WIDE, ["2 Nov", "3 Nov", "4 Nov", "today"]),
        (28, PHONE, ["2 Nov", "16 Nov", "today"]),
        (35, WIDE, ["2 Nov", "9 Nov", "16 Nov", "23 Nov", "30 Nov", "today"]),
        (120, PHONE, ["2 Nov", "2027", "today"]),
        (120, TIGHT, ["2 Nov", "today"]),
    ],
)
def test_ticks_are_the_finest_that_fit(days: int, room: Room, said: list[str]) -> None:
    assert words(days, room) == said


def test_leap_day_has_its_place_and_a_year_its_months() -> None:
    leap = Span(date(2028, 2, 27), date(2028, 3, 2))
    days = [t.words for t in sorted(ticks(leap, WIDE))]
    year = [t.words for t in sorted(ticks(span(400), WIDE, "today")) if t.words]

    assert days == ["27 Feb", "28 Feb", "29 Feb", "1 Mar", "2 Mar"]
    assert "2027" in year
    assert year[-1] == "today"


@given(
    st.dates(date(1999, 1, 1), date(2040, 1, 1)), st.integers(0, 1200),
    st.sampled_from(ROOMS), st.sampled_from(["", "today"]),
)  # fmt: skip
@STEADY
def test_words_of_the_axis_never_overlap(
    first: date, days: int, room: Room, now: str
) -> None:
    drawn = ticks(span(days, first), room, now)
    seats = sorted(seat(t.x, t.words, room, t.anchor) for t in drawn if t.words)

    assert seats
    assert all(one[1] < other[0] for one, other in pairwise(seats))
    assert seats[0][0] >= -LEFT_EM
    assert seats[-1][1] <= room.em + room.aside
    assert all(0 <= t.x <= 100 for t in drawn)
    assert len({t.x for t in drawn}) == len(drawn)


def test_days_lie_apart_as_they_were_and_outside_ones_on_the_edge() -> None:
    weeks = span(28)
    first, second, last = (weeks.x(on(d)) for d in (0, 7, 28))

    assert (second - first) / (last - first) == pytest.approx(7 / 28, abs=0.01)
    assert (weeks.x(on(-3)), weeks.x(on(40))) == (0, 100)
    assert span(0).x(MONDAY) == 50
    with pytest.raises(ValueError, match="from 2026-11-03 to 2026-11-02"):
        Span(on(1), MONDAY)


def test_piece_of_all_widths_stands_once() -> None:
    found = seen_in({"tight": ["a"], "phone": ["a", "b"], "wide": ["c", "a"]})

    assert {seen.it: seen.hide for seen in found} == {
        "a": "", "b": "no-tight no-wide", "c": "no-tight no-phone",
    }  # fmt: skip
    assert all(not seen.hide for seen in axis(span(0), "today"))


@pytest.mark.parametrize(("up", "higher"), [("lower", "12"), ("higher", "28")])
def test_better_is_always_up(up: str, higher: str) -> None:
    rise = SECONDS._replace(up=up)  # type: ignore[arg-type]
    lane = Lane(rise=rise, points=(point(1, 0, "12"), point(2, 7, "28", "latest")))
    by_value = {mark.says: mark.y for mark in marks(span(7), lane, WIDE)}
    rows = {r.numeral: r.y for r in rise.rows()}

    assert min(by_value, key=lambda says: by_value[says]) == higher
    assert rows["10"] == rise.y(Decimal(10))
    assert (rows["10"] < rows["30"]) == (up == "lower")


def test_value_beyond_the_tape_lies_at_its_end_and_says_so() -> None:
    lane = Lane(rise=SECONDS, points=(point(1, 0, "48"), point(2, 7, "3", "latest")))
    slow, fast = marks(span(7), lane, WIDE)

    assert (slow.y, slow.off) == (SECONDS.y(Decimal(30)), -1)
    assert (fast.y, fast.off) == (SECONDS.y(Decimal(10)), 1)


def test_no_number_lies_in_a_row_below_every_number() -> None:
    lane = Lane(
        rise=SECONDS, points=(point(1, 0, None, "unable"), point(2, 7, "30", "latest"))
    )
    view = lane_view(span(7), lane)
    unable = next(s.it for s in view.marks if s.it.shape == "unable")

    assert unable.y == view.none_y
    assert unable.y > max(r.y for r in view.rows)
    assert not view.joins
    assert (
        lane_view(span(7), Lane(rise=SECONDS, points=(lane.points[1],))).none_y is None
    )


def test_only_what_compares_is_joined() -> None:
    points = (
        point(1, 0, "25"), point(2, 7, "24", "other")._replace(joined=False),
        point(3, 14, "20", "latest"),
    )  # fmt: skip
    view = lane_view(span(14), Lane(rise=SECONDS, points=points))
    (join,) = (seen.it for seen in view.joins)

    assert (join.y1, join.y2) == (SECONDS.y(Decimal(25)), SECONDS.y(Decimal(20)))
    steps = lane_view(span(14), Lane(rise=SECONDS, points=points, steps=True)).joins
    assert [(s.it.y1 == s.it.y2, s.it.x1 == s.it.x2) for s in steps] == [
        (True, False), (False, True),
    ]  # fmt: skip


def test_goal_is_a_flag_at_its_day_and_at_the_edge_when_due_later() -> None:
    goals = (
        Target(1, on(0), on(7), Decimal(15), "met by then"),
        Target(2, on(0), on(60), Decimal(12), "later"),
    )
    lane = Lane(rise=SECONDS, points=(point(3, 14, "20", "latest"),), targets=goals)
    view = lane_view(span(14), lane)
    flags = {m.of: m for m in marks(span(14), lane, PHONE) if m.shape == "goal"}

    assert (flags[1,].x, flags[1,].says) == (span(14).x(on(7)), "")
    assert (flags[2,].x, flags[2,].says) == (100, "\u2192")
    assert [(h.x2, h.y1) for h in view.holds] == [
        (flags[of].x, flags[of].y) for of in ((1,), (2,))
    ]


def test_error_stands_round_the_latest_and_is_cut_without_a_cap() -> None:
    lane = Lane(
        rise=SECONDS, points=(point(1, 0, "25"), point(2, 7, "12", "latest")),
        error=Error(3, Decimal(8), Decimal(16)), limit=Limit(4, Decimal(15), False),
    )  # fmt: skip
    view = lane_view(span(7), lane)

    assert view.bracket is not None
    assert (view.bracket.x, view.bracket.of) == (span(7).x(on(7)), 3)
    assert (view.bracket.top_cap, view.bracket.bottom_cap) == (False, True)
    assert view.bracket.top < SECONDS.y(Decimal(12)) < view.bracket.bottom
    assert view.notch is not None
    assert view.notch.y == SECONDS.y(Decimal(15))


def test_sets_of_a_day_are_counted_together() -> None:
    two = [point(n, 0, "20")._replace(sets=n) for n in (1, 2)]
    lane = Lane(rise=SECONDS, points=(*two, point(3, 9, "20")._replace(sets=7)))
    view = lane_view(span(9), lane)

    assert [(len(s.it.ys), s.it.more) for s in view.tallies] == [(3, False), (5, True)]


def test_number_of_the_latest_is_never_missing() -> None:
    """A goal's flag beside it and the limit through it: on the limit, then."""
    lane = Lane(
        rise=SECONDS, points=(point(1, 0, "25"), point(2, 26, "15", "latest")),
        limit=Limit(4, Decimal("15.5"), False),
        targets=(Target(3, on(0), on(60), Decimal(15), "goal"),),
    )  # fmt: skip
    for room in ROOMS:
        latest = next(m for m in marks(span(28), lane, room) if m.shape == "latest")
        assert (latest.says, bool(latest.at)) == ("15", True), room.name


series = st.lists(
    st.tuples(
        st.integers(0, 399),
        st.one_of(st.none(), st.integers(0, 600)),
        st.sampled_from(["pin", "other"]),
    ),
    min_size=1, max_size=60,
)  # fmt: skip


def lane_of(found: list[tuple[int, int | None, str]]) -> Lane:
    points = [
        point(n, day, None if value is None else str(Decimal(value) / 10), shape)
        if value is not None
        else point(n, day, None, "unable")
        for n, (day, value, shape) in enumerate(sorted(found, key=lambda f: f[0]))
    ]
    numbered = [n for n, p in enumerate(points) if p.value is not None]
    if numbered:
        points[numbered[-1]] = points[numbered[-1]]._replace(shape="latest")
    return Lane(
        rise=SECONDS, points=tuple(points), limit=Limit(99, Decimal(15), True),
        targets=(Target(98, MONDAY, on(500), Decimal(12), "goal"),), up="\u2191 faster",
    )  # fmt: skip


@given(series, st.sampled_from(ROOMS))
@STEADY
def test_every_fact_is_in_one_mark_and_words_cover_nothing(
    found: list[tuple[int, int | None, str]], room: Room
) -> None:
    lane = lane_of(found)
    drawn = marks(span(400), lane, room)
    facts = [fact for mark in drawn for fact in mark.of]
    dots = [mark for mark in drawn if mark.shape != "goal"]
    said = [m for m in dots if m.at]
    boxes = [word_box(mark, mark.at, room) for mark in said]  # type: ignore[arg-type]

    assert sorted(facts) == sorted([*(p.fact for p in lane.points), 98])
    assert all(one.clear_of(other) for one, other in combinations(boxes, 2))
    for mark, box in zip(said, boxes, strict=True):
        assert all(box.clear_of(dot_box(m, room)) for m in dots if m is not mark)
        assert box.within(Box(-0.7, 0, room.em + room.aside, 99))
    assert all(not m.says for m in dots if not m.at)


@given(series, st.sampled_from(ROOMS))
@STEADY
def test_no_more_marks_than_fit(
    found: list[tuple[int, int | None, str]], room: Room
) -> None:
    """Of each kind at most two for so many em, the best and the worst."""
    drawn = marks(span(400), lane_of(found), room)
    for shape in ("pin", "other", "unable"):
        alike = [m for m in drawn if m.shape == shape]
        assert len(alike) <= 2 * (room.em / 0.9 + 1)
    values = [Decimal(v) / 10 for _, v, _ in found if v is not None]
    if values:
        heights = {m.y for m in drawn}
        assert {SECONDS.y(min(values)), SECONDS.y(max(values))} & heights


@given(st.lists(st.integers(0, 399), min_size=1, max_size=250))
@STEADY
def test_row_stands_for_every_day_of_it(days: list[int]) -> None:
    happened = [Happened(n, on(day), "stopped") for n, day in enumerate(days)]
    drawn = row("Stops", span(400), happened)

    for room in ROOMS:
        mine = [s.it for s in drawn.marks if f"no-{room.name}" not in s.hide.split()]
        at = sorted(in_em(mark.x, room) for mark in mine)
        assert sorted(f for mark in mine for f in mark.of) == sorted(range(len(days)))
        assert all(mark.says == (str(len(mark.of)) if len(mark.of) > 1 else "")
                   for mark in mine)  # fmt: skip
        assert all(b - a > 1.65 for a, b in pairwise(at))


def test_stretch_is_cut_at_both_edges() -> None:
    facts = (Happened(1, on(-9), "set"), Happened(2, on(3), "ended"))
    before = bar(span(14), Stretch(on(-9), on(3), facts))
    open_ = bar(span(14), Stretch(on(2), None, ()))

    assert (before.x, before.before, before.after) == (0, True, False)
    assert [(m.x, m.of) for m in before.marks] == [(0, (1,)), (span(14).x(on(3)), (2,))]
    assert (open_.before, open_.after) == (False, True)
    assert open_.to == span(14).x(on(14))


def test_bunch_never_reaches_further_than_the_gap() -> None:
    found = list(bunches([0.0, 0.5, 0.9, 1.0, 3.0], lambda x: x, 1.0))

    assert found == [[0.0, 0.5, 0.9], [1.0], [3.0]]
