"""`tapeline score` with --input and --with: stages, pressures, parts and the body."""

import json
from typing import Any

import pytest

from app.cli import main

Capture = pytest.CaptureFixture[str]
BATTERY, POWER = "short_physical_performance_battery", "sit_to_stand_power"
STANCES, PRESSURE = "four_stage_balance", "orthostatic_vitals"
SIDE, SEMI = ["--input", "side_by_side=10"], ["--input", "semi_tandem=10"]
WITH = ["--with", "gait_speed=4.2s", "--with", "five_times_sit_to_stand=14.2s"]
THREE_M = ["--fact", "course=3m"]
LYING = ["--input", "lying_systolic=148", "--input", "lying_diastolic=82"]


def scored(capsys: Capture, *arguments: str) -> dict[str, Any]:
    code = main(["score", *arguments, "--json"])
    out, err = capsys.readouterr()
    assert (code, err) == (0, "")
    result: dict[str, Any] = json.loads(out)
    return result


def refused(capsys: Capture, *arguments: str) -> str:
    assert main(["score", *arguments]) == 2
    return capsys.readouterr().err


def parts(result: dict[str, Any]) -> dict[str, str]:
    return {name: part["value"] for name, part in result["score"]["parts"].items()}


@pytest.mark.parametrize(
    "arguments",
    [
        [*SIDE, *SEMI, "--input", "tandem=5.2", "--input", "walk=4.2s",
         "--input", "chair=14.2s", *THREE_M],
        [*SIDE, *SEMI, "--input", "tandem=5.2", *WITH, *THREE_M],
    ],
    ids=["inputs", "paired tests"],
)  # fmt: skip
def test_battery_is_made_of_its_parts(capsys: Capture, arguments: list[str]) -> None:
    result = scored(capsys, BATTERY, *arguments)

    assert result["score"]["value"] == "8"
    assert parts(result) == {"balance": "3", "walk": "3", "chair": "2"}


def test_unable_parts_are_worth_nothing(capsys: Capture) -> None:
    unable = ["--input", "side_by_side=unable", "--input", "walk=unable"]
    result = scored(capsys, BATTERY, *unable, "--input", "chair=unable")

    assert (result["score"]["value"], result["score"]["outcome"]) == ("0", "completed")


def test_battery_said_to_be_unable_is_unable(capsys: Capture) -> None:
    result = scored(capsys, BATTERY, "--outcome", "unable")

    assert (result["score"]["value"], result["score"]["outcome"]) == (None, "unable")


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        ([*SIDE, *SEMI, *WITH, *THREE_M], "2 of 3 counted trials"),
        ([*SIDE, "--input", "tandem=9", *WITH, *THREE_M], "semi_tandem is missing"),
        (["--input", "side_by_side=9", *SEMI, *WITH, *THREE_M], "was not held"),
        (["--with", f"{STANCES}=3", *WITH, *THREE_M], "say each of them instead"),
        ([*SIDE, "--input", "semi_tandem=9", *WITH], "say the course"),
        ([*SIDE, "--input", "semi_tandem=9", *WITH, "--fact", "course=10ft"],
         "no published points for course 10ft"),
        ([*SIDE, "--input", "semi_tandem=9", *WITH, *THREE_M, "--fact",
          "start=dynamic"], "walk part: done another way today (start dynamic)"),
        ([*SIDE, "--input", "semi_tandem=9", *WITH, *THREE_M, "--fact",
          "balance.device=cane"], "balance part: done another way today"),
        ([*SIDE, "--input", "semi_tandem=9", *WITH, *THREE_M, "--fact",
          "balance.devise=cane"], "no set-up fact 'balance.devise'"),
        ([*SIDE, "--input", "semi_tandem=9", *WITH, *THREE_M, "--input",
          "height=170"], "no input 'height'"),
        ([*SIDE, "--input", "semi_tandem=99", *WITH, *THREE_M], "outside what a trial"),
        ([*SIDE, "--input", "semi_tandem=9", "--input", "walk=4.2s", *THREE_M],
         "chair part: not done today"),
    ],
)  # fmt: skip
def test_battery_that_cannot_be_scored_says_why(
    capsys: Capture, arguments: list[str], why: str
) -> None:
    assert why in refused(capsys, BATTERY, *arguments)


