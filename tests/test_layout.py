"""The tree keeps its shape: which way imports point, and how long a piece may grow."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from statistics import median

import pytest

ROOT = Path(__file__).parent.parent
#: Migrations are written once and never read again, so they may be long.
MODULES = sorted(
    path for path in (ROOT / "app").rglob("*.py") if path.parent.name != "versions"
)
RINGS = {
    "app.clinical": {"app.clinical"},
    "app.access": set[str](),
    "app.passphrases": set[str](),
    "app.guessing": {"app.passphrases"},
    "app.typed": set[str](),
    "app.catalogue": {"app.catalogue", "app.clinical", "app.access"},
    "app.exports": {"app.exports", "app.clinical", "app.access", "app.typed"},
    "app.practice": {"app.practice", "app.clinical", "app.access"},
    "app.lan": {"app.lan"},
    "app.storage": {
        "app.storage",
        "app.clinical",
        "app.practice",
        "app.access",
        "app.passphrases",
    },
}
PURE = ("app.clinical", "app.access", "app.passphrases", "app.typed")
#: Libraries too large to be loaded before somebody needs them, or not everywhere there.
WHEN_ASKED = {
    "app.guessing": {"zxcvbn"},
    "app.practice.agreement": {"scipy"},
    "app.storage.upgrade": {"alembic", "alembic.config"},
    "app.commands.backup_clock": {"app.commands.backing_up"},
    "app.commands.lan": {"app.lan.authority", "app.lan.keeper", "app.lan.listener"},
    "app.web.fhir_export": {"app.web.fhir_file"},
    "app.web.qr": {"segno"},
    "app.logs": {"fcntl"},
    "app.web.shared": {"fcntl"},
    # Everything, so that it is loaded as the program starts and not before.
    "app.__main__": {"app.cli"},
}
#: What no page needs before somebody asks for it: a start does not wait for it.
NOT_AT_A_START = {
    "alembic",
    "cryptography",
    "scipy",
    "zxcvbn",
    "segno",
    "sqlalchemy.dialects.postgresql",
    "app.commands.backing_up",
    "app.commands.demo_files",
    "app.commands.demo_site",
    "app.exports.fhir_values",
    "app.lan.authority",
    "app.web.fhir_file",
}
#: The outermost ring, which nothing but itself imports.
ENTRY = ("app.main", "app.cli", "app.commands", "app.__main__")
#: Named by what they hold, never by being of use to somebody.
NO_NAMES = {"utils", "helpers", "common", "misc", "base"}


def name_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text())


def imports_of(tree: ast.AST) -> Iterator[str]:
    """Every module imported, `from app.web import deps` counting as app.web.deps."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            source = node.module or ""
            for alias in node.names:
                full = f"{source}.{alias.name}"
                is_module = (ROOT / Path(*full.split("."))).with_suffix(".py").is_file()
                is_folder = (ROOT / Path(*full.split("."))).is_dir()
                yield full if is_module or is_folder else source


def inside(name: str, part: str) -> bool:
    return name == part or name.startswith(f"{part}.")


def functions_of(tree: ast.AST) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def length(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    return (node.end_lineno or node.lineno) - node.lineno + 1


@pytest.fixture(params=MODULES, ids=name_of)
def module(request: pytest.FixtureRequest) -> Path:
    path: Path = request.param
    return path


def test_every_way_to_import_is_seen() -> None:
    """The rules below are worth what this finds."""
    code = "import app.main\nfrom app.web import deps\nfrom app.cli import main"

    assert set(imports_of(ast.parse(code))) == {"app.main", "app.web.deps", "app.cli"}


def test_imports_point_inward(module: Path) -> None:
    name = name_of(module)
    for ring, allowed in RINGS.items():
        if inside(name, ring):
            own = {i for i in imports_of(tree_of(module)) if inside(i, "app")}
            astray = {i for i in own if not any(inside(i, a) for a in allowed)}

            assert not astray, f"{name} may not import {sorted(astray)}"


def test_pure_modules_need_only_python(module: Path) -> None:
    if any(inside(name_of(module), pure) for pure in PURE):
        outside = {i.split(".")[0] for i in imports_of(tree_of(module))}

        assert outside <= sys.stdlib_module_names | {"app"}


def test_nobody_imports_the_entry_points(module: Path) -> None:
    if not any(inside(name_of(module), entry) for entry in ENTRY):
        imported = set(imports_of(tree_of(module)))

        assert not {i for i in imported if any(inside(i, e) for e in ENTRY)}


def test_route_modules_do_not_import_each_other(module: Path) -> None:
    if inside(name_of(module), "app.web"):
        others = {i for i in imports_of(tree_of(module)) if inside(i, "app.web")}

        assert not others & route_modules()


def route_modules() -> set[str]:
    """The web modules that make a router."""
    return {
        name_of(path)
        for path in MODULES
        if inside(name_of(path), "app.web") and "= APIRouter(" in path.read_text()
    }


def test_route_modules_are_found() -> None:
    assert {"app.web.sign_in", "app.web.health"} <= route_modules()


def test_imports_stand_at_the_top_and_are_whole(module: Path) -> None:
    tree = tree_of(module)
    hidden = {n for f in functions_of(tree) for n in imports_of(f)}
    relative = [
        n for n in ast.walk(tree) if isinstance(n, ast.ImportFrom) and n.level > 0
    ]

    assert hidden == WHEN_ASKED.get(name_of(module), set())
    assert not relative


def test_serving_loads_only_what_pages_need() -> None:
    told = "import sys, app.commands.site; print(*sys.modules)"
    loaded = subprocess.run(
        [sys.executable, "-c", told], cwd=ROOT, text=True, check=True,
        capture_output=True,
    ).stdout.split()  # fmt: skip

    assert "app.web.sign_in" in loaded
    assert not NOT_AT_A_START & set(loaded)
    for name in NOT_AT_A_START:
        assert find_spec(name), f"{name} is nowhere: its row says nothing"


def test_module_says_what_it_is_for(module: Path) -> None:
    tree = tree_of(module)

    assert not tree.body or ast.get_docstring(tree)


def test_no_module_passes_400_lines(module: Path) -> None:
    assert len(module.read_text().splitlines()) <= 400


def test_no_function_passes_40_lines(module: Path) -> None:
    long = [f.name for f in functions_of(tree_of(module)) if length(f) > 40]

    assert not long


def test_half_of_all_functions_fit_in_10_lines() -> None:
    lengths = [length(f) for m in MODULES for f in functions_of(tree_of(m))]

    assert median(lengths) <= 10


def test_no_module_is_named_for_nothing() -> None:
    assert not NO_NAMES & {path.stem for path in MODULES}


def test_a_day_is_told_by_the_sites_clock(module: Path) -> None:
    """Moments are kept in UTC, whose day is another for hours on end.

    So the day of one is asked for where it is put on a site's clock, or of a name that
    says it was.
    """
    asked = [
        node.func.value
        for node in ast.walk(tree_of(module))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and (node.func.attr, node.args) == ("date", [])
    ]
    told = [ast.unparse(moment) for moment in asked]

    if inside(name_of(module), "app.web"):
        assert not [of for of in told if ".astimezone(" not in of and of != "local"]


def test_half_of_all_templates_fit_in_40_lines() -> None:
    templates = [p.read_text() for p in (ROOT / "templates").rglob("*.html")]

    assert median(len(text.splitlines()) for text in templates) <= 40


def test_no_script_module_passes_150_lines() -> None:
    scripts = sorted((ROOT / "static" / "js").rglob("*.js"))
    long = [p.name for p in scripts if len(p.read_text().splitlines()) > 150]

    assert not long
