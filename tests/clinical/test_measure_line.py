"""A result as a note's line: five parts, its own numbers, no verdict on a person."""

import re
from datetime import date, datetime
from decimal import Decimal
from typing import Any

import pytest

from app.catalogue.load import catalogue
from app.clinical.measure_line import NO_EARLIER, NONE_LEADS, MeasureLine, measure_line
from app.clinical.note_words import moment, sentence, spelled
from app.clinical.person import Person
from app.clinical.reading import Result, read
from app.clinical.scoring import Trial, score
from app.clinical.setup import read_facts
from app.clinical.vocabulary import CONDITIONS
from tests.clinical.reading_for import a_score, measure, of_value, result

FIVE, TUG, STANDS = (
    "five_times_sit_to_stand", "timed_up_and_go", "thirty_second_chair_stand",
)  # fmt: skip
JUNE = date(2026, 6, 3)
WOMAN = Person((78,), "female", (), "community")
#: What a note must not hold outside a quotation: ISMP, The Joint Commission.
ERROR_PRONE = re.compile(
    r"[<>@&≤≥→↑↓·]|(?<!\d)\.\d|\b[RL]\b|\bTUG\b|\b[QqDd]/?[CcDd]\b|/min|\bw/"
)


def five(text: str, before: str = "", **facts: str) -> Result:
    earlier = a_score(FIVE, before, seat_height="17 in") if before else None
    said: dict[str, Any] = {"seat_height": "17 in", **facts}
    return result(
        FIVE, text, age=78, sex="female", setting="community", before=earlier, **said
    )


def of_outcome(outcome: Any, reason: str = "", measure_id: str = TUG) -> Result:
    m = measure(measure_id)
    return read(m, score(m, [Trial(outcome, reason=reason)]), WOMAN)


def test_five_parts_stand_in_order() -> None:
    made = measure_line(
        five("18.4s", "22.5s"), setup="seat height 17 in · arms used: no",
        before_on=JUNE, link="goal 2 (get on and off the toilet)",
    )  # fmt: skip
    test, value, reference, change, function = made.parts

    assert test == "Five times sit to stand: seat height 17 in; arms used: no."
    assert value == "18.4 s, one timed trial."
    assert reference == (
        "Buatois 2008: In the range linked with recurrent falls (two or more) in "
        "healthy people 65 and over living in the community: 18.4 s, above 15.0 s."
    )
    said = "Against 3 Jun 2026: real gain since 22.5 s: 4.1 s faster. Goldberg 2012: "
    assert change.startswith(f"{said}4.1 s of change is more than the 2.5 s that")
    assert function == "Function: goal 2 (get on and off the toilet)."
    assert made.text == " ".join(made.parts)


def test_function_stays_empty_where_nothing_is_linked() -> None:
    made = measure_line(five("18.4s"))

    assert made.parts[0] == "Five times sit to stand."
    assert made.parts[3:] == (NO_EARLIER, "")
    assert made.text.endswith(NO_EARLIER)


@pytest.mark.parametrize(
    ("now", "before", "facts", "begins", "also"),
    [
        ("20.0s", "22.5s", {}, "within measurement error since 22.5 s: 2.5 s faster",
         "Goldberg 2012: 2.5 s of change lies within the 2.5 s"),
        ("19.9s", "22.5s", {}, "real gain since 22.5 s: 2.6 s faster",
         "2.6 s of change is more than the 2.5 s"),
        ("25.1s", "22.5s", {}, "real loss since 22.5 s: 2.6 s slower",
         "2.6 s of change is more than the 2.5 s"),
        ("18.4s", "22.5s", {"device": "cane"},
         "not comparable with the earlier score: walking device", ""),
    ],
    ids=["at the error", "past it", "past it the other way", "another device"],
)  # fmt: skip
def test_change_stands_against_its_error(
    now: str, before: str, facts: dict[str, str], begins: str, also: str
) -> None:
    change = measure_line(five(now, before, **facts), before_on=JUNE).parts[3]

    assert change.startswith(f"Against 3 Jun 2026: {begins}")
    assert also in change


def test_where_errors_disagree_one_of_each_side_is_said() -> None:
    before = a_score(TUG, "24.6s")
    made = result(TUG, "19.8s", age=70, conditions=("stroke",), before=before)
    change = measure_line(made, before_on=JUNE).parts[3]

    assert "sources disagree since 24.6 s: 4.8 s faster" in change
    assert "4.8 s of change lies within the 8 s" in change
    assert "4.8 s of change is more than the 3.2 s" in change


def test_what_changed_without_a_published_error_cannot_be_told() -> None:
    before = a_score(FIVE, "15.4s")
    made = result(FIVE, "13.9s", age=55, conditions=("vestibular",), before=before)
    change = measure_line(made, before_on=JUNE).parts[3]

    assert change.startswith("Against 3 Jun 2026: change since 15.4 s cannot be told")


@pytest.mark.parametrize(
    ("made", "reference"),
    [
        (result("turn_360", "9s", age=20),
         "No published reference fits this person."),
        (result(FIVE, "12.4s", age=78, seat_height="20 in"),
         "Not the published set-up: seat height 20 in; published set-up: seat 17 to "
         "18 in (43 to 46 cm). This set-up is easier than the published one"),
        (result(TUG, "11.4s", age=78, setting="community"),
         "Kojima 2015: Not in the range linked with any fall"),
        (result(TUG, "13.6s", age=80, conditions=("stroke",), setting="community"),
         "Holds if within the first week. Fit: ages of that sample are not stated."),
    ],
    ids=["nobody's", "off the set-up", "not beyond", "what it takes for granted"],
)  # fmt: skip
def test_reference_says_whose_it_is(made: Result, reference: str) -> None:
    assert reference in measure_line(made).parts[2]


