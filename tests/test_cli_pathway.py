"""`tapeline pathway`: levels, gaps, JSON, and one clear line for what is wrong."""

import json
from typing import Any

import pytest

from app.cli import main, parser

Capture = pytest.CaptureFixture[str]
PLAIN_FALL = [
    "--answer", "falls_12_months=one", "--answer", "fall_injury=no",
    "--answer", "could_not_get_up=no", "--answer", "lost_consciousness=no",
    "--answer", "frailty=no",
]  # fmt: skip


def walked(capsys: Capture, *arguments: str) -> dict[str, Any]:
    assert main(["pathway", *arguments, "--json"]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


@pytest.mark.parametrize(
    ("scores", "level"),
    [
        (["gait_speed=0.80"], "intermediate"),
        (["gait_speed=0.92m/s"], "low"),
        (["gait_speed=2.6ft/s"], "intermediate"),
        (["timed_up_and_go=15.4"], "intermediate"),
        (["timed_up_and_go=15.0s"], "low"),
        (["gait_speed=unable"], None),
        ([], None),
    ],
)
def test_world_2022(capsys: Capture, scores: list[str], level: str | None) -> None:
    given = [part for s in scores for part in ("--with", s)]
    found = walked(capsys, "world2022", "--age", "80", *PLAIN_FALL, *given)

    assert found["level"] == level


def test_missing_walk_is_said(capsys: Capture) -> None:
    found = walked(capsys, "world2022", "--age", "80", *PLAIN_FALL)

    assert {"kind": "measure", "key": "gait_speed"} in found["missing"]


def test_recalled_rule_is_marked(capsys: Capture) -> None:
    found = walked(
        capsys, "world2022", *PLAIN_FALL, "--with", "gait_speed=0.7", "--age", "80"
    )

    assert found["unconfirmed"] is True
    assert [s["how"] for s in found["steps"] if s["rule"] == found["by"]] == ["memory"]
    assert found["assumed"] == ["not: In hospital, or living in a care home"]


def test_part_of_a_test_is_taken(capsys: Capture) -> None:
    found = walked(
        capsys, "cdc", "--age", "80", "--answer", "falls_12_months=one",
        "--with", "four_stage_balance.tandem=9.6",
    )  # fmt: skip

    assert found["findings"] == ["gait_problem"]


def test_no_fall_of_pressure_is_a_result(capsys: Capture) -> None:
    found = walked(
        capsys, "cdc", "--age", "80", "--answer", "falls_12_months=one",
        "--answer", "dizzy_on_standing=no", "--with", "orthostatic_vitals=0",
        "--with", "orthostatic_vitals.diastolic_drop=4",
    )  # fmt: skip
    (pressure,) = [s for s in found["steps"] if s["rule"] == "pressure"]

    assert pressure["state"] == "not_met"


def test_text_says_level_and_source(capsys: Capture) -> None:
    assert main(["pathway", "cdc", "--age", "80", "--answer", "worried=yes"]) == 0
    said = capsys.readouterr().out

    assert "Level of this source: At risk" in said
    assert "Still missing: " in said
    assert "catalogue edition" in said


def test_list_names_answers_and_tests(capsys: Capture) -> None:
    assert main(["pathway", "--list", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)

    assert {p["id"] for p in listed} == {
        "cdc", "cdc_three_level", "world2022", "nice2025"
    }  # fmt: skip
    assert main(["pathway", "--list"]) == 0
    assert "--answer self_check=0-14" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        ([], "name a pathway, or ask for --list"),
        (["cdc1"], "no pathway 'cdc1'; there are: cdc"),
        (["cdc", "--answer", "worried"], "write it as name=value"),
        (["cdc", "--answer", "worried=maybe"], "'maybe' is not one of no, yes"),
        (["cdc", "--answer", "self_check=15"], "'15' is not one of 0 to 14"),
        (["cdc", "--answer", "frailty=yes"], "cdc does not ask 'frailty'"),
        (["cdc", "--with", "gait_speed=1"], "cdc takes no score of 'gait_speed'"),
        (["cdc", "--with", "timed_up_and_go=12,5"], "write a point, not a comma"),
        (["cdc", "--with", "timed_up_and_go.turn=3"], "asks no part 'turn'"),
        (["cdc", "--age", "7"], "write whole years"),
    ],
)
def test_bad_input_is_one_clear_line(
    capsys: Capture, arguments: list[str], why: str
) -> None:
    assert main(["pathway", *arguments]) == 2
    said = capsys.readouterr().err

    assert why in said
    assert said.count("\n") == 1


def test_help_has_an_example() -> None:
    (actions,) = [a for a in parser()._actions if isinstance(a.choices, dict)]
    assert isinstance(actions.choices, dict)

    assert "tapeline pathway cdc" in actions.choices["pathway"].format_help()
