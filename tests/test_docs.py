"""The two documents say what is there: commands, settings, folders, how to start."""

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
