"""Ages: from a birth date, or by year only."""

from datetime import date

import pytest

from app.clinical.person import ages_on


@pytest.mark.parametrize(
    ("born", "day", "age"),
    [
        (date(1950, 11, 25), date(2026, 11, 24), 75),
        (date(1950, 11, 25), date(2026, 11, 25), 76),
        (date(1952, 2, 29), date(2026, 2, 28), 73),
        (date(1952, 2, 29), date(2026, 3, 1), 74),
        (date(1952, 2, 29), date(2024, 2, 29), 72),
    ],
)
def test_age_turns_on_the_birthday(born: date, day: date, age: int) -> None:
    assert ages_on(day, born=born) == (age,)


def test_year_alone_leaves_two_ages() -> None:
    assert ages_on(date(2026, 6, 1), year=1951) == (74, 75)


def test_nothing_known_is_no_age() -> None:
    assert ages_on(date(2026, 6, 1)) == ()
