"""What a test needs is a closed key of its file, and a composite's follows."""

import shutil
from pathlib import Path

import pytest

from app.catalogue.fields import CatalogueError
from app.catalogue.load import FOLDER, catalogue, load
from app.clinical.vocabulary import ABILITIES, KIT_ITEMS

SHELF = catalogue().measures


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copytree(FOLDER / "measures", tmp_path / "measures")
    shutil.copy(FOLDER / "facts.toml", tmp_path)
    return tmp_path


@pytest.mark.parametrize("measure", SHELF)
def test_every_test_says_what_it_needs(measure: str) -> None:
    m = SHELF[measure]

    assert m.needs in ABILITIES
    assert m.kit_items
    assert set(m.kit_items) <= set(KIT_ITEMS)


@pytest.mark.parametrize("measure", SHELF)
def test_kit_in_keys_is_kit_in_words(measure: str) -> None:
    """A kit key that the file does not name in words would surprise at the bedside."""
    said = " ".join(SHELF[measure].guide.kit).lower()
    named = {
        "stopwatch": ("stopwatch",), "chair": ("chair",),
        "tape": ("tape",), "sticks": ("canes",), "cuff": ("cuff",),
    }  # fmt: skip
    if SHELF[measure].kind == "composite":
        return  # its words may point to its parts
    for item in SHELF[measure].kit_items:
        assert any(word in said for word in named[item]), item


@pytest.mark.parametrize(
    ("file", "old", "new", "says"),
    [
        ("tandem_stance", 'needs = "stands"\n', "", "needs: is missing"),
        ("tandem_stance", 'needs = "stands"', 'needs = "runs"', "'runs' is not one"),
        ("tandem_stance", '"stopwatch", "chair"', '"hammer"', "'hammer' is not one"),
        ("tandem_stance", '"stopwatch", "chair"', '"chair"', "takes a stopwatch"),
        ("orthostatic_vitals", '["cuff"]', '["chair"]', "pressures take a cuff"),
        ("seated_reach_forward", 'needs = "sits"', 'needs = "stands"', "seated test"),
        ("turn_360", 'needs = "walks"', 'needs = "stands"\nwalk_metres = 3',
         "only who walks"),
        ("turn_360", 'needs = "walks"', 'needs = "walks"\nwalk_metres = 0',
         "above zero"),
        ("gait_speed", 'needs = "walks"', 'needs = "walks"\nwalk_metres = 3',
         "a speed has its courses"),
        ("sit_to_stand_power", "minutes = 6", 'minutes = 6\nneeds = "sits"',
         "a composite has none"),
        ("sit_to_stand_power", "minutes = 6", 'minutes = 6\nkit_items = ["tape"]',
         "a composite has none"),
    ],
)  # fmt: skip
def test_wrong_needs_are_refused(
    folder: Path, file: str, old: str, new: str, says: str
) -> None:
    path = folder / f"measures/{file}.toml"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))

    with pytest.raises(CatalogueError, match=rf"{file}\.toml.*{says}"):
        load(folder)


def test_composites_follow_from_their_parts() -> None:
    battery = SHELF["short_physical_performance_battery"]
    power = SHELF["sit_to_stand_power"]

    assert (battery.needs, str(battery.walk_metres)) == ("walks", "2.4384")
    assert battery.kit_items == ("stopwatch", "chair", "tape")
    assert (power.needs, power.walk_metres) == ("stands", None)
    assert power.kit_items == ("stopwatch", "chair", "tape")
