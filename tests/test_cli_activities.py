"""`tapeline activities`: the list, one card, what an order leaves, plain refusals."""

import json
from typing import Any

import pytest

from app.catalogue.load import catalogue
from app.cli import main
from app.clinical.precautions import PRECAUTIONS

Capture = pytest.CaptureFixture[str]
SHELF = catalogue().activities


def told(capsys: Capture, *arguments: str) -> list[dict[str, Any]]:
    assert main(["activities", *arguments, "--json"]) == 0
    found: list[dict[str, Any]] = json.loads(capsys.readouterr().out)
    return found


def said(capsys: Capture, *arguments: str) -> str:
    assert main(["activities", *arguments]) == 0
    return capsys.readouterr().out


def numbers_in(told: Any) -> list[Any]:
    """Every number that is no text."""
    if isinstance(told, dict):
        return [n for value in told.values() for n in numbers_in(value)]
    if isinstance(told, list):
        return [n for value in told for n in numbers_in(value)]
    plain = isinstance(told, int | float) and not isinstance(told, bool)
    return [told] if plain else []


def test_all_are_listed_as_objects_with_an_id(capsys: Capture) -> None:
    listed = told(capsys)

    assert [a["id"] for a in listed] == list(SHELF)
    assert len(listed) == 58
    assert numbers_in(listed) == []
    for one in listed:
        activity = SHELF[one["id"]]
        assert one["grade"]["start"] == f"{activity.grade.start.normalize():f}"
        assert one["dose"]["sets"] == str(activity.dose.sets)
        assert one["must_not"] == list(activity.must_not)
        assert one["sources"] == list(activity.dose.sources)
        assert {
            "name", "domain", "position", "least", "help", "staff", "answers",
            "caution", "count", "needs", "unsupervised", "layouts",
        } <= set(one)  # fmt: skip


def test_list_names_domain_position_and_deficits(capsys: Capture) -> None:
    lines = said(capsys).splitlines()
    (rising,) = [line for line in lines if line.startswith("R01 ")]

    assert SHELF["R01"].name in rising
    assert "(transfers and rising; standing)" in rising
    assert "slow_sit_to_stand" in rising
    assert lines[-1].startswith("58 activities, catalogue edition ")


def test_deficit_keeps_what_answers_it(capsys: Capture) -> None:
    found = {a["id"] for a in told(capsys, "--deficit", "freezing_gait")}

    assert found == {i for i, a in SHELF.items() if "freezing_gait" in a.answers}
    assert found


@pytest.mark.parametrize("tag", ["hip_post", "nwb_le", "freezing", "ligature_risk"])
def test_order_says_what_it_blocks_and_what_stays(capsys: Capture, tag: str) -> None:
    kind = PRECAUTIONS[tag].kind
    listed = told(capsys, "--order", tag)
    states = {a["id"]: a["under_order"] for a in listed}

    assert len(listed) == 58
    for key, activity in SHELF.items():
        if tag in activity.must_not:
            assert states[key] == ("blocked" if kind == "order" else "reason")
        else:
            assert states[key] == ("mind" if tag in activity.caution else "allowed")
    for one in listed:
        assert one["because"] == ([] if one["under_order"] == "allowed" else [tag])


def test_order_in_words_names_the_reason(capsys: Capture) -> None:
    text = said(capsys, "--order", "hip_post", "--find", "reach")
    blocked, _, rest = text.partition("A therapist only")

    assert "In force: Posterior hip rules" in text
    assert "S06" in blocked
    assert "(blocked by: Posterior hip rules)" in blocked
    assert "S06" not in rest
    assert "Allowed, nothing said against it" in rest


def test_find_takes_the_beginnings_of_words_by_name_first(capsys: Capture) -> None:
    found = [a["id"] for a in told(capsys, "--find", "Seated REA")]

    assert found[0] == "S02"
    assert told(capsys, "--find", "zebra") == []


def test_card_shows_one_with_its_dose_and_sources(capsys: Capture) -> None:
    card = said(capsys, "s02", "--order", "spinal")

    assert card.startswith("S02  ")
    for head in ("Set up", "Steps", "Guard", "Dose", "Sources", "Grade: "):
        assert f"\n{head}" in card
    assert "<- start" in card
    assert "Dean 1997" in card
    assert "Under spinal: mind: Spinal rules" in card


@pytest.mark.parametrize("activity", SHELF)
def test_every_activity_has_a_card(capsys: Capture, activity: str) -> None:
    card = said(capsys, activity)

    assert card.startswith(f"{activity}  {SHELF[activity].name}\n")
    assert card.count("<- start") == 1


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (["Z99"], "there is no activity 'Z99'"),
        (["--deficit", "sad"], "no deficit 'sad': one of bimanual_slow"),
        (["--order", "sad"], "no tag 'sad': one of medical_hold"),
        (["--find", "  "], "--find needs at least one word"),
        (["S01", "--find", "reach"], "give an activity, or what to look for, not both"),
    ],
)
def test_bad_input_is_refused_in_one_line(
    capsys: Capture, arguments: list[str], line: str
) -> None:
    assert main(["activities", *arguments]) == 2
    told = capsys.readouterr()

    assert told.out == ""
    assert told.err.startswith(f"tapeline: {line}")
    assert told.err.count("\n") == 1


def test_help_shows_an_example(capsys: Capture) -> None:
    with pytest.raises(SystemExit) as left:
        main(["activities", "--help"])

    assert left.value.code == 0
    assert "example:\n  tapeline activities" in capsys.readouterr().out
