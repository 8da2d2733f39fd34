"""The two documents say what is there: commands, settings, folders, how to start."""

import re
from pathlib import Path

import pytest

from app.cli import parser
from app.settings import PREFIX, Settings

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text()
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text()
ALLOWED = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "app", "templates", "static",
    "tests", "demo_data",
}  # fmt: skip


def commands() -> list[str]:
    (actions,) = [a for a in parser()._actions if isinstance(a.choices, dict)]
    return list(actions.choices or ())


@pytest.mark.parametrize("command", commands())
def test_every_command_is_in_the_readme(command: str) -> None:
    assert f"`tapeline {command}" in README


@pytest.mark.parametrize("name", [n for n in Settings.model_fields if n != "demo"])
def test_every_setting_is_in_the_readme(name: str) -> None:
    assert f"`{PREFIX}{name.upper()}`" in README


@pytest.mark.parametrize(
    "folder", sorted(p.name for p in (ROOT / "app").iterdir() if p.is_dir()
                     and not p.name.startswith(("_", ".")))
)  # fmt: skip
def test_every_folder_is_described(folder: str) -> None:
    assert f"`app/{folder}/`" in DEVELOPERS


def test_readme_opens_with_the_job() -> None:
    first = README.split("\n\n")[1]

    assert first.startswith("Tapeline is")
    assert "occupational therapists" in first


def test_ci_runs_the_readmes_test_command() -> None:
    ci = (ROOT / ".ci/run").read_text()

    assert ".venv/bin/pip install -q -e '.[test]'" in ci
    assert ".venv/bin/pip install -e '.[test]' && .venv/bin/pytest" in README
    assert ".venv/bin/pytest" in ci


def test_pictures_of_the_readme_are_there() -> None:
    shown = [part.split(")")[0] for part in README.split("](")[1:]]
    pictures = [p for p in shown if p.endswith(".png")]

    assert pictures
    assert all((ROOT / p).stat().st_size > 1000 for p in pictures)


def test_top_level_holds_only_what_was_agreed() -> None:
    made_by_tools = {"node_modules", "build", "dist"}
    found = {
        p.name
        for p in ROOT.iterdir()
        if not p.name.startswith(".") and not p.name.endswith(".egg-info")
    }

    assert found - made_by_tools <= ALLOWED


def section(title: str) -> str:
    return DEVELOPERS.split(f"\n## {title}\n")[1].split("\n## ")[0]


#: How many requirements of levels 1 and 2 each section of ASVS 5.0.0 begins with.
ASVS = {
    "1.1": 2, "1.2": 9, "1.3": 11, "1.4": 3, "1.5": 2, "2.1": 3, "2.2": 3, "2.3": 4,
    "2.4": 2, "3.2": 2, "3.3": 4, "3.4": 6, "3.5": 5, "3.7": 2, "4.1": 3, "4.2": 1,
    "4.3": 2, "4.4": 4, "5.1": 1, "5.2": 3, "5.3": 2, "5.4": 3, "6.1": 3, "6.2": 12,
    "6.3": 4, "6.4": 4, "6.5": 5, "6.6": 3, "6.8": 4, "7.1": 3, "7.2": 4, "7.3": 2,
    "7.4": 5, "7.5": 2, "7.6": 2, "8.1": 2, "8.2": 3, "8.3": 1, "8.4": 1, "9.1": 3,
    "9.2": 4, "10.1": 2, "10.2": 2, "10.3": 4, "10.4": 11, "10.5": 5, "10.6": 2,
    "10.7": 3, "11.1": 2, "11.2": 3, "11.3": 3, "11.4": 4, "11.5": 1, "11.6": 1,
    "12.1": 3, "12.2": 2, "12.3": 4, "13.1": 1, "13.2": 5, "13.3": 2, "13.4": 5,
    "14.1": 2, "14.2": 4, "14.3": 3, "15.1": 3, "15.2": 3, "15.3": 7, "16.1": 1,
    "16.2": 5, "16.3": 4, "16.4": 3, "16.5": 3, "17.1": 1, "17.2": 4, "17.3": 2,
}  # fmt: skip
#: Of level 3, and kept all the same.
BESIDES = {"1.2.10", "6.3.8"}


def security_rows() -> list[list[str]]:
    lines = [line for line in section("Security").splitlines() if line[:2] == "| "]
    return [[cell.strip() for cell in line.strip("| ").split(" | ")] for line in lines]


def test_every_control_of_asvs_stands_once() -> None:
    every = {f"{of}.{n}" for of, many in ASVS.items() for n in range(1, many + 1)}
    named: list[str] = []
    for row in security_rows():
        for number in re.findall(r"\b(\d+\.(?:\d+\.)*(?:\d+|\*))(?!\S*[a-z])", row[0]):
            stem = number.removesuffix("*")
            whole = [each for each in every if each.startswith(stem)]
            named += whole if number.endswith("*") else [number]

    assert sorted(named) == sorted(every | BESIDES)


def test_every_control_names_its_test_or_says_that_it_is_not_met() -> None:
    rows = [row for row in security_rows() if len(row) == 3 and row[2] != "held by"]
    bare = [
        row[0] for row in rows if "`tests/" not in row[2] and "not met" not in row[2]
    ]

    assert len(rows) > 90
    assert bare == []


@pytest.mark.parametrize("title", ["Security", "Hazards"])
def test_every_test_named_beside_its_file_exists(title: str) -> None:
    """`test_...`, `::test_...` and `Test...` belong to the file before them."""
    missing = []
    for row in section(title).splitlines():
        file = ""
        for said in re.findall(r"`((?:tests/|::|test_|Test)[\w/.:]*)`", row):
            path, *names = said.split("::") if said.startswith("tests/") else ("", said)
            file = path or file
            wanted = re.findall(r"\w+", "::".join(names))
            text = (ROOT / file).read_text() if (ROOT / file).is_file() else ""
            if not all(re.search(rf"(def|class) {n}\b", text) for n in wanted):
                missing.append((file, said))

    assert missing == []


@pytest.mark.parametrize("title", ["Security", "Hazards"])
def test_every_test_that_holds_something_exists(title: str) -> None:
    """Files of all, and the tests that are named with their file."""
    said = set(re.findall(r"`(tests/[\w/.]+)(?:::(\w+))?(?:::(\w+))?`", section(title)))
    missing = []
    for file, *names in said:
        held = ROOT / file
        text = held.read_text() if held.is_file() else ""
        wanted = [name for name in names if name]
        if not text or not all(re.search(rf"(def|class) {n}\b", text) for n in wanted):
            missing.append((file, *wanted))

    assert len(said) > 60
    assert sorted(missing) == []
