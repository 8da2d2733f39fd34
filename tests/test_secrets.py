"""Where secrets come from, and what hashes them: read from the program's own text."""

import ast
from collections.abc import Iterator

from tests.live import ROOT

#: Makes what a seed says, again and again: simulated trials, never a secret.
SIMULATED = {"practice/chance.py", "practice/draws.py"}
#: Make tokens, links, keys of phones, keys and salts of backups.
SECRET = ("people", "links", "devices", "sealed")
#: Of a name, not of a chance: the same name gives the same id (RFC 9562).
NAMED = {"uuid5", "NAMESPACE_OID"}
#: Of the system's source (the library's own documentation).
DRAWN = {"uuid4"}


def trees() -> Iterator[tuple[str, ast.Module]]:
    app = ROOT / "app"
    for path in sorted(app.rglob("*.py")):
        yield str(path.relative_to(app)), ast.parse(path.read_text("utf-8"))


def imported(tree: ast.Module) -> Iterator[tuple[str, str]]:
    """Module and name of every import, wherever in the file it stands."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, "") for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield from ((node.module or "", alias.name) for alias in node.names)


def of_module(tree: ast.Module, module: str) -> Iterator[str]:
    """What is taken from a module, by its name or by import."""
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Attribute)
            and isinstance(node.value, ast.Name)
            and node.value.id == module
        ):
            yield node.attr
    yield from (name for found, name in imported(tree) if found == module and name)


def test_secrets_come_from_the_system() -> None:
    """OWASP ASVS 5.0.0, 11.5.1: nothing that a seed could give again makes one."""
    seeded = {at for at, t in trees() if any(m == "random" for m, _ in imported(t))}
    drawing = {at for at, t in trees() if any(m == "secrets" for m, _ in imported(t))}
    ids = {name for _, t in trees() for name in of_module(t, "uuid")}

    assert seeded == SIMULATED
    assert drawing >= {
        f"storage/{n}.py" for n in ("people", "links", "devices", "sealed")
    }
    assert ids <= NAMED | DRAWN | {"UUID"}


def test_only_sha_256_protects_anything() -> None:
    """OWASP ASVS 5.0.0, 11.4.1 and 11.4.3."""
    hashing = {name for _, t in trees() for name in of_module(t, "hashlib")}
    signing = {name for _, t in trees() for name in of_module(t, "hashes")}

    assert hashing == {"sha256"}
    assert signing == {"SHA256"}
