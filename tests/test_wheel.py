"""What `pip install .` gives: a wheel that carries everything and runs anywhere."""

import subprocess
import sys
from pathlib import Path
from zipfile import ZipFile

import httpx
import pytest

from tests.conftest import found
from tests.live import LONGEST_S, ROOT, environment, started


def run(*arguments: str, cwd: Path = ROOT, **more: str) -> str:
    done = subprocess.run(
        [sys.executable, *arguments],
        cwd=cwd,
        env=environment(**more),
        capture_output=True,
        text=True,
        timeout=LONGEST_S * 2,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built offline by the build backend that is installed here."""
    out = tmp_path_factory.mktemp("dist")
    run("-m", "build", "--wheel", "--no-isolation", "--outdir", str(out))
    [built] = out.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel unpacked as pip does it, far from the checkout."""
    target = tmp_path_factory.mktemp("elsewhere") / "packages"
    run(
        "-m", "pip", "install", "--quiet", "--no-deps", "--no-index",
        "--disable-pip-version-check", "--target", str(target), str(wheel),
    )  # fmt: skip
    return target


def files_of(folder: Path) -> set[str]:
    """Every file under a folder of the checkout that git would keep."""
    listed = (path for path in folder.rglob("*") if path.is_file())
    return {
        str(path.relative_to(ROOT)) for path in listed if "__pycache__" not in str(path)
    }


@pytest.mark.parametrize("name", ["templates", "static", "demo_data"])
def test_wheel_carries_the_top_level_folders(wheel: Path, name: str) -> None:
    carried = set(ZipFile(wheel).namelist())
    wanted = {f"app/_bundle/{file}" for file in files_of(ROOT / name)}

    assert len(wanted) > 5
    assert wanted <= carried


@pytest.mark.parametrize(
    "inside", ["catalogue/measures", "storage/migrations", "clinical", "commands"]
)
def test_wheel_carries_the_package(wheel: Path, inside: str) -> None:
    carried = set(ZipFile(wheel).namelist())
    wanted = files_of(ROOT / "app" / inside)

    assert len(wanted) > 2
    assert wanted <= carried


def test_wheel_carries_the_licence(wheel: Path) -> None:
    licence = (ROOT / "app" / "LICENSE").read_bytes()
    with ZipFile(wheel) as opened:
        [name] = [n for n in opened.namelist() if "dist-info/licenses/" in n]

        assert opened.read(name) == licence


def test_wheel_carries_no_tests(wheel: Path) -> None:
    assert not [n for n in ZipFile(wheel).namelist() if n.startswith("tests")]


def test_installed_copy_is_the_one_that_runs(installed: Path, tmp_path: Path) -> None:
    code = "import app.resources as r; print(r.folder('templates'))"

    said = run("-c", code, cwd=tmp_path, PYTHONPATH=str(installed))

    assert Path(said.strip()) == installed / "app" / "_bundle" / "templates"


def test_installed_demo_answers(installed: Path, tmp_path: Path) -> None:
    env = environment(PYTHONPATH=str(installed), TMPDIR=str(tmp_path))
    command = (sys.executable, str(installed / "bin" / "tapeline"))
    with started("demo", "--port", "0", command=command, cwd=tmp_path, env=env) as live:
        health = httpx.get(f"{live.url}healthz")
        start = httpx.get(live.url, follow_redirects=True)
        sheet = found(start.text, "link[rel=stylesheet]").attributes["href"]
        style = httpx.get(httpx.URL(live.url).join(sheet or ""))

    assert health.json()["status"] == "ok"
    assert "Everybody here is invented" in start.text
    assert style.status_code == 200
    assert live.process.returncode == 0
