"""What is known of treating is carried whole, and each figure as it was printed."""

import shutil
from collections import Counter
from pathlib import Path

import pytest

from app.catalogue.fields import CatalogueError
from app.catalogue.load import FOLDER, Catalogue, catalogue, load

SHELF = catalogue()
FACTS = {fact.key: fact for fact in SHELF.evidence.facts}


def copy_of(folder: Path) -> Path:
    """The catalogue's data, to be changed."""
    shutil.copytree(FOLDER, folder / "shelf", ignore=shutil.ignore_patterns("*.py*"))
    return folder / "shelf"


def changed(folder: Path, name: str, old: str, new: str) -> Catalogue:
    shelf = copy_of(folder)
    text = (shelf / name).read_text()
    assert text.count(old) >= 1
    (shelf / name).write_text(text.replace(old, new))
    return load(shelf)


def test_every_row_is_carried() -> None:
    known = Counter(fact.how for fact in FACTS.values())

    assert len(FACTS) == len(SHELF.evidence.facts) == 43
    assert known == {"abstract": 32, "full text": 4, "secondary": 3, "memory": 4}
    assert len(SHELF.evidence.sources) == 43


@pytest.mark.parametrize(
    ("key", "how", "printed"),
    [
        ("falls_exercise", "abstract", "0.77, 95 % CI 0.71-0.83; 59 studies, 12,981"),
        ("falls_kind", "abstract", "0.76, 0.70-0.82; 39 studies"),
        ("falls_dose", "abstract", "0.58, 0.45-0.76"),
        ("falls_regression", "secondary", "0.61, 0.53-0.72"),
        ("stepping", "abstract", "0.48 (0.36-0.65), people who fell 0.51 (0.38-0.68)"),
        ("reactive", "abstract", "risk ratio 0.71; 8 trials, 404 people"),
        ("sitting_extra", "abstract", "0.17 m farther (0.12-0.21)"),
        ("rising_heights", "full text", "3 sets of 5 from different seat heights"),
        ("rising_more", "abstract", "50 (SD 17.2)"),
        ("practice_seen", "abstract", "32 purposeful arm repetitions a session (95 %"),
        ("balance_response", "memory", "91-120 min a week"),
        ("dual_parkinson", "abstract", "7.75-13.44 %"),
        (
            "flexibility",
            "full text",
            "hold 10-30 s; older adults may gain more from 30",
        ),
        ("home_hazards", "abstract", "0.74, 0.61-0.91; 12 studies, 5,293 people"),
        ("home_hazards_who", "secondary", "0.62, 0.56-0.70; 9 studies, 1,513 people"),
        ("seated_drop", "abstract", "specificity 88.9 %) or 7 diastolic (87.2 / 87.2)"),
        ("home_exercise_alone", "abstract", "1.74, 95 % CI 1.17-2.60, 3 studies"),
    ],
)
def test_figure_is_as_printed(key: str, how: str, printed: str) -> None:
    assert FACTS[key].how == how
    assert printed in FACTS[key].figure


def test_disagreeing_doses_are_both_kept() -> None:
    newer, older = FACTS["falls_dose"], FACTS["falls_dose_older"]

    assert (newer.differs, older.differs) == (older.key, newer.key)
    assert "3 or more hours" in newer.figure
    assert "At least 2 hours" in older.figure


def test_recalled_figures_are_marked() -> None:
    recalled = {key for key, fact in FACTS.items() if not fact.confirmed}

    assert recalled == {
        "trunk_recalled", "balance_response", "parkinson_guideline", "falls_guideline",
    }  # fmt: skip


def test_every_code_has_its_label_and_how_it_is_known() -> None:
    used = {code for a in SHELF.activities.values() for code in a.icf}

    assert used == set(SHELF.icf)
    assert Counter(c.how for c in SHELF.icf.values()) == {"secondary": 25, "memory": 26}
    assert SHELF.icf["d4104"].label == "standing up"


@pytest.mark.parametrize(
    ("name", "old", "new", "says"),
    [
        ("evidence.toml", 'key = "okubo2017"', 'key = "zz"', "'okubo2017' is cited"),
        ("evidence.toml", 'topic = "rising"', 'topic = "up"', "fact 14: topic"),
        ("evidence.toml", "26746905", '1"\nread = "yes', "unknown key read"),
        ("evidence.toml", 'differs = "falls_dose"', 'differs = "x"', "no fact 'x'"),
        ("evidence.toml", '["britton2008"]', "[]", "sources: is missing"),
        ("evidence.toml", "26746905\"", '1"\n[[source]]\nkey = "x"\nauthors = "A"\n'
         'title = "T"', "'x' is listed but never cited"),
        ("evidence.toml", "Optimal diagnostic", "Best", "shaw2017: differs from"),
        ("icf.toml", 'code = "d4104"', 'code = "d4103"', "d4103 is there twice"),
        ("icf.toml", 'code = "d4104"', 'code = "d4199"', "no code 'd4104'"),
    ],
)  # fmt: skip
def test_wrong_file_is_refused_by_name(
    tmp_path: Path, name: str, old: str, new: str, says: str
) -> None:
    with pytest.raises(CatalogueError) as refused:
        changed(tmp_path, name, old, new)

    assert says in str(refused.value)


def test_dose_cites_what_there_is(tmp_path: Path) -> None:
    (file,) = (FOLDER / "activities").glob("s02_*.toml")
    with pytest.raises(CatalogueError) as refused:
        changed(tmp_path, f"activities/{file.name}", '"dean1997"', '"dean1996"')

    assert str(refused.value) == (
        "activities/s02_*.toml: dose.sources: no source 'dean1996' in evidence.toml"
    )


def test_evidence_is_part_of_the_edition(tmp_path: Path) -> None:
    other = changed(tmp_path, "evidence.toml", "n = 12.", "n = 13.")

    assert other.edition != SHELF.edition
