"""Pathway files: every row carried, strictly read, and an error names the place."""

import shutil
from collections import Counter
from pathlib import Path

import pytest

from app.catalogue.fields import CatalogueError
from app.catalogue.load import FOLDER, catalogue, load

PATHS = catalogue().pathways
#: Rules, accuracy rows, remarks, checks. A row may not be lost unseen.
CARRIED = {
    "cdc": (8, 3, 3, 1),
    "cdc_three_level": (3, 1, 0, 0),
    "world2022": (8, 3, 1, 5),
    "nice2025": (1, 0, 0, 0),
}


def test_every_row_is_carried() -> None:
    found = {
        p.id: (
            sum(1 for r in p.rules if not r.part_of), len(p.accuracy), len(p.remarks),
            len(p.checks),
        )
        for p in PATHS.values()
    }  # fmt: skip

    assert found == CARRIED
    assert sum(rules for rules, *_ in found.values()) == 20
    assert sum(accuracy for _, accuracy, *_ in found.values()) == 7


def test_recalled_rules_are_marked() -> None:
    recalled = Counter(
        (p.id, r.id) for p in PATHS.values() for r in p.rules if r.how == "memory"
    )

    assert set(recalled) == {
        ("cdc", "intervene"), ("world2022", "ask"), ("world2022", "severity"),
        ("world2022", "slow_walker"), ("world2022", "walks_well"),
    }  # fmt: skip


def test_three_questions_count_falls_within_a_year() -> None:
    burns = PATHS["cdc"].accuracy[0].row

    assert (burns.source, burns.event, burns.horizon) == (
        "burns2022", "one_or_more_falls", "next_12_months",
    )  # fmt: skip
    assert (str(burns.sensitivity), str(burns.specificity)) == ("0.687", "0.579")


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ('key = "unsteady"', 'key = "wobbly"', "no question 'wobbly'"),
        ('values = ["one", ', 'values = ["some", ', "'some' is not in the closed list"),
        ('level = "at_risk"', 'level = "risky"', "no name 'risky'"),
        ('any = ["fell", ', 'any = ["fallen", ', "no condition 'fallen'"),
        ('id = "cdc"', 'id = "cdc2"', "id: must be the file's name"),
        ('direction = "at_or_above"', 'direction = "over"', "'over' is not one of"),
        ('settings = ["community"]', 'settings = ["town"]', "'town' is not one of"),
        ('key = "steadi_explainer"', 'key = "explainer"', "listed and cited differ"),
        ("[[rule]]", "[[rule]]\nscore = 3", "unknown key score"),
    ],
)
def test_wrong_file_is_named(tmp_path: Path, old: str, new: str, why: str) -> None:
    for folder in ("measures", "pathways"):
        (tmp_path / folder).mkdir()
    shutil.copy(FOLDER / "facts.toml", tmp_path)
    text = (FOLDER / "pathways/cdc.toml").read_text()
    assert old in text
    (tmp_path / "pathways/cdc.toml").write_text(text.replace(old, new, 1))

    with pytest.raises(CatalogueError, match=r"pathways/cdc\.toml") as refusal:
        load(tmp_path)
    assert why in str(refusal.value)


def test_edition_follows_the_pathways(tmp_path: Path) -> None:
    (tmp_path / "measures").mkdir()
    shutil.copy(FOLDER / "facts.toml", tmp_path)
    first = load(tmp_path).edition
    shutil.copytree(FOLDER / "pathways", tmp_path / "pathways")

    assert load(tmp_path).edition != first
