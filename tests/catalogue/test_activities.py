"""The activities are carried whole, and a wrong file is refused by name."""

import re
import tomllib
from collections import Counter
from decimal import Decimal
from pathlib import Path

import pytest

from app.catalogue.activities import activity as read_activity
from app.catalogue.fields import CatalogueError
from app.catalogue.load import FOLDER, catalogue
from app.clinical.activity import Activity
from app.clinical.strip import fits

ACTIVITIES = catalogue().activities


def test_all_are_carried() -> None:
    by_domain = Counter(a.domain for a in ACTIVITIES.values())

    assert by_domain == {
        "sitting_balance": 6, "standing_static": 4, "standing_dynamic": 4,
        "stepping": 6, "mobility_turning": 7, "transfers": 6, "coordination": 5,
        "lower_dressing": 6, "upper_reach": 4, "cognitive_dual": 4,
        "home_caregiver": 6,
    }  # fmt: skip


def ring(tmp_path: Path, hardest: str, unit: str = "in") -> Activity:
    """The clock steps on a ring whose radius the grade sets, read from a file."""
    shipped = next((FOLDER / "activities").glob("t01_*.toml"))
    content = tomllib.loads(shipped.read_text(), parse_float=Decimal)
    content["layout"] = [{"shape": "ring", "radius": 12, "graded": "radius"}]
    content["grade"] |= {"hardest": int(hardest), "unit": unit}
    return read_activity(content, tmp_path / shipped.name)


def test_ring_of_19_inches_fits_at_every_grade(tmp_path: Path) -> None:
    assert all(map(fits, (lay.at(Decimal(19)) for lay in ring(tmp_path, "19").layouts)))


def test_ring_that_outgrows_the_strip_is_refused(tmp_path: Path) -> None:
    with pytest.raises(CatalogueError, match=r"20 in takes 126 of 120 in; 19.0 in is"):
        ring(tmp_path, "20")


def test_grade_in_feet_sets_no_inches(tmp_path: Path) -> None:
    with pytest.raises(CatalogueError, match="a grade in ft sets no radius"):
        ring(tmp_path, "19", "ft")


def test_every_shipped_lay_fits() -> None:
    lays = [
        (made.id, lay.at(grade))
        for made in ACTIVITIES.values()
        for lay in made.layouts
        for grade in (made.grade.easiest, made.grade.start, made.grade.hardest)
    ]

    assert [(of, lay) for of, lay in lays if not fits(lay)] == []


def test_guard_is_whole_on_its_own_card() -> None:
    """A guard that sends the reader to another card by its code guards nobody."""
    ids = "|".join(ACTIVITIES)
    for activity in ACTIVITIES.values():
        assert not re.search(rf"\b({ids})\b", activity.guard), activity.id
