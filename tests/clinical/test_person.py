"""Ages from a birth date or year, and how long ago a condition began."""

from datetime import date

import pytest

from app.clinical.person import Onset, Person, ages_on, time_since
from app.clinical.readings import Reading
from tests.clinical.reading_for import result

WEEK, MONTHS, LONG = "first_week", "first_months", "established"


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


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        ("2025-11-03", date(2025, 11, 3), date(2025, 11, 3)),
        ("2024-02", date(2024, 2, 1), date(2024, 2, 29)),
        ("2025", date(2025, 1, 1), date(2025, 12, 31)),
    ],
)
def test_onset_is_as_close_as_it_was_said(text: str, first: date, last: date) -> None:
    onset = Onset.read(text)

    assert (onset.first, onset.last, str(onset)) == (first, last, text)


@pytest.mark.parametrize(
    "text",
    ["", "25", "1899", "2101", "2025-13", "2025-02-30", "2025-1", "11/2025", "2025-"],
)
def test_no_onset_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r".*"):
        Onset.read(text)


@pytest.mark.parametrize(
    ("onset", "day", "bands"),
    [
        ("2026-03-02", date(2026, 3, 1), ()),
        ("2026-03-02", date(2026, 3, 2), (WEEK,)),
        ("2026-03-02", date(2026, 3, 9), (WEEK,)),
        ("2026-03-02", date(2026, 3, 10), (MONTHS,)),
        ("2026-03-02", date(2026, 9, 1), (MONTHS,)),
        ("2026-03-02", date(2026, 9, 2), (LONG,)),
        ("2025-08-31", date(2026, 2, 27), (MONTHS,)),
        ("2025-08-31", date(2026, 2, 28), (LONG,)),
        ("2026-03", date(2026, 3, 2), (WEEK,)),
        ("2026-03", date(2026, 3, 20), (WEEK, MONTHS)),
        ("2025-09", date(2026, 2, 28), (MONTHS,)),
        ("2025-09", date(2026, 3, 15), (MONTHS, LONG)),
        ("2025-09", date(2026, 3, 30), (LONG,)),
        ("2026", date(2026, 8, 1), (WEEK, MONTHS, LONG)),
        ("2025", date(2026, 6, 29), (MONTHS, LONG)),
        ("2025", date(2026, 6, 30), (LONG,)),
    ],
)
def test_time_since_moves_with_the_calendar(
    onset: str, day: date, bands: tuple[str, ...]
) -> None:
    assert time_since(Onset.read(onset), day) == bands


def test_date_wins_over_the_choice_for_its_own_condition_only() -> None:
    person = Person(
        conditions=("stroke", "hip_fracture"),
        facts={"time_since": MONTHS},
        since={"stroke": (LONG,)},
    )

    assert person.stated("time_since", "stroke") == (LONG,)
    assert person.stated("time_since", "hip_fracture") == (MONTHS,)
    assert Person().stated("time_since", "stroke") == ()


def early(*since: str) -> Reading:
    """The limit about the first week after a stroke, for someone with one."""
    found = result(
        "timed_up_and_go", "16", conditions=("stroke",), since={"stroke": since}
    )
    (reading,) = (
        r
        for r in found.readings
        if r.kind == "cutoff" and r.row is not None and "first week" in r.row.population
    )
    return reading


def test_row_is_assumed_where_the_date_leaves_two_bands_open() -> None:
    """In the first week it fits, later it does not, between it says so."""
    sure, either, later = early(WEEK), early(WEEK, MONTHS), early(LONG)

    assert (sure.matched, either.matched, later.matched) == (True, True, False)
    assert not any("week" in told for told in sure.match.assumed)
    assert any("leaves that open" in told for told in either.match.assumed)
    assert any("week" in told for told in later.match.differs)
