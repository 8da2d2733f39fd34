"""The rules of the columns: what they let through, and that nothing else gets by."""

import csv
from datetime import date

import pytest

from app.catalogue.load import catalogue
from app.exports.csv_cells import BOM
from app.exports.deidentified import (
    COLUMNS,
    Known,
    closed_csv,
    columns,
    row_keys,
    told_age,
    told_days,
)
from app.exports.deidentified_words import readme

SHELF = catalogue()
KNOWN = Known(SHELF.measures, frozenset(SHELF.activities))
FIRST, LAST = date(2024, 5, 1), date(2026, 5, 1)


@pytest.mark.parametrize(
    ("born", "year", "told"),
    [
        (date(1937, 5, 1), None, 87),  # 89 on the last day
        (date(1936, 5, 2), None, 87),  # 89 to the day
        (date(1936, 5, 1), None, "90+"),  # 90 on the last day, 88 on the first
        (date(1935, 5, 1), None, "90+"),
        (date(1930, 1, 1), None, "90+"),
        (None, 1937, 87),
        (None, 1936, "90+"),  # may have been 90 on the last day
        (None, None, None),
    ],
)
def test_age_over_89_is_told_by_no_visit(
    born: date | None, year: int | None, told: int | str | None
) -> None:
    assert told_age(born, year, FIRST, LAST) == told


def test_counted_days_never_stand_beside_a_turning_year() -> None:
    days = [date(2025, 12, 20), date(2025, 12, 31), date(2026, 1, 2)]
    plain = list(told_days(days, day_offsets=False))
    counted = list(told_days(days, day_offsets=True))

    assert plain == [{"year": 2025}, {"year": 2025}, {"year": 2026}]
    assert counted == [{"year": 2025, "day": 0}, {"day": 11}, {"day": 13}]
    assert "day" not in columns("visits.csv", day_offsets=False)


#: Of nobody: what stands for each of the kinds of words that may be typed somewhere.
TYPED = ("Ada Quill", "2026-03-02", "17 March", "room 12B", "a@b.example",
         "5550142778", "078-05-1120", "=1+1", "", " ", "-0.0.1", "1e9", "9" * 6, 10**9,
         (), {"device": "Ada Quill"}, ["Ada Quill"], "31", b"x")  # fmt: skip


@pytest.mark.parametrize("file", COLUMNS)
def test_what_no_rule_knows_stays_out(file: str) -> None:
    rules = columns(file, day_offsets=True)
    rows = []
    for value in TYPED:
        whole = dict.fromkeys(rules, value)
        rows.append(whole | {"more": "Ada Quill", "readings": [(value, True)]})
    text = "".join(closed_csv(file, iter(rows), KNOWN, day_offsets=True))
    cells = {cell for row in csv.reader(text.removeprefix(BOM).splitlines()[1:])
             for cell in row}  # fmt: skip

    assert cells <= {"", "no", "31"}, "a plain number, and that something was not so"
    assert "more" not in text
    assert "Ada" not in text


def test_what_a_test_knows_gets_through() -> None:
    row = {
        "patient": "0123456789abcdef", "visit": 1, "round": 2,
        "measure": "timed_up_and_go", "variant": "single", "trial": 1,
        "practice": False, "outcome": "completed", "reason": "pain", "value": "16.24",
        "unit": "s", "splits": ["4.1", "9.3", "x"],
        "facts": {"device": "cane", "seat_height": "17.5in", "footwear": "Ada's",
                  "Ada": "Ada", "assistance": 3},
    }  # fmt: skip
    (line,) = list(closed_csv("trials.csv", iter([row]), KNOWN))[1:]

    assert line == (
        "0123456789abcdef,1,2,timed_up_and_go,single,device=cane; seat_height=17.5 in,"
        "1,no,completed,pain,16.24,s,,,,4.1 9.3,\r\n"
    )


def test_readings_are_ids_of_rows_of_their_test() -> None:
    measure = SHELF.measures["timed_up_and_go"]
    row = {
        "measure": measure.id, "lead": "cutoff 7", "change": "real gain",
        "readings": [("cutoff 7", True), ("norm 26", None), ("cutoff 7x", True)],
    }  # fmt: skip
    (line,) = list(closed_csv("scores.csv", iter([row]), KNOWN))[1:]

    assert {"cutoff 7", "norm 26"} <= row_keys(measure)
    assert line.endswith(",cutoff 7,real gain,cutoff 7 beyond; norm 26\r\n")


def test_readme_says_what_it_is_and_counts_nobody() -> None:
    text = "".join(readme(edition="e1", version="1", day_offsets=False))
    counted = "".join(readme(edition="e1", version="1", day_offsets=True))

    assert "45 CFR 164.514(b)(2)(i)" in text
    assert "no actual knowledge" in text
    assert "DAYS ARE COUNTED" in counted
    assert "DAYS ARE COUNTED" not in text
    assert all(f"{name}: patient, " in text for name in COLUMNS)