def test_sources_that_disagree_are_both_said() -> None:
    made = measure_line(result(TUG, "11.4s", age=78, setting="community"))

    assert "Sources disagree: the same score is beyond 10.0 s (Rose 2002)." in made.text
    assert "This does not clear a person who has fallen." in made.text


def test_recalled_rows_lead_no_line() -> None:
    """Whatever stands as the reference was read somewhere."""
    for each in catalogue().measures.values():
        made = read(each, of_value(each.id, each.lowest or each.highest), WOMAN)
        lead = made.leading
        assert lead is None or (lead.row is not None and lead.row.how != "memory")
        reference = measure_line(made).parts[2]
        said = NONE_LEADS.get(made.no_lead_because, made.no_lead_because)
        assert spelled(lead.says if lead is not None else said) in reference


@pytest.mark.parametrize(
    ("outcome", "reason", "value"),
    [
        ("unable", "hands_on_help", "Unable: needed hands-on help."),
        ("unable", "", "Unable."),
        ("declined", "tired after visitors", "Declined: tired after visitors."),
        ("not_done", "no weight-bearing order", "Not done: no weight-bearing order."),
        ("stopped", "knee gave way", "Stopped for safety: knee gave way."),
    ],
)
def test_without_a_number_the_line_says_what_happened(
    outcome: str, reason: str, value: str
) -> None:
    made = measure_line(of_outcome(outcome, reason))

    assert made.parts[1] == value
    assert not re.search(r"\d", made.parts[1])
    assert (made.parts[2] == "") == (outcome != "unable")


def test_newly_able_and_unable_are_said_without_a_difference() -> None:
    m = measure(FIVE)
    unable = score(m, [Trial("unable", reason="physical")])
    able = read(m, a_score(FIVE, "24.8s"), WOMAN, before=unable)
    gone = read(m, unable, WOMAN, before=a_score(FIVE, "24.8s"))

    assert "newly able" in measure_line(able, before_on=JUNE).parts[3]
    assert "newly unable: find out why" in measure_line(gone, before_on=JUNE).parts[3]


def test_trials_and_what_stands_beside_the_score_are_said() -> None:
    m = measure("four_square_step")
    facts = read_facts(m, {"marker": "raised"})
    made = read(
        m,
        score(
            m,
            [Trial(value=Decimal(v), unit="s") for v in ("10.9", "10.1")],
            facts=facts,
        ),
        WOMAN,
    )
    line = measure_line(made, setup="raised canes", beside=("Steps: 9",))

    assert line.parts[0] == "Four square step: raised canes; trials 10.9 s and 10.1 s."
    assert line.parts[1] == "10.1 s, faster of two valid trials (Steps: 9)."


def test_counts_say_of_what_and_falls_of_pressure_are_falls() -> None:
    stands = measure_line(result(STANDS, "9", age=78)).parts[1]
    dropped = of_value("orthostatic_vitals", Decimal(24))
    fall = measure_line(read(measure("orthostatic_vitals"), dropped, WOMAN))

    assert stands == "9 stands, one count of 30 seconds."
    assert fall.parts[1].startswith("A fall of 24 mmHg, ")
    assert "said below" not in fall.text


@pytest.mark.parametrize("measure_id", sorted(catalogue().measures))
def test_no_line_judges_a_person_or_holds_an_error_prone_sign(measure_id: str) -> None:
    """Over the whole range of every test, for a well person and each condition."""
    m = measure(measure_id)
    step = (m.highest - m.lowest) / 12
    persons = [WOMAN, *(Person((70,), None, (c,), "inpatient") for c in CONDITIONS)]
    for person in persons:
        for place in range(1, 12):
            now = of_value(measure_id, m.lowest + step * place)
            before = of_value(measure_id, m.lowest + step * (12 - place))
            text = measure_line(read(m, now, person, before=before)).text

            assert not re.search(r"\b(is|at) (high |low )?(risk|safe)\b", text), text
            assert not ERROR_PRONE.search(text), text


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("rate 84 /min", "rate 84 per minute"),
        ("93 % on 1 L/min", "93 % on 1 litre per minute"),
        ("2 L/min", "2 litres per minute"),
        ("seat < 17 in & > 15 in", "seat less than 17 in and greater than 15 in"),
        ("bed -> chair → toilet", "bed then chair then toilet"),
        ("36.8 °C @ 2", "36.8 degrees Celsius at 2"),
        ("“felt < well & dizzy”, pain 2", "“felt < well & dizzy”, pain 2"),
    ],
)
def test_signs_that_are_misread_become_words(text: str, said: str) -> None:
    assert spelled(text) == said


def test_sentences_end_and_moments_have_their_date() -> None:
    assert sentence(" pain 2 of 10") == "Pain 2 of 10."
    assert (sentence("Why?"), sentence("")) == ("Why?", "")
    assert moment(datetime(2026, 6, 3, 9, 5)) == "3 Jun 2026, 09:05"


def test_text_leaves_out_empty_parts() -> None:
    assert MeasureLine(("One.", "", "Three.", "", "")).text == "One. Three."
