"""A result as the line of a note: five parts, its own numbers, no verdict on a person."""

from dataclasses import replace
from datetime import date

import pytest

from app.catalogue.load import catalogue
from app.clinical.measure_line import NO_EARLIER, measure_line
from app.clinical.reading import Result, read
from app.clinical.scoring import Trial, score
from app.clinical.setup import read_facts
from app.clinical.person import Person
from tests.clinical.reading_for import a_score, measure, result

FIVE, TUG, STANDS = (
    "five_times_sit_to_stand", "timed_up_and_go", "thirty_second_chair_stand",
)  # fmt: skip
JUNE = date(2026, 6, 3)


def five(text: str, before: str = "", **facts: str) -> Result:
    earlier = a_score(FIVE, before, seat_height="17 in") if before else None
    return result(
        FIVE, text, age=78, sex="female", setting="community", before=earlier,
        **{"seat_height": "17 in", **facts},
    )  # fmt: skip


def test_five_parts_stand_in_order() -> None:
    made = measure_line(
        five("18.4s", "22.5s"), setup="seat height 17 in", before_on=JUNE,
        link="goal 2, to get on and off the toilet",
    )  # fmt: skip
    test, value, reference, change, function = made.parts

    assert test == "Five times sit to stand: seat height 17 in."
    assert value == "18.4 s, one timed trial."
    assert reference == (
        "Buatois 2008: In the range linked with recurrent falls (two or more) in healthy "
        "people 65 and over living in the community: 18.4 s, above 15.0 s."
    )
    assert change.startswith(
        "Against 3 June 2026: real gain since 22.5 s: 4.1 s faster."
    )
    assert "Goldberg 2012: 4.1 s of change is more than the 2.5 s that" in change
    assert function == "Function: goal 2, to get on and off the toilet."
    assert made.text == " ".join(made.parts)