def test_device_is_that_of_the_walk(capsys: Capture) -> None:
    stances = [*SIDE, "--input", "semi_tandem=9"]
    result = scored(capsys, BATTERY, *stances, *WITH, *THREE_M, "--fact", "device=cane")

    assert result["score"]["value"] == "6"


@pytest.mark.parametrize(("before", "step"), [("0", "8"), ("6", "2")])
def test_earlier_total_may_be_nought(capsys: Capture, before: str, step: str) -> None:
    made = [*SIDE, *SEMI, "--input", "tandem=5.2", *WITH, *THREE_M]
    result = scored(capsys, BATTERY, *made, "--before", before)

    assert result["change"]["difference"] == step


def test_stances_show_their_seconds(capsys: Capture) -> None:
    result = scored(capsys, STANCES, *SIDE, *SEMI, "--input", "tandem=9.6")

    assert result["score"]["value"] == "2"
    assert parts(result) == {
        "side_by_side": "10.0", "semi_tandem": "10.0", "tandem": "9.6",
    }  # fmt: skip


@pytest.mark.parametrize(
    "names",
    [
        ["standing_1_systolic=126", "standing_1_diastolic=76",
         "standing_3_systolic=132", "standing_3_diastolic=78"],
        ["systolic_standing_1min=126", "diastolic_standing_1min=76",
         "systolic_standing_3min=132", "diastolic_standing_3min=78"],
        ["standing_1_sbp=126", "standing_1_dbp=76", "standing_3_sbp=132",
         "standing_3_dbp=78"],
    ],
)  # fmt: skip
def test_pressures_go_by_several_names(capsys: Capture, names: list[str]) -> None:
    given = [word for name in names for word in ("--input", name)]
    result = scored(capsys, PRESSURE, *LYING, *given)

    assert result["score"]["value"] == "22"
    assert parts(result)["diastolic_drop"] == "6"


def test_symptoms_may_be_said_of_a_reading(capsys: Capture) -> None:
    given = ["--input", "standing_1_systolic=140", "--input", "standing_1_symptoms=yes"]
    result = scored(capsys, PRESSURE, *LYING, *given, "--variant", "one_reading")

    assert any("Symptoms on standing" in c for c in result["cautions"])


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (LYING, "1 of 3 counted trials"),
        (["--input", "lying_diastolic=80"], "systolic pressure lying is missing"),
        (["--input", "lying_systolic=30"], "outside what a trial can be"),
        (["--input", "lying_systolic=12.5"], "no whole number"),
        ([*LYING, "--input", "lying_pulse=999"], "outside 20 to 250"),
        (["--input", "lying_systolic=80", "--input", "lying_diastolic=80"], "not the"),
        ([*LYING, "--input", "standing_1_symptoms=2"], "write yes or no"),
        ([*LYING, "--input", "upside_down=2"], "no input 'upside_down'"),
    ],
)
def test_pressures_that_cannot_be_are_refused(
    capsys: Capture, arguments: list[str], why: str
) -> None:
    assert why in refused(capsys, PRESSURE, *arguments)


@pytest.mark.parametrize(
    ("given", "relative", "watts"),
    [
        (["--with", "five_times_sit_to_stand=12", "--input", "height=65in",
          "--input", "weight=154lb", "--fact", "seat_height=17in"], "2.90", "202"),
        (["--input", "thirty=12", "--input", "height=1.75", "--input", "weight=80kg",
          "--fact", "seat_height=45cm"], "3.00", "240"),
        (["--with", "thirty_second_chair_stand=10", "--input", "body_height=157",
          "--input", "mass=60", "--fact", "seat_height=43cm"], "2.09", "125"),
    ],
)  # fmt: skip
def test_power_is_made_of_stands_and_body(
    capsys: Capture, given: list[str], relative: str, watts: str
) -> None:
    result = scored(capsys, POWER, *given)

    assert result["score"]["value"] == relative
    assert parts(result)["power"] == watts


def test_text_shows_the_parts(capsys: Capture) -> None:
    stances = [*SIDE, *SEMI, "--input", "tandem=5.2"]
    assert main(["score", BATTERY, *stances, *WITH, *THREE_M]) == 0
    said = capsys.readouterr().out

    assert "Short physical performance battery: 8 points" in said
    assert "  balance part: 3 points" in said
