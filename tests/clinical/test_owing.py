"""Report and recertification clocks, by the manual's own words."""

from datetime import date, timedelta

import pytest

from app.clinical.owing import Clocks, owed_by

FIRST = date(2026, 3, 2)
DAY = timedelta(days=1)


def days(count: int, every: int = 1) -> list[date]:
    return [FIRST + n * every * DAY for n in range(count)]


def report(found: list[date], reported: date | None = None) -> tuple[date | None, int]:
    owed = owed_by(found, clocks=Clocks(), reported=reported)[0]
    assert owed.kind == "report"
    return owed.due_on, owed.used


@pytest.mark.parametrize(
    ("count", "due"),
    # Medicare Benefit Policy Manual, ch. 15, s. 220.3 D (full text): at least once
    # every 10 treatment days; the first treatment day, evaluation included, is day 1.
    [(1, None), (9, None), (10, FIRST + 18 * DAY), (12, FIRST + 18 * DAY)],
)
def test_report_is_due_on_the_tenth_treatment_day(count: int, due: date | None) -> None:
    assert report(days(count, every=2)) == (due, count)


def test_calendar_days_do_not_count() -> None:
    assert report(days(9, every=7))[0] is None


def test_two_visits_of_a_day_are_one_treatment_day() -> None:
    assert report([*days(9), *days(9)]) == (None, 9)


def test_report_starts_the_count_anew() -> None:
    found = days(20)
    assert report(found, reported=FIRST + 9 * DAY) == (FIRST + 19 * DAY, 10)
    assert report(found, reported=FIRST + 10 * DAY) == (None, 9)


def test_recertification_counts_from_the_first_treatment() -> None:
    """The same, s. 220.1.3 (full text): 90 calendar days from the first treatment."""
    owed = owed_by(days(3), clocks=Clocks())[1]
    again = owed_by(days(3), clocks=Clocks(), certified=FIRST + 80 * DAY)[1]

    assert (owed.kind, owed.due_on) == ("recertify", FIRST + 90 * DAY)
    assert again.due_on == FIRST + 170 * DAY


def test_site_may_turn_a_clock_off_or_another_on() -> None:
    kinds = [o.kind for o in owed_by(days(1), clocks=Clocks(0, 0, 30))]

    assert kinds == ["reassess"]
    assert owed_by([], clocks=Clocks()) == []
