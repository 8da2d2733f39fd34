"""The time picture: marks at true places, and no number for what has none."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from app.web.tape import Dot, Line, TimeView, over_time
from app.web.tape.over_time import DotShape

MONDAY = date(2026, 3, 2)


def dot(day: int, value: str | None, shape: DotShape = "pin") -> Dot:
    number = None if value is None else Decimal(value)
    return Dot(MONDAY + timedelta(days=day), number, shape)


def drawn(*dots: Dot, line: Line | None = None) -> TimeView:
    view = over_time(dots, line, reach=Decimal(18), axis="Up in s", label="told")
    assert view is not None
    return view


def test_days_lie_apart_as_they_were() -> None:
    view = drawn(dot(0, "20"), dot(7, "19"), dot(28, "18", "latest"))

    first, second, last = (mark.x for mark in view.marks)
    assert (second - first) / (last - first) == pytest.approx(7 / 28, abs=0.01)


def test_larger_numbers_stand_higher_and_at_their_numeral() -> None:
    view = drawn(dot(0, "20"), dot(7, "16", "latest"))

    rows = {row.numeral: row.y for row in view.rows}
    assert view.marks[0].y == rows["20"]
    assert view.marks[1].y == rows["16"]
    assert rows["20"] < rows["16"]


def test_unable_lies_under_every_number_and_is_named() -> None:
    view = drawn(dot(0, None, "unable"), dot(7, "0", "latest"))

    unable, zero = view.marks
    assert view.lane == unable.y
    assert unable.y > max(row.y for row in view.rows)
    assert zero.y < unable.y
    assert [line.words for line in view.key] == [
        "the latest score",
        "unable: no number",
    ]


def test_without_unable_attempts_there_is_no_lane() -> None:
    view = drawn(dot(0, "20"), dot(7, "19", "latest"))

    assert view.lane is None
    assert view.height < drawn(dot(0, None, "unable"), dot(7, "19")).height


def test_the_line_runs_from_the_first_comparable_day_to_the_last() -> None:
    dots = (dot(0, "9", "other"), dot(7, "20"), dot(28, "18", "latest"))
    view = drawn(*dots, line=Line(Decimal(20), Decimal(18)))

    assert view.line is not None
    _, first, last = view.marks
    assert (view.line.x1, view.line.y1) == (first.x, first.y)
    assert (view.line.x2, view.line.y2) == (last.x, last.y)


def test_a_line_past_the_scores_stays_inside() -> None:
    view = drawn(dot(0, "20"), dot(7, "19"), line=Line(Decimal(26), Decimal(13)))

    assert view.line is not None
    assert all(0 <= y <= view.foot for y in (view.line.y1, view.line.y2))


def test_small_wobbles_do_not_fill_the_picture() -> None:
    view = drawn(dot(0, "16.0"), dot(7, "16.1", "latest"))

    assert abs(view.marks[0].y - view.marks[1].y) < 1


def test_one_score_stands_in_the_middle() -> None:
    view = drawn(dot(0, "16.0", "latest"))

    assert [mark.x for mark in view.marks] == [50]
    assert [day.words for day in view.days] == ["2 Mar"]


def test_nothing_but_unable_is_no_picture() -> None:
    assert (
        over_time([dot(0, None, "unable")], None, reach=Decimal(1), axis="", label="")
        is None
    )
