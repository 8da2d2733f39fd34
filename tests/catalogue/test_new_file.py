"""A new file is a new test: loaded, checked and scored with nothing else touched."""

import argparse
import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from app.catalogue.fields import CatalogueError
from app.catalogue.load import Catalogue, catalogue, load
from app.cli import parser
from app.commands import score as score_command
from app.commands.measures import coverage, describe
from app.commands.refused import Refused
from app.exports.result_json import result_json
from tests.catalogue.shelf_with import INVENTED, shelf_with
from tests.catalogue.test_checks import RUN

NEW = ("heel_taps", "three_poses", "pose_points")


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    return shelf_with(tmp_path_factory.mktemp("shelf") / "catalogue", *NEW)


def scored(shelf: Catalogue, *words: str) -> dict[str, Any]:
    """`tapeline score ... --json` on that catalogue."""
    given: argparse.Namespace = parser().parse_args(["score", *words])
    result = score_command.judge(shelf, given)
    told: dict[str, Any] = json.loads(json.dumps(result_json(result, shelf.edition)))
    return told


@pytest.mark.parametrize("name", NEW)
def test_invented_files_say_so(name: str) -> None:
    lines = (INVENTED / f"{name}.toml").read_text().splitlines()

    assert lines[0].startswith("# An invented test")


def test_new_files_stand_beside_the_others(shelf: Catalogue) -> None:
    assert set(shelf.measures) == {*catalogue().measures, *NEW}
    assert shelf.edition != catalogue().edition


def test_its_worked_examples_run(shelf: Catalogue) -> None:
    taps = shelf.measures["heel_taps"]
    (check,) = taps.checks

    found = RUN[check.kind](taps, check.given, check.expect)
    assert {k: found[k] for k in check.expect} == dict(check.expect)


@pytest.mark.parametrize("name", NEW)
def test_it_is_listed(shelf: Catalogue, name: str) -> None:
    measure = shelf.measures[name]

    assert describe(measure)["name"] == measure.name
    assert set(coverage(measure)) >= {"older_adult"}


def test_command_line_scores_it(shelf: Catalogue) -> None:
    said = scored(
        shelf, "heel_taps", "--trial", "13.0", "--trial", "12.5", "--age", "75",
        "--setting", "community", "--before", "16", "--input", "taps=8",
        "--input", "first_heel=left",
    )  # fmt: skip
    lead = said["readings"][said["lead"]]

    assert said["score"]["value"] == "12.5"
    assert (lead["source"], lead["crossed"], lead["threshold"]) == (
        "invented2026", True, "12.5",
    )  # fmt: skip
    assert said["change"]["verdict"] == "real gain"


def test_names_that_only_the_file_knows_have_rows(shelf: Catalogue) -> None:
    said = scored(
        shelf, "three_poses", "--input", "low_pose=5", "--input", "high_pose=4.2",
        "--age", "75",
    )  # fmt: skip

    assert said["score"]["value"] == "1"
    assert [(r["threshold"], r["crossed"]) for r in said["readings"]] == [
        ("5.00", True)
    ]


def test_composite_of_new_tests_is_scored_and_follows_them(shelf: Catalogue) -> None:
    made = shelf.measures["pose_points"]
    said = scored(
        shelf, "pose_points", "--input", "low_pose=5", "--input", "taps=9.8",
        "--age", "75",
    )  # fmt: skip

    assert said["score"]["value"] == "3"
    assert (made.needs, made.kit_items) == ("stands", ("stopwatch", "sticks"))


def test_choice_outside_its_list_is_refused(shelf: Catalogue) -> None:
    with pytest.raises(Refused, match="first_heel: 'both' is not one of left, right"):
        scored(shelf, "heel_taps", "--trial", "9", "--input", "first_heel=both")


@pytest.mark.parametrize(
    ("name", "old", "new", "says"),
    [
        ("heel_taps", 'kind = "choice"\noptions = { left',
         'kind = "choice"\ntally = true\noptions = { left',
         "input 2: tally: only a count"),
        ("three_poses", 'quantity = "high_pose"', 'quantity = "hihg_pose"',
         r"cutoff 1: quantity: 'hihg_pose' is never measured"),
        ("heel_taps", "[[unable]]\n", '[[unable]]\nquantity = "left_taps"\n',
         r"unable 1: quantity: 'left_taps' is never measured"),
        ("heel_taps", "[[unable]]\n", '[[unable]]\nwhen_missing = "left_taps"\n',
         r"unable 1: when_missing: 'left_taps' is never measured"),
    ],
)  # fmt: skip
def test_quantity_that_nobody_computes_is_named(
    tmp_path: Path, name: str, old: str, new: str, says: str
) -> None:
    shelf_with(tmp_path / "catalogue", name)
    path = tmp_path / f"catalogue/measures/{name}.toml"
    path.write_text(path.read_text().replace(old, new, 1))

    with pytest.raises(CatalogueError, match=rf"{name}\.toml: {says}"):
        load(tmp_path / "catalogue")


def test_file_under_another_name_is_refused(tmp_path: Path) -> None:
    shelf_with(tmp_path / "catalogue")
    shutil.copy(
        INVENTED / "heel_taps.toml", tmp_path / "catalogue/measures/toe_taps.toml"
    )

    with pytest.raises(CatalogueError, match="the file's name"):
        load(tmp_path / "catalogue")
