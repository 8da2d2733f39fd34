"""The loader: strict, and an error names file, table and key."""

import re
import shutil
from pathlib import Path

import pytest

from app.catalogue.fields import CatalogueError
from app.catalogue.load import FOLDER, all_rows, catalogue, load

CHAIR = "thirty_second_chair_stand"
#: How many rows of each kind a measure carries; a row may not be lost unseen.
#: norms, cut-offs, unable, reliability, important change. The reaches to the side carry
#: one row for each side where their source prints both in one.
CARRIED = {
    "single_leg_stance": (36, 3, 0, 2, 0),
    "tandem_stance": (0, 2, 0, 1, 0),
    "turn_360": (0, 8, 0, 6, 0),
    "gait_speed": (51, 21, 0, 21, 12),
    "functional_reach": (21, 10, 1, 20, 0),
    "timed_up_and_go": (57, 35, 1, 21, 5),
    "tug_manual": (5, 3, 0, 2, 0),
    "tug_cognitive": (6, 5, 0, 2, 0),
    "five_times_sit_to_stand": (28, 25, 4, 18, 2),
    "four_square_step": (14, 11, 1, 13, 0),
    "seated_reach_forward": (5, 0, 0, 7, 0),
    "seated_reach_lateral": (7, 0, 0, 3, 0),
    "lateral_reach": (11, 0, 0, 5, 0),
    "thirty_second_chair_stand": (17, 28, 0, 11, 4),
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the catalogue with one measure, to break."""
    (tmp_path / "measures").mkdir()
    shutil.copy(FOLDER / "facts.toml", tmp_path)
    shutil.copy(FOLDER / "measures/four_square_step.toml", tmp_path / "measures")
    return tmp_path


def broken(folder: Path, old: str, new: str) -> str:
    path = folder / "measures/four_square_step.toml"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(CatalogueError) as refusal:
        load(folder)
    return str(refusal.value)


@pytest.mark.parametrize("measure", list(CARRIED))
def test_every_row_is_carried(measure: str) -> None:
    m = catalogue().measures[measure]

    counts = tuple(
        len(rows)
        for rows in (m.norms, m.cutoffs, m.unable, m.reliability, m.important_change)
    )
    assert counts == CARRIED[measure]


@pytest.mark.parametrize("measure", list(CARRIED))
def test_every_row_says_where_it_is_from(measure: str) -> None:
    m = catalogue().measures[measure]

    for row in all_rows(m):
        assert row.source in m.sources
        assert row.population


@pytest.mark.parametrize("measure", list(CARRIED))
def test_every_measure_says_how_to_keep_safe(measure: str) -> None:
    guide = catalogue().measures[measure].guide
    said = " ".join((*guide.setup, *guide.guard)).lower()

    assert "brace" in said or "wall" in said
    assert guide.stop
    assert guide.guard


def test_unknown_key_is_named(folder: Path) -> None:
    said = broken(folder, "[[cutoff]]\n", "[[cutoff]]\ncutof = 3\n")

    assert said == "four_square_step.toml: cutoff 1: unknown key cutof"


def test_unlisted_source_is_named(folder: Path) -> None:
    said = broken(folder, 'source = "cleary2017"', 'source = "nobody1999"')

    assert "'nobody1999' is cited but not listed" in said


def test_unknown_fact_value_is_named(folder: Path) -> None:
    said = broken(folder, 'surface = ["foam"]', 'surface = ["sand"]')

    assert "requires.surface" in said


def test_zero_standing_in_for_unable_is_refused(folder: Path) -> None:
    said = broken(folder, "value = 24.0", "value = 0")

    assert "[[unable]]" in said


def test_overlapping_norms_are_refused(folder: Path) -> None:
    twice = (
        '[[norm]]\nsource = "dite2002"\nhow = "memory"\npopulation = "x"\n'
        'group = "healthy"\ncondition = "none"\nage_min = 60\nage_max = 70\n'
        'mean = 9\nunit = "s"\n'
    )
    other = twice.replace("age_min = 60", "age_min = 70").replace(
        "70\nmean", "80\nmean"
    )
    said = broken(folder, "[[norm]]\n", f"{twice}\n{other}\n[[norm]]\n")

    assert "overlap at age 70" in said


def test_text_for_a_number_is_refused(folder: Path) -> None:
    said = broken(folder, "value = 24.0", 'value = "24"')

    assert said.endswith("value: must be a number")


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("ceiling_seconds = 0", "ceiling_seconds: must lie between 1 and 600"),
        ("ceiling_seconds = 601", "ceiling_seconds: must lie between 1 and 600"),
        ("ceiling_seconds = 9.5", "ceiling_seconds: must be a whole number"),
        ("window_seconds = 30", "window_seconds: only a count has a window"),
    ],
)
def test_end_of_a_trial_that_cannot_be_is_refused(
    folder: Path, line: str, why: str
) -> None:
    said = broken(folder, 'kind = "time"', f'kind = "time"\n{line}')

    assert said == f"four_square_step.toml: {why}"


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ("lowest = 0", "lowest = 1", "zero: lowest must be 0"),
        ('counted = ["stand", "stands"]', "", "counted: a count names one and many"),
        ('input = "arms_needed"', 'input = "hands"', "zero.input: no tick 'hands'"),
        ('arms_used = ["yes"]', 'arms_used = ["often"]', "zero.when.arms_used"),
    ],
)
def test_count_that_cannot_be_zero_is_refused(
    folder: Path, old: str, new: str, why: str
) -> None:
    shutil.copy(FOLDER / f"measures/{CHAIR}.toml", folder / "measures")
    path = folder / f"measures/{CHAIR}.toml"
    assert old in path.read_text()
    path.write_text(path.read_text().replace(old, new, 1))

    with pytest.raises(CatalogueError, match=f"{CHAIR}.toml: {re.escape(why)}"):
        load(folder)


def test_only_a_count_may_be_zero(folder: Path) -> None:
    assert "only a count or a sum may be 0" in broken(
        folder, "lowest = 3", "lowest = 0"
    )


def test_ceiling_is_read(folder: Path) -> None:
    path = folder / "measures/four_square_step.toml"
    path.write_text(f"ceiling_seconds = 30\n{path.read_text()}")

    measure = load(folder).measures["four_square_step"]
    assert (measure.ceiling_seconds, measure.window_seconds) == (30, None)


def test_two_bibliographies_for_one_source_are_refused(folder: Path) -> None:
    shutil.copy(FOLDER / "measures/timed_up_and_go.toml", folder / "measures")
    said = broken(
        folder, 'authors = "Dite W, Connor HJ', 'authors = "Dite Q, Connor HJ'
    )

    assert "source dite2007: differs" in said


def test_edition_follows_the_files(folder: Path) -> None:
    first = load(folder).edition
    path = folder / "measures/four_square_step.toml"
    path.write_text(path.read_text() + "\n# a remark\n")

    assert load(folder).edition != first
    assert load(folder).edition == load(folder).edition
